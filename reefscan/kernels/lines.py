"""Points joined into groups, and the line along each, where there are too many for the interpreter."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]


@kernel
def join_pairs(first: Whole, second: Whole, group: Whole, joins: NDArray[np.bool_]) -> int:
    """Join points by pairs, in the order of the pairs.

    Of pairs in order of their length, those that join are the shortest tree of each group (Kruskal 1956).

    Parameters
    ----------
    first, second : ndarray of int
        The points of each pair.
    group : ndarray of int, shape (n,)
        Written: number of the group of each point, in the order of their first points.
    joins : ndarray of bool
        Written: True for a pair that joined two groups.

    Returns
    -------
    int
        How many groups there are.
    """
    n = group.shape[0]
    for k in range(n):
        group[k] = k  # each points to a smaller one of its group, or to itself
    for k in range(first.shape[0]):
        a, b = first[k], second[k]
        while group[a] != a:
            group[a] = group[group[a]]
            a = group[a]
        while group[b] != b:
            group[b] = group[group[b]]
            b = group[b]
        joins[k] = a != b
        group[max(a, b)] = min(a, b)
    count = 0
    for k in range(n):  # a smaller one has its number already
        if group[k] == k:
            group[k] = count
            count += 1
        else:
            group[k] = group[group[k]]
    return count


@kernel
def keep_better(better: Whole, worse: Whole, keep: NDArray[np.bool_]) -> None:
    """Take out the worse point of each pair whose better one is still there; pairs in order of their better points, best first."""
    for k in range(better.shape[0]):
        if keep[better[k]]:
            keep[worse[k]] = False


@kernel
def _farthest(
    near: Whole, start: Whole, x: Floats, y: Floats, root: int, used: NDArray[np.bool_],
    before: Whole, far: Floats, queue: Whole,
) -> int:  # fmt: skip
    """Walk a tree from a used point outward; the point with the longest way from what is used, the first of several."""
    queue[0], before[root], far[root] = root, root, 0.0
    place, count, k = root, 1, 0
    while k < count:
        node = queue[k]
        for e in range(start[node], start[node + 1]):
            other = near[e]
            if other == before[node]:
                continue
            before[other] = node
            far[other] = (
                0.0 if used[other] else far[node] + math.hypot(x[other] - x[node], y[other] - y[node])
            )
            if far[other] > far[place] or (far[other] == far[place] and other < place):
                place = other
            queue[count] = other
            count += 1
        k += 1
    return place


@kernel
def trace_trees(
    near: Whole, start: Whole, tree: Whole, x: Floats, y: Floats, least_m: Floats, way: Whole, end: Whole
) -> int:  # fmt: skip
    """Longest path of each tree, then its branches, longest first.

    Parameters
    ----------
    near, start : ndarray of int
        Neighbours of point ``k`` in its tree: ``near[start[k]:start[k + 1]]``.
    tree : ndarray of int, shape (trees + 1,)
        First point of each tree, and one past the last; the points of a tree have consecutive numbers.
    x, y : ndarray of float64, shape (n,)
        Metres.
    least_m : ndarray of float64, shape (trees,)
        A branch that is no longer is left out.
    way : ndarray of int, shape (2 n,)
        Written: the points of all paths, one path after the other. A branch ends with the point that it hangs on.
    end : ndarray of int, shape (n,)
        Written: one past the last point of each path.

    Returns
    -------
    int
        How many paths there are. The first one of a tree is its longest; a branch starts at a point of its tree.
    """
    n = x.shape[0]
    used = np.zeros(n, np.bool_)
    before, queue, far = np.empty(n, np.intp), np.empty(n, np.intp), np.empty(n)
    paths, length = 0, 0
    for t in range(tree.shape[0] - 1):
        used[tree[t]] = True
        root = _farthest(near, start, x, y, tree[t], used, before, far, queue)
        used[tree[t]], used[root] = False, True
        longest = True
        while True:
            node = _farthest(near, start, x, y, root, used, before, far, queue)
            if not longest and far[node] <= least_m[t]:
                break
            longest = False
            while not used[node]:
                way[length] = node
                length += 1
                used[node] = True
                node = before[node]
            way[length] = node
            length += 1
            end[paths] = length
            paths += 1
    return paths
