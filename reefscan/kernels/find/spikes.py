"""Isolated bad cells: found, and set aside before anything is taken for structure.

A spike stands out from its 8 neighbours by far more than those differ from each other and from the 16 cells
beyond them, the slope of the ground taken out: the flank of a real pile or pit goes on outward, a spike's does not. Up to two bad cells side by
side are found (the second most extreme neighbour is the one compared). The rule looks `SPIKE_HALO` cells around.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel
from reefscan.kernels.order import put_in_order
from reefscan.kernels.stray import SINGLE_M

_NODATA = np.int32(NODATA_MM)

SPIKE_HALO = 2

SOUTH, EAST = (np.int64(1), np.int64(0)), (np.int64(0), np.int64(1))
"""Of that type: for plain numbers in a call its function is compiled once for each."""

FLOOR_MM = 400
"""Smallest excess of a spike: below it a bad cell can make no structure (floors start at 0.8 m)."""

PART = 128
"""Cells of a row that are passed by together if none of them bends enough."""


@kernel
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


@kernel
def _slope(elev_mm: NDArray[np.int32], r: int, c: int, way: tuple[int, int]) -> int:
    """Twice the slope (mm a cell) past a cell along one axis: the middle of three differences, so that one more bad cell
    tilts nothing; of two known ones the flatter, 0 of none."""
    down, right = way
    a, b, d = np.int64(0), np.int64(0), np.int64(0)
    known = 0
    for k in range(-1, 2):
        first, last = (
            elev_mm[r - down + k * right, c - right + k * down],
            elev_mm[r + down + k * right, c + right + k * down],
        )
        if first == _NODATA or last == _NODATA:
            continue
        a, b, d = b, d, np.int64(last) - first
        known += 1
    if known == 3:
        return int(max(min(a, b), min(max(a, b), d)))
    if known == 2:
        return int(b if abs(b) < abs(d) else d)
    return int(d)


@kernel
def _flier(
    elev_mm: NDArray[np.int32],
    r: int,
    c: int,
    near: NDArray[np.int64],
    ring: NDArray[np.int64],
) -> int:
    """Middle value of the neighbours of a spike; `NODATA_MM` where the cell is none."""
    rows, cols = elev_mm.shape
    # twice the depths, as the slopes are: halves would be rounded one way up and another way down
    z = 2 * np.int64(elev_mm[r, c])
    floor = 2 * FLOOR_MM
    # on the flank of a sand wave the neighbours differ by its slope, which says nothing of this cell
    south, east = _slope(elev_mm, r, c, SOUTH), _slope(elev_mm, r, c, EAST)
    n = 0
    for dr in range(-1, 2):
        for dc in range(-1, 2):
            value = elev_mm[r + dr, c + dc]
            if (dr != 0 or dc != 0) and value != _NODATA:
                near[n] = 2 * value - (dr * south + dc * east)
                n += 1
    if n < 5:
        return int(_NODATA)
    put_in_order(near[:n])
    if z > near[n - 2] + floor:
        excess = z - near[n - 2]
        spread = near[n - 2] - near[0]
    elif z < near[1] - floor:
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
                    ring[m] = 2 * elev_mm[rr, cc] - (dr * south + dc * east)
                    m += 1
    beyond = middle
    if m > 0:
        put_in_order(ring[:m])
        beyond = ring[m // 2]
    if excess > 3 * spread and excess > 3 * abs(middle - beyond):
        return int(np.rint(0.5 * middle))
    return int(_NODATA)


@kernel
def _longer(found: NDArray[np.int32]) -> NDArray[np.int32]:
    """The same rows and as many empty ones; an assignment of all at once takes 2 s to compile, for its error's text."""
    grown = np.empty((2 * found.shape[0], found.shape[1]), found.dtype)
    for i in range(found.shape[0]):
        for j in range(found.shape[1]):
            grown[i, j] = found[i, j]
    return grown


@kernel
def find_spikes(
    elev_mm: NDArray[np.int32], top: int, bottom: int, left: int, right: int
) -> NDArray[np.int32]:
    """Spikes in a part of an array, each with the middle value of its neighbours.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
    top, bottom, left, right : int
        Rows and columns looked at (half open). The array's own outermost cells have no neighbours to be judged by
        and are passed by.

    Returns
    -------
    ndarray of int32, shape (n, 3)
        Row, column, middle value (mm).
    """
    rows, cols = elev_mm.shape
    found = np.empty((64, 3), np.int32)
    count = 0
    near, ring = np.empty(8, np.int64), np.empty(16, np.int64)
    for r in range(max(1, top), min(rows - 1, bottom)):
        up, mid, low = elev_mm[r - 1], elev_mm[r], elev_mm[r + 1]
        for first in range(max(1, left), min(cols - 1, right), PART):
            last = min(min(cols - 1, right), first + PART)
            if not _bent(up[first:last], mid[first - 1 : last + 1], low[first:last], np.int32(3 * FLOOR_MM)):
                continue
            for c in range(first, last):
                # the four nearest reject nearly every cell at once; one of them may be bad as well
                z = mid[c]
                bend = 4 * np.int64(z) - up[c] - low[c] - mid[c - 1] - mid[c + 1]
                if z == _NODATA or abs(bend) <= 3 * FLOOR_MM:
                    continue
                middle = _flier(elev_mm, r, c, near, ring)
                if middle == _NODATA:
                    continue
                if count == found.shape[0]:
                    found = _longer(found)
                found[count, 0], found[count, 1], found[count, 2] = r, c, middle
                count += 1
    return found[:count].copy()


def spikes_on(elev_mm: NDArray[np.int32], cell_m: float) -> NDArray[np.int32]:
    """Spikes of a whole array, as `find_spikes` gives them; none on cells of more than `SINGLE_M`."""
    if cell_m > SINGLE_M:
        return np.zeros((0, 3), np.int32)
    return np.asarray(find_spikes(elev_mm, 0, elev_mm.shape[0], 0, elev_mm.shape[1]))


def spikes_around(
    elev_mm: NDArray[np.int32], cell_m: float, inner: tuple[slice, slice], known: NDArray[np.int32]
) -> NDArray[np.int32]:
    """Spikes of a whole array of which a part was searched already.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
    cell_m : float
    inner : pair of slice
        The part; cells within `SPIKE_HALO` of its border are judged anew, by what lies beyond it.
    known : ndarray of int32, shape (n, 3)
        What `spikes_on` gave for the part as an array of its own.

    Returns
    -------
    ndarray of int32, shape (m, 3)
        As `spikes_on` gives for the whole; in another order.
    """
    rows, cols = elev_mm.shape
    top, bottom = inner[0].start + SPIKE_HALO, inner[0].stop - SPIKE_HALO
    left, right = inner[1].start + SPIKE_HALO, inner[1].stop - SPIKE_HALO
    if top >= bottom or left >= right or cell_m > SINGLE_M:
        return spikes_on(elev_mm, cell_m)
    moved = known + np.array([inner[0].start, inner[1].start, 0], np.int32)
    r, c = moved[:, 0], moved[:, 1]
    return np.concatenate(
        [
            moved[(r >= top) & (r < bottom) & (c >= left) & (c < right)],
            find_spikes(elev_mm, 0, top, 0, cols),
            find_spikes(elev_mm, bottom, rows, 0, cols),
            find_spikes(elev_mm, top, bottom, 0, left),
            find_spikes(elev_mm, top, bottom, right, cols),
        ]
    )


def set_aside(cells_mm: NDArray[np.int32], spikes: NDArray[np.int32], ceiling_mm: int | None = None) -> None:
    """Replace every spike by the middle value of its neighbours, in place.

    Parameters
    ----------
    cells_mm : ndarray of int32, shape (rows, cols)
        The array they were found in, or a copy of it cut off at a ceiling. Modified.
    spikes : ndarray of int32, shape (n, 3)
        From `find_spikes`.
    ceiling_mm : int, optional
        Ground above it was said to stand no higher.
    """
    middle = spikes[:, 2] if ceiling_mm is None else np.minimum(spikes[:, 2], np.int32(ceiling_mm))
    cells_mm[spikes[:, 0], spikes[:, 1]] = middle
