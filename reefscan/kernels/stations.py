"""From height fields to stations: the cells worth measuring, the same whatever the cut.

Every small square of the absolute lattice offers its highest cell of each kind, and one of two neighbours
that stand too close gives way. The rule looks only a fixed number of cells around, so a tile with that halo finds
what the whole grid would.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, nogil=True)
def best_of_squares(
    height: NDArray[np.int32],
    live: NDArray[np.bool_],
    edge: int,
    live_side: int,
    row0: int,
    col0: int,
    side: int,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Highest cell of every lattice square of ``side`` cells that holds any.

    Parameters
    ----------
    height : ndarray of int32, shape (rows, cols)
        Height field in millimetres, 0 where there is none.
    live : ndarray of bool, shape (n, m)
        Which parts of ``live_side`` cells a side hold heights, from cell (``edge``, ``edge``) on; others
        are not looked at.
    edge, live_side : int
    row0, col0 : int
        Absolute lattice position of cell (0, 0).
    side : int
        Side of a square in cells; squares are aligned to the absolute lattice.

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
    for i in range(live.shape[0]):
        if not live[i].any():
            continue
        for r in range(edge + i * live_side, min(rows, edge + (i + 1) * live_side)):
            br = (row0 + r) // side - first_r
            for j in range(live.shape[1]):
                if not live[i, j]:
                    continue
                for c in range(edge + j * live_side, min(cols, edge + (j + 1) * live_side)):
                    value = height[r, c]
                    if value <= 0:
                        continue
                    bc = (col0 + c) // side - first_c
                    if value > best[br, bc]:
                        best[br, bc] = value
                        at_r[br, bc] = r
                        at_c[br, bc] = c
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
