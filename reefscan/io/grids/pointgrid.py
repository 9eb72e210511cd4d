"""Text files of x, y, z whose points stand on a grid: put back on it, once, and kept.

Points in any order, any separator, with or without a heading, with gaps. Points that stand on
no grid are soundings and belong to ``reefscan grid``.
"""

from __future__ import annotations

import hashlib
import os
import re
from pathlib import Path

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.transform import Affine
from rasterio.windows import Window as RasterWindow

from reefscan.base.errors import InputError
from reefscan.io import words
from reefscan.io.cache import cache_folder, reader_rules
from reefscan.io.newraster import new_raster
from reefscan.io.pointtext import Points, read_points
from reefscan.io.whole import put_in_place

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
    facts = os.stat(path)
    key = f"{os.path.realpath(path)}|{facts.st_size}|{facts.st_mtime_ns}|{reader_rules()}"
    target = cache_folder() / f"points-{hashlib.sha256(os.fsencode(key)).hexdigest()[:24]}.tif"
    if target.exists():
        return str(target)
    points = read_points(path, name)
    good = np.isfinite(points.x) & np.isfinite(points.y)
    x, y, z = points.x[good], points.y[good], points.z[good]
    dx, dy = _step(x), _step(y)
    if dx is None or dy is None:
        raise InputError(
            f"{name}: its {x.size} points stand on no regular grid; if they are soundings, grid them first "
            "(reefscan grid)"
        )
    cols, rows = (x - x.min()) / dx, (y.max() - y) / dy
    off = max(float(np.abs(cols - np.rint(cols)).max()), float(np.abs(rows - np.rint(rows)).max()))
    width, height = round(float(cols.max())) + 1, round(float(rows.max())) + 1
    if off > ON_GRID * max(1.0, width / 1000, height / 1000) or width * height > 200 * x.size:
        raise InputError(
            f"{name}: its {x.size} points stand on no regular grid; if they are soundings, grid them first "
            "(reefscan grid)"
        )
    at = np.rint(rows).astype(np.int64) * width + np.rint(cols).astype(np.int64)
    _check_twins(at, z, name)
    cells = np.full((height, width), np.nan)
    cells.ravel()[at] = z
    transform = Affine(dx, 0, x.min() - dx / 2, 0, -dy, y.max() + dy / 2)
    _write(target, cells, transform, points)
    return str(target)


def notes_of(path: str) -> tuple[str, ...]:
    """Notes on the text that a grid of `grid_from_points` was made of."""
    with rasterio.open(path) as dataset:
        note = dataset.tags().get(NOTE, "")
    return (note,) if note else ()


def _check_twins(at: NDArray[np.int64], z: NDArray[np.float64], name: str) -> None:
    """Refuse points on one place that have different depths.

    Raises
    ------
    InputError
        Saying how many and how far apart.
    """
    order = np.argsort(at, kind="stable")
    same = np.diff(at[order]) == 0
    apart = np.abs(np.diff(z[order]))[same]
    odd = int((apart > TWINS).sum())
    if odd:
        raise InputError(
            f"{name}: {odd} of its points stand where another one does and differ from it (by up to {np.nanmax(apart):.4g}); "
            "keep one of each, or take them for soundings (reefscan grid)"
        )


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
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with put_in_place(target) as part, new_raster(target, part, profile) as out:
            out.write(cells, 1, RasterWindow(0, 0, cells.shape[1], cells.shape[0]))
            if points.note:
                out.dataset.update_tags(**{NOTE: points.note})
            if points.label:
                out.dataset.set_band_description(1, points.label)
                unit = next((u for u in re.split(r"[^a-z]+", points.label)[1:] if words.unit_metres(u)), "")
                if unit:
                    out.dataset.set_band_unit(1, unit)
    except OSError as error:
        raise InputError(
            f"{target.parent}: cannot be written ({error}); set REEFSCAN_CACHE to a folder that can"
        ) from error
