"""The order in which the nets are visited: out, round after round, and home, by the shortest way in all."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

EXACT = 10
"""Nets up to which every order is as good as tried (Held and Karp 1962, doi:10.1137/0110015)."""


def night_length(order: tuple[int, ...], between: Floats, launch: Floats, rounds: int) -> float:
    """Metres of a whole night: out, setting, ``rounds`` rounds of pulling, and home.

    Parameters
    ----------
    order : tuple of int
        Nets in the order of the visits.
    between : ndarray, shape (n, n)
        Way from net to net (m).
    launch : ndarray, shape (n,)
        Way from the launch to each net (m).
    rounds : int
        Pulls of each net. The path along the nets is gone once more than that: to set them.
    """
    path = sum(between[a, b] for a, b in itertools.pairwise(order))
    return float(
        launch[order[0]] + launch[order[-1]] + (rounds + 1) * path + rounds * between[order[-1], order[0]]
    )


def best_order(between: Floats, launch: Floats, rounds: int) -> tuple[int, ...]:
    """The order with the least `night_length`: exact up to `EXACT` nets, beyond that a good one (nearest next, then 2-opt)."""
    n = launch.size
    if n <= 1:
        return tuple(range(n))
    if n > EXACT:
        return _improved(_nearest(between, launch), between, launch, rounds)
    best: tuple[float, tuple[int, ...]] = (np.inf, ())
    for first in range(n):
        best = min(best, _from(first, between, launch, rounds))
    return best[1]


def _from(first: int, between: Floats, launch: Floats, rounds: int) -> tuple[float, tuple[int, ...]]:
    """Best order that begins with one net: shortest path through every set of nets that ends at each of them."""
    n = launch.size
    weight = (rounds + 1) * between
    cost: dict[tuple[int, int], float] = {(1 << first, first): 0.0}
    came: dict[tuple[int, int], int] = {}
    for size in range(1, n):
        for others in itertools.combinations([k for k in range(n) if k != first], size):
            mask = (1 << first) | sum(1 << k for k in others)
            for last in others:
                before = mask & ~(1 << last)
                options = [k for k in others if k != last] if size > 1 else [first]
                value, k = min((cost[before, k] + float(weight[k, last]), k) for k in options)
                cost[mask, last], came[mask, last] = value, k
    full = (1 << n) - 1
    total, last = min(
        (cost[full, k] + rounds * float(between[k, first]) + float(launch[first] + launch[k]), k)
        for k in range(n)
        if k != first
    )
    path, mask = [last], full
    while path[-1] != first:
        last = path[-1]
        path.append(came[mask, last])
        mask &= ~(1 << last)
    return total, tuple(path[::-1])


def _nearest(between: Floats, launch: Floats) -> tuple[int, ...]:
    path = [int(np.argmin(launch))]
    left = set(range(launch.size)) - set(path)
    while left:
        path.append(min(left, key=lambda k: (between[path[-1], k], k)))
        left.remove(path[-1])
    return tuple(path)


def _improved(order: tuple[int, ...], between: Floats, launch: Floats, rounds: int) -> tuple[int, ...]:
    best, better = order, True
    while better:
        better = False
        for a, b in itertools.combinations(range(len(best) + 1), 2):
            turned = (*best[:a], *best[a:b][::-1], *best[b:])
            if (
                night_length(turned, between, launch, rounds)
                < night_length(best, between, launch, rounds) - 1e-6
            ):
                best, better = turned, True
    return best
