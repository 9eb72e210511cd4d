"""The seabed for a boat's way: one lattice over all grids of a run, each cell the shoalest that is under it.

A cell of which any part is not known is not known: to a boat a hole in the data is a rock.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import InputError
from reefscan.base.model import GridSource, Window, to_metres
from reefscan.io.georef import transformer
from reefscan.plan.legs import Ground

Floats = NDArray[np.float64]

MOST_SIDE = 2000
"""Cells on a side at most: ways from seven places are then found in some seconds."""

MARGIN_M = 1000.0
"""Ground beside the launch and the sites that a way may swing out over."""

STRIP = 2048


def ground_of(sources: Sequence[GridSource], lon: Floats, lat: Floats, *, most: int = MOST_SIDE) -> Ground:
    """Read the ground around places.

    Parameters
    ----------
    sources : sequence of GridSource
        The CRS of the ground is that of the first; finer grids lie on top of coarser ones.
    lon, lat : ndarray
        The launch and the sites.
    most : int
        Cells on a side; a wider ground gets larger cells.
    """
    if not sources:
        raise InputError("the run names no grid; scan again")
    base = min(sources, key=lambda source: source.sheet.cell_m)
    sheet = base.sheet
    x, y = transformer("EPSG:4326", sheet.crs).transform(lon, lat)
    wanted = sheet.window_of(x.min() - MARGIN_M, y.min() - MARGIN_M, x.max() + MARGIN_M, y.max() + MARGIN_M)
    if len(sources) == 1:
        wanted = wanted.intersect(base.extent)
        if wanted.empty:
            raise InputError(
                f"{base.name}: neither the launch nor a site lies on this grid; check --launch LAT,LON"
            )
    factor = max(1, -(-max(wanted.height, wanted.width) // most))
    rows, cols = -(-wanted.height // factor), -(-wanted.width // factor)
    window = Window(wanted.row, wanted.col, rows * factor, cols * factor)
    west, _, _, north = sheet.bounds(window)
    ground = Ground(np.full((rows, cols), np.nan), west, north, sheet.cell_m * factor, sheet.crs)
    for source in sorted(sources, key=lambda source: -source.sheet.cell_m):
        part = (
            shoalest(source, window, factor)
            if source.sheet == sheet
            else _under(source, ground, to=transformer(sheet.crs, source.sheet.crs))
        )
        np.copyto(ground.elev, part, where=np.isfinite(part))
    return ground


def shoalest(source: GridSource, window: Window, factor: int) -> Floats:
    """Highest elevation (m) of each block of ``factor`` cells a side; NaN where any of them is unknown."""
    rows, cols = window.height // factor, window.width // factor
    out = np.full((rows, cols), np.nan)
    step = max(1, STRIP // factor)
    for top in range(0, rows, step):
        for left in range(0, cols, step):
            high, wide = min(step, rows - top), min(step, cols - left)
            part = Window(window.row + top * factor, window.col + left * factor, high * factor, wide * factor)
            elev = to_metres(source.read(part).elev_mm).reshape(high, factor, wide, factor)
            out[top : top + high, left : left + wide] = elev.max(axis=(1, 3))  # NaN wins
    return out


def deepest_at(sources: Sequence[GridSource], lon: float, lat: float) -> float:
    """Depth (m below the grid's zero) of the deepest cell at a place and beside it, of the finest grid that knows it; NaN if none does."""
    for source in sorted(sources, key=lambda source: source.sheet.cell_m):
        sheet = source.sheet
        x, y = transformer("EPSG:4326", sheet.crs).transform(lon, lat)
        row, col = (int(np.floor(float(at) + 0.5)) for at in (sheet.row_of(y), sheet.col_of(x)))
        window = Window(row - 1, col - 1, 3, 3).intersect(source.extent)
        elev = np.full((1, 1), np.nan) if window.empty else to_metres(source.read(window).elev_mm)
        if np.isfinite(elev).any():
            return float(-np.nanmin(elev))
    return float("nan")


def _under(source: GridSource, ground: Ground, *, to: object) -> Floats:
    """The shoalest of another lattice under each cell of the ground: its middle and its four corners are asked."""
    factor = max(1, int(np.ceil(ground.cell_m / source.sheet.cell_m - 1e-9)))
    rows, cols = ground.elev.shape
    out = np.full((rows, cols), -np.inf)
    half = ground.cell_m / 2 * (1 - 1e-6)
    window, reduced = _reduced(source, factor)
    middle_x = ground.west_m + (np.arange(cols) + 0.5) * ground.cell_m
    middle_y = ground.north_m - (np.arange(rows) + 0.5) * ground.cell_m
    for dx, dy in ((0, 0), (-half, -half), (-half, half), (half, -half), (half, half)):
        x, y = np.meshgrid(middle_x + dx, middle_y + dy)
        px, py = to.transform(x, y)  # type: ignore[attr-defined]
        col = np.floor((np.asarray(source.sheet.col_of(px)) + 0.5 - window.col) / factor)
        row = np.floor((np.asarray(source.sheet.row_of(py)) + 0.5 - window.row) / factor)
        inside = (col >= 0) & (row >= 0) & (col < reduced.shape[1]) & (row < reduced.shape[0])
        value = np.full((rows, cols), np.nan)
        value[inside] = reduced[row[inside].astype(int), col[inside].astype(int)]
        out = np.maximum(out, value)  # NaN wins
    return out


def _reduced(source: GridSource, factor: int) -> tuple[Window, Floats]:
    whole = source.extent
    window = Window(
        whole.row, whole.col, -(-whole.height // factor) * factor, -(-whole.width // factor) * factor
    )
    return window, shoalest(source, window, factor)
