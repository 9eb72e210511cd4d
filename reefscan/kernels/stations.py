"""From height fields to stations: the cells worth measuring, the same whatever the cut.

Fliers are set aside first; then every small square of the absolute lattice offers its highest cell of
each kind, and one of two neighbours that stand too close gives way. Both rules look only a fixed number
of cells around, so a tile with that halo finds what the whole grid would.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)

FLIER_HALO = 2


@njit(cache=True, nogil=True)
def set_aside_fliers(
    elev_mm: NDArray[np.int32], floor_mm: int
) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Replace isolated bad cells by the middle value of their neighbours.

    A flier stands out from its 8 neighbours by far more than those differ from each other and from the
    16 cells beyond them: the flank of a real pile or pit goes on outward, a flier's does not. Up to two
    bad cells side by side are found (the second most extreme neighbour is the one compared).

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
    floor_mm : int
        Smallest excess that counts.

    Returns
    -------
    clean : ndarray of int32
        A copy with fliers replaced; the input is not modified. Depends on `FLIER_HALO` cells around.
    where : ndarray of int32, shape (n, 2)
        Row and column of each flier.
    """
    rows, cols = elev_mm.shape
    clean = elev_mm.copy()
    found = np.empty((64, 2), np.int32)
    count = 0
    near = np.empty(8, np.int32)
    ring = np.empty(16, np.int32)
    for r in range(1, rows - 1):
        up, mid, low = elev_mm[r - 1], elev_mm[r], elev_mm[r + 1]
        for c in range(1, cols - 1):
            z = mid[c]
            # the four nearest reject nearly every cell at once; one of them may be bad as well
            bend = 4 * np.int64(z) - up[c] - low[c] - mid[c - 1] - mid[c + 1]
            if z == _NODATA or abs(bend) <= 3 * floor_mm:
                continue
            n = 0
            for dr in range(-1, 2):
                for dc in range(-1, 2):
                    value = elev_mm[r + dr, c + dc]
                    if (dr != 0 or dc != 0) and value != _NODATA:
                        near[n] = value
                        n += 1
            if n < 5:
                continue
            near[:n].sort()
            if z > near[n - 2] + floor_mm:
                excess = z - near[n - 2]
                spread = near[n - 2] - near[0]
            elif z < near[1] - floor_mm:
                excess = near[1] - z
                spread = near[n - 1] - near[1]
            else:
                continue
            middle = near[n // 2]
            m = 0
            for dr in range(-2, 3):
                for dc in range(-2, 3):
                    if max(abs(dr), abs(dc)) == 2:
                        rr, cc = r + dr, c + dc
                        if 0 <= rr < rows and 0 <= cc < cols and elev_mm[rr, cc] != _NODATA:
                            ring[m] = elev_mm[rr, cc]
                            m += 1
            beyond = middle
            if m > 0:
                ring[:m].sort()
                beyond = ring[m // 2]
            if excess > 3 * spread and excess > 3 * abs(middle - beyond):
                clean[r, c] = middle
                if count == found.shape[0]:
                    grown = np.empty((2 * count, 2), np.int32)
                    grown[:count] = found
                    found = grown
                found[count, 0] = r
                found[count, 1] = c
                count += 1
    return clean, found[:count].copy()


@njit(cache=True, nogil=True)
def best_of_squares(
    height: NDArray[np.int32], row0: int, col0: int, side: int, floor_mm: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Highest cell of every lattice square of ``side`` cells, where it reaches the floor.

    Parameters
    ----------
    height : ndarray of int32, shape (rows, cols)
        Height field in millimetres.
    row0, col0 : int
        Absolute lattice position of cell (0, 0).
    side : int
        Side of a square in cells; squares are aligned to the absolute lattice.
    floor_mm : int
        Lowest height kept.

    Returns
    -------
    row, col : ndarray of int64
        Positions within the array. A plateau gives its middle-most cell by (row, col) order. Of two best
        cells nearer than 0.6 squares the lower one (then the later one) gives way; the answer at a cell
        depends on two squares around it.
    """
    rows, cols = height.shape
    first_r, first_c = row0 // side, col0 // side
    n_r = (row0 + rows - 1) // side - first_r + 1
    n_c = (col0 + cols - 1) // side - first_c + 1
    best = np.zeros((n_r, n_c), np.int32)
    at_r = np.zeros((n_r, n_c), np.int32)
    at_c = np.zeros((n_r, n_c), np.int32)
    for r in range(rows):
        br = (row0 + r) // side - first_r
        for bc in range(n_c):
            c_start = max(0, (first_c + bc) * side - col0)
            c_end = min(cols, (first_c + bc + 1) * side - col0)
            top = best[br, bc]
            for c in range(c_start, c_end):
                if height[r, c] > top and height[r, c] >= floor_mm:
                    top = height[r, c]
                    at_r[br, bc] = r
                    at_c[br, bc] = c
            best[br, bc] = top
    total = 0
    for br in range(n_r):
        for bc in range(n_c):
            total += best[br, bc] > 0
    out_r, out_c = np.empty(total, np.int64), np.empty(total, np.int64)
    reach = 0.36 * side * side
    n = 0
    for br in range(n_r):
        for bc in range(n_c):
            mine = best[br, bc]
            if mine == 0:
                continue
            stands = True
            for dr in range(-1, 2):
                for dc in range(-1, 2):
                    rr, cc = br + dr, bc + dc
                    if (dr == 0 and dc == 0) or rr < 0 or cc < 0 or rr >= n_r or cc >= n_c:
                        continue
                    other = best[rr, cc]
                    if other == 0:
                        continue
                    gap_r, gap_c = at_r[rr, cc] - at_r[br, bc], at_c[rr, cc] - at_c[br, bc]
                    if gap_r * gap_r + gap_c * gap_c >= reach:
                        continue
                    if other > mine or (other == mine and (dr < 0 or (dr == 0 and dc < 0))):
                        stands = False
            if stands:
                out_r[n] = at_r[br, bc]
                out_c[n] = at_c[br, bc]
                n += 1
    return out_r[:n].copy(), out_c[:n].copy()
