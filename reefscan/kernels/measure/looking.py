"""What is looked for, room to look in, and the gradient of a face: what the measures of all kinds share.

Arrays and numbers in, numbers out.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel
from reefscan.kernels.measure import face as of_face

LEAST_LENGTH_M, LEAST_CELLS = 6.0, 0.25
"""Shortest length over which a gradient is taken, m and cells: on cells of 100 m nothing tells a step from a slope of some tens of metres."""

OWN_CELLS = 2.0
"""Cells over which a grid spreads a vertical step: taken off a face's length, in squares, before its gradient is taken."""

BEYOND_SIGHT = 0.5
"""Share of the least height that must be left of a trough or a rise beyond the sight line."""


class Search(NamedTuple):
    """How far and how steep is looked: gradient of the sight line, longest face, reach of a trough's flank and of a rise (m),
    least height by kind (m), side of a cell (m)."""

    tilt: float
    longest_m: float
    trough_m: float
    rise_m: float
    trough_min_m: float
    ledge_min_m: float
    rise_min_m: float
    cell_m: float


class Scratch(NamedTuple):
    """Room for profiles and what is read of them."""

    p: NDArray[np.float64]
    q: NDArray[np.float64]
    total: NDArray[np.float64]
    moment: NDArray[np.float64]
    face: NDArray[np.float64]
    side: NDArray[np.float64]


@kernel
def gradient(height: float, length_m: float, cell_m: float) -> float:
    """Gradient of a face: its height over its length less the cell's own share, `LEAST_LENGTH_M` and `LEAST_CELLS` at the least."""
    own, least = OWN_CELLS * cell_m, max(LEAST_LENGTH_M, LEAST_CELLS * cell_m)
    return height / math.sqrt(max(length_m * length_m - own * own, least * least))


@kernel
def face_reach(search: Search) -> int:
    """Cells to either side of a seed that a profile is read: half the longest face and the ground beyond it."""
    return max(8, int((0.5 * search.longest_m + of_face.GROUND_M[1]) / search.cell_m))
