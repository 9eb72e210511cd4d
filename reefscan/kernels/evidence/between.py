"""Ground that was drawn between tracks of soundings: rough along them, straight from one to the next.

Between tracks the ground bends along them, by the noise of each sounding, and hardly across. Ridges and strata bend hardly along
themselves too; but there each cell has a noise of its own, so that the ground bends up and down in turn, where what was drawn goes on bending the
same way or not at all. So two things tell them apart, on fixed squares of the absolute lattice: the least bend of all headings
against the greatest, and how often the bend changes its sign from one cell to the next along the heading of the least. Of white noise
1/2 + asin(2/3) / pi = .73 do, since one bend and the next have a correlation of -2/3; of ground alike at every scale .67 with a Hurst
exponent of .5 and .59 with one of .9.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel
from reefscan.kernels.evidence.noise import SIDE
from reefscan.kernels.order import median

_NODATA = np.int32(NODATA_MM)

HEADINGS = 16
"""Headings over half a turn: tracks lie at any bearing."""

STEP = 4
"""Every fourth row and column is looked at for how much the ground bends; every second for how often."""

FEWEST = 40
"""Fewer known places say nothing."""

CLEARLY_ALIKE = 0.7
"""Every other heading first: where the bends are so much alike, the rest can only bring them a little further apart."""

_NONE_MM = 2.0
"""A bend up to here may be the rounding to whole millimetres."""


@kernel
def _bend(elev: NDArray[np.int32], r: int, c: int, heading: float) -> float:
    """Second difference (mm) from cell to cell in a direction, bilinear; NaN on land or where a cell of it is unknown."""
    e = elev[r, c]
    if e >= 0 or e == _NODATA:
        return np.nan  # land says nothing of the survey
    dr, dc = -math.cos(heading), math.sin(heading)
    # whole cells and a fraction, the same for every place: so it is the same in every cut
    i, j = math.floor(dr), math.floor(dc)
    u, v = dr - i, dc - j
    total = -2.0 * e
    for s in (1, -1):
        a, b = elev[r + s * i, c + s * j], elev[r + s * i, c + s * (j + 1)]
        d, f = elev[r + s * (i + 1), c + s * j], elev[r + s * (i + 1), c + s * (j + 1)]
        if min(min(a, b), min(d, f)) == _NODATA:
            return np.nan
        total += (a * (1.0 - v) + b * v) * (1.0 - u) + (d * (1.0 - v) + f * v) * u
    return total


@kernel
def _inside(
    box: tuple[int, int, int, int], shape: tuple[int, int], step: int, reach: int
) -> tuple[int, int, int, int]:
    """The box without what lies nearer than ``reach`` to the rim, on the same rows and columns of the lattice."""
    r0, r1, c0, c1 = box
    r0 += step * max(0, -((r0 - reach) // step))
    c0 += step * max(0, -((c0 - reach) // step))
    return r0, min(r1, shape[0] - reach), c0, min(c1, shape[1] - reach)


@kernel
def _magnitude(
    elev: NDArray[np.int32], box: tuple[int, int, int, int], heading: float, out: NDArray[np.float64]
) -> float:
    """Median magnitude (mm) of the bend in a direction; NaN where too little is known."""
    r0, r1, c0, c1 = _inside(box, elev.shape, STEP, 2)
    n = 0
    for r in range(r0, r1, STEP):
        for c in range(c0, c1, STEP):
            bend = _bend(elev, r, c, heading)
            if bend == bend:
                out[n] = abs(bend)
                n += 1
    return median(out[:n]) if n >= FEWEST else np.nan


@kernel
def _changes(elev: NDArray[np.int32], box: tuple[int, int, int, int], heading: float) -> float:
    """Share of places where the bend has another sign at the next cell in a direction.

    Both are told about a whole cell: a bilinear middle is smoother than its cells, and would make signs change by itself.
    """
    i, j = math.floor(0.5 - math.cos(heading)), math.floor(0.5 + math.sin(heading))
    r0, r1, c0, c1 = _inside(box, elev.shape, 2, 3)
    n, changes = 0, 0
    for r in range(r0, r1, 2):
        for c in range(c0, c1, 2):
            here, then = _bend(elev, r, c, heading), _bend(elev, r + i, c + j, heading)
            if here + then == here + then:
                n += 1
                changes += here * then < 0.0 and min(abs(here), abs(then)) > _NONE_MM
    return changes / n if n >= FEWEST else np.nan


@kernel
def _square(
    elev: NDArray[np.int32], box: tuple[int, int, int, int], room: NDArray[np.float64]
) -> tuple[float, float]:
    """Least over greatest bend of all headings, and the share of changes along that of the least; NaN as `between_squares` says."""
    least, greatest, along = np.inf, 1.0, 0.0  # mm: of what is rounded to whole millimetres less says nothing
    for first in range(2):
        for k in range(first, HEADINGS, 2):
            bend = _magnitude(elev, box, math.pi * k / HEADINGS, room)
            if not bend == bend:
                return np.nan, np.nan
            if bend < least:
                least, along = bend, math.pi * k / HEADINGS
            greatest = max(greatest, bend)
        if max(1.0, least) / greatest >= CLEARLY_ALIKE:
            return np.nan, np.nan
    return max(1.0, least) / greatest, _changes(elev, box, along)


@kernel
def between_squares(
    elev_mm: NDArray[np.int32], row0: int, col0: int, asked: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """How far the ground bends alike in every direction, and how often up and down in turn, on fixed squares of the absolute lattice.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Positive up; only water counts.
    row0, col0 : int
        Absolute lattice position of cell (0, 0).
    asked : ndarray of bool, shape (squares down, squares across)
        Squares that are looked at; the others are left NaN.

    Returns
    -------
    between : ndarray of float64, shape (squares down, squares across, 2)
        Least over greatest bend of all headings, 0 to 1, and the share of places where the bend changes its sign one cell on along the
        heading of the least; NaN where too little is known or the bends are clearly alike.
    """
    n_r, n_c = asked.shape
    out = np.full((n_r, n_c, 2), np.nan)
    room = np.empty((SIDE // STEP + 1) ** 2)
    for br in range(n_r):
        for bc in range(n_c):
            if asked[br, bc]:
                top, left = (row0 // SIDE + br) * SIDE - row0, (col0 // SIDE + bc) * SIDE - col0
                out[br, bc] = _square(elev_mm, (top, top + SIDE, left, left + SIDE), room)
    return out
