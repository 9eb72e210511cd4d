"""How much of the ground behind a structure is dry: whether its top is the shore."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)


@njit(cache=True, nogil=True)
def dry_share(
    elev_mm: NDArray[np.int32],
    rows: NDArray[np.float64],
    cols: NDArray[np.float64],
    headings: NDArray[np.float64],
    near: NDArray[np.float64],
    beyond: float,
) -> NDArray[np.float64]:
    """Share of the way from ``near`` to ``near + beyond`` cells along a heading that stands out of the water.

    Parameters
    ----------
    elev_mm : ndarray of int32
        Positive up, the land with it.
    rows, cols : ndarray of float64, shape (n,)
        Where to stand, in cells of the array.
    headings : ndarray of float64, shape (n,)
        Radians clockwise from the array's north.
    near : ndarray of float64, shape (n,)
        Cells to the structure's edge.
    beyond : float
        Cells to look on from there; one sample a cell.

    Returns
    -------
    ndarray of float64, shape (n,)
        0 to 1. Unknown ground is not dry, and neither is what lies beyond the array.
    """
    out = np.zeros(rows.shape[0])
    steps = max(2, int(beyond + 0.5))
    for i in range(rows.shape[0]):
        # whole cells first: a fraction added to a large row would be rounded differently for every cut
        r0, c0 = math.floor(rows[i]), math.floor(cols[i])
        fr, fc = rows[i] - r0 + 0.5, cols[i] - c0 + 0.5
        dry = 0
        for k in range(steps):
            far = near[i] + k + 1.0
            r = int(r0) + int(math.floor(fr - far * math.cos(headings[i])))
            c = int(c0) + int(math.floor(fc + far * math.sin(headings[i])))
            if r < 0 or c < 0 or r >= elev_mm.shape[0] or c >= elev_mm.shape[1]:
                continue
            z = elev_mm[r, c]
            if z != _NODATA and z >= 0:
                dry += 1
        out[i] = dry / steps
    return out
