"""Ground that was drawn between tracks of soundings: rough along them, straight from one to the next.

What a survey of every cell leaves of noise bends the ground alike in every direction. Between tracks it bends along them, by the noise of
each sounding, and hardly across. So the least bend of all headings against the greatest tells the two apart, on fixed squares of the absolute lattice.
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

LAGS = (1, 2)
"""Lags (cells) of the second differences."""

HEADINGS = 16
"""Headings over half a turn: tracks lie at any bearing, and half a step off them a lag of two cells strays 0.2 cells."""

STEP = 4
"""Every fourth row and column is looked at."""

FEWEST = 40
"""Fewer known places say nothing."""

CLEARLY_ALIKE = 0.7
"""Every other heading first: where the bends at the longer lag are so much alike, the rest can only bring them a little further apart (surveyed
ground .65 to .9, drawn ground .06 to .37: planted seabeds, tuning seeds)."""


@kernel
def _bend(
    elev: NDArray[np.int32],
    r0: int,
    r1: int,
    c0: int,
    c1: int,
    lag: int,
    heading: float,
    out: NDArray[np.float64],
) -> float:
    """Median magnitude (mm) of the second difference at a lag in a direction, bilinear; NaN where too little is known."""
    dr, dc = -lag * math.cos(heading), lag * math.sin(heading)
    # whole cells and a fraction, the same for every place: so it is the same in every cut
    i, j = math.floor(dr), math.floor(dc)
    u, v = dr - i, dc - j
    n, reach = 0, lag + 1
    while r0 < reach:
        r0 += STEP
    while c0 < reach:
        c0 += STEP
    for r in range(r0, min(r1, elev.shape[0] - reach), STEP):
        for c in range(c0, min(c1, elev.shape[1] - reach), STEP):
            e = elev[r, c]
            if e >= 0 or e == _NODATA:
                continue  # land says nothing of the survey
            total, known = 0.0, True
            for side in range(2):
                s = 1 - 2 * side
                a, b = elev[r + s * i, c + s * j], elev[r + s * i, c + s * (j + 1)]
                d, f = elev[r + s * (i + 1), c + s * j], elev[r + s * (i + 1), c + s * (j + 1)]
                known &= min(min(a, b), min(d, f)) != _NODATA
                total += (a * (1.0 - v) + b * v) * (1.0 - u) + (d * (1.0 - v) + f * v) * u
            if known:
                out[n] = abs(total - 2.0 * e)
                n += 1
    return median(out[:n]) if n >= FEWEST else np.nan


@kernel
def _least_over_greatest(
    elev: NDArray[np.int32],
    r0: int,
    r1: int,
    c0: int,
    c1: int,
    lag: int,
    every: int,
    out: NDArray[np.float64],
) -> float:
    least, greatest = np.inf, 1.0  # mm: of what is rounded to whole millimetres less says nothing
    for k in range(0, HEADINGS, every):
        bend = _bend(elev, r0, r1, c0, c1, lag, math.pi * k / HEADINGS, out)
        if not bend == bend:
            return np.nan
        least, greatest = min(least, bend), max(greatest, bend)
    return max(1.0, least) / greatest


@kernel
def alike_squares(
    elev_mm: NDArray[np.int32], row0: int, col0: int, asked: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """How far the ground bends alike in every direction, on fixed squares of the absolute lattice.

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
    alike : ndarray of float64, shape (squares down, squares across, len(LAGS))
        Least over greatest bend of all headings at each lag, 0 to 1; NaN where too little is known or it need not be looked at further.
    """
    n_r, n_c = asked.shape
    out = np.full((n_r, n_c, len(LAGS)), np.nan)
    room = np.empty((SIDE // STEP + 1) ** 2)
    for br in range(n_r):
        for bc in range(n_c):
            if not asked[br, bc]:
                continue
            top, left = (row0 // SIDE + br) * SIDE - row0, (col0 // SIDE + bc) * SIDE - col0
            box = (top, top + SIDE, left, left + SIDE)
            if not _least_over_greatest(elev_mm, *box, LAGS[-1], 2, room) < CLEARLY_ALIKE:
                continue
            for k in range(len(LAGS)):
                out[br, bc, k] = _least_over_greatest(elev_mm, *box, LAGS[k], 1, room)
    return out
