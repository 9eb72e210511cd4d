"""Raw numbers of a file to whole millimetres: arrays and numbers in, arrays out."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import MM_LIMIT, NODATA_MM

_LIMIT = float(MM_LIMIT)

PIECE = 1 << 14
"""Cells that are turned into millimetres at a time: all steps of a piece stay in the cache, 2 ns a cell. Compiled it is 1 ns,
but then every command that reads a window of a grid waits a quarter of a second for the compiler's library."""


def whole_mm(
    raw: NDArray[Any],
    *,
    factor: float,
    add_mm: float = 0.0,
    unknown: tuple[float, ...] = (),
    out: NDArray[np.int32] | None = None,
) -> NDArray[np.int32]:
    """Turn stored numbers into whole millimetres in one pass.

    ``mm = rint(raw * factor + add_mm)`` in float64, half to even. What is NaN, infinite, beyond
    `MM_LIMIT` or exactly one of ``unknown`` becomes `NODATA_MM`.

    Parameters
    ----------
    raw : ndarray, shape (rows, cols), C-contiguous
        Numbers as stored. Not modified.
    factor, add_mm : float
        Millimetres per stored unit (negative turns depth into elevation), and what is added.
    unknown : tuple of float
        Stored values that mean "unknown"; compared in the precision of ``raw``.
    out : ndarray of int32, optional
        C-contiguous array of the same shape to write to.

    Returns
    -------
    ndarray of int32, shape (rows, cols)
        Millimetres, `NODATA_MM` where unknown.
    """
    if out is None:
        out = np.empty(raw.shape, dtype=np.int32)
    flat, written = raw.reshape(-1), out.reshape(-1)
    with np.errstate(over="ignore", invalid="ignore"):
        marks = {float(raw.dtype.type(u)) if raw.dtype.kind == "f" else float(u) for u in unknown}
        # what is no height in any case needs no look of its own
        marks = {u for u in marks if abs(u * factor + add_mm) <= 1.001 * _LIMIT}
        for first in range(0, flat.size, PIECE):
            part = flat[first : first + PIECE]
            mm = np.multiply(part, factor, dtype=np.float64)
            mm += add_mm
            np.rint(mm, out=mm)
            good = np.abs(mm) <= _LIMIT
            for mark in marks:
                good &= part != mark
            if not good.all():
                mm[~good] = NODATA_MM
            written[first : first + PIECE] = mm
    return out
