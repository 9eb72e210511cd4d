"""A grid thinned to the size of a picture."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.model import NODATA_MM, GridSource, Window


def overview(source: GridSource, side: int = 1600) -> tuple[NDArray[np.int32], Window, int]:
    """Every n-th cell of a source, so that the longer side has at most ``side`` cells.

    Returns
    -------
    elev_mm : ndarray of int32
        Millimetres, `NODATA_MM` unknown.
    window : Window
        Window covered.
    step : int
        Cells from one picked cell to the next.
    """
    extent = source.extent
    step = max(1, -(-max(extent.height, extent.width) // side))
    rows, cols = -(-extent.height // step), -(-extent.width // step)
    out = np.full((rows, cols), NODATA_MM, np.int32)
    strip = max(1, 1024 // step)
    for first in range(0, rows, strip):
        height = min(strip, rows - first) * step
        for left in range(0, cols, strip):
            width = min(strip, cols - left) * step
            block = source.read(Window(extent.row + first * step, extent.col + left * step, height, width))
            out[first : first + height // step, left : left + width // step] = block.elev_mm[
                step // 2 :: step, step // 2 :: step
            ]
    return out, Window(extent.row, extent.col, rows * step, cols * step), step
