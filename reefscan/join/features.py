"""Ledges, troughs and rises as lines and outlines: stations joined after the merge.

Everything here works on tables of stations of a whole sheet, so no feature knows where the tiles were.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.lines import join_pairs, keep_better, trace_trees
from reefscan.kernels.near import pairs_within

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]

JOIN = 2.6
"""Stations of one line are joined over gaps of up to this many squares: two empty squares between them."""

BRIDGE = 4.5
"""Stations of one line that lie on one straight course, alike in height, are joined over gaps of up to this many
squares: a hole in the survey does not make two ledges of one."""

COURSE_DEG = 15.0
"""How far off a straight course the axes at both ends of a bridged gap may lie."""

TURN_DEG = 42.0
"""Largest angle between a link and the axes at its ends: a gully may turn that much in 25 m."""


@dataclass(frozen=True)
class Lines:
    """Features as drawn: ``way[start[k]:start[k + 1]]`` are the rows of path ``k``; the paths of feature ``f`` are
    ``first[f]`` to ``first[f + 1]`` less one, its main line and then its branches."""

    way: Whole
    start: Whole
    first: Whole


def distinct(
    x: Floats, y: Floats, height: Floats, radius_m: float, of: Whole | None = None
) -> NDArray[np.bool_]:
    """Keep the highest of stations that were recentred onto the same spot; with ``of``, of those of one feature only.

    Order is by height, then x, then y: it does not depend on the order of the rows.
    """
    i, j = pairs_within(x, y, radius_m)
    if of is not None:
        same = of[i] == of[j]
        i, j = i[same], j[same]
    rank = np.empty(len(x), dtype=np.intp)
    rank[np.lexsort((y, x, -height))] = np.arange(len(x))
    better, worse = np.minimum(rank[i], rank[j]), np.maximum(rank[i], rank[j])
    order = np.argsort(better, kind="stable")
    alive = np.ones(len(x), dtype=bool)
    # pairs sorted by their better member: a station that fell to a better one no longer takes others down
    keep_better(better[order], worse[order], alive)
    return alive[rank]


def join(table: pd.DataFrame, kind: str, side_m: float) -> NDArray[np.intp]:
    """Number of the feature each station belongs to, stations in any order.

    Parameters
    ----------
    table : DataFrame
        Stations of one kind on one sheet: ``x``, ``y`` (m), ``axis``, ``facing`` (deg), ``height_m``,
        ``width_m``, ``level_m``.
    kind : str
    side_m : float
        Side of a station square.
    """
    i, j = _pairs(table, kind, side_m)
    label = np.empty(len(table), dtype=np.intp)
    join_pairs(i, j, label, np.empty(len(i), dtype=bool))
    return label


def _pairs(table: pd.DataFrame, kind: str, side_m: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    x, y = table["x"].to_numpy(), table["y"].to_numpy()
    height, width = table["height_m"].to_numpy(), table["width_m"].to_numpy()
    reach = max(JOIN * side_m, float(width.max(initial=0.0))) if kind == "rise" else BRIDGE * side_m
    i, j = pairs_within(x, y, reach)
    dx, dy = x[j] - x[i], y[j] - y[i]
    gap = np.hypot(dx, dy)
    if kind == "rise":
        good = gap < np.maximum(side_m, 0.4 * (width[i] + width[j]))
        return i[good], j[good]
    heading = np.degrees(np.arctan2(dx, dy))
    axis = table["axis"].to_numpy()
    level = table["level_m"].to_numpy()
    near = gap < 0.8 * side_m
    off_course = np.maximum(between(axis[i], heading), between(axis[j], heading))
    alike = np.abs(height[i] - height[j]) < 0.3 * np.maximum(height[i], height[j])
    good = (off_course < TURN_DEG) & (gap <= JOIN * side_m)
    good |= near | ((off_course < COURSE_DEG) & alike)
    good &= between(axis[i], axis[j]) < TURN_DEG
    # the middle of a ledge's face may be read anywhere between its foot and its lip
    share = 1.0 if kind == "ledge" else 0.4
    good &= np.abs(level[i] - level[j]) < share * np.maximum(height[i], height[j]) + 0.08 * gap
    if kind == "ledge":
        facing = table["facing"].to_numpy()
        turn = np.abs((facing[i] - facing[j] + 180.0) % 360.0 - 180.0)
        good &= turn < 60.0
    return i[good], j[good]


def between(a: Floats, b: Floats) -> Floats:
    """Angle between two axes, 0 to 90 degrees."""
    return np.abs((a - b + 90.0) % 180.0 - 90.0)


def trace(x: Floats, y: Floats, label: Whole, width: Floats, side_m: float) -> Lines:
    """Main line and branches through the stations of each feature.

    The longest path of the shortest tree that holds all stations; branches longer than the feature's
    width hang on it, shorter ones are spurs of the sampling and are left out.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Metres.
    label : ndarray of int, shape (n,)
        Number of the feature of each station, see `join`.
    width : ndarray, shape (features,)
        Width of each feature, metres.
    side_m : float
        Side of a station square.
    """
    n = len(x)
    i, j = pairs_within(x, y, BRIDGE * side_m)
    same = label[i] == label[j]
    i, j = i[same], j[same]
    # the tree follows near neighbours instead of cutting corners
    near = np.argsort(np.hypot(x[i] - x[j], y[i] - y[j]), kind="stable")
    i, j = i[near], j[near]
    joins = np.empty(len(i), dtype=bool)
    join_pairs(i, j, np.empty(n, dtype=np.intp), joins)
    order = np.argsort(label, kind="stable")
    place = np.empty(n, dtype=np.intp)
    place[order] = np.arange(n)
    i, j = place[i[joins]], place[j[joins]]
    one, other = np.concatenate([i, j]), np.concatenate([j, i])
    beside = other[np.argsort(one, kind="stable")]
    counts = np.concatenate([[0], np.cumsum(np.bincount(one, minlength=n))])
    tree = np.searchsorted(label[order], np.arange(len(width) + 1))
    way, end = np.empty(2 * n, dtype=np.intp), np.empty(n, dtype=np.intp)
    least = np.maximum(1.2 * width, 3.0 * side_m)
    paths = trace_trees(beside, counts, tree, x[order], y[order], least, way, end)
    start = np.concatenate([[0], end[:paths]])
    way = order[way[: start[-1]]]
    return Lines(way, start, np.searchsorted(label[way[start[:-1]]], np.arange(len(width) + 1)))


def line_shapes(x: Floats, y: Floats, lines: Lines) -> tuple[Floats, Floats]:
    """Length (m) and sinuosity (path over chord, 1 or more) of the main line of each feature."""
    begin, last = lines.start[lines.first[:-1]], lines.start[lines.first[:-1] + 1] - 1
    step = np.append(np.hypot(np.diff(x[lines.way]), np.diff(y[lines.way])), 0.0)
    step[lines.start[1:] - 1] = 0.0  # from one path to the next
    main = np.zeros(len(lines.start) - 1, dtype=bool)
    main[lines.first[:-1]] = True
    step *= np.repeat(main, np.diff(lines.start))
    length = np.add.reduceat(step, begin)
    from_, to = lines.way[begin], lines.way[last]
    chord = np.hypot(x[to] - x[from_], y[to] - y[from_])
    bent = np.maximum(1.0, length / np.maximum(chord, 1.0))
    return length, np.where(chord > 1.0, bent, 1.0)
