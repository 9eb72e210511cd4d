"""Bathymetric position index: does a cell stand above or below its surroundings?

Arrays and numbers in, arrays out. Elevation is int32 millimetres, positive up, rows north to south,
`NODATA_MM` unknown.

Two ways to sum a disc, chosen by its radius alone, so the choice never depends on the cut:

- up to `EXACT_CELLS`: chords of running row sums, whole numbers, exact;
- beyond: the rim and the inside are summed over *blocks* of 4, 8, 16... cells, on a lattice fixed to
  the sheet's own row and column numbers (hence ``row0`` and ``col0``), and the smooth disc sums are
  brought back to the cells by a cubic. A disc is always 8 to 16 blocks in radius, so the cost per
  cell does not grow with it.

Sums of blocks are whole numbers below 2**53 (for heights of 100 m and radii up to 15 000 cells), exact
in float64 in any order; the cubic's four terms
are added in an order fixed by a cell's place in its block. Other designs and what they cost are
measured in ``scripts/bench.py``.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel
from reefscan.kernels.layers.discs import add_far_row, block_side, cells_of, far_disc, half_widths_of

_NODATA = np.int32(NODATA_MM)
_NAN = np.float32(np.nan)

EXACT_CELLS = 32.0
"""Largest radius (cells) summed chord by chord; beyond it blocks are cheaper."""

_CHUNK = 256  # columns done at a time, so that a disc's rows stay in the second-level cache


def bpi(
    elev_mm: NDArray[np.int32], inner_cells: float, outer_cells: float, row0: int, col0: int
) -> NDArray[np.float32]:
    """Height of a cell above the mean of the annulus around it.

    Positive on banks, reefs and lips, negative in holes and troughs, zero on any even slope. It says
    nothing about shape: the top of a broad bank and a boulder may read the same.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Elevation, millimetres, positive up, `NODATA_MM` unknown.
    inner_cells, outer_cells : float
        Radii of the annulus in cells, both inclusive, ``0 < inner <= outer``. The cell itself is
        never part of the mean.
    row0, col0 : int
        Lattice row and column of the first cell of the array (see the module's head).

    Returns
    -------
    ndarray of float32, shape (rows, cols)
        Metres, positive up. The mean is over known cells; NaN where the cell itself is unknown or
        less than half of the annulus is known. Right only `bpi_halo` cells and more from the
        array's edge. Exact to float32 up to `EXACT_CELLS`; beyond, within about half a per cent of
        the index's own spread.

    Raises
    ------
    ValueError
        If the radii are not in order.

    References
    ----------
    A. D. Weiss, "Topographic position and landforms analysis", ESRI User Conference poster, 2001
    (citation from memory); E. R. Lundblad et al., "A benthic terrain classification scheme for
    American Samoa", Marine Geodesy 29(2):89-111, 2006, doi:10.1080/01490410600738021.
    """
    if not 0.0 < inner_cells <= outer_cells:
        raise ValueError(f"annulus from {inner_cells} to {outer_cells} cells: wanted 0 < inner <= outer")
    out = np.empty(elev_mm.shape, dtype=np.float32)
    outer = half_widths_of(outer_cells, closed=True)
    inner = half_widths_of(inner_cells, closed=False)
    far_outer, far_inner = outer_cells > EXACT_CELLS, inner_cells > EXACT_CELLS
    near = [(sign, w) for sign, w, far in ((1, outer, far_outer), (-1, inner, far_inner)) if not far]
    reach = max((w.size - 1 for _, w in near), default=0)
    offset, kind = _offset(elev_mm, max((cells_of(w) for _, w in near), default=0))
    width = elev_mm.shape[1] + 2 * reach + 1
    outer_disc = far_disc(elev_mm, outer, outer_cells if far_outer else 0.0, row0, col0)
    inner_disc = far_disc(elev_mm, inner, inner_cells if far_inner else 0.0, row0, col0)
    full = (outer_disc.full if far_outer else cells_of(outer)) - (
        inner_disc.full if far_inner else cells_of(inner)
    )
    _index(
        elev_mm,
        offset,
        np.zeros((2 * reach + 1, width), kind),
        np.zeros((2 * reach + 1, width), np.int32),
        np.concatenate([w for _, w in near] or [np.zeros(0, np.int64)]),
        np.concatenate([np.full(w.size, sign, np.int64) for sign, w in near] or [np.zeros(0, np.int64)]),
        outer_disc,
        inner_disc,
        0.5 * full,
        out,
    )
    return out


def bpi_halo(outer_cells: float) -> int:
    """Cells around a tile that `bpi` needs to give the same bits for any cut."""
    blocks = 0 if outer_cells <= EXACT_CELLS else 4 * block_side(outer_cells)
    return math.ceil(outer_cells) + 1 + blocks


def _offset(elev_mm: NDArray[np.int32], cells: int) -> tuple[int, type[np.integer]]:
    """A level to count heights from, and an integer wide enough for sums of ``cells`` of them.

    int32 sums are twice as fast and, being allowed to wrap on the way, exact whenever the final sum
    fits; the choice never shows in the result.
    """
    lowest, highest = _range(elev_mm)
    if lowest > highest:
        return 0, np.int32
    middle = (lowest + highest) // 2
    return middle, np.int32 if (highest - middle + 1) * cells < 2**31 else np.int64


@kernel
def _range(elev_mm):  # type: ignore[no-untyped-def]
    """Lowest and highest known elevation (the lowest above the highest if none is known)."""
    lowest, highest = np.int32(2**31 - 1), _NODATA
    flat = elev_mm.reshape(elev_mm.size)
    for i in range(flat.size):
        v = flat[i]
        highest = max(highest, v)
        lowest = min(lowest, v if v != _NODATA else np.int32(2**31 - 1))
    return lowest, highest


@kernel
def _prefix_row(elev_mm, row, offset, reach, heights, known):  # type: ignore[no-untyped-def]
    """Running sums of one row, with ``reach`` unknown cells on either side; beyond the array all are."""
    rows, cols = elev_mm.shape
    if row >= rows:
        heights[:] = 0
        known[:] = 0
        return
    total, count = heights[0] * 0, np.int32(0)
    line = elev_mm[row]
    heights[: reach + 1] = 0
    known[: reach + 1] = 0
    for c in range(cols):
        v = line[c]
        is_known = v != _NODATA
        total += v - offset if is_known else 0
        count += 1 if is_known else 0
        heights[c + reach + 1] = total
        known[c + reach + 1] = count
    heights[cols + reach + 1 :] = total
    known[cols + reach + 1 :] = count


@kernel
def _note_gaps(known, row, cols, reach, last_gap):  # type: ignore[no-untyped-def]
    """Note for each chunk of columns that its discs meet an unknown cell in this row."""
    for k in range(last_gap.size):
        start = k * _CHUNK
        end = min(cols, start + _CHUNK) + 2 * reach
        if known[end] - known[start] != end - start:
            last_gap[k] = row


@kernel
def _chords(ring, r, reach, start, half, sign, acc):  # type: ignore[no-untyped-def]
    """Add the chords of the near discs about cells ``start`` and on of row ``r`` into ``acc``."""
    n = acc.size
    rows = ring.shape[0]
    acc[:] = 0
    dy = 0
    for k in range(half.size):
        dy = 0 if k == 0 or sign[k] != sign[k - 1] else dy + 1
        right, left = start + reach + half[k] + 1, start + reach - half[k]
        up, down = ring[(r - dy) % rows], ring[(r + dy) % rows]
        a, b = up[right : right + n], up[left : left + n]
        c, d = down[right : right + n], down[left : left + n]
        if dy == 0 and sign[k] > 0:
            for i in range(n):
                acc[i] += a[i] - b[i]
        elif dy == 0:
            for i in range(n):
                acc[i] -= a[i] - b[i]
        elif sign[k] > 0:
            for i in range(n):
                acc[i] += (a[i] - b[i]) + (c[i] - d[i])
        else:
            for i in range(n):
                acc[i] -= (a[i] - b[i]) + (c[i] - d[i])


@kernel
def _near_row(  # type: ignore[no-untyped-def]
    r, offset, area, ring, known, half, sign, last_gap, acc, acc_known, total, count
):
    """Sum and number of the known cells of the ring around every cell of a row, by its chords."""
    reach = ring.shape[0] // 2
    for start in range(0, total.size, _CHUNK):
        n = min(_CHUNK, total.size - start)
        _chords(ring, r, reach, start, half, sign, acc[:n])
        if last_gap[start // _CHUNK] < r - reach:
            extra = float(offset) * float(area)
            for i in range(n):
                count[start + i] = float(area)
                total[start + i] = float(acc[i]) + extra
            continue
        _chords(known, r, reach, start, half, sign, acc_known[:n])
        for i in range(n):
            count[start + i] = float(acc_known[i])
            total[start + i] = float(acc[i]) + float(offset) * float(acc_known[i])


@kernel
def _index(  # type: ignore[no-untyped-def]
    elev_mm, offset, ring, known, half, sign, outer, inner, least, out
):
    rows, cols = elev_mm.shape
    size = ring.shape[0]
    reach = size // 2
    has_near = half.size > 0
    o_mixed, i_mixed = np.empty(outer.sums.shape[1]), np.empty(inner.sums.shape[1])
    o_line, i_line = np.zeros(o_mixed.size * outer.place[0]), np.zeros(i_mixed.size * inner.place[0])
    total, count = np.empty(cols), np.empty(cols)
    acc = np.zeros(_CHUNK, ring.dtype)
    acc_known = np.zeros(_CHUNK, np.int32)
    # Where a disc meets no unknown cell its count is known beforehand: half the work.
    last_gap = np.full((cols + _CHUNK - 1) // _CHUNK, np.int64(-1))
    area = 0
    for k in range(half.size):
        area += sign[k] * (2 * half[k] + 1) * (1 if k == 0 or sign[k] != sign[k - 1] else 2)
    if has_near:
        for r in range(min(reach, rows)):
            _prefix_row(elev_mm, r, offset, reach, ring[r % size], known[r % size])
            _note_gaps(known[r % size], r, cols, reach, last_gap)
    for r in range(rows):
        total[:] = 0.0
        count[:] = 0.0
        if has_near:
            k = (r + reach) % size
            _prefix_row(elev_mm, r + reach, offset, reach, ring[k], known[k])
            _note_gaps(known[k], r + reach, cols, reach, last_gap)
            _near_row(r, offset, area, ring, known, half, sign, last_gap, acc, acc_known, total, count)
        if outer.place[0] > 0:
            add_far_row(outer, r, 1.0, o_mixed, o_line, total, count)
        if inner.place[0] > 0:
            add_far_row(inner, r, -1.0, i_mixed, i_line, total, count)
        here, line = elev_mm[r], out[r]
        for c in range(cols):
            value = np.float32((float(here[c]) - total[c] / count[c]) * 0.001)
            line[c] = value if here[c] != _NODATA and count[c] >= least else _NAN
