"""Does a ledge run dead straight, whichever way? Where two surveys meet on the slant, their joint does, and a built wall; ground does not.

`reefscan.seams` knows joints by the grid's own rows and columns, along which a hundred metres are enough. Any other way only length tells: a
natural edge leaves every straight line by a cell or two within some dozens of cells. On a real coast and three real terrains that were looked at
(cells of 2 to 100 m, 602 ledges longer than 100 m) the longest straight run had 50 cells, of planted joints 100 to 330.
A joint on rough ground shows in pieces, so what lies on the same line farther on belongs to it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.features import Line, shared, turned
from reefscan.seams import COURSES, WIDEST_CELLS, long_enough

Floats = NDArray[np.float64]

_NOISY = COURSES[-1]
"""A joint on noisy ground strays as far from its line whichever way it runs."""

RUN_M = _NOISY.run_m
RUN_CELLS = (60.0, 100.0)
"""So long is no likeness yet, and so long is all of it, both in metres and in cells."""

WORTH = 0.8
"""How much of a likeness to a joint a dead straight run is. Length alone is no verdict: a fault or a bench of rock may keep to a line as long, so what
runs straight another way than the grid's is listed at half its worth, where a joint along a row is left out."""

FEWEST = 6
"""Stations of a run: through a few, a line always fits."""

MOST = 512
"""Stations looked at ahead of each, so that the work grows with the path's length and not with its square; a longer run is told in pieces."""

BEYOND = 2.0
"""A line goes on so many of its lengths beyond its ends: there too what lies on it is told."""


@dataclass(frozen=True)
class Rule:
    """A straight run: its middle (m), its direction (radians clockwise from grid north), half its length (m), 0 to 1."""

    x: float
    y: float
    axis: float
    half_length: float
    like: float


def ruled_like(table: pd.DataFrame, lines: Mapping[str, Line], cell_m: float) -> Floats:
    """How much each station of a ledge lies on a dead straight run of one.

    A feature of which half or more does is one as a whole.

    Parameters
    ----------
    table : DataFrame
        Stations: ``feature_id``, ``kind``, ``x``, ``y``, ``width_m`` (m).
    lines : mapping of str to Line
        The line of each feature: places among its own stations, in the table's order.
    cell_m : float

    Returns
    -------
    ndarray, shape (n,)
        0 to 1; 0 for troughs and rises, and for faces many cells wide.
    """
    out = np.zeros(len(table))
    x, y = table["x"].to_numpy(), table["y"].to_numpy()
    narrow = ((table["kind"] == "ledge") & (table["width_m"] <= WIDEST_CELLS["ledge"] * cell_m)).to_numpy()
    features = table.groupby("feature_id", sort=False).indices
    rules = [
        rule
        for name, rows in features.items()
        for path in (lines[name].main, *lines[name].branches)
        for rule in _rules(x[rows[list(path)]], y[rows[list(path)]], narrow[rows[list(path)]], cell_m)
    ]
    for rule in rules:
        along, across = turned(x - rule.x, y - rule.y, rule.axis)
        on = (np.abs(along) <= (1.0 + 2.0 * BEYOND) * rule.half_length) & (
            np.abs(across) <= _NOISY.range_cells / 2 * cell_m
        )
        out[on & narrow] = np.maximum(out[on & narrow], rule.like)
    return shared(out, features.values()) if rules else out


def _rules(x: Floats, y: Floats, narrow: NDArray[np.bool_], cell_m: float) -> list[Rule]:
    """The longest straight runs of one path, one behind the other."""
    n = len(x)
    least = max(RUN_M[0], RUN_CELLS[0] * cell_m)
    found: list[Rule] = []
    if n < FEWEST or float(np.hypot(np.ptp(x), np.ptp(y))) <= least or 2 * int(narrow.sum()) < n:
        return found
    far = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    ends_m = np.searchsorted(far, far + least)  # along the path: no chord before is longer
    first = 0
    while first + FEWEST <= n and ends_m[first] < n:
        end = int(ends_m[first])
        if _bend(x, y, first, (first + end) // 2, end) > _NOISY.range_cells * cell_m:
            first += 1
            continue
        # the reach of a run from here: a chord too short to say anything yet is not asked, and the first that fails ends it
        ahead = slice(first, first + MOST)
        chords = np.hypot(x[ahead] - x[first], y[ahead] - y[first])
        best, last = None, first
        for end in (np.flatnonzero(chords > least) + first + 1).tolist():
            rule = _rule(x[first:end], y[first:end], cell_m) if end - first >= FEWEST else None
            if rule is None:
                break
            best, last = rule, end
        if best is None:
            first += 1
        else:
            found.append(best)
            first = last
    return found


def _bend(x: Floats, y: Floats, first: int, middle: int, last: int) -> float:
    """How far a station lies off the chord of two others (m): more than the range of any straight run that holds all three."""
    dx, dy = float(x[last] - x[first]), float(y[last] - y[first])
    chord = math.hypot(dx, dy)
    if not chord > 0.0:
        return math.inf
    return abs(dx * float(y[middle] - y[first]) - dy * float(x[middle] - x[first])) / chord


def _rule(x: Floats, y: Floats, cell_m: float) -> Rule | None:
    """The line of best fit through a run, if it keeps to it."""
    mx, my = float(x.mean()), float(y.mean())
    dx, dy = x - mx, y - my
    axis = 0.5 * float(np.arctan2(2.0 * (dx * dy).sum(), (dy * dy).sum() - (dx * dx).sum()))
    along, across = turned(dx, dy, axis)
    if (
        float(np.sqrt((across * across).mean())) > _NOISY.wander_cells * cell_m
        or np.ptp(across) > _NOISY.range_cells * cell_m
    ):
        return None
    length = float(np.ptp(along))
    like = long_enough(length, cell_m, RUN_M, RUN_CELLS)
    middle = 0.5 * float(along.max() + along.min())
    return Rule(
        mx + middle * float(np.sin(axis)), my + middle * float(np.cos(axis)), axis, 0.5 * length, like
    )
