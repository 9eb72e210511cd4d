"""Where the ground falls fastest: the cells from which faces are measured.

Arrays and numbers in, arrays out. A face shows as a line of cells whose slope is greatest along their own fall
(non-maximum suppression, Canny 1986, doi:10.1109/TPAMI.1986.4767851). Of those, one a square of the absolute lattice
is kept: where most rises and falls away, up and down the fall line, faster than a sight line of a small gradient
(lines of sight as in Yokoyama et al. 2002, with a flatness threshold as in Jasiewicz and Stepinski 2013,
doi:10.1016/j.geomorph.2012.11.005). What rises no faster is the lie of the land and is passed by.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel


@kernel
def _bilinear(z: NDArray[np.float32], r: float, c: float) -> float:
    """Value between cells, all of them inside the array; NaN beside an unknown one."""
    i, j = np.uintp(r), np.uintp(c)
    u, v = r - i, c - j
    return (z[i, j] * (1.0 - v) + z[i, j + 1] * v) * (1.0 - u) + (
        z[i + 1, j] * (1.0 - v) + z[i + 1, j + 1] * v
    ) * u


@kernel
def _fall(
    z: NDArray[np.float32], r: int, c: int, dr: float, dc: float, tilt: float, look: int
) -> tuple[float, float]:
    """Height (m) that stands above and falls away below a cell along its fall line, beyond a sight line; and the plain fall there.

    ``dr``, ``dc`` point downhill (unit), ``tilt`` is the sight line's gradient in m per cell. Either side ends where the
    ground gives back a third of what it gained.
    """
    here, total, plain = float(z[r, c]), 0.0, 0.0
    for side in range(2):
        sign = 1.0 if side else -1.0
        most, far = 0.0, 0
        for k in range(1, look + 1):
            gain = sign * (here - _bilinear(z, r + sign * k * dr, c + sign * k * dc)) - tilt * k
            if not gain == gain or gain < 0.67 * most - 0.25:
                break
            if gain > most:
                most, far = gain, k
        total += most
        plain += most + tilt * far
    return total, plain


@kernel
def find_faces(
    z: NDArray[np.float32],
    band_m: tuple[float, float],
    steep: float,
    tilt: float,
    look: int,
    least_m: float,
    edge: int,
    origin: tuple[int, int],
    side: int,
    height: NDArray[np.int32],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """Cells to measure, one a lattice square, and the way the ground falls there.

    Parameters
    ----------
    z : ndarray of float32, shape (rows, cols)
        Smoothed elevation (m), NaN unknown.
    band_m : tuple of float
        Lowest and highest elevation looked at.
    steep, tilt : float
        Least slope of a cell and gradient of the sight line, m per cell.
    look : int
        How far up and down the fall line is looked, cells.
    least_m : float
        Height below which a cell is left.
    edge : int
        Cells at the rim that are not answered for, at least ``look`` + 2.
    origin : tuple of int
        Absolute lattice position of cell (0, 0).
    side : int
        Side of a lattice square, cells.
    height : ndarray of int32, shape (rows, cols)
        Zeros; the plain fall (mm) at every cell of an edge that reaches the least is written into it.

    Returns
    -------
    rows, cols : ndarray of int64
    facing : ndarray of float64
        Downhill direction, radians clockwise from grid north.
    """
    rows, cols = z.shape
    row0, col0 = origin
    n_r, n_c = (row0 + rows - 1) // side - row0 // side + 1, (col0 + cols - 1) // side - col0 // side + 1
    best = np.zeros((n_r, n_c), np.float64)
    at = np.zeros((n_r, n_c, 2), np.int64)
    way = np.zeros((n_r, n_c), np.float64)
    least_square = 4.0 * steep * steep
    for r in range(edge, rows - edge):
        above, here, below = z[r - 1], z[r], z[r + 1]
        for c in range(edge, cols - edge):
            p, q = below[c] - above[c], here[c + 1] - here[c - 1]
            square = p * p + q * q
            if not square >= least_square or here[c] < band_m[0] or here[c] > band_m[1]:
                continue
            size = math.sqrt(square)
            dr, dc = -p / size, -q / size
            if not _stands(z, r, c, dr, dc, square):
                continue
            fall, plain = _fall(z, r, c, dr, dc, tilt, look)
            if fall < least_m:
                continue
            height[r, c] = np.int32(plain * 1000.0)
            i, j = (row0 + r) // side - row0 // side, (col0 + c) // side - col0 // side
            # the steepest of a square lies on the face and not on its shoulder
            worth = min(fall, 3.0) * min(1.0, 0.5 * size / (8.0 * steep))
            if worth > best[i, j]:
                best[i, j], at[i, j, 0], at[i, j, 1], way[i, j] = worth, r, c, math.atan2(dc, -dr)
    return _apart(best, at, way, side)


@kernel
def _slope_square(z: NDArray[np.float32], r: int, c: int) -> float:
    """Square of twice the slope of a cell; 0 beside an unknown one."""
    p, q = z[r + 1, c] - z[r - 1, c], z[r, c + 1] - z[r, c - 1]
    square = p * p + q * q
    return square if square == square else 0.0


@kernel
def _stands(z: NDArray[np.float32], r: int, c: int, dr: float, dc: float, square: float) -> bool:
    """True if neither neighbour along the fall line is steeper (between cells, linearly)."""
    along_rows = abs(dr) >= abs(dc)
    part = abs(dc / dr) if along_rows else abs(dr / dc)
    step_r, step_c = (1 if dr > 0 else -1), (1 if dc > 0 else -1)
    for sign in (1, -1):
        if along_rows:
            near, far = (
                _slope_square(z, r + sign * step_r, c),
                _slope_square(z, r + sign * step_r, c + sign * step_c),
            )
        else:
            near, far = (
                _slope_square(z, r, c + sign * step_c),
                _slope_square(z, r + sign * step_r, c + sign * step_c),
            )
        other = (1.0 - part) * near + part * far
        if other > square or (other == square and sign > 0):
            return False
    return True


@kernel
def _apart(
    best: NDArray[np.float64], at: NDArray[np.int64], way: NDArray[np.float64], side: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float64]]:
    """The cells of the squares, less those that stand too near to a better one that faces the same way."""
    n_r, n_c = best.shape
    rows, cols = np.empty(n_r * n_c, np.int64), np.empty(n_r * n_c, np.int64)
    facing = np.empty(n_r * n_c, np.float64)
    n, reach = 0, 0.36 * side * side
    for i in range(n_r):
        for j in range(n_c):
            if best[i, j] == 0.0:
                continue
            stands = True
            for di in range(-1, 2):
                for dj in range(-1, 2):
                    k, m = i + di, j + dj
                    if (di == 0 and dj == 0) or k < 0 or m < 0 or k >= n_r or m >= n_c or best[k, m] == 0.0:
                        continue
                    gap_r, gap_c = at[k, m, 0] - at[i, j, 0], at[k, m, 1] - at[i, j, 1]
                    if gap_r * gap_r + gap_c * gap_c >= reach or math.cos(way[k, m] - way[i, j]) < 0.5:
                        continue
                    if best[k, m] > best[i, j] or (
                        best[k, m] == best[i, j] and (di < 0 or (di == 0 and dj < 0))
                    ):
                        stands = False
            if stands:
                rows[n], cols[n], facing[n] = at[i, j, 0], at[i, j, 1], way[i, j]
                n += 1
    return rows[:n].copy(), cols[:n].copy(), facing[:n].copy()
