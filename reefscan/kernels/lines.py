"""Walks along the stations of a feature, where there are too many for the interpreter."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray


@njit(cache=True, nogil=True)
def way_from(
    order: NDArray[np.int32],
    before: NDArray[np.int32],
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    used: NDArray[np.bool_],
) -> NDArray[np.float64]:
    """Length of the way along a tree from what is used of it already to each other node.

    Parameters
    ----------
    order, before : ndarray of int32
        Nodes from the root outward (the reachable ones only), and the node before each, as
        `scipy.sparse.csgraph.breadth_first_order` gives them.
    x, y : ndarray of float64, shape (n,)
        Metres.
    used : ndarray of bool, shape (n,)
        The root among them.

    Returns
    -------
    ndarray of float64, shape (n,)
        Metres; 0 where used or out of reach.
    """
    far = np.zeros(len(x))
    for node in order[1:]:
        if not used[node]:
            parent = before[node]
            step = math.hypot(x[node] - x[parent], y[node] - y[parent])
            far[node] = (0.0 if used[parent] else far[parent]) + step
    return far


@njit(cache=True, nogil=True)
def level_runs(across: NDArray[np.float64], most: float) -> NDArray[np.int64]:
    """Cut a row of readings, from its start on, into runs whose readings lie within ``most`` of each other.

    Returns
    -------
    ndarray of int64, shape (runs + 1,)
        Where each run starts, and the end of the last.
    """
    ends = np.empty(len(across) + 1, np.int64)
    ends[0] = 0
    n = 0
    if len(across):
        low = high = across[0]
        for i in range(1, len(across)):
            low, high = min(low, across[i]), max(high, across[i])
            if high - low > most:
                n += 1
                ends[n] = i
                low = high = across[i]
        n += 1
        ends[n] = len(across)
    return ends[: n + 1]


def near_pairs(
    x: NDArray[np.float64], y: NDArray[np.float64], half: NDArray[np.float64], reach: float
) -> NDArray[np.int64]:
    """Pairs of pieces whose middles are no farther apart than half of both and ``reach``.

    A sweep along the longer side of the ground, so that on a coast the work grows with the pairs and not with the square of
    the pieces; one very long piece widens it for all.

    Parameters
    ----------
    x, y, half : ndarray of float64, shape (n,)
        Middles and half lengths, metres.
    reach : float
        Metres.

    Returns
    -------
    ndarray of int64, shape (pairs, 2)
        The smaller number first; rows in ascending order.
    """
    if len(x) and np.ptp(y) > np.ptp(x):  # along the coast, whichever way it runs
        x, y = y, x
    # the sorts and the maximum are the library's own: compiled, they would cost the first run 5 s
    widest = float(half.max()) if len(half) else 0.0
    found = _swept(x, y, half, reach, widest, np.argsort(x, kind="stable"))
    return found[np.lexsort((found[:, 1], found[:, 0]))]


@njit(cache=True, nogil=True)
def _swept(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    half: NDArray[np.float64],
    reach: float,
    widest: float,
    order: NDArray[np.int64],
) -> NDArray[np.int64]:
    """`near_pairs` in the order in which a sweep over ascending x comes upon them."""
    found = [(0, 0) for _ in range(0)]
    for k in range(len(order)):
        a = order[k]
        for b in order[k + 1 :]:
            if x[b] - x[a] > half[a] + widest + reach:
                break
            most = half[a] + half[b] + reach
            if (x[a] - x[b]) ** 2 + (y[a] - y[b]) ** 2 <= most * most:
                found.append((min(a, b), max(a, b)))
    out = np.empty((len(found), 2), np.int64)
    for k, (a, b) in enumerate(found):
        out[k, 0], out[k, 1] = a, b
    return out
