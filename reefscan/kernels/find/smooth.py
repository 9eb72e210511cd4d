"""The ground smoothed over a stated length, so that noise makes no edges: binomial passes on what is known.

Arrays and numbers in, arrays out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel

_NODATA = np.int32(NODATA_MM)

SPREAD_M = 1.4
"""Standard deviation (m) of the smoothing: white noise of 0.1 m on 2 m cells then tilts a cell by 0.01."""

MOST_PASSES = 32


def passes(cell_m: float) -> int:
    """Binomial passes (1 2 1) that smooth over `SPREAD_M`: each adds half a squared cell of variance; none on coarse cells."""
    return min(MOST_PASSES, round(2.0 * (SPREAD_M / cell_m) ** 2))


@kernel
def _pass(z: NDArray[np.float32], above: NDArray[np.float32], line: NDArray[np.float32]) -> None:
    """One pass down and across, in place, row by row: two scratch rows stay in the cache where one as large as ``z`` would not."""
    rows, cols = z.shape
    quarter, half = np.float32(0.25), np.float32(0.5)
    for j in range(cols):
        above[j] = z[0, j]
    for r in range(rows):
        here, below = z[r], z[min(rows - 1, r + 1)]
        for j in range(cols):
            line[j] = quarter * (above[j] + below[j]) + half * here[j]
            above[j] = here[j]
        here[0] = quarter * (line[0] + line[1]) + half * line[0]
        for j in range(1, cols - 1):
            here[j] = quarter * (line[j - 1] + line[j + 1]) + half * line[j]
        here[cols - 1] = quarter * (line[cols - 2] + line[cols - 1]) + half * line[cols - 1]


@kernel
def smooth(elev_mm: NDArray[np.int32], times: int) -> NDArray[np.float32]:
    """Smoothed elevation (m), NaN where the cell itself is unknown.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Millimetres, positive up, `NODATA_MM` where unknown. At least 2 x 2 cells.
    times : int
        Binomial passes, see `passes`; the outermost cells, as many as passes, lean on the rim.

    Returns
    -------
    ndarray of float32, shape (rows, cols)
        The mean of the known cells around, by binomial weights.
    """
    rows, cols = elev_mm.shape
    z = np.empty((rows, cols), np.float32)
    above, line = np.empty(cols, np.float32), np.empty(cols, np.float32)
    lost = 0
    for r in range(rows):
        for c in range(cols):
            e = elev_mm[r, c]
            known = e != _NODATA
            z[r, c] = np.float32(e * 0.001) if known else np.float32(0.0)
            lost += not known
    if lost == 0:
        for _ in range(times):
            _pass(z, above, line)
        return z
    w = np.empty((rows, cols), np.float32)
    for r in range(rows):
        for c in range(cols):
            w[r, c] = np.float32(1.0) if elev_mm[r, c] != _NODATA else np.float32(0.0)
    for _ in range(times):
        _pass(z, above, line)
        _pass(w, above, line)
    for r in range(rows):
        for c in range(cols):
            z[r, c] = z[r, c] / w[r, c] if elev_mm[r, c] != _NODATA else np.float32(np.nan)
    return z
