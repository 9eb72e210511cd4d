"""The ground behind a picture: overviews of whole sheets and profiles across single sites.

Reads through the grid protocol only, strip by strip, so a whole coast needs no more memory than its picture.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from pyproj import Transformer

from reefscan.base.errors import InputError
from reefscan.base.model import BLOCK, GridSource, Sheet, Window, to_metres
from reefscan.base.overview import MapGround, block_means
from reefscan.io.georef import transformer

Floats = NDArray[np.float64]


def overview(source: GridSource, window: Window, *, most: int) -> MapGround:
    """Means of whole blocks of cells over ``window``, with at most ``most`` of them a side; see `block_means`."""
    if window.empty:
        raise InputError(
            f"{source.name}: nothing of the grid lies in the asked area; name an area on the grid"
        )
    factor = max(1, -(-max(window.height, window.width) // most))
    rows, cols = -(-window.height // factor), -(-window.width // factor)
    out = np.full((rows, cols), np.nan)
    strip = max(1, BLOCK // factor)
    for first in range(0, rows, strip):
        last = min(first + strip, rows)
        part = Window(window.row + first * factor, window.col, (last - first) * factor, cols * factor)
        elev = to_metres(source.read(part).elev_mm)
        out[first:last] = elev if factor == 1 else block_means(elev, factor)
    west, _, _, north = source.sheet.bounds(window)
    return MapGround(out, west, north, source.sheet.cell_m * factor, source.sheet.crs)


def overview_of_all(sources: Sequence[GridSource], *, most: int) -> MapGround:
    """One picture of all sheets, in the CRS of the first: finer sheets lie on top of coarser ones."""
    if not sources:
        raise InputError("the run names no grid; scan again")
    if len(sources) == 1:
        return overview(sources[0], sources[0].extent, most=most)
    base = sources[0].sheet.crs
    boxes = [_box_in(source, base) for source in sources]
    west, south = min(b[0] for b in boxes), min(b[1] for b in boxes)
    east, north = max(b[2] for b in boxes), max(b[3] for b in boxes)
    cell = max(max(east - west, north - south) / most, min(s.sheet.cell_m for s in sources))
    rows, cols = max(1, int(np.ceil((north - south) / cell))), max(1, int(np.ceil((east - west) / cell)))
    out = np.full((rows, cols), np.nan)
    x, y = np.meshgrid(west + (np.arange(cols) + 0.5) * cell, north - (np.arange(rows) + 0.5) * cell)
    for source in sorted(sources, key=lambda s: -s.sheet.cell_m):
        part = overview(source, source.extent, most=most)
        px, py = _moved(x, y, base, part.crs)
        col = np.floor((px - part.west_m) / part.cell_m)
        row = np.floor((part.north_m - py) / part.cell_m)
        inside = (col >= 0) & (row >= 0) & (col < part.elev.shape[1]) & (row < part.elev.shape[0])
        value = np.full(x.shape, np.nan)
        value[inside] = part.elev[row[inside].astype(int), col[inside].astype(int)]
        out = np.where(np.isfinite(value), value, out)
    return MapGround(out, west, north, cell, base)


def _moved(x: Floats, y: Floats, source: str, target: str) -> tuple[Floats, Floats]:
    """Coordinates in another CRS; untouched if it is the same one."""
    if source == target:
        return x, y
    px, py = Transformer.from_crs(source, target, always_xy=True).transform(x, y)
    return np.asarray(px), np.asarray(py)


def _box_in(source: GridSource, crs: str) -> tuple[float, float, float, float]:
    """Bounds of a sheet in another CRS, from points all over it."""
    west, south, east, north = source.sheet.bounds(source.extent)
    x, y = np.meshgrid(np.linspace(west, east, 21), np.linspace(south, north, 21))
    px, py = _moved(x, y, source.sheet.crs, crs)
    return float(px.min()), float(py.min()), float(px.max()), float(py.max())


def depths_along(
    source: GridSource, *, lon: float, lat: float, heading_deg: float, half_m: float, count: int
) -> Floats:
    """Depths (m, positive down, NaN unknown) along a heading, as a sounder would draw them crossing the site.

    Parameters
    ----------
    lon, lat : float
        The drop point, which is the middle sample.
    heading_deg : float
        True heading; samples run from behind the site to beyond it.
    half_m : float
        Distance to each end.
    count : int
        Number of samples, odd.

    Returns
    -------
    ndarray, shape (count,)
        Bilinear between cell centres; unknown where any of the four cells is.
    """
    sheet = source.sheet
    x, y = _along(sheet, lon=lon, lat=lat, heading_deg=heading_deg, half_m=half_m, count=count)
    col, row = np.asarray(sheet.col_of(x)), np.asarray(sheet.row_of(y))
    top, left = int(np.floor(row.min())), int(np.floor(col.min()))
    window = Window(top, left, int(np.floor(row.max())) - top + 2, int(np.floor(col.max())) - left + 2)
    elev = to_metres(source.read(window).elev_mm)
    r, c = row - top, col - left
    r0, c0 = np.floor(r).astype(int), np.floor(c).astype(int)
    fr, fc = r - r0, c - c0
    upper = elev[r0, c0] * (1 - fc) + elev[r0, c0 + 1] * fc
    lower = elev[r0 + 1, c0] * (1 - fc) + elev[r0 + 1, c0 + 1] * fc
    depth: Floats = -(upper * (1 - fr) + lower * fr)
    return depth


def _along(
    sheet: Sheet, *, lon: float, lat: float, heading_deg: float, half_m: float, count: int
) -> tuple[Floats, Floats]:
    """Grid coordinates of evenly spaced points on the heading; true north is found by a step to it."""
    to_grid = transformer("EPSG:4326", sheet.crs)
    x0, y0 = to_grid.transform(lon, lat)
    xn, yn = to_grid.transform(lon, lat + 1e-4)
    north = np.arctan2(xn - x0, yn - y0)
    angle = np.radians(heading_deg) + north
    t = np.linspace(-half_m, half_m, count)
    return x0 + t * np.sin(angle), y0 + t * np.cos(angle)


def patch(source: GridSource, *, lon: float, lat: float, half_m: float) -> MapGround | None:
    """The ground around a site, the site in the middle; None where nothing is known there."""
    x, y = Transformer.from_crs("EPSG:4326", source.sheet.crs, always_xy=True).transform(lon, lat)
    if not (np.isfinite(x) and np.isfinite(y)):
        return None
    window = source.sheet.window_of(x - half_m, y - half_m, x + half_m, y + half_m)
    shared = window.intersect(source.extent)
    if shared.empty:
        return None
    ground = overview(source, window, most=161)
    return ground if np.isfinite(ground.elev).any() else None


def cut_to(ground: MapGround, bbox: tuple[float, float, float, float]) -> MapGround:
    """The part of a picture inside a box of degrees (west, south, east, north).

    Raises
    ------
    InputError
        If the box is upside down or holds no cell of the picture.
    """
    west, south, east, north = bbox
    words = f"--bbox {west:g} {south:g} {east:g} {north:g}"
    if not (np.isfinite(bbox).all() and west < east and south < north):
        raise InputError(f"{words}: wanted west south east north in degrees, west < east and south < north")
    lon, lat = np.meshgrid(np.linspace(west, east, 21), np.linspace(south, north, 21))
    x, y = _moved(lon, lat, "EPSG:4326", ground.crs)
    rows, cols = ground.elev.shape
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise InputError(f"{words}: lies outside the grid's coordinate system; name a box on the grid")
    left = max(0, int(np.floor((x.min() - ground.west_m) / ground.cell_m)))
    right = min(cols, int(np.ceil((x.max() - ground.west_m) / ground.cell_m)))
    top = max(0, int(np.floor((ground.north_m - y.max()) / ground.cell_m)))
    bottom = min(rows, int(np.ceil((ground.north_m - y.min()) / ground.cell_m)))
    if left >= right or top >= bottom:
        raise InputError(f"{words}: no cell of the grid lies in it; name a box on the grid")
    return ground.cut(slice(top, bottom), slice(left, right))
