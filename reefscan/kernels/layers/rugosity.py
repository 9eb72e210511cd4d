"""How broken the seabed is, apart from how steep it is.

Arrays and numbers in, arrays out. Elevation is int32 millimetres, positive up, rows north to south,
`NODATA_MM` unknown. Unit vectors are held as whole numbers, so window sums are exact and the result
does not depend on where a tile was cut.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel
from reefscan.kernels.layers.gradient import horn_row

_NODATA = np.int32(NODATA_MM)
_NAN = np.float32(np.nan)

# A unit vector is 2**26 quanta long (1.5e-8, a hundredth of what the flattest sand shows) while a
# column of the window still sums in int32, that is up to 31 cells; wider windows take fewer.
_UNIT_BITS = 26
_MAX_WINDOW = 511
_DIRECT = 5  # up to 5 x 5 a whole window's sum fits in int32: adding columns beats a running sum


def window_cells(window_m: float, cell_m: float) -> int:
    """Odd number of cells nearest to a window's width, at least 3 and at most 511.

    Examples
    --------
    >>> window_cells(6.0, 2.0), window_cells(6.0, 8.0), window_cells(20.0, 2.0)
    (3, 3, 11)
    """
    half = math.floor((window_m / cell_m - 1.0) / 2.0 + 0.5)
    return 2 * min(max(1, half), _MAX_WINDOW // 2) + 1


def vrm(elev_mm: NDArray[np.int32], cell_m: float, n: int) -> NDArray[np.float32]:
    """Vector ruggedness: spread of the seabed's normals, a sign of crevice and boulder.

    Zero on any plane however steep, unlike indices of height differences. It grows with the noise of
    the survey and shrinks where a grid was smoothed, so compare it within one survey only.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Elevation, millimetres, positive up, `NODATA_MM` unknown.
    cell_m : float
        Side of a cell, metres.
    n : int
        Side of the window in cells, odd, 3 to 511.

    Returns
    -------
    ndarray of float32, shape (rows, cols)
        0 (plane) to 1, within 3e-8 (5e-7 for windows of more than 31 cells). The mean is over known normals (a normal needs all nine cells);
        NaN where the cell's own normal is unknown or under half of the window's are.
        Halo: ``n // 2 + 1`` cells.

    Raises
    ------
    ValueError
        If ``n`` is even or outside 3 to 511.

    References
    ----------
    J. M. Sappington, K. M. Longshore, D. B. Thompson, "Quantifying landscape ruggedness for animal
    habitat analysis", J. Wildl. Manage. 71(5):1419-1426, 2007, doi:10.2193/2005-723.
    """
    if n % 2 == 0 or not 3 <= n <= _MAX_WINDOW:
        raise ValueError(f"vrm window is {n} cells; it must be odd, 3 to {_MAX_WINDOW}")
    out = np.empty(elev_mm.shape, dtype=np.float32)
    unit = 2.0 ** min(_UNIT_BITS, math.floor(math.log2((2**31 - 1) / n)))
    _vrm(elev_mm, 8000.0 * cell_m, n, unit, out)
    return out


def surface_ratio(elev_mm: NDArray[np.int32], cell_m: float) -> NDArray[np.float64]:
    """True area of the seabed over its area on the chart, from eight triangles to the neighbours.

    A steep even slope reads as high as broken ground; `surface_ratio_even` takes the slope out.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Elevation, millimetres, positive up, `NODATA_MM` unknown.
    cell_m : float
        Side of a cell, metres.

    Returns
    -------
    ndarray of float64, shape (rows, cols)
        At least 1; ``sqrt(1 + p**2 + q**2)`` on a plane with gradients p and q. NaN where any of the
        nine cells is unknown, and on the outer ring. Halo: one cell.

    References
    ----------
    J. S. Jenness, "Calculating landscape surface area from digital elevation models", Wildl. Soc.
    Bull. 32(3):829-839, 2004, doi:10.2193/0091-7648(2004)032[0829:CLSAFD]2.0.CO;2.
    """
    out = np.empty(elev_mm.shape, dtype=np.float64)
    _surface_ratio(elev_mm, 1.0 / (1000.0 * cell_m), False, out)
    return out


def surface_ratio_even(elev_mm: NDArray[np.int32], cell_m: float) -> NDArray[np.float64]:
    """`surface_ratio` divided by that of the plane with the same (Horn) gradient.

    It is 1 on an even slope of any steepness, so it can be compared between a flank and a flat. It
    may fall a little below 1 where Horn's plane is steeper than the triangles, as beside a ledge.

    Parameters
    ----------
    elev_mm, cell_m
        As for `surface_ratio`.

    Returns
    -------
    ndarray of float64, shape (rows, cols)
        Ratio; NaN and halo as for `surface_ratio`.

    References
    ----------
    Jenness 2004 and Horn 1981; the division is this package's choice (no source).
    """
    out = np.empty(elev_mm.shape, dtype=np.float64)
    _surface_ratio(elev_mm, 1.0 / (1000.0 * cell_m), True, out)
    return out


@kernel
def _normal_row(across, down, lowest, run, unit, x, y, z):  # type: ignore[no-untyped-def]
    """Unit normals of one row in quanta; an unknown one is (0, 0, 0)."""
    for c in range(1, x.size - 1):
        east = float(np.int32(across[c + 1] - across[c - 1]))
        south = float(np.int32(down[c - 1] + 2 * down[c] + down[c + 1]))
        known = min(lowest[c - 1], min(lowest[c], lowest[c + 1])) != _NODATA
        scale = unit / np.sqrt(east * east + south * south + run * run)
        scale = scale if known else 0.0
        x[c] = np.int32(np.rint(east * scale))
        y[c] = np.int32(np.rint(south * scale))
        z[c] = max(np.int32(np.rint(run * scale)), np.int32(1)) if known else np.int32(0)


@kernel
def _renew(new, ring, column):  # type: ignore[no-untyped-def]
    """Let a row into the columns' sums and the one it replaces out of them."""
    for c in range(new.size):
        column[c] = np.int32(column[c] + (new[c] - ring[c]))
        ring[c] = new[c]


@kernel
def _window_sum(column, n, out):  # type: ignore[no-untyped-def]
    """Sum of ``n`` neighbouring columns about each cell, as floats that hold it exactly."""
    half = n // 2
    inside = out[half : out.size - half]
    if n <= _DIRECT:
        a, b, c = column[half - 1 :], column[half:], column[half + 1 :]
        if n == 3:
            for k in range(inside.size):
                inside[k] = float(np.int32(a[k] + b[k] + c[k]))
        else:
            d, e = column[half - 2 :], column[half + 2 :]
            for k in range(inside.size):
                inside[k] = float(np.int32(d[k] + a[k] + b[k] + c[k] + e[k]))
        return
    total = np.int64(0)
    for k in range(n):
        total += column[k]
    inside[0] = float(total)
    for k in range(1, inside.size):
        total += column[k + n - 1] - column[k - 1]
        inside[k] = float(total)


@kernel
def _spread(east, south, up, count, known, least, unit, out):  # type: ignore[no-untyped-def]
    """Ruggedness from the sums. Views that start at 0: a loop from elsewhere is not vectorised, for
    numba then checks every index for being negative (twice as slow)."""
    # A rounded unit vector is off by at most sqrt(3) / 2 quanta; below that, a ruggedness is rounding.
    quantum = 0.8660254037844387 / unit
    for c in range(out.size):
        length = np.sqrt(east[c] * east[c] + south[c] * south[c] + up[c] * up[c])
        spread = 1.0 - length / (count[c] * unit)
        spread = spread if spread > quantum else 0.0
        out[c] = np.float32(spread) if count[c] >= least and known[c] != 0 else _NAN


@kernel
def _vrm(elev_mm, run, n, unit, out):  # type: ignore[no-untyped-def]
    rows, cols = elev_mm.shape
    half = n // 2
    out[:] = _NAN
    if rows < n + 2 or cols < n + 2:
        return
    across = np.empty(cols, np.int32)
    down = np.empty(cols, np.int32)
    lowest = np.empty(cols, np.int32)
    new = np.zeros((4, cols), np.int32)  # east, south, up, known
    ring = np.zeros((4, n, cols), np.int32)
    column = np.zeros((4, cols), np.int32)
    sums = np.zeros((4, cols), np.float64)
    for r in range(1, rows - 1):
        horn_row(elev_mm, r, across, down, lowest)
        _normal_row(across, down, lowest, run, unit, new[0], new[1], new[2])
        up, known = new[2], new[3]
        for c in range(cols):
            known[c] = 1 if up[c] != 0 else 0
        for k in range(4):
            _renew(new[k], ring[k, r % n], column[k])
        if r < n:
            continue
        for k in range(4):
            _window_sum(column[k], n, sums[k])
        first, end = half + 1, cols - half - 1
        _spread(
            sums[0, first:end],
            sums[1, first:end],
            sums[2, first:end],
            sums[3, first:end],
            ring[3, (r - half) % n, first:end],
            (n * n + 1) // 2,
            unit,
            out[r - half, first:end],
        )


@kernel
def _surface_ratio(elev_mm, per_run, even, out):  # type: ignore[no-untyped-def]
    # A triangle (centre, edge neighbour, corner) has legs h along the axes in plan, so its area is
    # h**2 / 2 * sqrt(1 + p**2 + q**2) with p to the edge neighbour and q from there to the corner.
    rows, cols = elev_mm.shape
    out[:] = np.nan
    for r in range(1, rows - 1):
        for c in range(1, cols - 1):
            lowest = _NODATA + 1
            known = True
            for i in range(-1, 2):
                for j in range(-1, 2):
                    known = known and elev_mm[r + i, c + j] >= lowest
            if not known:
                continue
            here = elev_mm[r, c]
            nw = (elev_mm[r - 1, c - 1] - here) * per_run
            n = (elev_mm[r - 1, c] - here) * per_run
            ne = (elev_mm[r - 1, c + 1] - here) * per_run
            w = (elev_mm[r, c - 1] - here) * per_run
            e = (elev_mm[r, c + 1] - here) * per_run
            sw = (elev_mm[r + 1, c - 1] - here) * per_run
            s = (elev_mm[r + 1, c] - here) * per_run
            se = (elev_mm[r + 1, c + 1] - here) * per_run
            ratio = (
                np.sqrt(1.0 + n * n + (nw - n) * (nw - n))
                + np.sqrt(1.0 + n * n + (ne - n) * (ne - n))
                + np.sqrt(1.0 + s * s + (sw - s) * (sw - s))
                + np.sqrt(1.0 + s * s + (se - s) * (se - s))
                + np.sqrt(1.0 + w * w + (nw - w) * (nw - w))
                + np.sqrt(1.0 + w * w + (sw - w) * (sw - w))
                + np.sqrt(1.0 + e * e + (ne - e) * (ne - e))
                + np.sqrt(1.0 + e * e + (se - e) * (se - e))
            ) / 8.0
            if even:
                p = (ne + 2.0 * e + se - nw - 2.0 * w - sw) / 8.0
                q = (sw + 2.0 * s + se - nw - 2.0 * n - ne) / 8.0
                ratio /= np.sqrt(1.0 + p * p + q * q)
            out[r, c] = ratio
