"""How the ground's differences grow with distance around a station, and whether they are there all around it.

Rock, sand and all that stands on them hang together: two cells four apart differ far more than two next to each other. Where
each cell (or blob of a few) carries a height of its own, as weed, fish or a false bottom give it, they differ nearly alike.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels import variogram_columns as column
from reefscan.kernels.order import put_in_order
from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)

FAR = 4
"""The longer of the two distances (cells): longer than three cells, and still within a form of a few."""

PART = 7
"""Side (cells) of the nine parts that are looked at around a station."""

REACH = PART + PART // 2
"""Cells around a station from which pairs start."""

VARIOGRAM_HALO = REACH + FAR
"""Cells around a station that its variogram depends on."""

LEAST_PAIRS = 25
"""Known pairs (of 98) below which a part is not told."""

QUIET = 5
"""Parts out of nine that count as the quieter ones, and parts that must be told at least: a pile of a few cells lies in four at the most."""


@njit(cache=True, nogil=True)
def _off_plane(nine: NDArray[np.float64]) -> float:
    """Variance of three by three values about the plane of best fit, six degrees of freedom left."""
    mean, down, right = nine.mean(), 0.0, 0.0
    for k in range(9):
        down += (k // 3 - 1) * nine[k] / 6.0
        right += (k % 3 - 1) * nine[k] / 6.0
    total = 0.0
    for k in range(9):
        off = nine[k] - mean - (k // 3 - 1) * down - (k % 3 - 1) * right
        total += off * off
    return total / 6.0


@njit(cache=True, nogil=True)
def variogram(
    elev_mm: NDArray[np.int32], rows: NDArray[np.int64], cols: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Half the mean square difference of two cells one and four apart, around each station, down and across alike.

    The semivariance of Matheron 1963 (doi:10.2113/gsecongeo.58.8.1246). For values that are independent from cell to cell it is
    their variance at either distance; for square blobs of b cells a b-th of it at the shorter one; for a sharp step, as much as the
    distance is long. Sums are of whole millimetres, so it is the same in every cut.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Positive up; `NODATA_MM` unknown; only water counts.
    rows, cols : ndarray of int64, shape (n,)
        Stations, positions in the array; what lies beyond it is not known.

    Returns
    -------
    ndarray of float64, shape (n, len(variogram_columns.FIELDS))
        Square metres: ``near`` at one cell, ``far`` at `FAR` cells, ``quiet`` at one cell in the quieter `QUIET` of nine parts, and
        ``floor``, the variance of the lowest cell of each part about their common plane: how even a floor lies under it all (NaN with
        fewer than all nine). ``lesser`` is the lesser of the two directions at one cell as a share of the greater: 1 all the same,
        0 a wall along the grid. NaN with fewer than `QUIET` parts known.
    """
    height, width = elev_mm.shape
    out = np.full((rows.shape[0], len(column.FIELDS)), np.nan)
    parts, lowest = np.empty(9), np.empty(9)
    for i in range(rows.shape[0]):
        near, down, far = np.int64(0), np.int64(0), np.int64(0)
        near_pairs, down_pairs, far_pairs, told = 0, 0, 0, 0
        for part in range(9):
            top = rows[i] - REACH + PART * (part // 3)
            left = cols[i] - REACH + PART * (part % 3)
            total, pairs, low = np.int64(0), 0, np.int32(0)
            for r in range(max(0, top), min(height, top + PART)):
                for c in range(max(0, left), min(width, left + PART)):
                    z = elev_mm[r, c]
                    if z == _NODATA or z >= 0:
                        continue
                    low = min(low, z)
                    for k in range(4):
                        lag = FAR if k >= 2 else 1
                        rr, cc = r + lag * (k % 2), c + lag * (1 - k % 2)
                        if rr >= height or cc >= width:
                            continue
                        other = elev_mm[rr, cc]
                        if other == _NODATA or other >= 0:
                            continue
                        square = np.int64(other - z) * np.int64(other - z)
                        if lag == 1:
                            total += square
                            pairs += 1
                            if k == 1:
                                down += square
                                down_pairs += 1
                        else:
                            far += square
                            far_pairs += 1
            near += total
            near_pairs += pairs
            if pairs >= LEAST_PAIRS:
                parts[told], lowest[told] = total / pairs, low
                told += 1
        if told < QUIET or far_pairs < QUIET * LEAST_PAIRS:
            continue
        if told == 9:
            out[i, column.FLOOR] = 1e-6 * _off_plane(lowest)
        put_in_order(parts[:told])
        quiet = 0.0
        for k in range(QUIET):
            quiet += parts[k]
        out[i, column.NEAR] = 0.5e-6 * near / near_pairs
        out[i, column.FAR] = 0.5e-6 * far / far_pairs
        out[i, column.QUIET] = 0.5e-6 * quiet / QUIET
        down_mean = down / max(1, down_pairs)
        across_mean = (near - down) / max(1, near_pairs - down_pairs)
        most = max(down_mean, across_mean)
        out[i, column.LESSER] = min(down_mean, across_mean) / most if most > 0.0 else 1.0
    return out
