"""How wide the cells of a coarser grid are that the cells only repeat (nearest neighbour).

The depth is the same over whole patches, and jumps between them; where the grid was warped since, the jumps are smeared
over two cells. One patch lies on each cell of the coarser grid, so that the interval is the root of the area to a patch, and need
be no whole number of cells (of 2 cells and a little more a warp leaves nothing to see). Found on fixed squares of the absolute lattice, each cut into blocks of 32 cells of which half must agree.

Ground filled in smoothly between (linear, cubic) is not found here: its interval reads like that of ground which is smooth
itself, and what is smooth need not be coarse.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel
from reefscan.kernels.evidence.noise import SIDE
from reefscan.kernels.evidence.rounding import each_once, whole_step

_NODATA = np.int32(NODATA_MM)

BLOCK = 32
"""Side (cells) of a block."""

AGREE = 0.5
"""Least share of a square's blocks that must agree."""

FEWEST_BLOCKS = 2
"""Least number of blocks that must agree."""

FEWEST_CELLS = 64
"""Fewer cells of water in a block say nothing."""

_FLAT = 0.06
"""Least share of cells alike to three of their neighbours where cells are repeated: a quarter on cells of twice the width, a tenth
on cells of four times the width that were warped since."""

_JUMP_MM = 30
"""Least mean change between patches: what is rounded to whole centimetres has patches too. Coarser rounding has levels whole
steps apart (`reefscan.kernels.evidence.rounding`), which a warp leaves where they are while it smears most of the borders."""

_LEVELS = 64
"""Patches of a block whose levels are looked at for such steps."""

_ENOUGH = 4
"""So many patches of half as many levels or fewer come of rounding too: coarse cells have a depth each."""


@kernel
def _patches(
    elev: NDArray[np.int32], r0: int, r1: int, c0: int, c1: int, levels: NDArray[np.int32]
) -> tuple[int, int]:
    """Cells of water in a block, and patches of equal depth that begin in it (0 if cells are not repeated)."""
    rows, cols = elev.shape
    looked, flat, patches, jumps = 0, 0, 0, 0
    for r in range(max(1, r0), min(r1, rows - 1)):
        for c in range(max(1, c0), min(c1, cols - 1)):
            e = elev[r, c]
            if e >= 0 or e == _NODATA:
                continue
            looked += 1
            if elev[r, c + 1] != e or elev[r + 1, c] != e or elev[r + 1, c + 1] != e:
                continue
            flat += 1
            up, left = elev[r - 1, c], elev[r, c - 1]
            if up != e and left != e and up != _NODATA and left != _NODATA:
                if patches < _LEVELS:
                    levels[patches] = e
                patches += 1
                jumps += min(1000, abs(up - e)) + min(1000, abs(left - e))
    if patches < 2 or flat < _FLAT * looked or jumps < 2 * _JUMP_MM * patches:
        return looked, 0
    seen = levels[: min(patches, _LEVELS)]
    if whole_step(seen) > 0 or (seen.size >= _ENOUGH and 2 * each_once(seen).size <= seen.size):
        return looked, 0
    return looked, patches


@kernel
def interval_squares(
    elev_mm: NDArray[np.int32], row0: int, col0: int, asked: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Width (cells) of the coarser cells that are repeated, on fixed squares of the absolute lattice.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Positive up; only water counts.
    row0, col0 : int
        Absolute lattice position of cell (0, 0).
    asked : ndarray of bool, shape (squares down, squares across)
        Squares that are looked at; the others are left 0.

    Returns
    -------
    interval : ndarray of float64, shape (squares down, squares across)
        In cells, 2 to about 16; 0 where cells are not repeated.
    """
    n_r, n_c = asked.shape
    out = np.zeros((n_r, n_c))
    levels = np.empty(_LEVELS, np.int32)
    for br in range(n_r):
        for bc in range(n_c):
            if not asked[br, bc]:
                continue
            top, left = (row0 // SIDE + br) * SIDE - row0, (col0 // SIDE + bc) * SIDE - col0
            blocks, repeated, looked, patches = 0, 0, 0, 0
            for i in range(top, top + SIDE, BLOCK):
                for j in range(left, left + SIDE, BLOCK):
                    cells, own = _patches(elev_mm, i, i + BLOCK, j, j + BLOCK, levels)
                    if cells < FEWEST_CELLS:
                        continue
                    blocks += 1
                    if own > 0:
                        looked, patches, repeated = looked + cells, patches + own, repeated + 1
            if repeated >= max(FEWEST_BLOCKS, math.ceil(AGREE * blocks)):
                out[br, bc] = math.sqrt(looked / patches)
    return out
