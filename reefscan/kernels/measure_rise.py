"""Measure a rise: the least drop over all axes from its top, the slope of its ground taken out, and how far its foot lies."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels import station_columns as station
from reefscan.kernels.order import put_in_order
from reefscan.kernels.profiles import profile, sample

UPHILL = 1.5
"""How much taller than its drop on the uphill side a rise may be called, once the ground's slope is taken out."""

LEAST_CELLS = 3.0
"""A narrower rise is not resolved: what a grid can show starts at 3 cells."""


@njit(cache=True, nogil=True)
def measure_rise(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    radius: float,
    cell_m: float,
    noise: float,
    share: float,
    p: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    reach = int(radius)
    p = p[: 2 * reach + 1]
    # a top is picked for its noise where that changes from cell to cell, hardly where cells go together
    picked = noise * min(1.0, 1.0 / (5.0 * share * share))
    # and among more cells where they are finer than 2 m (fitted on planted seabeds)
    more = 0.6 * min(2.0, max(0.0, math.log2(2.0 / cell_m)))
    top = sample(elev, row, col) - 0.3 * picked
    if not top == top:
        return
    n = 16
    feet = np.empty(2 * n)
    worst, level, count = 1e9, 1e9, 0
    for a in range(n):
        profile(elev, row, col, math.pi * a / n, reach, 3, 1.0, p)
        for side in range(2):
            step = 1 if side == 0 else -1
            low, k, lost = top, reach, 0
            for _ in range(reach):
                k += step
                if not p[k] == p[k]:
                    lost += 1
                    # a lost cell is passed over, the edge of the survey is not
                    if lost > 2:
                        break
                    continue
                low = min(low, p[k])
            drop = top - low
            worst = min(worst, drop)
            k, far = reach, 0
            while far < reach and not (top - p[k] >= 0.85 * drop):
                k += step
                far += 1
            feet[count] = far
            count += 1
        # both sides at one distance: the slope of the ground that it stands on cancels
        most = 0.0
        for k in range(1, reach + 1):
            both = top - 0.5 * (p[reach - k] + p[reach + k])
            if both == both and both > most:
                most = both
        level = min(level, most)
    put_in_order(feet)
    out[station.ROW], out[station.COL] = row, col
    # a top that hardly stands above the ground on one side is the edge of something else
    height = min(level, UPHILL * worst) - (0.45 + more) * picked
    # of a dome that many cells in radius the highest cell misses so much: it lies a sixth of a square cell off the top
    out[station.HEIGHT] = height * (1.0 + 1.0 / (6.0 * max(1.0, feet[n]) ** 2))
    out[station.FOOT] = feet[n]
    out[station.WIDTH] = 2.0 * feet[n]
    out[station.AXIS] = 0.0
    out[station.FACING] = np.nan
    # the top is one sample, the ground around it the lowest of many: most of the doubt is the top's
    out[station.SIGMA_SCALE] = min(1.0, share * math.sqrt(5.0)) / math.sqrt(2.0)
    out[station.FACE_SLOPE] = max(0.0, out[station.HEIGHT]) / max(1.0, out[station.FOOT])
    out[station.ASYMMETRY] = (feet[int(1.8 * n)] - feet[int(0.2 * n)]) / max(1.0, feet[n])
    out[station.AXIS_STRENGTH] = 0.0
    # two cells side by side are as likely a pair of wrong soundings as a rock
    out[station.OK] = 1.0 if out[station.WIDTH] >= LEAST_CELLS else 0.0
