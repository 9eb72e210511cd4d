"""Small gaps carried straight across, so that a scattering of lost cells does not hide the ground between them.

Arrays and numbers in, arrays out. Exact on every plane: an unknown cell becomes the mean of those pairs of opposite neighbours that are both
known. Each pass closes gaps of one cell; what is wider stays unknown.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)

PASSES = 2
"""Gaps of up to so many cells are closed; a pass looks one cell around."""


@njit(cache=True, nogil=True)
def _pass(elev_mm: NDArray[np.int32]) -> NDArray[np.int64]:
    """Positions (row, col, value) of the unknown cells that one pass closes."""
    rows, cols = elev_mm.shape
    found, n = np.empty((16, 3), np.int64), 0
    for r in range(1, rows - 1):
        line = elev_mm[r]
        for c in range(1, cols - 1):
            if line[c] != _NODATA:
                continue
            total, pairs = np.int64(0), 0
            for k in range(4):
                i, j = (0, 1) if k == 0 else (1, 0) if k == 1 else (1, 1) if k == 2 else (1, -1)
                a, b = elev_mm[r - i, c - j], elev_mm[r + i, c + j]
                if a != _NODATA and b != _NODATA:
                    total += a + b
                    pairs += 2
            if pairs:
                if n == found.shape[0]:
                    larger = np.empty((2 * n, 3), np.int64)
                    larger[:n] = found
                    found = larger
                found[n, 0], found[n, 1], found[n, 2] = r, c, np.int64(np.rint(total / pairs))
                n += 1
    return found[:n]


@njit(cache=True, nogil=True)
def bridge(elev_mm: NDArray[np.int32]) -> None:
    """Close small gaps, in place; cells within `PASSES` of the array's rim may differ from those of a larger array.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Millimetres, positive up, `NODATA_MM` where unknown.
    """
    for _ in range(PASSES):
        found = _pass(elev_mm)
        for k in range(found.shape[0]):
            elev_mm[found[k, 0], found[k, 1]] = found[k, 2]
