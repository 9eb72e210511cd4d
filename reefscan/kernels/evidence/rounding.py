"""Depths that come in whole steps: rounded to metres, feet or fathoms, or terraced from contours.

Each border between two levels reads as a ledge one step high, wherever the slope runs. What is rounded shows as
flat patches whose levels lie whole steps apart; warped onto another lattice, the patches keep their levels
and only their borders are smeared. Found on fixed squares of the absolute lattice.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel
from reefscan.kernels.evidence.noise import square_span
from reefscan.kernels.order import put_in_order

_NODATA = np.int32(NODATA_MM)

STEPS = 1.5
"""Steps of the rounding that a height must have: rounding makes one of any slope, however gentle."""

LEVELS = 48
"""Most levels looked at in one square: more of them is true ground with flat spots."""

FLAT_SHARE = 0.2
"""Least share of the water's cells that lie in flat patches (a guess; a flat floor has one level and is none of this)."""

_TOLERANCE_MM = 2
"""A level may miss its place by the rounding to millimetres and that of the warp."""

_LEAST_MM = 20
"""Steps below 2 cm change no height that matters."""


@kernel
def _collect(
    elev: NDArray[np.int32], r0: int, r1: int, c0: int, c1: int, levels: NDArray[np.int32]
) -> tuple[int, int, int]:
    """Levels of the flat patches, their number (one more than fits if too many), flat cells and cells under water."""
    count, flat, water = 0, 0, 0
    for r in range(r0, r1, 2):
        for c in range(c0, c1, 2):
            e = elev[r, c]
            if e >= 0 or e == _NODATA:
                continue
            water += 1
            if elev[r - 1, c] != e or elev[r + 1, c] != e or elev[r, c - 1] != e or elev[r, c + 1] != e:
                continue
            flat += 1
            if count > levels.shape[0]:
                continue
            known = False
            for k in range(count):
                if levels[k] == e:
                    known = True
                    break
            if not known:
                if count < levels.shape[0]:
                    levels[count] = e
                count += 1
    return count, flat, water


@kernel
def each_once(levels: NDArray[np.int32]) -> NDArray[np.int32]:
    """Each level once, in ascending order."""
    ordered = levels.copy()
    put_in_order(ordered)
    n = 0
    for level in ordered:
        if n == 0 or level != ordered[n - 1]:
            ordered[n] = level
            n += 1
    return ordered[:n]


@kernel
def whole_step(levels: NDArray[np.int32]) -> float:
    """Step (mm) of which all levels are whole multiples apart; 0 if there is none or fewer than three levels."""
    ordered = each_once(levels)
    if ordered.size < 3:
        return 0.0
    least = ordered[1] - ordered[0]
    for k in range(2, ordered.size):
        least = min(least, ordered[k] - ordered[k - 1])
    span = ordered[-1] - ordered[0]
    if least < _LEAST_MM:
        return 0.0
    step = span / np.rint(span / least)
    for level in ordered:
        part = (level - ordered[0]) / step
        if abs(part - np.rint(part)) * step > _TOLERANCE_MM:
            return 0.0
    return float(step)


@kernel
def rounding_squares(
    elev_mm: NDArray[np.int32], row0: int, col0: int, asked: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Step (m) in which depths come around each fixed square: over it and the eight beside it.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
    row0, col0 : int
        Absolute lattice position of cell (0, 0).
    asked : ndarray of bool, shape (squares down, squares across)
        Squares that are looked at; a square is judged by those of the nine that are.

    Returns
    -------
    step_m : ndarray of float64, shape (squares down, squares across)
        0 where depths do not come in steps of 2 cm or more, or too few levels are seen to tell (three).
    """
    rows, cols = elev_mm.shape
    n_r, n_c = asked.shape
    levels = np.zeros((n_r, n_c, LEVELS), np.int32)
    count = np.zeros((n_r, n_c, 3), np.int64)
    for br in range(n_r):
        for bc in range(n_c):
            if not asked[br, bc]:
                continue
            r0, r1 = square_span(br, row0, rows)
            c0, c1 = square_span(bc, col0, cols)
            n, flat, water = _collect(elev_mm, r0, r1, c0, c1, levels[br, bc])
            count[br, bc, 0], count[br, bc, 1], count[br, bc, 2] = n, flat, water
    out = np.zeros((n_r, n_c))
    pool = np.empty(9 * LEVELS, np.int32)
    for br in range(n_r):
        for bc in range(n_c):
            if not asked[br, bc]:
                continue
            many, flat, water, size = False, 0, 0, 0
            for i in range(max(0, br - 1), min(n_r, br + 2)):
                for j in range(max(0, bc - 1), min(n_c, bc + 2)):
                    n = count[i, j, 0]
                    many |= n > LEVELS
                    flat += count[i, j, 1]
                    water += count[i, j, 2]
                    for k in range(min(n, LEVELS)):
                        pool[size + k] = levels[i, j, k]
                    size += min(n, LEVELS)
            if not many and flat > 0 and flat >= FLAT_SHARE * water:
                out[br, bc] = whole_step(pool[:size]) / 1000.0
    return out
