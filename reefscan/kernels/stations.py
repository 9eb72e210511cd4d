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

PART = 128
"""Cells of a row that are passed by together if none of them bends enough."""


@njit(cache=True, nogil=True)
def _bent(up: NDArray[np.int32], mid: NDArray[np.int32], low: NDArray[np.int32], limit: int) -> bool:
    """True if a known cell of a row bends by more than a limit against the four nearest, or one is unknown."""
    left, here, right = mid[:-2], mid[1:-1], mid[2:]
    most, least = np.int32(0), np.int32(0)
    for k in range(here.shape[0]):
        a, b, c, d, z = up[k], low[k], left[k], right[k], here[k]
        bend = np.int32(np.int32(np.int32(4) * z) - np.int32(np.int32(a + b) + np.int32(c + d)))
        lowest = min(min(a, b), min(c, d))
        most = max(most, max(bend, np.int32(-bend)) if z != _NODATA else np.int32(0))
        least = min(least, lowest if z != _NODATA else np.int32(0))
    return bool((most > limit) | (least == _NODATA))


@njit(cache=True, nogil=True)
def _flier(
    elev_mm: NDArray[np.int32],
    r: int,
    c: int,
    floor_mm: int,
    near: NDArray[np.int32],
    ring: NDArray[np.int32],
) -> int:
    """Middle value of the neighbours of a flier; `NODATA_MM` where the cell is none."""
    rows, cols = elev_mm.shape
    z = elev_mm[r, c]
    n = 0
    for dr in range(-1, 2):
        for dc in range(-1, 2):
            value = elev_mm[r + dr, c + dc]
            if (dr != 0 or dc != 0) and value != _NODATA:
                near[n] = value
                n += 1
    if n < 5:
        return int(_NODATA)
    near[:n].sort()
    if z > near[n - 2] + floor_mm:
        excess = z - near[n - 2]
        spread = near[n - 2] - near[0]
    elif z < near[1] - floor_mm:
        excess = near[1] - z
        spread = near[n - 1] - near[1]
    else:
        return int(_NODATA)
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
    return int(middle) if excess > 3 * spread and excess > 3 * abs(middle - beyond) else int(_NODATA)


@njit(cache=True, nogil=True)
def set_aside_fliers(
    elev_mm: NDArray[np.int32], floor_mm: int, ceiling_mm: int = 2**31 - 1
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
    ceiling_mm : int
        Ground above it is told as standing no higher, after fliers are judged.

    Returns
    -------
    clean : ndarray of int32
        A copy with fliers replaced; the input is not modified. Depends on `FLIER_HALO` cells around.
    where : ndarray of int32, shape (n, 2)
        Row and column of each flier.
    """
    rows, cols = elev_mm.shape
    clean = np.minimum(elev_mm, np.int32(ceiling_mm))
    found = np.empty((64, 2), np.int32)
    count = 0
    near, ring = np.empty(8, np.int32), np.empty(16, np.int32)
    for r in range(1, rows - 1):
        up, mid, low = elev_mm[r - 1], elev_mm[r], elev_mm[r + 1]
        for first in range(1, cols - 1, PART):
            last = min(cols - 1, first + PART)
            if not _bent(up[first:last], mid[first - 1 : last + 1], low[first:last], np.int32(3 * floor_mm)):
                continue
            for c in range(first, last):
                # the four nearest reject nearly every cell at once; one of them may be bad as well
                z = mid[c]
                bend = 4 * np.int64(z) - up[c] - low[c] - mid[c - 1] - mid[c + 1]
                if z == _NODATA or abs(bend) <= 3 * floor_mm:
                    continue
                middle = _flier(elev_mm, r, c, floor_mm, near, ring)
                if middle == _NODATA:
                    continue
                clean[r, c] = min(middle, np.int32(ceiling_mm))
                if count == found.shape[0]:
                    grown = np.empty((2 * count, 2), np.int32)
                    grown[:count] = found
                    found = grown
                found[count, 0], found[count, 1] = r, c
                count += 1
    return clean, found[:count].copy()


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
