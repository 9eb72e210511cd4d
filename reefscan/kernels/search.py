"""Where structure of a least height is: the fields of `structure`, read only where they can reach it.

Arrays and numbers in, arrays out. Most seabed is too even for any structure of interest, and that is seen from
far fewer numbers than cells: from the highest and lowest cell of small squares. For each direction of a ray
the squares it can touch bound what it can climb, so a square whose best axis cannot reach the floor is passed
by. The bound is exact (never below the field), so nothing is lost; on an even slope it sees next to no trough,
since one of two opposite rays always runs down.

What is left is read as `structure` defines it: troughs cell by cell where few squares are left, by running
maxima over a cached block where many are; ledges on the 3 x 3 binomial mean (1 2 1), since they read differences
of single cells (noise of 0.1 m alone would make ledges of 0.9 m, of 0.35 m after it; a face narrower than the
run keeps its height); rises at local tops only, where the field has its peaks.

Rough fractal ground takes 9 ns a cell at the default recipe's radii on 2 m cells, 33 if every field is read
everywhere; ground that is structure all over takes as long as that (``scripts/bench.py``).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels.bounds import bound, extremes, square_side, touched
from reefscan.kernels.rays import rise_at, trough_at
from reefscan.kernels.structure import (
    AXES,
    block_shape,
    flanks,
    ledge_reach,
    ledge_steps,
    ledges,
    load,
    soften,
    steps_within,
    structure_halo,
)
from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)

DENSE, DENSE_REACH = 0.15, 25.0
"""Share of a block's squares from which on running maxima over the whole block are cheaper than single rays, for
rays of so many cells."""


@njit(cache=True, nogil=True)
def _keep(
    elev: NDArray[np.int32],
    core: NDArray[np.int32],
    row: int,
    col: int,
    height: int,
    width: int,
    low_mm: int,
    high_mm: int,
    least: int,
    edge: int,
    side: int,
    out: NDArray[np.int32],
    live: NDArray[np.bool_],
) -> None:
    """Put those values of a block that reach ``least`` in the field, and mark their squares."""
    for i in range(height):
        here, to, line = elev[row + i], out[row + i], core[i * width : (i + 1) * width]
        most = np.int32(0)
        for j in range(width):
            most = max(most, line[j])
        if most < least:
            continue
        for first in range(0, width, side):  # blocks start on squares
            last = min(width, first + side)
            high = np.int32(0)
            for j in range(first, last):
                high = max(high, line[j])
            if high < least:
                continue
            for j in range(first, last):
                if line[j] >= least and here[col + j] >= low_mm and here[col + j] <= high_mm:
                    to[col + j] = line[j]
                    live[(row + i - edge) // side, (col + first - edge) // side] = True


@njit(cache=True, nogil=True)
def _search(
    elev: NDArray[np.int32],
    edge: int,
    side: int,
    low_mm: int,
    high_mm: int,
    least: tuple[int, int, int],
    trough_steps: NDArray[np.int64],
    trough_offsets: NDArray[np.int64],
    trough_counts: NDArray[np.int64],
    rise_steps: NDArray[np.int64],
    rise_offsets: NDArray[np.int64],
    rise_counts: NDArray[np.int64],
    half: NDArray[np.int64],
    ground: NDArray[np.int64],
    ledge_far: int,
    axes: NDArray[np.int64],
    dense: float,
    block: tuple[int, int],
    fields: tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]],
    live: NDArray[np.bool_],
) -> None:
    rows, cols = elev.shape
    flat = elev.reshape(-1)
    trough, ledge, rise = fields
    n_i, n_j = live.shape[1], live.shape[2]
    pad = -(-edge // side)
    shape = (n_i + 2 * pad, n_j + 2 * pad)
    top, floor = np.empty(shape, np.int32), np.empty(shape, np.int32)
    band_top, band_floor = np.empty(shape, np.int32), np.empty(shape, np.int32)
    extremes(elev, edge - pad * side, side, low_mm, high_mm, top, floor, band_top, band_floor)
    near = -(-(ledge_far + 1) // side)
    steepest = 0.0
    for a in range(half.shape[0]):
        steepest = max(steepest, 2.0 * half[a] / ground[a])
    high_squares, wide_squares = max(1, block[0] // side), max(1, block[1] // side)
    buffer = (high_squares * side + 2 * edge) * (wide_squares * side + 2 * edge)
    z = np.empty(buffer, np.int32)
    w, v = np.empty(buffer, np.int32), np.empty(buffer, np.int32)
    core = np.empty(high_squares * wide_squares * side * side, np.int32)
    where = np.empty((high_squares * wide_squares, 2), np.int64)
    climb = np.empty((high_squares, axes.shape[0], n_j), np.int32)
    sink, span = np.empty((high_squares, n_j), np.int32), np.empty((high_squares, n_j), np.int32)
    for bi in range(0, n_i, high_squares):
        end_i = min(n_i, bi + high_squares)
        for i in range(bi, end_i):
            bound(
                top, floor, i + pad, pad, trough_offsets, trough_counts, rise_offsets, rise_counts, near,
                climb[i - bi], sink[i - bi], span[i - bi],
            )  # fmt: skip
        for bj in range(0, n_j, wide_squares):
            end_j = min(n_j, bj + wide_squares)
            count, squares = 0, 0
            t0, t1, t2, t3 = end_i, bi, end_j, bj  # squares where a trough can be
            l0, l1, l2, l3 = end_i, bi, end_j, bj  # and a ledge
            for i in range(bi, end_i):
                for j in range(bj, end_j):
                    highest, lowest = (
                        np.int64(band_top[i + pad, j + pad]),
                        np.int64(band_floor[i + pad, j + pad]),
                    )
                    if highest < lowest:
                        continue
                    squares += 1
                    best = np.int64(_NODATA)
                    for a in range(axes.shape[0]):
                        best = max(best, np.int64(climb[i - bi, a, j]))
                    if best - lowest >= least[0]:
                        where[count, 0], where[count, 1] = i, j
                        count += 1
                        t0, t1, t2, t3 = min(t0, i), max(t1, i + 1), min(t2, j), max(t3, j + 1)
                    # a step between two grounds that fall away reads more than the span by their share
                    if span[i - bi, j] * (1.0 + steepest) + 2.0 >= least[1]:
                        l0, l1, l2, l3 = min(l0, i), max(l1, i + 1), min(l2, j), max(l3, j + 1)
                    if highest - np.int64(sink[i - bi, j]) >= least[2]:
                        for r in range(edge + i * side, min(rows - edge, edge + (i + 1) * side)):
                            for c in range(edge + j * side, min(cols - edge, edge + (j + 1) * side)):
                                if elev[r, c] < low_mm or elev[r, c] > high_mm:
                                    continue
                                value = rise_at(flat, r * cols + c, cols, least[2], rise_steps, axes)
                                if value > 0:
                                    rise[r, c] = value
                                    live[2, i, j] = True
            if count > dense * squares:
                r0, c0 = edge + t0 * side, edge + t2 * side
                h, wd = min(rows - edge, edge + t1 * side) - r0, min(cols - edge, edge + t3 * side) - c0
                height, width = h + 2 * edge, wd + 2 * edge
                size = height * width
                load(elev, r0 - edge, c0 - edge, height, width, 1, z[:size])
                flanks(z[:size], w[:size], v[:size], core, width, edge, h, wd, trough_steps, axes, True)
                _keep(elev, core, r0, c0, h, wd, low_mm, high_mm, least[0], edge, side, trough, live[0])
            else:
                for k in range(count):
                    i, j = where[k, 0], where[k, 1]
                    for r in range(edge + i * side, min(rows - edge, edge + (i + 1) * side)):
                        for c in range(edge + j * side, min(cols - edge, edge + (j + 1) * side)):
                            if elev[r, c] < low_mm or elev[r, c] > high_mm:
                                continue
                            value = trough_at(
                                flat, r * cols + c, cols, least[0], trough_steps, axes, climb[i - bi, :, j]
                            )
                            if value > 0:
                                trough[r, c] = value
                                live[0, i, j] = True
            if l1 > l0:
                halo = ledge_far + 1
                r0, c0 = edge + l0 * side, edge + l2 * side
                h, wd = min(rows - edge, edge + l1 * side) - r0, min(cols - edge, edge + l3 * side) - c0
                height, width = h + 2 * halo, wd + 2 * halo
                size = height * width
                load(elev, r0 - halo, c0 - halo, height, width, 1, z[:size])
                soften(z[:size], w[:size], width)
                ledges(w[:size], core, width, halo, h, wd, half, ground, axes)
                _keep(elev, core, r0, c0, h, wd, low_mm, high_mm, least[1], edge, side, ledge, live[1])


def search(
    elev_mm: NDArray[np.int32],
    *,
    trough_cells: float,
    rise_cells: float,
    run_cells: float,
    ground_cells: float,
    band_mm: tuple[int, int],
    least_mm: tuple[int, int, int],
    edge: int,
) -> tuple[tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]], NDArray[np.bool_], int]:
    """Trough, ledge and rise where they reach a least height.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols), C-contiguous
        Elevation in millimetres, positive up, `NODATA_MM` where unknown. Not modified.
    trough_cells, rise_cells, run_cells, ground_cells : float
        See `structure.heights`.
    band_mm : tuple of int
        Lowest and highest elevation (mm) of a cell worth looking at.
    least_mm : tuple of int
        Least trough, ledge and rise; what is lower is left at 0.
    edge : int
        Cells at the array's rim that are looked at from further in and are not answered for; at least
        `structure.structure_halo`.

    Returns
    -------
    fields : tuple of ndarray of int32, shape (rows, cols)
        As `structure.heights` gives them (the ledge on the binomial mean, the rise at local tops), 0 where
        they do not reach the least height and within ``edge`` cells of the array's rim.
    live : ndarray of bool, shape (3, n, m)
        Squares that hold a cell above 0, by field; the first starts at cell (``edge``, ``edge``).
    side : int
        Side of those squares, cells.
    """
    least_edge = structure_halo(trough_cells, rise_cells, run_cells, ground_cells)
    if edge < least_edge:
        raise ValueError(f"edge {edge}: these reaches want {least_edge} cells around what is answered for")
    side = square_side(max(trough_cells, rise_cells))
    rows, cols = elev_mm.shape
    fields = (
        np.zeros((rows, cols), np.int32),
        np.zeros((rows, cols), np.int32),
        np.zeros((rows, cols), np.int32),
    )
    live = np.zeros(
        (3, max(0, -(-(rows - 2 * edge) // side)), max(0, -(-(cols - 2 * edge) // side))), np.bool_
    )
    trough_steps, rise_steps = steps_within(trough_cells), steps_within(rise_cells)
    half, ground = ledge_steps(run_cells, ground_cells)
    # a ray takes as long as it is, a running maximum over its wider halo longer as well
    dense = DENSE * min(1.0, DENSE_REACH / max(1.0, trough_cells)) ** 0.5
    if live.size:
        _search(
            np.ascontiguousarray(elev_mm), edge, side, max(band_mm[0], NODATA_MM + 1), band_mm[1],
            (max(1, least_mm[0]), max(1, least_mm[1]), max(1, least_mm[2])),
            trough_steps, *touched(trough_steps, side), rise_steps, *touched(rise_steps, side),
            half, ground, ledge_reach(half, ground), AXES, dense, block_shape(edge), fields, live,
        )  # fmt: skip
    return fields, live, side
