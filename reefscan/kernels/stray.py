"""How far a cell strays from its eight neighbours: blind to planes, to edges along rows or columns, and to even bends."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel

_NODATA = np.int32(NODATA_MM)

SINGLE_M = 5.0
"""On larger cells each holds many soundings: one cell that stands up is a rock."""

MEDIAN = 0.6744897501960817
"""Median magnitude of a standard normal value."""


@kernel
def mixed(elev: NDArray[np.int32], r: int, c: int) -> int:
    """Magnitude (mm) of the response to [1 -2 1; -2 4 -2; 1 -2 1] at a cell inside the array; -1 where one of the nine is unknown.

    Six times as much, in the standard deviation, as white noise itself (Immerkaer 1996, doi:10.1006/cviu.1996.0060).
    """
    a, b, cc, d = elev[r - 1, c - 1], elev[r - 1, c], elev[r - 1, c + 1], elev[r, c - 1]
    e, f, g, h, i = elev[r, c], elev[r, c + 1], elev[r + 1, c - 1], elev[r + 1, c], elev[r + 1, c + 1]
    if min(min(min(a, b), min(cc, d)), min(min(f, g), min(min(h, i), e))) == _NODATA:
        return -1
    return abs(a + cc + g + i - 2 * (b + d + f + h) + 4 * e)
