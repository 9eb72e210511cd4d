"""What lies around a station: is the ground closed about it, does it fall on all sides, and how rough is it at the size of a cell.

What was dug or heaped up lies in ground that says so: a pit is closed all round, a heap falls on all sides, and
neither has the roughness of rock. Patch-local, so the same for every cut of the grid.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels import station_columns as station
from reefscan.kernels.profiles import sample
from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)

SEARCH_M = 12.0
"""How far beyond a ledge's face its lowest foot and highest top are sought."""

SETTLE_M = 8.0
"""How far around that, or around the middle of a trough's floor, the lowest (highest) cell may lie."""

RAY_M = 25.0
"""Length of the rays: a pit or a heap is no wider than twice this."""

RAYS = 16

STEPS = (1, 2, 4)
"""Cells between the places that the roughness compares: as far apart as the noise no longer goes together, for what ties the noise of two
cells (a gridding that smooths, soundings four cells apart) hides the rock between them as well."""

FIELDS = ("closed_m", "stands_m", "rough_near_m", "rough_around_m")
"""Columns of `surroundings`; see its docstring."""


def flank_halo(cell_m: float) -> int:
    """Cells around a (recentred) station that `surroundings` depends on."""
    return math.ceil((SEARCH_M + SETTLE_M + RAY_M) / cell_m) + 14 + 2 * (STEPS[-1] - 1)


@njit(cache=True, nogil=True)
def _extreme(
    elev: NDArray[np.int32], row: float, col: float, angle: float, reach: float, sign: float
) -> tuple[float, float]:
    """Where, up to ``reach`` cells along ``angle``, ``sign`` times the elevation is highest."""
    best, at_row, at_col = -1e9, row, col
    for k in range(int(reach) + 1):
        r, c = row - k * math.cos(angle), col + k * math.sin(angle)
        z = sample(elev, r, c)
        if z == z and sign * z > best:
            best, at_row, at_col = sign * z, r, c
    return at_row, at_col


@njit(cache=True, nogil=True)
def _settled(
    elev: NDArray[np.int32], row: float, col: float, reach: float, sign: float
) -> tuple[float, float]:
    """The cell within ``reach`` at which ``sign`` times the elevation is highest: the middle of an oval pit is not on its section."""
    best, at_row, at_col = -1e18, row, col
    mid_r, mid_c = int(np.rint(row)), int(np.rint(col))
    n = int(reach)
    for dr in range(-n, n + 1):
        for dc in range(-n, n + 1):
            r, c = mid_r + dr, mid_c + dc
            if (
                dr * dr + dc * dc > reach * reach
                or r < 0
                or c < 0
                or r >= elev.shape[0]
                or c >= elev.shape[1]
            ):
                continue
            z = elev[r, c]
            if z != _NODATA and sign * z > best:
                best, at_row, at_col = sign * z, float(r), float(c)
    return at_row, at_col


@njit(cache=True, nogil=True)
def _least_climb(elev: NDArray[np.int32], row: float, col: float, reach: float, sign: float) -> float:
    """How far the ground climbs (``sign`` 1) or falls (-1) on the ray on which it does so least.

    A lost cell here and there does not end a ray; one that is mostly unknown does not count, and NaN is given where more than a quarter of them are.
    """
    here = sample(elev, row, col)
    if not here == here:
        return np.nan
    least, counted = 1e9, 0
    for a in range(RAYS):
        angle = 2.0 * math.pi * a / RAYS
        most, known = 0.0, 0
        for k in range(1, int(reach) + 1):
            z = sample(elev, row - k * math.cos(angle), col + k * math.sin(angle))
            if z == z:
                most = max(most, sign * (z - here))
                known += 1
        if 4 * known >= 3 * int(reach):
            least = min(least, most)
            counted += 1
    return least if 4 * counted >= 3 * RAYS else np.nan


@njit(cache=True, nogil=True)
def _cell_roughness(
    elev: NDArray[np.int32], row: int, col: int, inner: float, outer: float, step: int, noise_m: float
) -> float:
    """RMS (m) over a ring of cells of the noise operator of Immerkaer 1996 with ``step`` cells between its places, less the noise of the survey.

    [1 -2 1; -2 4 -2; 1 -2 1] / 6 is blind to slopes, to bends along the axes and to every quadratic without
    a cross term of fourth order; rock breaks it in every cell. NaN with fewer than 12 known places.
    """
    total, count = 0.0, 0
    reach = int(outer)
    for dr in range(-reach, reach + 1):
        for dc in range(-reach, reach + 1):
            far = math.sqrt(float(dr * dr + dc * dc))
            r, c = row + dr, col + dc
            if (
                far < inner
                or far > outer
                or r < step
                or c < step
                or r >= elev.shape[0] - step
                or c >= elev.shape[1] - step
            ):
                continue
            value, known = np.int64(0), True
            for i in range(-1, 2):
                for j in range(-1, 2):
                    z = elev[r + step * i, c + step * j]
                    if z == _NODATA:
                        known = False
                    value += (-2 if i == 0 else 1) * (-2 if j == 0 else 1) * np.int64(z)
            if known:
                total += float(value * value)
                count += 1
    if count < 12:
        return np.nan
    return math.sqrt(max(0.0, total / count / 36.0e6 - noise_m * noise_m))


@njit(cache=True, nogil=True)
def surroundings(
    elev_mm: NDArray[np.int32],
    found: NDArray[np.float64],
    kind: int,
    cell_m: float,
    step: NDArray[np.int64],
    noise_m: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Look around stations of one kind (0 trough, 1 ledge, 2 rise).

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
    found : ndarray of float64, shape (n, fields)
        Rows of `reefscan.kernels.measure.measure_stations`.
    kind : int
    cell_m : float
    step : ndarray of int64, shape (n,)
        Of `STEPS`, for the roughness.
    noise_m : ndarray of float64, shape (n,)
        What the operator reads of the survey's noise at that step.

    Returns
    -------
    ndarray of float64, shape (n, 4)
        `FIELDS`: least climb out of the low (a trough's floor, a ledge's foot) and least fall from the high (a
        ledge's top, a rise) over 16 rays of 25 m, metres; roughness of the cells on the structure and in a ring
        around it, metres beyond noise. NaN where it does not apply or is not known.
    """
    n = found.shape[0]
    out = np.full((n, 4), np.nan)
    reach = max(3.0, RAY_M / cell_m)
    seek = max(2.0, SEARCH_M / cell_m)
    settle = max(2.0, SETTLE_M / cell_m)
    half = int(seek + settle + reach) + 3
    for i in range(n):
        # as in measure_stations: a patch with the station at the same place, whatever the cut
        row, col = int(np.rint(found[i, station.ROW])), int(np.rint(found[i, station.COL]))
        apart = int(step[i])
        wide = half + 2 * (apart - 1)  # the ring lies a step farther out, and looks one farther
        top, left = max(0, row - wide), max(0, col - wide)
        patch = elev_mm[top : row + wide + 1, left : col + wide + 1]
        r, c = row - top + (found[i, station.ROW] - row), col - left + (found[i, station.COL] - col)
        facing, width = found[i, station.FACING], found[i, station.WIDTH]
        if kind == 0:
            low_r, low_c = _settled(patch, r, c, settle, -1.0)
            out[i, 0] = _least_climb(patch, low_r, low_c, reach, 1.0)
        elif kind == 1:
            low_r, low_c = _extreme(patch, r, c, facing, seek, -1.0)
            low_r, low_c = _settled(patch, low_r, low_c, settle, -1.0)
            out[i, 0] = _least_climb(patch, low_r, low_c, reach, 1.0)
            high_r, high_c = _extreme(patch, r, c, facing + math.pi, seek, 1.0)
            high_r, high_c = _settled(patch, high_r, high_c, settle, 1.0)
            out[i, 1] = _least_climb(patch, high_r, high_c, reach, -1.0)
        else:
            out[i, 1] = _least_climb(patch, r, c, reach, -1.0)
        near = min(max(3.0, 0.5 * width), 10.0 + 4.0 / cell_m)
        out[i, 2] = _cell_roughness(patch, row - top, col - left, 0.0, near, apart, noise_m[i])
        # clear of the structure itself
        first, last = near + apart, near + max(4.0, 10.0 / cell_m) + apart - 1
        out[i, 3] = _cell_roughness(patch, row - top, col - left, first, last, apart, noise_m[i])
    return out
