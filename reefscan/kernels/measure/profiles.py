"""Profiles through a point of the grid, and what noise does to a reading.

Bilinear, one sample a cell, each the mean of parallel lines spread along the structure: noise falls with
the root of their number while the shape across is untouched. Positions are in cells of the given array
(row downward), angles in radians: the direction of angle t is (row, col) = (-cos t, sin t), t = 0
northward, clockwise, like a compass.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel

_NODATA = np.int32(NODATA_MM)

WIDE = 32
"""Numbers that compiled code takes together: what is left over it takes one by one."""

LINES = (3, 9)
"""Fewest and most parallel lines of a profile."""

FEWEST = np.int64(LINES[0])
"""Of that type: for a plain number in a call its function is compiled once more."""

ALONG_M = 8.0
"""Length along the structure over which they lie, or one cell: noise falls to a third on cells of 2 m, and the same seabed surveyed anew
tells the same height; a pile that fills one cell of 10 m is not averaged with the cells beside it."""


@kernel
def sample(elev: NDArray[np.int32], r: float, c: float) -> float:
    """Bilinear elevation (m), NaN beyond the array or where an unknown cell has a share in it."""
    rows, cols = elev.shape
    if not (r >= 0.0 and c >= 0.0 and r <= rows - 1 and c <= cols - 1):
        return np.nan
    return _between(elev, min(int(r), rows - 2), min(int(c), cols - 2), r, c)


@kernel
def sample_inside(elev: NDArray[np.int32], r: float, c: float) -> float:
    """As `sample`, of a place that is known to lie `inside`."""
    return _between(elev, int(r), int(c), r, c)


@kernel
def inside(
    elev: NDArray[np.int32], row: float, col: float, angle: float, along: float, across: float
) -> bool:
    """True if all places up to so many cells along a heading and across it lie inside the array, by a cell at the least."""
    s, c = abs(math.sin(angle)), abs(math.cos(angle))
    high, wide = c * along + s * across, s * along + c * across
    rows, cols = elev.shape
    return row - high >= 1.0 and col - wide >= 1.0 and row + high < rows - 2.0 and col + wide < cols - 2.0


@kernel
def _between(elev: NDArray[np.int32], i: int, j: int, r: float, c: float) -> float:
    """Elevation (m) at a place by the cell ``i, j`` up and left of it and the three beside that."""
    u, v = r - i, c - j
    top, left = np.uint64(i), np.uint64(j)  # an index without a sign needs no look at the array's other end
    below, right = np.uint64(i + 1), np.uint64(j + 1)
    a, b, d, e = elev[top, left], elev[top, right], elev[below, left], elev[below, right]
    if min(min(a, b), min(d, e)) == _NODATA:
        if (a == _NODATA and u < 1.0 and v < 1.0) or (b == _NODATA and u < 1.0 and v > 0.0):
            return np.nan
        if (d == _NODATA and u > 0.0 and v < 1.0) or (e == _NODATA and u > 0.0 and v > 0.0):
            return np.nan
    return ((a * (1.0 - v) + b * v) * (1.0 - u) + (d * (1.0 - v) + e * v) * u) * 0.001


@kernel
def profile(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    angle: float,
    reach: int,
    lines: int,
    gap: float,
    out: NDArray[np.float64],
) -> None:
    """Mean profile along ``angle`` through a point: ``out[k]`` lies ``k - reach`` cells on.

    ``lines`` parallel lines, ``gap`` cells apart, spread across the profile; NaN where fewer than half
    of them are known.
    """
    dr, dc = -math.cos(angle), math.sin(angle)
    half = lines // 2
    if inside(elev, row, col, angle, float(reach), half * gap):
        _mean_of_lines(elev, row, col, dr, dc, reach, half, gap, out)
        return
    for k in range(2 * reach + 1):
        s = k - reach
        total, known = 0.0, 0
        for line in range(-half, half + 1):
            z = sample(elev, row + s * dr - line * gap * dc, col + s * dc + line * gap * dr)
            if z == z:
                total += z
                known += 1
        out[k] = total / known if 2 * known > lines else np.nan


@kernel
def _mean_of_lines(
    elev: NDArray[np.int32], row: float, col: float, dr: float, dc: float, reach: int, half: int, gap: float,
    out: NDArray[np.float64],
) -> None:  # fmt: skip
    """As `profile` of ``2 * half + 1`` lines, all of them `inside`: in loops without a branch, so that many samples are taken at once.

    Only the four cells around each are fetched one by one.
    """
    n, wide = 2 * reach + 1, WIDE * (2 * reach // WIDE + 1)
    places, parts, cells = np.empty((4, wide)), np.empty((2, wide)), np.empty((6, wide), np.int32)
    rows, cols, total, known = places[0], places[1], places[2], places[3]
    u, v, top, left = parts[0], parts[1], cells[0], cells[1]
    a, b, d, e = cells[2], cells[3], cells[4], cells[5]
    for k in range(wide):
        s = float(k - reach)
        rows[k], cols[k], total[k], known[k] = row + s * dr, col + s * dc, 0.0, 0.0
    for line in range(-half, half + 1):
        aside_r, aside_c = line * gap * dc, line * gap * dr
        for k in range(wide):
            r, c = rows[k] - aside_r, cols[k] + aside_c
            top[k], left[k] = np.int32(r), np.int32(c)
            u[k], v[k] = r - top[k], c - left[k]
        for k in range(n):
            i, j = np.uint32(top[k]), np.uint32(left[k])
            below, right = np.uint32(top[k] + np.int32(1)), np.uint32(left[k] + np.int32(1))
            a[k], b[k], d[k], e[k] = elev[i, j], elev[i, right], elev[below, j], elev[below, right]
        for k in range(wide):
            z = (a[k] * (1.0 - v[k]) + b[k] * v[k]) * (1.0 - u[k]) + (d[k] * (1.0 - v[k]) + e[k] * v[k]) * u[
                k
            ]
            # of cells at a sample's own row or column the next ones have no share in it
            lost = (
                (a[k] == _NODATA)
                | ((b[k] == _NODATA) & (v[k] > 0.0))
                | ((d[k] == _NODATA) & (u[k] > 0.0))
                | ((e[k] == _NODATA) & (u[k] > 0.0) & (v[k] > 0.0))
            )
            total[k] += 0.0 if lost else z * 0.001
            known[k] += 0.0 if lost else 1.0
    for k in range(n):
        out[k] = total[k] / known[k] if known[k] > half else np.nan


@kernel
def few_apart(cell_m: float) -> float:
    """Cells between two lines where there are only `FEWEST`: one, or less, to half a cell, where they would lie over more than `ALONG_M`."""
    return max(0.5, min(1.0, 0.5 * ALONG_M / cell_m))


@kernel
def spread_of_lines(cell_m: float) -> tuple[int, float]:
    """Number of parallel lines of a profile, and cells between two of them: 2 m or one cell, or less where three would lie over
    more than `ALONG_M`."""
    gap = max(few_apart(cell_m), 2.0 / cell_m)
    lines = 2 * int(0.5 * ALONG_M / (gap * cell_m) + 0.5) + 1
    return min(max(lines, LINES[0]), LINES[1]), gap


@kernel
def bias(count: float) -> float:
    """Expected maximum of ``count`` standard normal values (a fit, within 0.06 up to 64)."""
    return 0.0 if count <= 1.0 else 0.56 * math.log2(count) ** 0.85
