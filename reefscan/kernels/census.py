"""Which cells of a part of an array, and how many, are known and lie between two elevations."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel

_NODATA = np.int32(NODATA_MM)


@kernel
def census(
    elev_mm: NDArray[np.int32],
    rows: tuple[int, int],
    cols: tuple[int, int],
    band_mm: tuple[int, int],
    wide_mm: tuple[int, int],
) -> tuple[int, int, int]:
    """Count cells of a part of an array.

    Parameters
    ----------
    elev_mm : ndarray of int32, C-contiguous
        `NODATA_MM` unknown. The whole array: rows of a slice would be strided to numba, seven times as slow.
    rows, cols : tuple of int
        First, and one past the last, of the part.
    band_mm, wide_mm : tuple of int
        Lowest and highest elevation, both ends inside.

    Returns
    -------
    known, in_band, in_wide : int
    """
    low, high = max(np.int32(band_mm[0]), np.int32(_NODATA + 1)), np.int32(band_mm[1])
    wide_low, wide_high = max(np.int32(wide_mm[0]), np.int32(_NODATA + 1)), np.int32(wide_mm[1])
    known, in_band, in_wide = 0, 0, 0
    for r in range(rows[0], rows[1]):
        line = elev_mm[r, cols[0] : cols[1]]
        # 32-bit counts of a row keep the loop in narrow vectors
        a, b, c = np.int32(0), np.int32(0), np.int32(0)
        for k in range(line.shape[0]):
            z = line[k]
            a = np.int32(a + np.int32(z != _NODATA))
            b = np.int32(b + np.int32((z >= low) & (z <= high)))
            c = np.int32(c + np.int32((z >= wide_low) & (z <= wide_high)))
        known += int(a)
        in_band += int(b)
        in_wide += int(c)
    return known, in_band, in_wide


@kernel
def mark_band(
    elev_mm: NDArray[np.int32],
    row: int,
    col: int,
    band_mm: tuple[int, int],
    inside: int,
    outside: int,
    out: NDArray[np.uint8],
) -> None:
    """Write one value for the cells between two elevations, both ends inside, and another for all others.

    Parameters
    ----------
    elev_mm : ndarray of int32, C-contiguous
    row, col : int
        First cell of the part.
    band_mm : tuple of int
    inside, outside : int
    out : ndarray of uint8
        Of the part's shape; written.
    """
    low, high = max(np.int32(band_mm[0]), np.int32(_NODATA + 1)), np.int32(band_mm[1])
    yes, no = np.uint8(inside), np.uint8(outside)
    for r in range(out.shape[0]):
        line, to = elev_mm[row + r, col : col + out.shape[1]], out[r]
        for k in range(line.shape[0]):
            to[k] = yes if (line[k] >= low) & (line[k] <= high) else no
