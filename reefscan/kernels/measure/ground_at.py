"""What the ground is like at one place: position index, ruggedness of a ring, relief of a disc, level of the floor.

A wide disc is summed from sums that run along the rows (`row_sums`) where many places share them: 2 us instead of 7 for 49 000 cells.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import inlined, kernel
from reefscan.kernels.measure.profiles import sample

_NODATA = np.int32(NODATA_MM)

SPACED = 8
"""Cells from one running sum that is kept to the next: an eighth of the memory, and few cells are left over at the ends of a line."""

COUNTED = 42
CELL = np.int64(1 << COUNTED)
"""One known cell, in a sum that counts them beside their elevations (mm): more than all the elevations of a row."""


class Whole(NamedTuple):
    """The array that a patch is cut from, its `row_sums`, and its cells before the patch's first row and column."""

    elev: NDArray[np.int32]
    sums: NDArray[np.int64]
    row: int
    col: int


@kernel
def row_sums(elev: NDArray[np.int32], wanted: bool) -> NDArray[np.int64]:
    """Of every row the sum (`CELL` for each known one, and mm) of the cells before each `SPACED`-th; without rows if it is not ``wanted``."""
    rows = elev.shape[0] if wanted else 0
    count = elev.shape[1] // SPACED + 1
    sums = np.zeros((rows, count), np.int64)
    for r in range(rows):
        before = np.int64(0)
        for k in range(1, count):
            for c in range((k - 1) * SPACED, k * SPACED):
                before += CELL + elev[r, c] if elev[r, c] != _NODATA else np.int64(0)
            sums[r, k] = before
    return sums


@inlined
def _before(elev: NDArray[np.int32], sums: NDArray[np.int64], r: int, col: int) -> int:
    """Sum of the cells of a row before a column, in `CELL` and mm."""
    c = np.uint64(col)
    kept = c // np.uint64(SPACED)
    both = sums[r, kept]
    for k in range(kept * np.uint64(SPACED), c):
        if elev[r, k] != _NODATA:
            both += CELL + elev[r, k]
    return both


@kernel
def _disc(
    elev: NDArray[np.int32], sums: NDArray[np.int64], row: int, col: int, radius: float
) -> tuple[int, int, int]:
    """Sum (mm, exact) and number of known cells within a radius, and number of cells in the whole disc."""
    total, known, size = np.int64(0), np.int64(0), 0
    reach = int(radius)
    rows, cols = elev.shape
    summed = sums.shape[0] > 0 and radius > 2 * SPACED
    for dr in range(-reach, reach + 1):
        half = int(math.sqrt(radius * radius - dr * dr) + 1e-9)
        size += 2 * half + 1
        r = row + dr
        if r < 0 or r >= rows:
            continue
        first, end = max(0, col - half), min(cols, col + half + 1)
        both = np.int64(0)
        if summed:
            both = _before(elev, sums, r, end) - _before(elev, sums, r, first)
        else:
            for c in range(np.uint64(first), np.uint64(end)):
                both += CELL + elev[r, c] if elev[r, c] != _NODATA else np.int64(0)
        count = (both + CELL // 2) >> COUNTED
        known += count
        total += both - count * CELL
    return int(total), int(known), size


@kernel
def position_index(
    elev: NDArray[np.int32], sums: NDArray[np.int64], row: int, col: int, inner: float, outer: float
) -> float:
    """Elevation (m) above the mean of a ring (radii in cells, both inclusive); NaN where half of it is unknown."""
    total, known, size = _disc(elev, sums, row, col, outer)
    inside, known_in, size_in = _disc(elev, sums, row, col, math.sqrt(max(0.0, inner * inner - 1e-6)))
    if math.floor(inner) != inner or inner >= 1.0:
        # cells strictly nearer than the inner radius are left out; those at it count
        total, known, size = total - inside, known - known_in, size - size_in
    if 2 * known < size or known == 0:
        return np.nan
    return (elev[row, col] - total / known) * 0.001


@kernel
def _ruggedness(elev: NDArray[np.int32], row: int, col: int, near: float, far: float, cell_m: float) -> float:
    """1 - mean unit normal of the cells between two radii (cells, both inclusive); NaN where none is known with its four neighbours."""
    rows, cols = elev.shape
    reach, one = int(far), np.uint64(1)
    x, y, z, n = 0.0, 0.0, 0.0, 0
    normals = np.empty((3, 2 * reach + 1))
    east, north, up = normals[0], normals[1], normals[2]
    for r in range(max(1, row - reach), min(rows - 1, row + reach + 1)):
        # of a row all normals at once, without a branch, then their sums in order: so they stay the same to the last bit
        away = float((r - row) ** 2)
        half = min(reach, int(math.sqrt(max(0.0, far * far - away))) + 1)
        first, end = max(1, col - half), min(cols - 1, col + half + 1)
        i, count = np.uint64(r), np.int32(0)
        for k in range(np.uint64(max(0, end - first))):
            j = np.uint64(first) + k
            a, b, d, e = elev[i - one, j], elev[i + one, j], elev[i, j - one], elev[i, j + one]
            p, q = 0.0005 * np.int32(e - d) / cell_m, 0.0005 * np.int32(a - b) / cell_m
            size = 1.0 / math.sqrt(1.0 + p * p + q * q)
            square = away + float(np.int32(first - col + np.int64(k))) ** 2
            known = min(min(min(a, b), min(d, e)), elev[i, j]) != _NODATA
            used = known & (near * near <= square) & (square <= far * far)
            east[k], north[k] = p * size if used else 0.0, q * size if used else 0.0
            up[k] = size if used else 0.0
            count = np.int32(count + np.int32(used))
        n += int(count)
        for k in range(np.uint64(max(0, end - first))):
            x += east[k]
            y += north[k]
            z += up[k]
    return max(0.0, 1.0 - math.sqrt(x * x + y * y + z * z) / n) if n > 0 else np.nan


@kernel
def ruggedness_and_relief(
    elev: NDArray[np.int32], row: int, col: int, near: float, far: float, relief_radius: float, cell_m: float
) -> tuple[float, float]:
    """Ruggedness (1 - mean unit normal) within a ring, and relief (m) within a disc; radii in cells, NaN unknown."""
    rows, cols = elev.shape
    low, high = np.int32(2**30), np.int32(-(2**30))
    square, reach = relief_radius * relief_radius, int(relief_radius)
    for r in range(max(1, row - reach), min(rows - 1, row + reach + 1)):
        # without a branch: with a radius of 500 cells it is nearly all of a scan's time
        half = int(math.sqrt(square - (r - row) ** 2))
        i = np.uint64(r)
        for c in range(np.uint64(max(1, col - half)), np.uint64(max(1, min(cols - 1, col + half + 1)))):
            there = elev[i, c]
            low = min(low, there if there != _NODATA else low)
            high = max(high, there if there != _NODATA else high)
    relief = (int(high) - int(low)) * 0.001 if high >= low else np.nan
    return _ruggedness(elev, row, col, near, far, cell_m), relief


@kernel
def floor_fit(elev: NDArray[np.int32], row: float, col: float, radius: float) -> tuple[float, float]:
    """Slope (m per cell) and RMS residual (m) of the plane fitted to the cells within a radius of a place, NaN over a gap.

    The place may lie between cells; at least a cell and a half around it count.
    """
    rows, cols = elev.shape
    radius = max(radius, 1.5)
    n, sx, sy, sz, sxx, syy, sxy, sxz, syz, szz = 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    size = 0
    here = elev[int(round(row)), int(round(col))]
    limit = radius * radius + 1e-9
    for r in range(math.ceil(row - radius), math.floor(row + radius) + 1):
        for c in range(math.ceil(col - radius), math.floor(col + radius) + 1):
            dr, dc = r - row, c - col
            if dr * dr + dc * dc > limit:
                continue
            size += 1
            if r < 0 or c < 0 or r >= rows or c >= cols or elev[r, c] == _NODATA:
                continue
            z = (elev[r, c] - here) * 0.001
            n += 1
            sx += dc
            sy += dr
            sz += z
            sxx += dc * dc
            syy += dr * dr
            sxy += dc * dr
            sxz += dc * z
            syz += dr * z
            szz += z * z
    if n < max(5, (3 * size) // 4):
        return np.nan, np.nan
    mx, my, mz = sx / n, sy / n, sz / n
    cxx, cyy, cxy = sxx / n - mx * mx, syy / n - my * my, sxy / n - mx * my
    cxz, cyz = sxz / n - mx * mz, syz / n - my * mz
    det = cxx * cyy - cxy * cxy
    if det < 1e-9:
        return np.nan, np.nan
    p, q = (cxz * cyy - cyz * cxy) / det, (cyz * cxx - cxz * cxy) / det
    residual = szz / n - mz * mz - p * cxz - q * cyz
    return math.hypot(p, q), math.sqrt(max(0.0, residual))


@kernel
def floor_level(
    elev: NDArray[np.int32], row: float, col: float, axis: float, step: float, narrow: bool
) -> float:
    """Elevation (m) of the floor at a place: the mean of nine readings ``step`` cells apart, so that one cell's noise does not tell
    the rope's length; along the axis only on a floor narrower than that, whose walls would make it shoal."""
    total, known = 0.0, 0
    for i in range(-1, 2):
        for j in range(-1, 2):
            if narrow and j != 0:
                continue
            if narrow:
                z = sample(elev, row - i * step * math.cos(axis), col + i * step * math.sin(axis))
            else:
                z = sample(elev, row + i * step, col + j * step)
            if z == z:
                total += z
                known += 1
    return total / known if known else np.nan
