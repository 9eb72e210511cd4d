"""Rock and floor around one station: which cells are steep, and how far a cell lies from the nearest of them."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)


@njit(cache=True, nogil=True)
def mark_rock(
    elev: NDArray[np.int32],
    top: int,
    left: int,
    steep: float,
    gap: NDArray[np.float64],
    line: NDArray[np.float64],
) -> None:
    """Squared distance (cells) of every cell of a window to the nearest rock of its own column, 1e8 for none.

    Rock is a cell whose slope over two cells passes ``steep`` (m per cell). ``gap`` is the square window whose first
    cell lies at ``top``, ``left``; ``line`` is scratch of its side. `rock_near` then looks along the rows.
    """
    rows, cols = elev.shape
    side = gap.shape[0]
    # the square decides, and the root (ten times as slow) only where rounding might
    sure_rock, sure_floor = steep * steep * (1.0 + 1e-9), steep * steep * (1.0 - 1e-9)
    for i in range(side):
        for j in range(side):
            gap[i, j] = 1e9
            r, c = top + i, left + j
            if r < 1 or c < 1 or r >= rows - 1 or c >= cols - 1:
                continue
            a, b, d, e = elev[r - 1, c], elev[r + 1, c], elev[r, c - 1], elev[r, c + 1]
            if min(min(a, b), min(d, e)) == _NODATA:
                continue
            p, q = 0.0005 * (a - b), 0.0005 * (d - e)
            square = p * p + q * q
            if square > sure_rock or (square > sure_floor and math.hypot(p, q) > steep):
                gap[i, j] = 0.0
    for j in range(side):
        last = -1.0e9
        for i in range(side):
            if gap[i, j] == 0.0:
                last = i
            line[i] = i - last
        last = 1.0e9
        for i in range(side - 1, -1, -1):
            if gap[i, j] == 0.0:
                last = i
            near = min(line[i], last - i)
            gap[i, j] = near * near if near < 1e4 else 1e8


@njit(cache=True, nogil=True)
def rock_near(gap: NDArray[np.float64], i: int, j: int, most: float) -> float:
    """Distance (cells) to the nearest rock, ``most`` where there is none nearer; ``gap`` is from `mark_rock`.

    Asked for the few cells that a net could lie on; a transform of the whole window takes as long as all else about a
    station.
    """
    side = gap.shape[1]
    best = min(gap[i, j], most * most + 1.0)
    k = 1
    while k * k < best and k < side:
        if j - k >= 0:
            best = min(best, gap[i, j - k] + k * k)
        if j + k < side:
            best = min(best, gap[i, j + k] + k * k)
        k += 1
    return min(math.sqrt(best), most)
