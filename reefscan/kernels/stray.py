"""How far a cell strays from its eight neighbours: blind to planes, to edges along rows or columns, and to even bends."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel

_NODATA = np.int32(NODATA_MM)

SINGLE_M = 5.0
"""On larger cells each holds many soundings: one cell that stands up is a rock."""

PLACES = 6
"""Places to every side of a middle at which `strays` looks, at the most nearly twice as many."""

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


@kernel
def strays(
    elev_mm: NDArray[np.int32],
    rows: NDArray[np.float64],
    cols: NDArray[np.float64],
    radius: NDArray[np.float64],
) -> NDArray[np.float64]:
    """How far cells stray from what hangs together around places: root mean square response of `mixed` over that of white noise.

    A pile of some cells or a narrow gully, whose sides are steep, strays by little of its height. Weed, fish and false bottoms jump from
    cell to cell, and a few that jump far say as much as many that jump a little: a median would not see them.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Cells as they were read: a bad one that was set aside is the best sign of weed. `NODATA_MM` unknown.
    rows, cols : ndarray of float64, shape (n,)
        Places, positions in the array.
    radius : ndarray of float64, shape (n,)
        How far around each is looked, cells; about as many places in a wide disc as in one of `PLACES`.

    Returns
    -------
    ndarray of float64, shape (n,)
        Standard deviation (m) of white noise that strays as far; 0 where nothing is known.
    """
    out = np.zeros(rows.shape[0])
    for k in range(rows.shape[0]):
        reach, total, n = int(radius[k]), 0.0, 0
        step = max(1, reach // PLACES)
        r0, c0 = int(round(rows[k])), int(round(cols[k]))
        for i in range(-(reach // step), reach // step + 1):
            for j in range(-(reach // step), reach // step + 1):
                r, c = r0 + i * step, c0 + j * step
                inside = 0 < r < elev_mm.shape[0] - 1 and 0 < c < elev_mm.shape[1] - 1
                if inside and (i * i + j * j) * step * step <= radius[k] * radius[k]:
                    value = float(mixed(elev_mm, r, c))
                    if value >= 0.0:
                        total += value * value
                        n += 1
        if n > 0:
            out[k] = math.sqrt(total / n) * 0.001 / 6.0
    return out
