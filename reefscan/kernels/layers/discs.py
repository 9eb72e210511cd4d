"""Sums over large discs: over blocks of cells on a lattice fixed to the sheet, brought back to the cells by a cubic.

See `reefscan.kernels.layers.position` for when and why.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel

_NODATA = np.int32(NODATA_MM)

BLOCKS_IN_RADIUS = 8.0
_SUB = 8  # a block on the rim weighs the part of it inside the disc, in 64ths
_FULL = _SUB * _SUB
_TINY = 1e-6  # radii are metres over cells: 6.000000001 cells is 6


def block_side(radius_cells: float) -> int:
    """Side of the blocks for a radius: the power of two that leaves 8 to 16 of them in it."""
    return int(2 ** math.floor(math.log2(radius_cells / BLOCKS_IN_RADIUS)))


def half_widths_of(radius: float, *, closed: bool) -> NDArray[np.int64]:
    """Half width of a disc's chord at each row 0, 1, 2...; an open disc leaves out its rim."""
    square = radius * radius + (_TINY if closed else -_TINY)
    rows = np.arange(math.floor(math.sqrt(max(square, 0.0))) + 1, dtype=np.float64)
    return np.floor(np.sqrt(np.maximum(square - rows * rows, 0.0))).astype(np.int64)


def cells_of(half_widths: NDArray[np.int64]) -> int:
    """Cells in a disc."""
    return int(2 * (2 * half_widths + 1).sum() - (2 * half_widths[0] + 1))


class Disc(NamedTuple):
    """Disc sums at the centres of blocks, and how to bring them back to the cells.

    ``place`` is (block side, first centre's row and column relative to the array, in blocks, rows
    and columns of the remainder); a side of 0 means "no such disc".
    """

    sums: NDArray[np.float64]
    counts: NDArray[np.float64]
    place: NDArray[np.int64]
    cubic: NDArray[np.float64]
    full: float


def far_disc(
    elev_mm: NDArray[np.int32], half_widths: NDArray[np.int64], radius: float, row0: int, col0: int
) -> Disc:
    """Sum a large disc over blocks; ``radius`` 0 gives an empty one."""
    nothing = np.zeros((0, 0))
    if radius == 0.0:
        return Disc(nothing, nothing, np.zeros(3, np.int64), np.zeros((4, 0)), 0.0)
    side = block_side(radius)
    weight, scale = _block_weights(tuple(half_widths.tolist()), side)
    reach = weight.shape[0] // 2
    # A cell needs the four centres around it: from half a block before the array, one further on
    # each side; sums beyond the array are zero, that is unknown.
    first_row, first_col = (row0 - side // 2) // side - 1, (col0 - side // 2) // side - 1
    rows = (row0 + elev_mm.shape[0] - 1 - side // 2) // side + 3 - first_row
    cols = (col0 + elev_mm.shape[1] - 1 - side // 2) // side + 3 - first_col
    block_sums = np.zeros((rows + 2 * reach, cols + 2 * reach))
    block_counts = np.zeros_like(block_sums)
    shift_row, shift_col = row0 - (first_row - reach) * side, col0 - (first_col - reach) * side
    _block_sums(elev_mm, side, shift_row, shift_col, block_sums, block_counts)
    solid = (weight == _FULL).sum(axis=1) // 2  # half width of the wholly inner chord, 0 if none
    has_solid = weight[:, reach] == _FULL
    edge = np.argwhere((weight > 0) & (weight < _FULL)).astype(np.int64)
    edge_weight = weight[edge[:, 0], edge[:, 1]].astype(np.float64)
    half = np.where(has_solid, solid, -1).astype(np.int64)
    sums, counts = np.empty((rows, cols)), np.empty((rows, cols))
    _disc_sums(block_sums, reach, half, edge, edge_weight, scale, sums)
    _disc_sums(block_counts, reach, half, edge, edge_weight, scale, counts)
    place = np.array(
        [side, row0 - (first_row * side + side // 2), col0 - (first_col * side + side // 2)], np.int64
    )
    return Disc(sums, counts, place, _cubic(side), float(cells_of(half_widths)))


@lru_cache(maxsize=64)
def _block_weights(half_widths: tuple[int, ...], side: int) -> tuple[NDArray[np.int64], float]:
    """Part of each block (in 64ths) in a disc about a block's centre, and what makes them cells again.

    A block on the rim enters with its own mean, though the part inside lies nearer: on a mound that
    reads too much. So the radius is that of the disc with the same mean squared distance as the cells
    it stands for, and the sums are scaled to their number: planes and paraboloids come out right.
    """
    widths = np.array(half_widths)
    cells = cells_of(widths)
    rows = np.arange(widths.size)
    moment = (2 * widths + 1) * rows**2 + widths * (widths + 1) * (2 * widths + 1) // 3
    target = float(2 * moment.sum() - moment[0]) / cells
    radius = math.sqrt(cells / math.pi) / side
    reach = math.ceil(radius + 0.5)
    steps = np.arange(-reach, reach + 1)
    points = (steps[:, None] + (np.arange(_SUB) + 0.5)[None, :] / _SUB - 0.5).ravel() ** 2
    square = points[:, None] + points[None, :]
    distance = (steps[:, None] ** 2 + steps[None, :] ** 2) * side * side + (side * side - 1) / 6.0
    n = steps.size
    low, high = radius - 0.5, radius
    for _ in range(12):
        middle = (low + high) / 2.0
        inside = (square <= middle * middle).reshape(n, _SUB, n, _SUB).sum(axis=(1, 3))
        if float((inside * distance).sum()) / float(inside.sum()) < target:
            low = middle
        else:
            high = middle
    weights: NDArray[np.int64] = inside.astype(np.int64)
    return weights, cells / (float(weights.sum()) * side * side)


def _cubic(side: int) -> NDArray[np.float64]:
    """Weights of the four centres for each place between two: cubic convolution, a = -1/2.

    R. G. Keys, "Cubic convolution interpolation for digital image processing", IEEE Trans. ASSP
    29(6):1153-1160, 1981 (from memory); it reproduces any quadratic.
    """
    t = (np.arange(side) + 0.5) / side
    return np.stack(
        [
            ((-0.5 * t + 1.0) * t - 0.5) * t,
            (1.5 * t - 2.5) * t * t + 1.0,
            ((-1.5 * t + 2.0) * t + 0.5) * t,
            (0.5 * t - 0.5) * t * t,
        ]
    )


@kernel
def _block_sums(elev_mm, side, shift_row, shift_col, sums, counts):  # type: ignore[no-untyped-def]
    """Sum and count of known cells of every block; the array starts ``shift`` cells into ``sums``."""
    rows, cols = elev_mm.shape
    col_sum = np.zeros(cols, np.int64)
    col_count = np.zeros(cols, np.int32)
    for r in range(rows):
        line = elev_mm[r]
        for c in range(cols):
            known = line[c] != _NODATA
            col_sum[c] += line[c] if known else 0
            col_count[c] += 1 if known else 0
        block_row = (r + shift_row) // side
        if r + 1 < rows and (r + 1 + shift_row) // side == block_row:
            continue
        c = 0
        while c < cols:
            block_col = (c + shift_col) // side
            end = min(cols, (block_col + 1) * side - shift_col)
            total, known_cells = np.int64(0), np.int64(0)
            for k in range(c, end):
                total += col_sum[k]
                known_cells += col_count[k]
            sums[block_row, block_col] = float(total)
            counts[block_row, block_col] = float(known_cells)
            c = end
        col_sum[:] = 0
        col_count[:] = 0


@kernel
def _disc_sums(blocks, reach, half, edge, edge_weight, scale, out):  # type: ignore[no-untyped-def]
    """Weighted sum of blocks around each centre (whole 64ths: exact), scaled; ``blocks`` has the margin."""
    rows, cols = out.shape
    width = blocks.shape[1]
    prefix = np.zeros((blocks.shape[0], width + 1))
    for r in range(blocks.shape[0]):
        total = 0.0
        for c in range(width):
            total += blocks[r, c]
            prefix[r, c + 1] = total
    line = np.empty(cols)
    for r in range(rows):
        line[:] = 0.0
        for k in range(half.size):
            h = half[k]
            if h < 0:
                continue
            right = prefix[r + k, reach + h + 1 : reach + h + 1 + cols]
            left = prefix[r + k, reach - h : reach - h + cols]
            for c in range(cols):
                line[c] += right[c] - left[c]
        for c in range(cols):
            line[c] *= _FULL
        for k in range(edge_weight.size):
            source = blocks[r + edge[k, 0], edge[k, 1] : edge[k, 1] + cols]
            w = edge_weight[k]
            for c in range(cols):
                line[c] += w * source[c]
        for c in range(cols):
            out[r, c] = line[c] * scale


@kernel
def add_far_row(disc, r, sign, mixed, line, total, count):  # type: ignore[no-untyped-def]
    """Add a disc's sums and counts about the cells of row ``r``, times ``sign``; ``mixed`` and ``line`` are room for one row."""
    shift = disc.place[2]
    _far_row(disc.sums, disc.place, disc.cubic, r, mixed, line)
    for c in range(total.size):
        total[c] += sign * line[c + shift]
    _far_row(disc.counts, disc.place, disc.cubic, r, mixed, line)
    for c in range(count.size):
        count[c] += sign * line[c + shift]


@kernel
def _far_row(values, place, cubic, r, mixed, line):  # type: ignore[no-untyped-def]
    """Bring sums at block centres back to the cells of row ``r``; ``line`` begins with the block of the first centre."""
    side = place[0]
    block, m = (r + place[1]) // side, (r + place[1]) % side
    a, b, c, d = cubic[0, m], cubic[1, m], cubic[2, m], cubic[3, m]
    va, vb, vc, vd = values[block - 1], values[block], values[block + 1], values[block + 2]
    for k in range(mixed.size):
        mixed[k] = va[k] * a + vb[k] * b + vc[k] * c + vd[k] * d
    wa, wb, wc, wd = cubic[0], cubic[1], cubic[2], cubic[3]
    for k in range(1, mixed.size - 2):
        a, b, c, d = mixed[k - 1], mixed[k], mixed[k + 1], mixed[k + 2]
        part = line[k * side : (k + 1) * side]
        for m in range(side):
            part[m] = a * wa[m] + b * wb[m] + c * wc[m] + d * wd[m]
