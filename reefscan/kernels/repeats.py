"""Does the ground repeat itself across a station? A train of waves is like itself one spacing on; a lone ledge or gully is not.

Read off the section across each station, at the grid's own resolution: no other station is needed, so the last face of a train
is known as well as its middle.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels import station_columns as station
from reefscan.kernels.profiles import profile

REACH_M = 90.0
"""Section to either side. Three spacings of 60 m fit; most longer waves have sides so gentle that they are swales (of 2.5 m every 70 m they have not: those are not told)."""

REACH_CELLS = 100
"""And no longer than this, on cells under a metre."""

LINES, GAP_M = 3, 2.0
"""Parallel lines of the section, and how far apart: crests wind, so few and near."""

FIELDS = ("repeats", "spacing_m")
"""Columns of `repetition`; see its docstring."""


def reach_cells(cell_m: float) -> int:
    """Half the section's length in cells."""
    return max(8, min(REACH_CELLS, int(REACH_M / cell_m)))


def repeats_halo(cell_m: float) -> int:
    """Cells around a (recentred) station that `repetition` depends on."""
    return reach_cells(cell_m) + math.ceil(GAP_M / cell_m) + 3


@njit(cache=True, nogil=True)
def _level(p: NDArray[np.float64], reach: int) -> bool:
    """Take the parabola that fits best out of a section (in place): slope and bend of the ground are no waves.

    Normal equations in u = k / reach, by Cramer's rule; false where less than six tenths are known.
    """
    s0, s1, s2, s3, s4, t0, t1, t2 = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for k in range(p.shape[0]):
        z = p[k]
        if z == z:
            u = (k - reach) / reach
            s0 += 1.0
            s1 += u
            s2 += u * u
            s3 += u * u * u
            s4 += u * u * u * u
            t0 += z
            t1 += z * u
            t2 += z * u * u
    if s0 < 1.2 * reach:
        return False
    det = s0 * (s2 * s4 - s3 * s3) - s1 * (s1 * s4 - s3 * s2) + s2 * (s1 * s3 - s2 * s2)
    if det <= 0.0:
        return False
    a = (t0 * (s2 * s4 - s3 * s3) - s1 * (t1 * s4 - s3 * t2) + s2 * (t1 * s3 - s2 * t2)) / det
    b = (s0 * (t1 * s4 - s3 * t2) - t0 * (s1 * s4 - s3 * s2) + s2 * (s1 * t2 - t1 * s2)) / det
    c = (s0 * (s2 * t2 - t1 * s3) - s1 * (s1 * t2 - t1 * s2) + t0 * (s1 * s3 - s2 * s2)) / det
    for k in range(p.shape[0]):
        u = (k - reach) / reach
        p[k] -= a + b * u + c * u * u
    return True


@njit(cache=True, nogil=True)
def _likeness(p: NDArray[np.float64], lag: int) -> float:
    """Correlation of a levelled section with itself ``lag`` cells on, over the cells known at both ends."""
    xy, xx, yy = 0.0, 0.0, 0.0
    for k in range(p.shape[0] - lag):
        a, b = p[k], p[k + lag]
        if a == a and b == b:
            xy += a * b
            xx += a * a
            yy += b * b
    return xy / math.sqrt(xx * yy) if xx > 0.0 and yy > 0.0 else 0.0


@njit(cache=True, nogil=True)
def repetition(
    elev_mm: NDArray[np.int32], found: NDArray[np.float64], cell_m: float, reach: int
) -> NDArray[np.float64]:
    """How much the ground repeats itself across stations.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
    found : ndarray of float64, shape (n, fields)
        Rows of `reefscan.kernels.measure.measure_stations`; the section runs along ``facing``, none gives NaN (rises).
    cell_m : float
    reach : int
        `reach_cells`.

    Returns
    -------
    ndarray of float64, shape (n, 2)
        `FIELDS`: 0 to 1, the lesser of how like the section is to itself one spacing on and twice how unlike half a spacing on (1 and 2
        for a sine, 1 and 1 for a sawtooth, of which at share t of its spacing 1 - 6 t (1 - t) is left); and that spacing, metres. 0 and NaN where it does not come back within two thirds of ``reach`` (so that three spacings fit);
        NaN twice where the section is not known.
    """
    n = found.shape[0]
    out = np.full((n, 2), np.nan)
    gap = max(1.0, GAP_M / cell_m)
    half = reach + int(gap) + 3
    p = np.empty(2 * reach + 1)
    for i in range(n):
        facing = found[i, station.FACING]
        if not facing == facing:
            continue
        # as in measure_stations: a patch with the station at the same place, whatever the cut
        row, col = int(np.rint(found[i, station.ROW])), int(np.rint(found[i, station.COL]))
        top, left = max(0, row - half), max(0, col - half)
        patch = elev_mm[top : row + half + 1, left : col + half + 1]
        r, c = row - top + (found[i, station.ROW] - row), col - left + (found[i, station.COL] - col)
        profile(patch, r, c, facing, reach, LINES, gap, p)
        if not _level(p, reach):
            continue
        least, most, spacing = 1.0, 0.0, np.nan
        lag, longest = 1, (2 * reach) // 3
        like = _likeness(p, lag)
        while lag < longest and like >= 0.0:
            lag += 1
            like = _likeness(p, lag)
        while lag < longest and like < 0.0:
            least = min(least, like)
            lag += 1
            like = _likeness(p, lag)
        while lag <= longest and like >= 0.0:
            if like > most:
                most, spacing = like, lag * cell_m
            lag += 1
            like = _likeness(p, lag)
        # still rising at the end: the spacing is longer than can be told
        if spacing == longest * cell_m:
            most, spacing = 0.0, np.nan
        out[i, 0], out[i, 1] = min(most, min(1.0, -2.0 * min(0.0, least))), spacing
    return out
