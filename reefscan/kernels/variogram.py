"""How the ground's differences grow with distance around a station, and whether they do.

Rock, sand and all that was planted by nature hang together: two cells four apart differ far more than two next to each other. Where
each cell (or small blob of them) carries a height of its own, as weed, fish or a false bottom give it, they differ alike.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)

LAGS = (1, 2, 4, 8)
"""Distances (cells)."""

REACH = 12
"""Cells around a station that are looked at: 25 x 25 cells, most of which lie beside a form of a few cells."""

LEAST_PAIRS = 100
"""Pairs at a lag below which it is not told."""


@njit(cache=True, nogil=True)
def variogram(
    elev_mm: NDArray[np.int32], rows: NDArray[np.int64], cols: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Half the mean square difference of two cells at some distance, around each station, down and across alike.

    The semivariance of Matheron 1963 (doi:10.2113/gsecongeo.58.8.1246): for values that are independent from cell to cell their
    variance at every lag; for blobs of three cells a third of it at lag 1, two thirds at lag 2; for a sharp step as much as
    the lag is long. Sums are of whole millimetres, so it is the same in every cut.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Positive up; `NODATA_MM` unknown; only water counts.
    rows, cols : ndarray of int64, shape (n,)
        Stations, positions in the array; what lies beyond it is not known.

    Returns
    -------
    ndarray of float64, shape (n, len(LAGS))
        Square metres; NaN with fewer than `LEAST_PAIRS` pairs.
    """
    height, width = elev_mm.shape
    out = np.full((rows.shape[0], len(LAGS)), np.nan)
    for i in range(rows.shape[0]):
        top, bottom = max(0, rows[i] - REACH), min(height, rows[i] + REACH + 1)
        left, right = max(0, cols[i] - REACH), min(width, cols[i] + REACH + 1)
        for k in range(len(LAGS)):
            lag = LAGS[k]
            total, pairs = np.int64(0), 0
            for r in range(top, bottom):
                for c in range(left, right):
                    z = elev_mm[r, c]
                    if z == _NODATA or z >= 0:
                        continue
                    if r + lag < bottom:
                        below = elev_mm[r + lag, c]
                        if below != _NODATA and below < 0:
                            total += np.int64(below - z) ** 2
                            pairs += 1
                    if c + lag < right:
                        beside = elev_mm[r, c + lag]
                        if beside != _NODATA and beside < 0:
                            total += np.int64(beside - z) ** 2
                            pairs += 1
            if pairs >= LEAST_PAIRS:
                out[i, k] = 0.5e-6 * total / pairs
    return out
