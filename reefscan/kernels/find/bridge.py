"""Small gaps carried straight across, so that a scattering of lost cells does not hide the ground between them.

Arrays and numbers in, arrays out. Exact on every plane: an unknown cell takes the mean of what the straight lines through known cells on two
opposite sides of it give, one cell and two cells away at the most. Gaps of up to two cells are closed; what is wider stays unknown, and so
does what lies beside ground that lets no boat pass: the missing cell may be more of it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel
from reefscan.kernels.open_water import BAR_MM

_NODATA = np.int32(NODATA_MM)

REACH = 2
"""Cells around one on which it depends whether, and how, it is closed."""


@kernel
def _closed(elev_mm: NDArray[np.int32]) -> NDArray[np.int64]:
    """Positions (row, col, value) of the unknown cells that are closed."""
    rows, cols = elev_mm.shape
    found, n = np.empty((16, 3), np.int64), 0
    for r in range(REACH, rows - REACH):
        line = elev_mm[r]
        for c in range(REACH, cols - REACH):
            if line[c] != _NODATA:
                continue
            total, lines, dry = 0.0, 0, False
            for k in range(4):
                i, j = (0, 1) if k == 0 else (1, 0) if k == 1 else (1, 1) if k == 2 else (1, -1)
                back = 1 if elev_mm[r - i, c - j] != _NODATA else 2
                on = 1 if elev_mm[r + i, c + j] != _NODATA else 2
                a, b = elev_mm[r - back * i, c - back * j], elev_mm[r + on * i, c + on * j]
                if back + on < 4 and a != _NODATA and b != _NODATA:
                    total += (a * on + b * back) / (back + on)
                    lines += 1
                    dry |= max(a, b) >= BAR_MM
            if lines and not dry:
                if n == found.shape[0]:
                    larger = np.empty((2 * n, 3), np.int64)
                    for k in range(n):  # whole arrays bring in words for errors: 3 s of the first compilation
                        larger[k, 0], larger[k, 1], larger[k, 2] = found[k, 0], found[k, 1], found[k, 2]
                    found = larger
                found[n, 0], found[n, 1], found[n, 2] = r, c, np.int64(np.rint(total / lines))
                n += 1
    return found[:n]


@kernel
def bridge(elev_mm: NDArray[np.int32]) -> None:
    """Close small gaps, in place; the outermost `REACH` cells of the array are left as they are.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Millimetres, positive up, `NODATA_MM` where unknown.
    """
    found = _closed(elev_mm)
    for k in range(found.shape[0]):
        elev_mm[found[k, 0], found[k, 1]] = found[k, 2]
