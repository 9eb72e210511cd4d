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
from rasterio.transform import Affine

from reefscan.errors import InputError, UnreadableError

ON_GRID = 0.02
"""A point may stand this part of a cell off its place (rounded coordinates do)."""


def grid_from_points(path: str, name: str) -> str:
    """Return the path of a GeoTIFF that holds the points of a text file as cells.

    Raises
    ------
    UnreadableError
        If the file is no table of three numbers a line.
    InputError
        If its points do not stand on a grid.
    """
    from reefscan.io.folder import cache_folder

    told = os.stat(path)
    key = f"{os.path.realpath(path)}|{told.st_size}|{told.st_mtime_ns}|1"
    target = cache_folder() / f"points-{hashlib.sha256(key.encode()).hexdigest()[:24]}.tif"
    if target.exists():
        return str(target)
    x, y, z = _columns(path, name)
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
    cells = np.full((height, width), np.nan)
    cells[np.rint(rows).astype(np.int64), np.rint(cols).astype(np.int64)] = z
    transform = Affine(dx, 0, x.min() - dx / 2, 0, -dy, y.max() + dy / 2)
    _write(target, cells, transform)
    return str(target)


def _columns(path: str, name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    with open(path, encoding="utf-8", errors="replace") as lines:
        head = [line for _, line in zip(range(20), lines, strict=False)]
    first = next((i for i, line in enumerate(head) if len(_numbers(line)) >= 3), None)
    if first is None:
        raise UnreadableError(f"{name}: not a table of x, y, z: no line among the first 20 has three numbers")
    line = head[first]
    mark = next((m for m in (";", "\t", ",") if m in line), None)
    try:
        table = np.loadtxt(
            path, delimiter=mark, skiprows=first, usecols=(0, 1, 2), ndmin=2, encoding="utf-8", comments="#"
        )
    except ValueError as error:
        raise UnreadableError(f"{name}: not a table of x, y, z ({' '.join(str(error).split())})") from error
    good = np.isfinite(table[:, :2]).all(axis=1)
    return table[good, 0], table[good, 1], table[good, 2]


def _numbers(line: str) -> list[float]:
    out = []
    for part in re.split(r"[,;\s]+", line.strip()):
        try:
            out.append(float(part))
        except ValueError:
            return []
    return out


def _step(values: np.ndarray) -> float | None:
    """Spacing of the different values, refined over their whole span; None if there is none."""
    unique = np.unique(values)
    if unique.size < 2:
        return None
    gaps = np.diff(unique)
    gaps = gaps[gaps > 0.01 * np.median(gaps)]  # rounding makes twins of one column
    rough = float(np.percentile(gaps, 10))
    count = round(float(unique[-1] - unique[0]) / rough)
    return float(unique[-1] - unique[0]) / count if count else None


def _write(target: Path, cells: np.ndarray, transform: Affine) -> None:
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        part = target.with_name(f"{target.stem}-{os.getpid()}.tif")
        with rasterio.open(
            part,
            "w",
            driver="GTiff",
            height=cells.shape[0],
            width=cells.shape[1],
            count=1,
            dtype="float64",
            nodata=float("nan"),
            transform=transform,
            compress="deflate",
        ) as out:
            out.write(cells, 1)
        os.replace(part, target)
    except OSError as error:
        raise InputError(
            f"{target.parent}: cannot be written ({error}); set REEFSCAN_CACHE to a folder that can"
        ) from error
