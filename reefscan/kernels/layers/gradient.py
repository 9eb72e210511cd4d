"""Slope, aspect and ruggedness index: what a 3 x 3 neighbourhood can tell.

Arrays and numbers in, arrays out. Elevation is int32 millimetres, positive up, rows north to south,
`NODATA_MM` unknown. The halo of every function here is one cell: the outer ring of an array is NaN.
Differences are whole numbers, so adding a constant to the seabed changes no bit of any result.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel

_NODATA = np.int32(NODATA_MM)
_NAN = np.float32(np.nan)
_QUARTER_TURN = np.float32(90.0)

# atan(x) / x on [0, 1] as a polynomial in x**2, in degrees: Remez exchange on the relative error,
# which is 1.5e-8, below float32's own rounding (6e-8). libm's atan is scalar: 1/6 of the speed.
_ATAN_DEG = tuple(
    np.float32(math.degrees(a))
    for a in (
        0.9999999847658,
        -0.3333307206630707,
        0.1999261975288391,
        -0.14203643798828125,
        0.10640934109687805,
        -0.07504294812679291,
        0.04269152134656906,
        -0.016068629920482635,
        0.002849889686331153,
    )
)


def slope_deg(elev_mm: NDArray[np.int32], cell_m: float) -> NDArray[np.float32]:
    """Steepness of the seabed: tells flat floor from flank.

    A 3 x 3 slope is blind to steps narrower than two cells: a sheer ledge of height H reads
    ``atan(H / 2h)`` on both its sides, however steep it is.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Elevation, millimetres, positive up, `NODATA_MM` unknown.
    cell_m : float
        Side of a cell, metres.

    Returns
    -------
    ndarray of float32, shape (rows, cols)
        Degrees, 0 to 90, within 1e-5 degrees of the exact value. NaN where any of the nine cells
        is unknown, and on the outer ring.

    References
    ----------
    B. K. P. Horn, "Hill shading and the reflectance map", Proc. IEEE 69(1):14-47, 1981,
    doi:10.1109/PROC.1981.11918.
    """
    out = np.empty(elev_mm.shape, dtype=np.float32)
    _slope(elev_mm, np.float32(8000.0 * cell_m), out)
    return out


def aspect_deg(elev_mm: NDArray[np.int32], cell_m: float) -> NDArray[np.float32]:
    """Compass direction in which the seabed falls, from Horn's gradient.

    On nearly flat ground it is the direction of the noise: read it beside `slope_deg`. The angle is
    from grid north; the convergence of the projection is not removed here.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Elevation, millimetres, positive up, `NODATA_MM` unknown.
    cell_m : float
        Side of a cell, metres (an aspect does not depend on it).

    Returns
    -------
    ndarray of float32, shape (rows, cols)
        Degrees clockwise from grid north, 0 <= aspect < 360. NaN where the ground is level (no
        direction exists), where any of the nine cells is unknown, and on the outer ring.

    References
    ----------
    Horn 1981, as `slope_deg`.
    """
    del cell_m
    out = np.empty(elev_mm.shape, dtype=np.float32)
    _aspect(elev_mm, out)
    return out


def tri_riley_m(elev_mm: NDArray[np.int32], cell_m: float) -> NDArray[np.float32]:
    """Terrain ruggedness index: root of the summed squared differences to the eight neighbours.

    It was made for land cells of a kilometre; its classes mean nothing at this scale, and it counts
    an even slope as rough (``h g sqrt 6`` on a plane). Use `vrm` to tell rough from steep.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Elevation, millimetres, positive up, `NODATA_MM` unknown.
    cell_m : float
        Side of a cell, metres (the index does not depend on it).

    Returns
    -------
    ndarray of float32, shape (rows, cols)
        Metres. NaN where any of the nine cells is unknown, and on the outer ring.

    References
    ----------
    S. J. Riley, S. D. DeGloria, R. Elliot, "A terrain ruggedness index that quantifies topographic
    heterogeneity", Intermountain J. Sci. 5(1-4):23-27, 1999 (citation from memory).
    """
    del cell_m
    out = np.empty(elev_mm.shape, dtype=np.float32)
    _tri_riley(elev_mm, out)
    return out


@kernel
def horn_row(  # type: ignore[no-untyped-def]
    elev_mm, row, across, down, lowest
) -> None:
    """Column sums of Horn's 3 x 3 stencil for one row, for kernels that build on the gradient.

    Fills three int32 buffers as long as a row: ``across`` (1-2-1 sum down the column), ``down``
    (south minus north) and ``lowest`` (smallest of the three, `NODATA_MM` if any is unknown).
    The gradients times 8000 h are then ``across[c+1] - across[c-1]`` (east) and
    ``down[c-1] + 2 down[c] + down[c+1]`` (south).
    """
    north, here, south = elev_mm[row - 1], elev_mm[row], elev_mm[row + 1]
    for c in range(here.size):
        a, b, d = north[c], here[c], south[c]
        across[c] = np.int32(a + 2 * b + d)
        down[c] = np.int32(d - a)
        lowest[c] = min(a, min(b, d))


@kernel
def _slope(elev_mm, run, out) -> None:  # type: ignore[no-untyped-def]
    rows, cols = elev_mm.shape
    across = np.empty(cols, np.int32)
    down = np.empty(cols, np.int32)
    lowest = np.empty(cols, np.int32)
    c0, c1, c2, c3, c4, c5, c6, c7, c8 = _ATAN_DEG
    out[:, 0] = _NAN
    out[:, cols - 1] = _NAN
    out[0, :] = _NAN
    out[rows - 1, :] = _NAN
    for r in range(1, rows - 1):
        horn_row(elev_mm, r, across, down, lowest)
        line = out[r]
        for c in range(1, cols - 1):
            east = np.float32(np.int32(across[c + 1] - across[c - 1]))
            south = np.float32(np.int32(down[c - 1] + 2 * down[c] + down[c + 1]))
            rise = np.sqrt(east * east + south * south)
            # atan on [0, 1] only: beyond 45 degrees take the complement of the swapped ratio.
            x = min(rise, run) / max(rise, run)
            u = x * x
            p = c8
            p = p * u + c7
            p = p * u + c6
            p = p * u + c5
            p = p * u + c4
            p = p * u + c3
            p = p * u + c2
            p = p * u + c1
            p = (p * u + c0) * x
            angle = _QUARTER_TURN - p if rise > run else p
            known = min(lowest[c - 1], min(lowest[c], lowest[c + 1])) != _NODATA
            line[c] = angle if known else _NAN


@kernel
def _aspect(elev_mm, out) -> None:  # type: ignore[no-untyped-def]
    rows, cols = elev_mm.shape
    across = np.empty(cols, np.int32)
    down = np.empty(cols, np.int32)
    lowest = np.empty(cols, np.int32)
    out[:] = _NAN
    for r in range(1, rows - 1):
        horn_row(elev_mm, r, across, down, lowest)
        for c in range(1, cols - 1):
            if min(lowest[c - 1], min(lowest[c], lowest[c + 1])) == _NODATA:
                continue
            east = float(across[c + 1] - across[c - 1])
            south = float(down[c - 1] + 2 * down[c] + down[c + 1])
            if east == 0.0 and south == 0.0:
                continue
            # Downslope is against the gradient: (-east) towards east, (+south) towards north.
            angle = np.float32(math.degrees(math.atan2(-east, south)) % 360.0)
            out[r, c] = angle if angle < np.float32(360.0) else np.float32(0.0)


@kernel
def _tri_riley(elev_mm, out) -> None:  # type: ignore[no-untyped-def]
    rows, cols = elev_mm.shape
    out[:] = _NAN
    for r in range(1, rows - 1):
        for c in range(1, cols - 1):
            here = elev_mm[r, c]
            total = 0.0
            known = here != _NODATA
            for i in range(-1, 2):
                for j in range(-1, 2):
                    there = elev_mm[r + i, c + j]
                    known = known and there != _NODATA
                    step = float(there - here)
                    total += step * step
            if known:
                out[r, c] = np.float32(math.sqrt(total) * 0.001)
