"""Whether a place is water that a boat can come to: not a pool that dry ground encloses, nor beside rock that is missing in the data.

Unknown is unknown: a boat is taken to pass it, unless all the ground that is known around it is dry, or climbs toward it so that it would be.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel

_NODATA = np.int32(NODATA_MM)

BAR_MM = -500
"""A hole in the data that ground no deeper than this encloses is no water (half a metre below the grid's zero, a guess)."""

DRY_MM = 0
"""Known ground that stands higher than the grid's zero bars the way. Shallow water does not: at half a metre a real reef flat on 10 m cells,
which boats cross, lost its edge."""

OUT_M = 100.0
"""Water from which a boat gets so far away is no pool (a guess: within it lies any gap between rocks that a net is set in)."""

OUT_CELLS = 4
"""So many cells at the least."""

LOOK_M = 60.0
"""How far from an unknown cell known ground is looked for, `OUT_CELLS` at the least."""

HEADINGS = ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (-1, 1), (1, -1))
"""Rows and columns of a step; the straight ones first, as fewer cells must be looked at for them."""

FEWEST = 3
"""Of eight headings so many must meet known ground: beside a straight shore three do."""


@kernel
def cells_of(length_m: float, cell_m: float) -> int:
    """A length in cells, `OUT_CELLS` at the least."""
    return max(OUT_CELLS, int(length_m / cell_m + 0.5))


def reach_of(cell_m: float) -> int:
    """Cells around a place on which it depends whether it is open water."""
    plain = getattr(cells_of, "py_func", cells_of)  # asked before kernels are loaded
    return int(plain(OUT_M, cell_m) + 2 * plain(LOOK_M, cell_m))


@kernel
def is_dry(elev: NDArray[np.int32], row: int, col: int, cell_m: float) -> bool:
    """True for an unknown cell around which all known ground is dry, or would be if it climbed on toward the cell as it does so far.

    In eight headings the first known cell counts, with the one twice as far away for its climb.
    """
    rows, cols = elev.shape
    met, most = 0, cells_of(LOOK_M, cell_m)
    for i in range(-1, 2):
        for j in range(-1, 2):
            if i == 0 and j == 0:
                continue
            for k in range(1, most + 1):
                r, c = row + k * i, col + k * j
                if r < 0 or c < 0 or r >= rows or c >= cols:
                    break
                if elev[r, c] == _NODATA:
                    continue
                met += 1
                first, there = np.int64(elev[r, c]), np.int64(elev[r, c])
                r, c = r + k * i, c + k * j
                if 0 <= r < rows and 0 <= c < cols and elev[r, c] != _NODATA:
                    there = 2 * first - elev[r, c]
                if max(first, there) < BAR_MM:
                    return False
                break
    return met >= FEWEST


@kernel
def _lets_pass(elev: NDArray[np.int32], row: int, col: int, cell_m: float) -> bool:
    if elev[row, col] == _NODATA:
        return not is_dry(elev, row, col, cell_m)
    return bool(elev[row, col] < DRY_MM)


@kernel
def open_water(elev: NDArray[np.int32], row: int, col: int, cell_m: float) -> bool:
    """True if a boat gets `OUT_M` away from a cell without crossing dry ground; beyond the array nothing is known to bar it.

    Parameters
    ----------
    elev : ndarray of int32, shape (rows, cols)
        Millimetres, positive up, `NODATA_MM` unknown.
    row, col : int
        A cell of the array.
    cell_m : float

    Notes
    -----
    Straight out in one of eight headings nearly always does; else all that can be reached is filled, cells that touch by a side.
    """
    rows, cols = elev.shape
    most = cells_of(OUT_M, cell_m)
    if not _lets_pass(elev, row, col, cell_m):
        return False
    for i, j in HEADINGS:
        slanted = i != 0 and j != 0
        for k in range(1, most + 1):
            r, c = row + k * i, col + k * j
            if r < 0 or c < 0 or r >= rows or c >= cols:
                return True
            # a slanted step passes between two cells: one of them must be water too
            if not _lets_pass(elev, r, c, cell_m) or (
                slanted and not _lets_pass(elev, r - i, c, cell_m) and not _lets_pass(elev, r, c - j, cell_m)
            ):
                break
            if k == most:
                return True
    side = 2 * most + 1
    seen = np.zeros((side, side), np.bool_)
    waiting, n = np.empty(side * side, np.int64), 1
    waiting[0] = most * side + most
    seen[most, most] = True
    while n > 0:
        n -= 1
        dr, dc = waiting[n] // side - most, waiting[n] % side - most
        if max(abs(dr), abs(dc)) == most:
            return True
        for way in range(4):
            a, b = (1 - 2 * (way % 2), 0) if way < 2 else (0, 1 - 2 * (way % 2))
            r, c = row + dr + a, col + dc + b
            if r < 0 or c < 0 or r >= rows or c >= cols:
                return True
            if not seen[most + dr + a, most + dc + b] and _lets_pass(elev, r, c, cell_m):
                seen[most + dr + a, most + dc + b] = True
                waiting[n] = (most + dr + a) * side + most + dc + b
                n += 1
    return False
