"""Which sites get the nets: the best total of scores under hard limits, solved exactly as an integer programme.

The solver is HiGHS through `scipy.optimize.milp` (Huangfu and Hall 2018, doi:10.1007/s12532-017-0130-5). Conflicts go
in as cliques, not as pairs: sites crowded on one ledge all exclude each other, and one row says what hundreds would.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from reefscan.base.errors import InputError

Floats = NDArray[np.float64]
Pairs = NDArray[np.bool_]

TIE = 1e-4
"""All that ties may add: scores are tenths, so what is best stays best, and of equal totals those that come first by `Question.turn`."""

SECONDS = 60.0


@dataclass(frozen=True)
class Question:
    """What is chosen among.

    Parameters
    ----------
    score : ndarray, shape (n,)
        0 or more.
    apart : ndarray of bool, shape (n, n)
        Pairs that exclude each other.
    far : ndarray of bool, shape (n, n)
        The same, by the person's own limit on how far apart two may be.
    feature : ndarray of int, shape (n,)
        Number of the feature; negative for none.
    needed_m : ndarray, shape (n,)
        Rope each site needs.
    ropes_m : tuple of float
        What the nets have; one site a net, and its need must fit.
    per_feature : int
        Most sites of one feature.
    keep : tuple of int
        Sites that must be taken.
    unknown : ndarray of bool, shape (n,)
        Sites where least is known.
    explore : int
        So many of those at the least.
    turn : ndarray of int, optional
        0 to n - 1, smaller ones are taken of equals; the order of the sites if not given.
    """

    score: Floats
    apart: Pairs
    far: Pairs
    feature: NDArray[np.intp]
    needed_m: Floats
    ropes_m: tuple[float, ...]
    per_feature: int
    keep: tuple[int, ...] = ()
    unknown: Pairs | None = None
    explore: int = 0
    turn: NDArray[np.intp] | None = None


@dataclass(frozen=True)
class Choice:
    """Sites taken, in the order of the question; the total of their scores; how far from the best it may be (0: it is the best)."""

    rows: tuple[int, ...]
    total: float
    gap: float


def choose(asked: Question) -> Choice:
    """Take the sites with the greatest total.

    Raises
    ------
    InputError
        If what must be kept or explored cannot be had together.
    """
    n = asked.score.size
    if n == 0:
        return Choice((), 0.0, 0.0)
    rows, limits = _rows(asked)
    lower = np.zeros(n)
    lower[list(asked.keep)] = 1.0
    least = np.full(len(limits), -np.inf)
    if asked.explore and asked.unknown is not None:
        rows.append(np.flatnonzero(asked.unknown))
        limits.append(np.inf)
        least = np.append(least, float(asked.explore))
    matrix = _matrix(rows, n)
    extra = _far_limits(asked)
    turn = np.arange(n) if asked.turn is None else asked.turn
    wanted = asked.score + TIE * (n - turn) / n / max(1, len(asked.ropes_m))
    made = milp(
        -wanted,
        constraints=[LinearConstraint(matrix, least, np.array(limits)), *extra],
        integrality=np.ones(n),
        bounds=Bounds(lower, np.ones(n)),
        options={"mip_rel_gap": 0.0, "time_limit": SECONDS},
    )
    if made.x is None:
        raise InputError(
            "no choice of sites fulfils what must be kept and explored together with spacing, rope and number of nets; "
            "keep fewer, or look which of them are too near each other"
        )
    taken = tuple(int(i) for i in np.flatnonzero(made.x > 0.5))
    gap = float(made.mip_gap) if made.mip_gap is not None else 0.0
    # the share that the tie-break itself could leave open is no gap of the scores
    return Choice(taken, float(asked.score[list(taken)].sum()), gap if gap > 1e-6 else 0.0)


def _rows(asked: Question) -> tuple[list[NDArray[np.intp]], list[float]]:
    """Sets of sites of which at most so many may be taken."""
    everything = np.arange(asked.score.size)
    rows: list[NDArray[np.intp]] = [everything]
    limits: list[float] = [float(len(asked.ropes_m))]
    for rope in sorted(set(asked.ropes_m)):  # a site that a rope does not reach wants one of the longer ones
        beyond = np.flatnonzero(asked.needed_m > rope + 1e-9)
        if beyond.size:
            rows.append(beyond)
            limits.append(float(sum(other > rope for other in asked.ropes_m)))
    for number in np.unique(asked.feature[asked.feature >= 0]):
        members = np.flatnonzero(asked.feature == number)
        if members.size > asked.per_feature:
            rows.append(members)
            limits.append(float(asked.per_feature))
    cover = cliques(asked.apart)
    return rows + cover, limits + [1.0] * len(cover)


def _matrix(rows: list[NDArray[np.intp]], n: int) -> csr_array:
    at = np.concatenate([np.full(len(row), k) for k, row in enumerate(rows)])
    made = csr_array((np.ones(at.size), (at, np.concatenate(rows))), shape=(len(rows), n))
    # the solver of scipy 1.12 takes no longer numbers of rows and columns
    made.indices, made.indptr = made.indices.astype(np.int32), made.indptr.astype(np.int32)
    return made


def _far_limits(asked: Question) -> list[LinearConstraint]:
    """Per site one row: if it is taken, none of those too far from it."""
    if not asked.far.any():
        return []
    most = float(len(asked.ropes_m))
    matrix = asked.far.astype(np.float64)
    np.fill_diagonal(matrix, most)
    return [LinearConstraint(csr_array(matrix), -np.inf, most)]


def cliques(apart: Pairs) -> list[NDArray[np.intp]]:
    """Sets of sites that all exclude each other, such that every excluding pair lies in one.

    Greedy: each pair not yet covered is grown by what excludes all of it, nearest numbers first.
    """
    left = np.triu(apart, 1)
    out: list[NDArray[np.intp]] = []
    for i in range(apart.shape[0]):
        while left[i].any():
            j = int(np.flatnonzero(left[i])[0])
            members, common = [i, j], apart[i] & apart[j]
            while common.any():
                # one that covers most of what is left, so that few rows are needed
                near, at = np.flatnonzero(common), np.array(members)
                k = int(near[np.argmax(left[np.ix_(near, at)].sum(1) + left[np.ix_(at, near)].sum(0))])
                members.append(k)
                common &= apart[k]
            group = np.array(sorted(members))
            left[np.ix_(group, group)] = False
            out.append(group)
    return out
