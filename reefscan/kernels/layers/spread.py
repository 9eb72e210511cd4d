"""Spread heights over the ground from which they can be fished: a running maximum over a square."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel
from reefscan.kernels.layers.structure import higher


@kernel
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


@kernel
def keep_near(
    elev_mm: NDArray[np.int32],
    around_mm: NDArray[np.int32],
    band_mm: tuple[int, int],
    floor_mm: float,
    out: NDArray[np.uint16],
) -> None:
    """Keep what is high enough where a net could lie, in whole centimetres (half to even, at most 655.35 m).

    Parameters
    ----------
    elev_mm, around_mm : ndarray of int32, shape (rows, cols)
        Elevation of each cell, and the highest structure near it; millimetres.
    band_mm : tuple of int
        Lowest and highest elevation at which a net could lie, both ends inside.
    floor_mm : float
        Lower structure counts as none.
    out : ndarray of uint16, shape (rows, cols)
        Changed in place; a cell outside the band or without such structure stays.
    """
    low, high = band_mm
    for r in range(out.shape[0]):
        for c in range(out.shape[1]):
            if around_mm[r, c] >= floor_mm and low <= elev_mm[r, c] <= high:
                out[r, c] = np.uint16(min(np.rint(around_mm[r, c] * 0.1), 65535.0))
