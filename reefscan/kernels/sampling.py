"""Cells of one lattice read off another.

Arrays and numbers in, arrays out. Every output cell is a function of its own place only: how a grid
is cut into windows changes no bit of it.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel

_NODATA = np.int32(NODATA_MM)

NODE_STEP = 16
"""Spacing in cells of the places whose source position is computed exactly (see `sample`)."""

AVERAGED = (1.5, 2.0)
"""Source cells a target cell at which averaging sets in, and is whole. Up to the first no source cell has less
than three quarters of its share in the bilinear surface's samples; at the second some would have none."""


def spread_of(
    node_rows: NDArray[np.float64], node_cols: NDArray[np.float64], step: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Sides (source cells) of the box over which `sample` averages, for each square of nodes.

    From two source cells a target cell on, the box is the target cell: every source cell then counts with just its
    share. Below it narrows to nothing, so that nothing jumps where averaging sets in.

    Parameters
    ----------
    node_rows, node_cols : ndarray of float64, shape (n, m)
        Source position of the nodes.
    step : int
        Target cells between nodes.

    Returns
    -------
    tuple of ndarray of float64, shape (n - 1, m - 1)
        For rows and for columns; 0 where the source is not much finer.
    """
    out = []
    for nodes in (node_rows, node_cols):
        down = (nodes[1:, :-1] - nodes[:-1, :-1]) / step
        across = (nodes[:-1, 1:] - nodes[:-1, :-1]) / step
        ratio = np.sqrt(down * down + across * across)
        ramp = (ratio - AVERAGED[0]) / (AVERAGED[1] - AVERAGED[0])
        side = ratio * np.minimum(ramp, 1.0)
        side[~(side > 1e-3)] = 0.0  # too narrow to matter, or a node without a place
        out.append(side)
    return out[0], out[1]


@kernel
def _below(x: float) -> float:
    """Integral of the unit hat function from minus infinity to x."""
    if x <= -1.0:
        return 0.0
    if x <= 0.0:
        return 0.5 * (x + 1.0) * (x + 1.0)
    if x <= 1.0:
        return 1.0 - 0.5 * (1.0 - x) * (1.0 - x)
    return 1.0


@kernel
def _share(away: float, side: float) -> float:
    """Weight of a cell ``away`` cells off in the bilinear curve averaged over a box."""
    if side <= 0.0:
        return max(0.0, 1.0 - abs(away))
    return (_below(away + 0.5 * side) - _below(away - 0.5 * side)) / side


@kernel
def _box_mean(src: Any, r: float, c: float, side_r: float, side_c: float) -> np.int32:
    """Mean of the bilinear surface over a box around (r, c), known cells only; one of them is the nearest."""
    total = 0.0
    weight = 0.0
    r0 = max(0, int(math.ceil(r - 0.5 * side_r - 1.0)))
    r1 = min(src.shape[0] - 1, int(math.floor(r + 0.5 * side_r + 1.0)))
    c0 = max(0, int(math.ceil(c - 0.5 * side_c - 1.0)))
    c1 = min(src.shape[1] - 1, int(math.floor(c + 0.5 * side_c + 1.0)))
    for rr in range(r0, r1 + 1):
        wr = _share(rr - r, side_r)
        for cc in range(c0, c1 + 1):
            value = src[rr, cc]
            if value != _NODATA:
                w = wr * _share(cc - c, side_c)
                total += w * value
                weight += w
    return np.int32(np.rint(total / weight))


@kernel
def sample(
    src: Any,
    src_row: int,
    src_col: int,
    node_rows: Any,
    node_cols: Any,
    first_row: int,
    first_col: int,
    step: int,
    spread_rows: Any,
    spread_cols: Any,
    out: Any,
) -> None:
    """Read a lattice off another one, bilinearly, in whole millimetres.

    The source position of every ``step``-th cell (of the *target's absolute numbering*) is given
    exactly; between these nodes it is interpolated. Since the nodes lie on fixed cells of the
    target lattice, a cell's value does not depend on the window that asked for it.

    A cell is known if the source cell nearest to it is. Unknown neighbours lend their weight to the
    known ones, so a ragged edge neither grows nor shrinks.

    Where the source's cells are much finer than the target's (`spread_of`), the bilinear surface is averaged over
    a box: nothing is skipped, and a plane stays that plane.

    Parameters
    ----------
    src : ndarray of int32, shape (h, w)
        Source cells, `NODATA_MM` unknown.
    src_row, src_col : int
        Number of ``src[0, 0]`` on the source lattice.
    node_rows, node_cols : ndarray of float64, shape (n, m)
        Source position of the nodes; whole numbers are cell centres; NaN where there is none.
    first_row, first_col : int
        Offset of ``out[0, 0]`` from node (0, 0), in target cells, 0 or more.
    step : int
        Target cells between nodes.
    spread_rows, spread_cols : ndarray of float64, shape (n - 1, m - 1)
        Sides of that box in source cells, from `spread_of`; 0 for none.
    out : ndarray of int32
        Written.
    """
    height, width = src.shape
    for i in range(out.shape[0]):
        row = first_row + i
        ni = row // step
        ti = (row - ni * step) / step
        for j in range(out.shape[1]):
            col = first_col + j
            nj = col // step
            tj = (col - nj * step) / step
            top = node_rows[ni, nj] * (1.0 - tj) + node_rows[ni, nj + 1] * tj
            low = node_rows[ni + 1, nj] * (1.0 - tj) + node_rows[ni + 1, nj + 1] * tj
            r = top * (1.0 - ti) + low * ti - src_row
            top = node_cols[ni, nj] * (1.0 - tj) + node_cols[ni, nj + 1] * tj
            low = node_cols[ni + 1, nj] * (1.0 - tj) + node_cols[ni + 1, nj + 1] * tj
            c = top * (1.0 - ti) + low * ti - src_col
            out[i, j] = _NODATA
            if not (r >= -0.5 and r < height - 0.5 and c >= -0.5 and c < width - 0.5):
                continue
            near_r = int(math.floor(r + 0.5))
            near_c = int(math.floor(c + 0.5))
            if src[near_r, near_c] == _NODATA:
                continue
            if spread_rows[ni, nj] > 0.0 or spread_cols[ni, nj] > 0.0:
                out[i, j] = _box_mean(src, r, c, spread_rows[ni, nj], spread_cols[ni, nj])
                continue
            r0 = int(math.floor(r))
            c0 = int(math.floor(c))
            fr = r - r0
            fc = c - c0
            total = 0.0
            weight = 0.0
            for k in range(4):
                rr = r0 + (k >> 1)
                cc = c0 + (k & 1)
                w = (fr if k >> 1 else 1.0 - fr) * (fc if k & 1 else 1.0 - fc)
                if w > 0.0 and rr >= 0 and rr < height and cc >= 0 and cc < width:
                    value = src[rr, cc]
                    if value != _NODATA:
                        total += w * value
                        weight += w
            out[i, j] = np.int32(np.rint(total / weight))
