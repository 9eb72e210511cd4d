"""Text files of x, y, z whose points stand on a grid: put back on it, once, and kept.

Points in any order, any separator, with or without a heading, with gaps. Points that stand on
no grid are soundings and belong to ``reefscan grid``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.transform import Affine
from rasterio.windows import Window as RasterWindow

from reefscan.base.errors import InputError
from reefscan.io import words
from reefscan.io.cache import keeping, made_of
from reefscan.io.newraster import new_raster
from reefscan.io.pointtext import ODD_SHARE, Points, read_points

ON_GRID = 0.02
"""A point may stand this part of a cell off its place (rounded coordinates do)."""

NOTE = "REEFSCAN_NOTE"
"""Tag that keeps the notes on the text, for every time its grid is opened."""

TWINS = 0.005
"""Two points on one place are one if they differ by no more than rounding to centimetres does."""


def grid_from_points(path: str, name: str) -> str:
    """Return the path of a GeoTIFF that holds the points of a text file as cells.

    Raises
    ------
    UnreadableError
        If the file is no table of three numbers a line.
    InputError
        If its points do not stand on a grid.
    """
    target = made_of(path, "points.tif")
    if target.exists():
        return str(target)
    points = read_points(path, name)
    good = np.isfinite(points.x) & np.isfinite(points.y)
    x, y, z = points.x[good], points.y[good], points.z[good]
    lattice = _lattice(x, y, shared=False)
    if lattice is None or not lattice.on.all():  # what a few points spoil is found by the others
        lattice = _lattice(x, y, shared=True)
    if lattice is None or (~lattice.on).sum() > ODD_SHARE * x.size:
        raise InputError(
            f"{name}: its {x.size} points stand on no regular grid; if they are soundings, grid them first "
            "(reefscan grid)"
        )
    said = [points.note] if points.note else []
    on, dx, dy = lattice.on, lattice.dx, lattice.dy
    if not on.all():
        at = int(np.argmin(on))
        said.append(
            f"{(~on).sum():,} of its {x.size:,} points stand off the grid of the others and are left out, "
            f"such as {x[at]:.10g} {y[at]:.10g} {z[at]:.6g}"
        )
    cols, rows, z = lattice.cols[on], lattice.rows[on], z[on]
    west, north = int(cols.min()), int(rows.min())
    width, height = int(cols.max()) - west + 1, int(rows.max()) - north + 1
    place = (rows - north) * width + cols - west
    cells = np.full((height, width), np.nan)
    cells.ravel()[place] = z
    twins, apart = _twins(place, z)
    if twins.size > ODD_SHARE * x.size:
        raise InputError(
            f"{name}: {twins.size} of its points stand where another one does and differ from it (by up to {apart:.4g}); "
            "keep one of each, or take them for soundings (reefscan grid)"
        )
    if twins.size:
        cells.ravel()[twins] = np.nan
        row, col = divmod(int(twins[0]), width)
        said.append(
            f"{twins.size:,} of its {x.size:,} points stand where another one does and differ from it: nothing is taken there, "
            f"such as at {lattice.x0 + (west + col) * dx:.10g} {lattice.y0 - (north + row) * dy:.10g}"
        )
    transform = Affine(dx, 0, lattice.x0 + (west - 0.5) * dx, 0, -dy, lattice.y0 - (north - 0.5) * dy)
    _write(target, cells, transform, replace(points, note="; ".join(said)))
    return str(target)


def notes_of(path: str) -> tuple[str, ...]:
    """Notes on the text that a grid of `grid_from_points` was made of."""
    with rasterio.open(path) as dataset:
        note = dataset.tags().get(NOTE, "")
    return (note,) if note else ()


@dataclass(frozen=True)
class _Lattice:
    """Where points stand: columns and rows from the place x0, y0, and which points do stand on one."""

    x0: float
    y0: float
    dx: float
    dy: float
    cols: NDArray[np.int64]
    rows: NDArray[np.int64]
    on: NDArray[np.bool_]


def _lattice(x: NDArray[np.float64], y: NDArray[np.float64], *, shared: bool) -> _Lattice | None:
    """The lattice of the points; None if there is none.

    With ``shared`` it is found by the columns and rows that hold at least a tenth of what is usual: a point off the
    lattice has its column and its row for itself.
    """
    found = []
    on = np.ones(x.size, dtype=bool)
    for values, way in ((x, 1), (y, -1)):
        unique, count = np.unique(values, return_counts=True)
        if shared:
            unique = unique[10 * count >= np.median(np.repeat(count, count))]
        step = _step(unique)
        if step is None:
            return None
        first, size = float(unique[0 if way > 0 else -1]), round(float(unique[-1] - unique[0]) / step) + 1
        found.append((first, step, size, way * (values - first) / step))
    (x0, dx, width, cols), (y0, dy, height, rows) = found
    off = ON_GRID * max(1.0, width / 1000, height / 1000)
    for place, size in ((cols, width), (rows, height)):
        on &= (np.abs(place - np.rint(place)) <= off) & (place > -size) & (place < 2 * size)
    if width * height > 200 * x.size:
        return None
    return _Lattice(x0, y0, dx, dy, np.rint(cols).astype(np.int64), np.rint(rows).astype(np.int64), on)


def _twins(place: NDArray[np.int64], z: NDArray[np.float64]) -> tuple[NDArray[np.int64], float]:
    """Places on which points stand that tell different depths, and by how much at the most."""
    order = np.argsort(place, kind="stable")
    apart = np.abs(np.diff(z[order]))
    odd = (apart > TWINS) & (np.diff(place[order]) == 0)
    return np.unique(place[order][1:][odd]), float(apart[odd].max(initial=0.0))


def _step(values: NDArray[np.float64]) -> float | None:
    """Spacing of the different values, refined over their whole span; None if there is none."""
    unique = np.unique(values)
    if unique.size < 2:
        return None
    gaps = np.diff(unique)
    gaps = gaps[gaps > 0.01 * np.median(gaps)]  # rounding makes twins of one column
    rough = float(np.percentile(gaps, 10))
    count = round(float(unique[-1] - unique[0]) / rough)
    return float(unique[-1] - unique[0]) / count if count else None


def _write(target: Path, cells: NDArray[np.float64], transform: Affine, points: Points) -> None:
    profile = {
        "driver": "GTiff", "height": cells.shape[0], "width": cells.shape[1], "count": 1, "dtype": "float64",
        "nodata": float("nan"), "transform": transform, "compress": "deflate",
    }  # fmt: skip
    with keeping(target) as part, new_raster(target, part, profile) as out:
        out.write(cells, 1, RasterWindow(0, 0, cells.shape[1], cells.shape[0]))
        if points.note:
            out.dataset.update_tags(**{NOTE: points.note})
        if points.label:
            out.dataset.set_band_description(1, points.label)
            unit = next((u for u in re.split(r"[^a-z]+", points.label)[1:] if words.unit_metres(u)), "")
            if unit:
                out.dataset.set_band_unit(1, unit)
