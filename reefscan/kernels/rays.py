"""Trough and rise of one cell, ray by ray: the numbers of `structure.flanks` where few cells are wanted."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels.structure import beside_middle
from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)


@njit(cache=True, nogil=True)
def _highest_on_ray(
    flat: NDArray[np.int32], at: int, step: int, n: int, between: int, mid_a: int, mid_b: int, enough: int
) -> int:
    """Highest of ``n`` cells along a ray and, on a knight's move, of the means beside it; stops at ``enough``."""
    high = np.int64(_NODATA)
    p = at
    for _ in range(n):
        p += step
        high = max(high, np.int64(flat[p]))
        if high >= enough:
            return int(high)
    if mid_a != mid_b:
        p = between
        for _ in range(n + 1):
            one, two = flat[p + mid_a], flat[p + mid_b]
            if one != _NODATA and two != _NODATA:
                high = max(high, (np.int64(one) + np.int64(two)) >> 1)
            p += step
    return int(high)


@njit(cache=True, nogil=True)
def trough_at(
    flat: NDArray[np.int32],
    at: int,
    cols: int,
    least: int,
    steps: NDArray[np.int64],
    axes: NDArray[np.int64],
    bounds: NDArray[np.int32],
) -> int:
    """Trough of one cell if it reaches ``least``, else 0: the number of `structure.flanks`."""
    z = np.int64(flat[at])
    best = np.int64(least - 1)
    for a in range(axes.shape[0]):
        if np.int64(bounds[a]) - z <= best:
            continue
        dr, dc = axes[a, 0], axes[a, 1]
        step = dr * cols + dc
        mid_a, mid_b = beside_middle(dr, dc, cols)
        ahead = _highest_on_ray(flat, at, step, steps[a], at, mid_a, mid_b, 2**31)
        if ahead - z <= best:
            continue
        behind = _highest_on_ray(flat, at, -step, steps[a], at - step, mid_a, mid_b, ahead)
        best = max(best, min(ahead, behind) - z)
    return int(best) if best >= least else 0


@njit(cache=True, nogil=True)
def rise_at(
    flat: NDArray[np.int32], at: int, cols: int, least: int, steps: NDArray[np.int64], axes: NDArray[np.int64]
) -> int:
    """Rise of one cell if it is a local top and reaches ``least``, else 0: the number of `structure.flanks`.

    A cell lower than one of its eight neighbours is not the top of a pile, whatever the field reads there.
    """
    z = flat[at]
    if z < flat[at - 1] or z < flat[at + 1] or z < flat[at - cols] or z < flat[at + cols]:
        return 0
    if (
        z < flat[at - cols - 1]
        or z < flat[at - cols + 1]
        or z < flat[at + cols - 1]
        or z < flat[at + cols + 1]
    ):
        return 0
    worst = np.int64(2**31)
    for a in range(axes.shape[0]):
        dr, dc = axes[a, 0], axes[a, 1]
        step = dr * cols + dc
        mid_a, mid_b = beside_middle(dr, dc, cols)
        for side in range(2):
            low = np.int64(z)
            p, q = at, at
            if side == 1:
                step = -step
                q = at + step
            for _ in range(steps[a]):
                p += step
                if flat[p] != _NODATA:
                    low = min(low, np.int64(flat[p]))
            if mid_a != mid_b:
                for _ in range(steps[a] + 1):
                    one, two = flat[q + mid_a], flat[q + mid_b]
                    if one != _NODATA and two != _NODATA:
                        # rounded as the field does: of the negated heights, downward
                        low = min(low, -((-np.int64(one) - np.int64(two)) >> 1))
                    q += step
            worst = min(worst, np.int64(z) - low)
            if worst < least:
                return 0
    return int(worst)
