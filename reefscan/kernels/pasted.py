"""Beside a patch of one single depth: water flattened after the survey, a hole filled with a number, a pasted area.

Where such a patch ends, natural ground begins with a step, which has the form of a ledge and is none. The patch is
like one cell of a coarse grid that its cells only repeat, and its width is told as that of such a cell.

Depths that are rounded have patches of one depth too (`reefscan.kernels.rounding`), and so have coarse grids on fine cells
(`reefscan.kernels.interval`) and invented seabeds with flat floors: there the ground around is made of other such patches, or comes in the
same steps, or the level is most of the ground. Around a pasted one it is none of these.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)

REACH = 32
"""Cells around a station over which the ground is looked at."""

NEAR = 12
"""Cells around a station in which the patch must begin: half of the widest common face, and its foot."""

LEAST_LEVEL = 25
"""Level cells of the patch near the station. A cell is level where its four neighbours hold the very same millimetre,
which noise of a few millimetres does to one cell in some thousands."""

OTHERS_LEVEL = 0.02
"""Most of the other cells that may be level: beyond it the whole ground is made of levels."""

LEAST_OTHERS = 200
"""Other cells that must be there to be judged."""

MOST_SHARE = 0.53
"""Most of the cells around that may hold the depth. Beside the straight side of a patch half do, give or take two cells; where more do, the level is the
ground itself and what stands on it, or is cut into it, is bounded and the level is not: an invented seabed, or one drawn level."""

LEAST_STEP_MM = 20
"""The other cells must differ by no whole steps of this or more: those would be rounded depths."""


@njit(cache=True, nogil=True)
def _level(elev: NDArray[np.int32], r: int, c: int) -> bool:
    e = elev[r, c]
    return bool(
        e != _NODATA
        and elev[r - 1, c] == e
        and elev[r + 1, c] == e
        and elev[r, c - 1] == e
        and elev[r, c + 1] == e
    )


@njit(cache=True, nogil=True)
def _width(elev: NDArray[np.int32], row: int, col: int, near: int, reach: int) -> float:
    """Width (cells) of the patch beside one station, 0 if there is none."""
    rows, cols = elev.shape
    # the depth that most level cells near by share: a majority vote, then a count
    depth, votes = np.int32(0), 0
    for r in range(max(1, row - near), min(rows - 1, row + near + 1)):
        for c in range(max(1, col - near), min(cols - 1, col + near + 1)):
            if elev[r, c] < 0 and _level(elev, r, c):
                if votes == 0:
                    depth = elev[r, c]
                votes += 1 if elev[r, c] == depth else -1
    if votes == 0:
        return 0.0
    here, same, others, level, step = 0, 0, 0, 0, 0
    for r in range(max(1, row - reach), min(rows - 1, row + reach + 1)):
        for c in range(max(1, col - reach), min(cols - 1, col + reach + 1)):
            e = elev[r, c]
            if e == _NODATA or e >= 0:
                continue
            if e == depth:
                same += 1
                if abs(r - row) <= near and abs(c - col) <= near and _level(elev, r, c):
                    here += 1
                continue
            others += 1
            if _level(elev, r, c):
                level += 1
            if step != 1:
                step = math.gcd(step, abs(int(e) - int(depth)))
    if here < LEAST_LEVEL or others < LEAST_OTHERS or level > OTHERS_LEVEL * others or step >= LEAST_STEP_MM:
        return 0.0
    if same > MOST_SHARE * (same + others):
        return 0.0
    return math.sqrt(same)


@njit(cache=True, nogil=True)
def pasted_width(
    elev_mm: NDArray[np.int32], rows: NDArray[np.int64], cols: NDArray[np.int64], near: int, reach: int
) -> NDArray[np.float64]:
    """Width of the patch of one single depth that each station stands beside.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Positive up; `NODATA_MM` unknown; only water counts.
    rows, cols : ndarray of int64, shape (n,)
        Stations, positions in the array.
    near, reach : int
        Cells around a station in which the patch must begin, and over which it and the ground are looked at.

    Returns
    -------
    width : ndarray of float64, shape (n,)
        Cells: the root of the number that hold the patch's depth within reach; 0 where there is no such patch.
    """
    out = np.zeros(rows.shape[0])
    for i in range(rows.shape[0]):
        out[i] = _width(elev_mm, rows[i], cols[i], near, reach)
    return out
