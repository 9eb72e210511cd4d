"""Pairs of points that lie near each other, where there are too many for the interpreter."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel

Whole = NDArray[np.intp]


def pairs_within(x: NDArray[np.float64], y: NDArray[np.float64], reach: float) -> tuple[Whole, Whole]:
    """All pairs of points no farther apart than a distance.

    A sweep over strips as wide as the distance: some 0.1 us a pair, and without the half second that a library of trees
    takes to be imported.

    Parameters
    ----------
    x, y : ndarray of float64, shape (n,)
        Metres, without NaN.
    reach : float
        Metres, above 0; a pair at exactly this distance is one.

    Returns
    -------
    first, second : ndarray of int
        Numbers of the points, the smaller one first; the same order of pairs for the same points.
    """
    # a little wider than the distance: rounding must not put two points at exactly this distance two strips apart
    strip = np.floor(y / (reach * (1.0 + 1e-9))).astype(np.int64)
    order = np.lexsort((x, strip))
    points = strip[order], np.ascontiguousarray(x[order]), np.ascontiguousarray(y[order]), float(reach)
    found = np.empty((0, 2), np.intp)
    found = np.empty((_sweep(*points, found), 2), np.intp)
    _sweep(*points, found)
    one, other = order[found[:, 0]], order[found[:, 1]]
    return np.minimum(one, other), np.maximum(one, other)


@kernel
def _sweep(
    strip: NDArray[np.int64], x: NDArray[np.float64], y: NDArray[np.float64], reach: float, out: Whole
) -> int:
    """Count the pairs of points that are in order of strip and x, and write them where there is room for all."""
    n, count, room = x.shape[0], 0, out.shape[0]
    beside = 0
    for k in range(n):
        while beside < n and (
            strip[beside] <= strip[k] or (strip[beside] == strip[k] + 1 and x[beside] < x[k] - reach)
        ):
            beside += 1
        for m in range(k + 1, beside):  # its own strip, to the right
            if strip[m] != strip[k] or x[m] - x[k] > reach:
                break
            if (x[m] - x[k]) ** 2 + (y[m] - y[k]) ** 2 <= reach * reach:
                if count < room:
                    out[count, 0], out[count, 1] = k, m
                count += 1
        for m in range(beside, n):  # the strip beside it, to both sides
            if strip[m] != strip[k] + 1 or x[m] - x[k] > reach:
                break
            if (x[m] - x[k]) ** 2 + (y[m] - y[k]) ** 2 <= reach * reach:
                if count < room:
                    out[count, 0], out[count, 1] = k, m
                count += 1
    return count
