"""What the cells of small squares can reach at the most, from their highest and lowest cells alone.

For each direction of a ray the squares that it can touch bound what it can climb or fall; the bound is never below
the field that `structure` defines.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels.structure import AXES, BLOCK_ROWS
from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)
_NONE_LOW = np.int32(2**31 - 1)

SQUARE = 8
"""Side of the squares whose highest and lowest cell are taken: at 16 ten times as many squares are left on
rough ground, at 4 the bounds cost more than they save. Doubled for reaches beyond 8 squares."""


def square_side(reach_cells: float) -> int:
    """Side of the squares for a reach: a ray touches some ten of them, whatever its length."""
    side = SQUARE
    while reach_cells > 8 * side and side < BLOCK_ROWS:
        side *= 2
    return side


def touched(steps: NDArray[np.int64], side: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Squares (rows, columns away) that the rays from any cell of a square can touch.

    Parameters
    ----------
    steps : ndarray of int64, shape (8,)
        Steps along each of `AXES`.
    side : int

    Returns
    -------
    offsets : ndarray of int64, shape (16, most, 2)
        For each axis its forward and its backward ray; the square itself is among them.
    counts : ndarray of int64, shape (16,)
    """
    sets = []
    for (dr, dc), n in zip(AXES.tolist(), steps.tolist(), strict=True):
        places = [(k * dr, k * dc) for k in range(n + 1)]
        if 2 in (abs(dr), abs(dc)):  # cells beside the middle of a knight's move
            mids = [(0, dc // 2), (1, dc // 2)] if abs(dc) == 2 else [(1, 0), (1, dc)]
            places += [(k * dr + m, k * dc + o) for k in range(n + 1) for m, o in mids]
        for sign in (1, -1):
            reached = {(0, 0)}
            for y, x in places:
                for a in (0, side - 1):
                    for b in (0, side - 1):
                        reached.add(((a + sign * y) // side, (b + sign * x) // side))
            sets.append(sorted(reached))
    offsets = np.zeros((len(sets), max(map(len, sets)), 2), np.int64)
    for i, reached_list in enumerate(sets):
        offsets[i, : len(reached_list)] = reached_list
    return offsets, np.array([len(s) for s in sets], dtype=np.int64)


@njit(cache=True, nogil=True)
def extremes(
    elev: NDArray[np.int32],
    first: int,
    side: int,
    low_mm: int,
    high_mm: int,
    top: NDArray[np.int32],
    floor: NDArray[np.int32],
    band_top: NDArray[np.int32],
    band_floor: NDArray[np.int32],
) -> None:
    """Highest and lowest known cell of every square, and of its cells in the band.

    Square (0, 0) starts at cell (``first``, ``first``), which may lie before the array.
    """
    rows, cols = elev.shape
    low, high = np.int32(low_mm), np.int32(high_mm)
    a, b = np.empty(cols, np.int32), np.empty(cols, np.int32)
    c, d = np.empty(cols, np.int32), np.empty(cols, np.int32)
    for i in range(top.shape[0]):
        a[:] = _NODATA
        b[:] = _NONE_LOW
        c[:] = _NODATA
        d[:] = _NONE_LOW
        for r in range(max(0, first + i * side), min(rows, first + (i + 1) * side)):
            line = elev[r]
            for k in range(cols):
                z = line[k]
                a[k] = max(a[k], z)
                b[k] = min(b[k], z if z != _NODATA else _NONE_LOW)
                inside = (z >= low) & (z <= high)
                c[k] = max(c[k], z if inside else _NODATA)
                d[k] = min(d[k], z if inside else _NONE_LOW)
        for j in range(top.shape[1]):
            t, f, bt, bf = _NODATA, _NONE_LOW, _NODATA, _NONE_LOW
            for k in range(max(0, first + j * side), min(cols, first + (j + 1) * side)):
                t, f = max(t, a[k]), min(f, b[k])
                bt, bf = max(bt, c[k]), min(bf, d[k])
            top[i, j], floor[i, j], band_top[i, j], band_floor[i, j] = t, f, bt, bf


@njit(cache=True, nogil=True)
def bound(
    top: NDArray[np.int32],
    floor: NDArray[np.int32],
    row: int,
    pad: int,
    trough_offsets: NDArray[np.int64],
    trough_counts: NDArray[np.int64],
    rise_offsets: NDArray[np.int64],
    rise_counts: NDArray[np.int64],
    near: int,
    climb: NDArray[np.int32],
    sink: NDArray[np.int32],
    span: NDArray[np.int32],
) -> None:
    """What the cells of a row of squares can reach at the most.

    ``climb`` : for each axis, top of the lower of its two climbs. ``sink`` : the highest, over all rays, of the
    lowest ground on it. ``span`` : highest less lowest ground of the squares around.
    """
    n = sink.shape[0]
    reach, other = np.empty(n, np.int32), np.empty(n, np.int32)
    for ray in range(trough_counts.shape[0]):
        reach[:] = _NODATA
        for k in range(trough_counts[ray]):
            x = pad + trough_offsets[ray, k, 1]
            line = top[row + trough_offsets[ray, k, 0], x : x + n]
            for j in range(n):
                reach[j] = max(reach[j], line[j])
        axis = climb[ray // 2]
        for j in range(n):
            axis[j] = reach[j] if ray % 2 == 0 else min(axis[j], reach[j])
    sink[:] = _NODATA
    for ray in range(rise_counts.shape[0]):
        reach[:] = _NONE_LOW
        for k in range(rise_counts[ray]):
            x = pad + rise_offsets[ray, k, 1]
            line = floor[row + rise_offsets[ray, k, 0], x : x + n]
            for j in range(n):
                reach[j] = min(reach[j], line[j])
        for j in range(n):
            sink[j] = max(sink[j], reach[j])
    reach[:] = _NODATA
    other[:] = _NONE_LOW
    for dy in range(-near, near + 1):
        for dx in range(-near, near + 1):
            high, low = top[row + dy, pad + dx : pad + dx + n], floor[row + dy, pad + dx : pad + dx + n]
            for j in range(n):
                reach[j] = max(reach[j], high[j])
                other[j] = min(other[j], low[j])
    for j in range(n):
        span[j] = np.int32(reach[j] - other[j]) if reach[j] != _NODATA else np.int32(0)
