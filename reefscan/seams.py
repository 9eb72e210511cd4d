"""Does a line run along the rows or columns of the grid? Surveys are joined there, and where two disagree the joint has the
shape of a ledge.

Ground knows nothing of rows and columns: a natural edge that keeps to one of them within half a cell for 100 m and more
is rare (four in a hundred lie within 2 degrees of one of the two, and few of those are as straight). The rows and
columns are the grid's own, or true east and north where the file was in degrees; both are tried.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.features import Line, shared, turned
from reefscan.kernels.lines import level_runs
from reefscan.ramp import ramp

Floats = NDArray[np.float64]
Ends = tuple[float, float]


@dataclass(frozen=True)
class Course:
    """How straight a course is, and how long one must be for it (guesses of ours).

    Attributes
    ----------
    range_cells : float
        Between how far apart the middle of a joint's face reads: the search steps by half cells, and noise shifts it.
    wander_cells : float
        How far the same reads off its mean, root mean square.
    run_m, run_cells : tuple of float
        So long is no likeness yet, and so long is all of it: chance makes short ones, and a joint on coarse ground
        must cross several cells before it is seen to keep to one row.
    """

    range_cells: float
    wander_cells: float
    run_m: Ends
    run_cells: Ends


COURSES = (
    Course(0.3, 0.15, (100.0, 180.0), (5.0, 9.0)),
    Course(0.7, 0.25, (100.0, 180.0), (5.0, 9.0)),
    Course(1.5, 0.45, (240.0, 400.0), (20.0, 40.0)),
)
"""The flights of a staircase one by one; a quiet joint over a hundred metres, a noisy one over some hundreds."""

OFF_DEG = 2.0
"""How far off the row or column the whole course may lie: a joint of some hundred metres shows less."""

FEWEST = 3

WIDEST_CELLS = {"ledge": 4.0, "trough": 8.0}
"""A face, or a trough from crest to crest, that is wider than this is no joint: one leaves a step of a cell or two, three if it was
warped since, and a trench of some cells where another lies beside it (a guess, set with an eye on a real one of 5 to 7). What is straight may still have been dug
(`reefscan.cuts`)."""


def seam_like(table: pd.DataFrame, lines: Mapping[str, Line], cell_m: float) -> Floats:
    """How much each station lies on a straight course along a row or column.

    A feature of which half or more does is one as a whole.

    Parameters
    ----------
    table : DataFrame
        Stations: ``feature_id``, ``kind``, ``x``, ``y``, ``width_m`` (m), ``turn`` (true azimuth of grid north).
    lines : mapping of str to Line
        The line of each feature: places among its own stations, in the table's order.
    cell_m : float

    Returns
    -------
    ndarray, shape (n,)
        0 to 1; 0 for rises, and for faces and troughs many cells wide.
    """
    out = np.zeros(len(table))
    x, y = table["x"].to_numpy(), table["y"].to_numpy()
    turn = table["turn"].to_numpy()
    kinds = table["kind"].to_numpy()
    features = table.groupby("feature_id", sort=False).indices
    for name, rows in features.items():
        if kinds[rows[0]] == "rise":
            continue
        for path in (lines[name].main, *lines[name].branches):
            on = rows[list(path)]
            if len(on) < FEWEST:
                continue
            # grid north first, then true north, which bears -turn on the grid
            for north in (0.0, -float(turn[on].mean())):
                for bearing in (north, north + 90.0):
                    like = _along(x[on], y[on], bearing, cell_m)
                    out[on] = np.maximum(out[on], like)
    for kind, widest in WIDEST_CELLS.items():
        out[(kinds == kind) & (table["width_m"].to_numpy() > widest * cell_m)] = 0.0
    return shared(out, features.values())


def _along(x: Floats, y: Floats, bearing: float, cell_m: float) -> Floats:
    """The same for one line and one direction (degrees from grid north)."""
    along, across = turned(x, y, np.radians(bearing))
    like = np.zeros(len(x))
    for course in COURSES:
        ends = level_runs(across, course.range_cells * cell_m)
        for first, last in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
            if last - first < FEWEST:
                continue
            run = slice(first, last)
            length = float(np.ptp(along[run]))
            told = long_enough(length, cell_m, course.run_m, course.run_cells)
            if told > 0.0 and _straight(along[run], across[run], course.wander_cells * cell_m):
                like[run] = np.maximum(like[run], told)
    return like


def long_enough(length_m: float, cell_m: float, run_m: Ends, run_cells: Ends) -> float:
    """How far a straight run is long enough for a joint, 0 to 1, in metres as in cells."""
    return float(min(ramp(length_m, run_m), ramp(length_m / cell_m, run_cells)))


def _straight(along: Floats, across: Floats, wander_m: float) -> bool:
    """True if a course wanders no more than that and lies along its direction within `OFF_DEG`."""
    along, across = along - along.mean(), across - across.mean()
    spread = float((along * along).sum())
    if not spread > 0 or float(np.sqrt((across * across).mean())) > wander_m:
        return False
    slope = float((along * across).sum()) / spread
    return abs(slope) <= math.tan(math.radians(OFF_DEG))
