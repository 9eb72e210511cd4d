"""Measure a rise: the least drop of 32 rays from its top, and how far its foot lies."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels.profiles import profile, sample


@njit(cache=True, nogil=True)
def measure_rise(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    radius: float,
    cell_m: float,
    noise: float,
    p: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    reach = int(radius)
    p = p[: 2 * reach + 1]
    top = sample(elev, row, col) - 0.3 * noise
    if not top == top:
        return
    quiet = noise / math.sqrt(3.0)
    n = 16
    feet = np.empty(2 * n)
    worst, count = 1e9, 0
    for a in range(n):
        profile(elev, row, col, math.pi * a / n, reach, 3, 1.0, p)
        for side in range(2):
            step = 1 if side == 0 else -1
            low, k = top, reach
            for _ in range(reach):
                k += step
                if not p[k] == p[k]:
                    break
                low = min(low, p[k])
            drop = top - low
            worst = min(worst, drop)
            k, far = reach, 0
            while far < reach and not (top - p[k] >= 0.85 * drop):
                k += step
                far += 1
            feet[count] = far
            count += 1
    feet.sort()
    out[0], out[1] = row, col
    out[2] = worst - 0.5 * quiet
    out[7] = feet[n]
    out[3] = 2.0 * feet[n]
    out[4] = 0.0
    out[5] = np.nan
    out[6] = 0.8
    out[8] = max(0.0, out[2]) / max(1.0, out[7])
    out[10] = (feet[int(1.8 * n)] - feet[int(0.2 * n)]) / max(1.0, feet[n])
    out[12] = 0.0
    out[13] = 1.0
