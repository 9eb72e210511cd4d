"""Local relief: the highest less the lowest within a distance.

Arrays and numbers in, arrays out. Elevation is int32 millimetres, positive up, rows north to south,
`NODATA_MM` unknown. Maxima of whole numbers are exact in any order, so any cut gives the same bits.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel

_NODATA = np.int32(NODATA_MM)
_NAN = np.float32(np.nan)
_TOP = np.int32(2**31 - 1)

DISC_CELLS = 12.0
"""Largest radius (cells) of an exact disc; beyond it an octagon of the same area (within 4 %) costs less."""

_LANES = 512  # columns done at a time in large windows, for the same reason
_CHUNK = 256  # columns done at a time, so that a disc's rows stay in the second-level cache
# Distance from the centre to a side of the regular octagon as large as the unit circle.
_APOTHEM = math.sqrt(math.pi / (8.0 * (math.sqrt(2.0) - 1.0)))


def relief(elev_mm: NDArray[np.int32], radius_cells: float) -> NDArray[np.float32]:
    """Highest less lowest known elevation within a distance: how much there is to hide under.

    An even slope has relief too (twice the radius times its gradient). One bad sounding makes a disc
    of false relief as wide as the window.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Elevation, millimetres, positive up, `NODATA_MM` unknown.
    radius_cells : float
        Radius in cells, inclusive, at least 1. Up to `DISC_CELLS` the disc is exact; beyond, it is
        an octagon of the disc's area, whose sides are 2.6 % nearer and corners 5.4 % farther.

    Returns
    -------
    ndarray of float32, shape (rows, cols)
        Metres, at least 0. Unknown neighbours are ignored, so beside a gap it is a lower bound; NaN
        where the cell itself is unknown. Right only `relief_halo` cells and more from the array's
        edge.

    Raises
    ------
    ValueError
        If the radius is under one cell.

    References
    ----------
    Definition from memory ("local relief", common practice, no source). Running maxima over windows
    of doubling length: common practice; over a segment in three comparisons a cell: M. van Herk,
    Pattern Recognition Letters 13(7):517-521, 1992, doi:10.1016/0167-8655(92)90069-C (from memory).
    """
    if not radius_cells >= 1.0:
        raise ValueError(f"relief radius is {radius_cells} cells; wanted 1 or more")
    out = np.empty(elev_mm.shape, dtype=np.float32)
    if radius_cells <= DISC_CELLS:
        _disc(elev_mm, _half_widths(radius_cells), out)
    else:
        spare = np.empty_like(elev_mm)
        high = _octagon_max(elev_mm, 1, radius_cells, spare)
        low = _octagon_max(elev_mm, -1, radius_cells, spare)
        _difference(elev_mm, high, low, out)
    return out


def relief_halo(radius_cells: float) -> int:
    """Cells around a tile that `relief` needs."""
    if radius_cells <= DISC_CELLS:
        return math.floor(radius_cells + 1e-6)
    side, slant = _octagon(radius_cells)
    return side + 2 * slant


def _half_widths(radius: float) -> NDArray[np.int64]:
    """Half width of the disc's chord at each row 0, 1, 2... (its rim included)."""
    square = radius * radius + 1e-6
    rows = np.arange(math.floor(math.sqrt(square)) + 1, dtype=np.float64)
    return np.floor(np.sqrt(np.maximum(square - rows * rows, 0.0))).astype(np.int64)


def _octagon(radius: float) -> tuple[int, int]:
    """Half lengths (cells along an axis) of the straight and the slanting segments of an octagon.

    A regular octagon is the sum of four segments, so its maximum is four running maxima, whatever
    its size. The straight ones fill the holes that slanting cells leave between them. Of the whole
    numbers near the ideal, those are taken that are nearest to it in area and in both kinds of side.
    """
    apothem = _APOTHEM * radius
    ideal = apothem * (1.0 - math.sqrt(0.5))

    def miss(pair: tuple[int, int]) -> float:
        side, slant = pair
        reach = side + 2 * slant
        area = (2 * reach + 1) ** 2 - 4 * slant * (2 * slant + 1)
        return max(
            abs(math.sqrt(area / math.pi) - radius),
            abs(reach + 0.5 - apothem) / 2.0,
            abs(math.sqrt(2.0) * (side + slant + 0.5) - apothem) / 2.0,
        )

    slants = range(max(1, math.floor(ideal) - 1), math.floor(ideal) + 3)
    return min(
        ((side, slant) for slant in slants for side in range(1, math.ceil(apothem) + 1)),
        key=lambda pair: (miss(pair), pair),
    )


def _octagon_max(
    elev_mm: NDArray[np.int32], sign: int, radius: float, spare: NDArray[np.int32]
) -> NDArray[np.int32]:
    """Highest of ``sign`` times the elevation in the octagon around every cell."""
    side, slant = _octagon(radius)
    cells = np.empty_like(elev_mm)
    _along_rows(elev_mm, sign, 2 * side + 1, spare)
    _across_rows(spare, side, 0, cells)
    _across_rows(cells, slant, 1, spare)
    _across_rows(spare, slant, -1, cells)
    return cells


@kernel
def _fill(row, value):  # type: ignore[no-untyped-def]
    # numba takes a second to compile each slice assignment; a plain loop costs nothing.
    for c in range(row.size):
        row[c] = value


@kernel
def _copy(source, to):  # type: ignore[no-untyped-def]
    for c in range(to.size):
        to[c] = source[c]


@kernel
def _double(row, length):  # type: ignore[no-untyped-def]
    """Replace ``row[c]`` by the highest of ``row[c : c + length]``; the last ones are left partial."""
    step = 1
    while 2 * step <= length:
        near, far = row[: row.size - step], row[step:]
        for c in range(near.size):
            near[c] = max(near[c], far[c])
        step *= 2
    if step < length:
        near, far = row[: row.size - (length - step)], row[length - step :]
        for c in range(near.size):
            near[c] = max(near[c], far[c])


@kernel
def _along_rows(elev_mm, sign, length, out):  # type: ignore[no-untyped-def]
    rows, cols = elev_mm.shape
    half = length // 2
    buffer = np.empty(cols + 2 * half, np.int32)
    for r in range(rows):
        _fill(buffer[:half], -_TOP)
        _fill(buffer[half + cols :], -_TOP)
        line, part = elev_mm[r], buffer[half : half + cols]
        for c in range(cols):
            part[c] = np.int32(sign * line[c]) if line[c] != _NODATA else -_TOP
        _double(buffer, length)
        _copy(buffer, out[r])


@kernel
def _across_rows(cells, half, lean, out):  # type: ignore[no-untyped-def]
    """Running maximum over ``2 half + 1`` rows down a line that moves ``lean`` columns a row.

    Blocks of rows as long as the window: any window is the tail of one block and the head of the
    next, and both are running maxima. Lanes follow the leaning line, so every step is a whole row.
    """
    rows, cols = cells.shape
    length = 2 * half + 1
    margin = 2 * length if lean != 0 else 0
    zero = margin if lean > 0 else 0
    tails = np.empty((length, _LANES), np.int32)
    head = np.empty(_LANES, np.int32)
    for first in range(-half, rows - half, length):
        for lane in range(0, cols + margin, _LANES):
            _fill(head, -_TOP)
            for j in range(length - 1, -1, -1):
                tail, before = tails[j], head if j == length - 1 else tails[j + 1]
                r, start = first + j, zero - lean * j - lane
                left, right = max(0, -start), min(cols, _LANES - start)
                if 0 <= r < rows and left < right:
                    _copy(before, tail[: start + left])
                    _copy(before[start + right :], tail[start + right :])
                    part, old = tail[start + left : start + right], before[start + left : start + right]
                    line = cells[r, left:right]
                    for c in range(part.size):
                        part[c] = max(old[c], line[c])
                else:
                    _copy(before, tail)
            for j in range(length):
                r, start = first + length + j - 1, zero - lean * (length + j - 1) - lane
                left, right = max(0, -start), min(cols, _LANES - start)
                if j > 0 and r < rows and left < right:
                    part, line = head[start + left : start + right], cells[r, left:right]
                    for c in range(part.size):
                        part[c] = max(part[c], line[c])
                centre, start = first + j + half, zero - lean * (j + half) - lane
                left, right = max(0, -start), min(cols, _LANES - start)
                if centre < rows and left < right:
                    part, tail = head[start + left : start + right], tails[j, start + left : start + right]
                    line = out[centre, left:right]
                    for c in range(part.size):
                        line[c] = max(part[c], tail[c])


@kernel
def _difference(elev_mm, high, low, out):  # type: ignore[no-untyped-def]
    rows, cols = elev_mm.shape
    for r in range(rows):
        here, top, bottom, line = elev_mm[r], high[r], low[r], out[r]
        for c in range(cols):
            value = np.float32(float(top[c] + bottom[c]) * 0.001)
            line[c] = value if here[c] != _NODATA else _NAN


@kernel
def _chords_of_row(row_high, row_low, half, which, high, low, slot, n):  # type: ignore[no-untyped-def]
    """Highest and lowest cell along each width of chord, at every cell of a row; the row's own buffers are used up."""
    reach, pad, step = half.size - 1, row_high.size, 1
    # from the narrowest on: each chord grows out of the one before it
    for k in range(high.shape[0] - 1, -1, -1):
        h = half[reach]
        for dy in range(half.size):
            if which[dy] == k:
                h = half[dy]
        length = 2 * h + 1
        while 2 * step <= length:
            na, fa = row_high[: pad - step], row_high[step:]
            nb, fb = row_low[: pad - step], row_low[step:]
            for c in range(na.size):
                na[c] = max(na[c], fa[c])
                nb[c] = min(nb[c], fb[c])
            step *= 2
        offset, far = reach - h, reach - h + length - step
        na, fa = row_high[offset : offset + n], row_high[far : far + n]
        nb, fb = row_low[offset : offset + n], row_low[far : far + n]
        to_high, to_low = high[k, slot, :n], low[k, slot, :n]
        for c in range(n):
            to_high[c] = max(na[c], fa[c])
            to_low[c] = min(nb[c], fb[c])


@kernel
def _disc(elev_mm, half, out):  # type: ignore[no-untyped-def]
    """Exact disc: one running maximum per width of chord and row, then the chords of each cell."""
    rows, cols = elev_mm.shape
    reach = half.size - 1
    size = 2 * reach + 1
    which = np.zeros(half.size, np.int64)
    for dy in range(1, half.size):
        which[dy] = which[dy - 1] + (1 if half[dy] != half[dy - 1] else 0)
    kinds = which[reach] + 1
    pad = _CHUNK + 2 * reach
    high = np.empty((kinds, size, pad), np.int32)
    low = np.empty((kinds, size, pad), np.int32)
    row_high, row_low = np.empty(pad, np.int32), np.empty(pad, np.int32)
    top, bottom = np.empty(_CHUNK, np.int32), np.empty(_CHUNK, np.int32)
    for start in range(0, cols, _CHUNK):
        n = min(_CHUNK, cols - start)
        _fill(high.reshape(high.size), -_TOP)
        _fill(low.reshape(low.size), _TOP)
        for r in range(-reach, rows):
            new = r + reach
            slot = new % size
            _fill(row_high, -_TOP)
            _fill(row_low, _TOP)
            if new < rows:
                left = max(0, start - reach)
                right = min(cols, start + n + reach)
                line = elev_mm[new, left:right]
                shift = left - (start - reach)
                part_high, part_low = row_high[shift:], row_low[shift:]
                for c in range(line.size):
                    v = line[c]
                    part_high[c] = v if v != _NODATA else -_TOP
                    part_low[c] = v if v != _NODATA else _TOP
            _chords_of_row(row_high, row_low, half, which, high, low, slot, n)
            if r < 0:
                continue
            _fill(top, -_TOP)
            _fill(bottom, _TOP)
            for dy in range(half.size):
                k, up, down = which[dy], (r - dy) % size, (r + dy) % size
                ha, hb = high[k, up, :n], high[k, down, :n]
                la, lb = low[k, up, :n], low[k, down, :n]
                for c in range(n):
                    top[c] = max(top[c], max(ha[c], hb[c]))
                    bottom[c] = min(bottom[c], min(la[c], lb[c]))
            here, line_out = elev_mm[r, start : start + n], out[r, start : start + n]
            for c in range(n):
                value = np.float32(float(top[c] - bottom[c]) * 0.001)
                line_out[c] = value if here[c] != _NODATA else _NAN
