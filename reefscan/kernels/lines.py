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
