"""Spread heights over the ground from which they can be fished: a running maximum over a square."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels.structure import higher


@njit(cache=True, nogil=True)
def spread(height: NDArray[np.int32], reach: int) -> NDArray[np.int32]:
    """Highest value within ``reach`` cells along rows and columns.

    Parameters
    ----------
    height : ndarray of int32, shape (rows, cols)
    reach : int
        Half side of the square, cells.

    Returns
    -------
    ndarray of int32
        Trusted ``reach`` cells inside the array's edge. Doubling: the cost grows with log2(reach).
    """
    rows, cols = height.shape
    flat = height.copy().reshape(-1)
    other = flat.copy()
    size = flat.shape[0]
    span = 2 * reach + 1
    for axis in range(2):
        unit = 1 if axis == 0 else cols
        done = 1
        while done < span:
            ahead = min(done, span - done) * unit
            higher(other[: size - ahead], flat[: size - ahead], flat[ahead:])
            flat, other = other, flat
            done += min(done, span - done)
    out = np.zeros(height.shape, np.int32)
    for r in range(reach, rows - reach):
        base = (r - reach) * cols
        for c in range(reach, cols - reach):
            out[r, c] = flat[base + c - reach]
    return out
