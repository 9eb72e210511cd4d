"""Noise of a grid, estimated from the grid itself: how large, how far it goes together, and where it was interpolated.

Second differences over several lags, on fixed squares of the absolute lattice. On a bottom that bends
little over two lags they hold the noise alone: with variance s2 and correlation rho at a lag k, the
expected square of z(-k) - 2 z(0) + z(+k) is s2 (6 - 8 rho(k) + 2 rho(2k)). White noise gives the same at
every lag; noise that goes together over some cells (overlapping beams, heave, the gridding itself) shows
only at lags longer than that. Medians keep structure, spikes and seams, which are few cells, out of it; ridges, which
may fill a square, bend little along themselves, so each of four headings is told apart.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel
from reefscan.kernels.stray import MEDIAN, mixed

_NODATA = np.int32(NODATA_MM)

LAGS = (1, 2, 4, 8, 16)
"""Lags (cells) of the second differences."""

WAYS = ((1, 0), (0, 1), (1, 1), (1, -1))
"""Headings of the second differences, in lags down and to the right: down, across, and both diagonals."""

SIDE = 64
"""Side (cells) of the fixed lattice squares over which noise is estimated."""

HALO = 2 * SIDE + LAGS[-1]
"""Cells around a station on which the noise of its own square and the eight around it depends."""

SMOOTH = 0.05
"""Response to neighbours, in parts of the noise four cells on, below which a cell was not sounded itself. White
noise has 1, noise drawn out over 3 cells 0.3, a cubic through every fourth cell 0.01 (planted seabeds)."""

_BINS = 2048


@kernel
def square_span(square: int, origin: int, cells: int) -> tuple[int, int]:
    """First and end of the cells of a square along one direction: even on the lattice, each with a neighbour either side.

    Parameters
    ----------
    square : int
        Number of the square from the first one that the array touches.
    origin, cells : int
        Absolute lattice position of the array's first cell, and how many it has.
    """
    start = (origin // SIDE + square) * SIDE - origin
    first = max(1, start)
    return first + (first + origin) % 2, min(cells - 1, start + SIDE)


@kernel
def _median_bin(histogram: NDArray[np.int64], total: int) -> float:
    """Middle of what a histogram holds, in bins, linear within a bin."""
    half, running = 0.5 * total, 0
    for k in range(histogram.shape[0]):
        if running + histogram[k] > half:
            return k + (half - running) / histogram[k]
        running += histogram[k]
    return float(histogram.shape[0])


@kernel
def _mixed(elev: NDArray[np.int32], r0: int, r1: int, c0: int, c1: int, histogram: NDArray[np.int64]) -> int:
    """Histogram (bins of 2 mm) of `mixed` on every second row and column."""
    total = 0
    for r in range(r0, r1, 2):
        for c in range(c0, c1, 2):
            if elev[r, c] >= 0:
                continue  # land says nothing of the survey
            value = mixed(elev, r, c)
            if value >= 0:
                histogram[min(_BINS - 1, value // 2)] += 1
                total += 1
    return total


@kernel
def _second(
    elev: NDArray[np.int32], r0: int, r1: int, c0: int, c1: int, down: int, right: int, histogram: NDArray[np.int64]
) -> int:  # fmt: skip
    """Histogram (bins of 2 mm) of second differences between cells ``down`` (0 or more) and ``right`` apart, every second row and column."""
    rows, cols = elev.shape
    aside = abs(right)
    total = 0
    first_r = r0 if r0 >= down else r0 + 2 * ((down - r0 + 1) // 2)
    first_c = c0 if c0 >= aside else c0 + 2 * ((aside - c0 + 1) // 2)
    last_c = min(c1, cols - aside)
    for r in range(first_r, min(r1, rows - down), 2):
        mid = elev[r, first_c:last_c:2]
        above, below = (
            elev[r - down, first_c - right : last_c - right : 2],
            elev[r + down, first_c + right : last_c + right : 2],
        )
        for k in range(mid.shape[0]):
            e, a, b = mid[k], above[k], below[k]
            if e < 0 and min(min(a, b), e) != _NODATA:
                histogram[np.uint64(min(_BINS - 1, abs(a + b - 2 * e) >> 1))] += 1
                total += 1
    return total


def noise_squares(
    elev_mm: NDArray[np.int32], row0: int, col0: int, asked: NDArray[np.bool_] | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Noise of the grid by lag, and share of interpolated cells, on fixed squares of the absolute lattice.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
    row0, col0 : int
        Absolute lattice position of cell (0, 0).
    asked : ndarray of bool, shape (squares down, squares across), optional
        Squares that matter; the others are left NaN. All if not given.

    Returns
    -------
    fine_m : ndarray of float64, shape (squares down, squares across)
        Standard deviation (m) by the operator [1 -2 1; -2 4 -2; 1 -2 1] / 6 (Immerkaer 1996,
        doi:10.1006/cviu.1996.0060): blind to planes, ridges along the axes and quadratics, unit response
        to white noise. NaN with fewer than 40 known places. It misses noise that goes together over
        several cells, and reads real roughness of one cell as noise.
    by_lag_m : ndarray of float64, shape (squares down, squares across, len(LAGS), len(WAYS))
        Root of a sixth of the mean square second difference at each lag and heading, from medians of its magnitude:
        equal to the standard deviation for white noise, and for any noise once the lag is longer than it goes
        together. NaN with fewer than 40 known places.
    smooth : ndarray of float64, shape (squares down, squares across)
        Share of places, 0 to 1, that were interpolated between soundings: the operator gives at most 1 mm
        there, or `SMOOTH` of the least noise of all headings at a lag of four cells.
    """
    rows, cols = elev_mm.shape
    n_r = (row0 + rows - 1) // SIDE - row0 // SIDE + 1
    n_c = (col0 + cols - 1) // SIDE - col0 // SIDE + 1
    return _squares(elev_mm, row0, col0, np.ones((n_r, n_c), np.bool_) if asked is None else asked)


@kernel
def _squares(
    elev_mm: NDArray[np.int32], row0: int, col0: int, asked: NDArray[np.bool_]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    rows, cols = elev_mm.shape
    n_r, n_c = asked.shape
    fine = np.full((n_r, n_c), np.nan)
    by_lag = np.full((n_r, n_c, len(LAGS), len(WAYS)), np.nan)
    smooth = np.full((n_r, n_c), np.nan)
    histogram, running = np.empty(_BINS, np.int64), np.zeros(_BINS + 1, np.int64)
    for br in range(n_r):
        for bc in range(n_c):
            if not asked[br, bc]:
                continue
            r0, r1 = square_span(br, row0, rows)
            c0, c1 = square_span(bc, col0, cols)
            histogram[:] = 0
            places = _mixed(elev_mm, r0, r1, c0, c1, histogram)
            if places >= 40:
                fine[br, bc] = _median_bin(histogram, places) * 2.0 / 6.0 / MEDIAN / 1000.0
            running[0] = 0
            for k in range(_BINS):
                running[k + 1] = running[k] + histogram[k]
            for k in range(len(LAGS)):
                for way in range(len(WAYS)):
                    histogram[:] = 0
                    total = _second(
                        elev_mm, r0, r1, c0, c1, LAGS[k] * WAYS[way][0], LAGS[k] * WAYS[way][1], histogram
                    )
                    if total >= 40:
                        by_lag[br, bc, k, way] = (
                            _median_bin(histogram, total) * 2.0 / MEDIAN / 1000.0 / math.sqrt(6.0)
                        )
            if places >= 40:
                # bins of 2 mm in the sum; the operator's sum is six times its response
                most = max(1.0, SMOOTH * 1000.0 * np.nan_to_num(np.nanmin(by_lag[br, bc, 2])))
                smooth[br, bc] = running[min(_BINS, int(3.0 * most))] / places
    return fine, by_lag, smooth
