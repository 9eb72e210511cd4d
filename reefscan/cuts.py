"""Straight cuts in the seabed: legs of features so straight, even and long that something dug them.

What is dug is laid out with a ruler: legs of hundreds of metres, one width, one depth below the ground or one level, sides without
roughness, bends only where two legs meet. A natural gully has straight, even reaches too, but short ones: it is the length that tells.
So features are cut into straight legs first, legs that continue one another are taken together, and everything found inside
the strip of a cut (its walls, its ends) belongs to it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from reefscan.features import Line, turned
from reefscan.kernels.lines import near_pairs
from reefscan.kernels.order import median
from reefscan.ramp import ramp

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

OFF_LINE = 0.12
"""A leg ends where the middle leaves its chord by this share of the width: more than the stations of a planned cut scatter."""

LONG_M = (150.0, 300.0)
"""Straight and even over less says nothing, over more it was planned. Rivers are seldom straight for more than ten widths
(Leopold & Wolman 1957, USGS Prof. Paper 282-B; from memory): 80 to 300 m for the widths searched. A guess of ours for gullies."""

LONGER = 2.0
"""What is straight over one and a half times the second of those counts twice against its unevenness: on filled-in ground, or in noise,
planned cuts of a metre or two are measured less even than they are."""

STRAIGHT = (0.12, 0.04)
"""How far the middle strays from its line, as a share of the width: of gullies, and of planned cuts as they are measured."""

GAP_M = 80.0
"""Legs on one line are taken together over gaps of up to this: a crossing, a shoal, a hole in the survey."""

WALLS_M = (20.0, 400.0)
"""How far apart the two walls of a cut may lie: fairways are dredged to some hundred metres."""


@dataclass(frozen=True)
class Cut:
    """A straight strip of ground that looks dug.

    ``x``, ``y`` its middle (m), ``axis`` (radians clockwise from grid north), ``half_length`` and ``half_width`` (m), ``like`` 0 to 1.
    """

    x: float
    y: float
    axis: float
    half_length: float
    half_width: float
    like: float

    def holds(self, x: Floats, y: Floats, beyond_m: float) -> NDArray[np.bool_]:
        """Which points lie in the strip, or within ``beyond_m`` of its sides, or one width of its ends: those run out."""
        along, across = turned(x - self.x, y - self.y, self.axis)
        return np.asarray(
            (np.abs(along) <= self.half_length + 2.0 * self.half_width + beyond_m)
            & (np.abs(across) <= self.half_width + beyond_m)
        )


class _Stations(NamedTuple):
    """Columns of the table of stations, taken out once: taking one costs as much as a leg's own arithmetic."""

    x: Floats
    y: Floats
    facing: Floats
    width: Floats
    height: Floats
    rough: Floats
    level: Floats
    filled: Floats

    @classmethod
    def of(cls, table: pd.DataFrame) -> _Stations:
        return cls(
            table["x"].to_numpy(),
            table["y"].to_numpy(),
            np.radians(table["facing"].to_numpy()),
            *(
                table[name].to_numpy()
                for name in ("width_m", "height_m", "rough_m", "level_m", "interpolated")
            ),
        )


@dataclass(frozen=True)
class _Leg:
    """One straight piece of a feature: its stations in order, the line through them, and its ends along it."""

    rows: Rows
    x: float
    y: float
    axis: float
    start: float
    end: float
    width: float
    height: float


def cuts(
    table: pd.DataFrame, lines: Mapping[str, Line], natural: Floats, side_m: float, cell_m: float
) -> list[Cut]:
    """Find the straight cuts among the features of a sheet.

    Parameters
    ----------
    table : DataFrame
        Stations of all kinds, joined to features: ``kind``, ``feature_id``, ``x``, ``y`` (m), ``facing`` (deg), ``height_m``,
        ``width_m``, ``rough_m``, ``level_m``, ``interpolated`` (0 to 1: there roughness says nothing).
    lines : mapping of str to Line
        The line of each feature: places among its own stations, in the table's order.
    natural : ndarray, shape (n,)
        How much each station is explained otherwise (0 to 1): a trough of waves, the hollow between two ridges.
    side_m, cell_m : float
        Station square and cell, metres.
    """
    kinds, stations = table["kind"].to_numpy(), _Stations.of(table)
    legs: dict[str, list[_Leg]] = {"trough": [], "ledge": []}
    for name, rows in table.groupby("feature_id", sort=False).indices.items():
        kind = str(kinds[rows[0]])
        if kind in legs:
            legs[kind] += _legs(stations, np.asarray(rows)[list(lines[name].main)], side_m)
    found = [_cut(stations, run, natural, cell_m) for run in _runs(legs["trough"], stations, one_way=False)]
    found += _walled(stations, _runs(legs["ledge"], stations, one_way=True), natural, cell_m)
    return [cut for cut in found if cut.like > 0.0]


def _legs(stations: _Stations, rows: Rows, side_m: float) -> list[_Leg]:
    """Straight pieces of a line of stations (Douglas & Peucker 1973, doi:10.3138/FM57-6770-U75U-7727)."""
    x, y, width, height = stations.x[rows], stations.y[rows], stations.width[rows], stations.height[rows]
    limit = max(0.15 * side_m, OFF_LINE * median(width))
    out = []
    pieces = [(0, len(rows) - 1)]
    while pieces:
        first, last = pieces.pop()
        if last - first < 3:
            continue
        axis = float(np.arctan2(x[last] - x[first], y[last] - y[first]))
        _, off = turned(x[first : last + 1] - x[first], y[first : last + 1] - y[first], axis)
        worst = int(np.argmax(np.abs(off)))
        if abs(off[worst]) > limit:
            pieces += [(first, first + worst), (first + worst, last)]
            continue
        part = slice(first, last + 1)
        out.append(_leg(rows[part], x[part], y[part], median(width[part]), median(height[part])))
    return out


def _leg(rows: Rows, x: Floats, y: Floats, width: float, height: float) -> _Leg:
    mx, my = float(x.sum()) / len(x), float(y.sum()) / len(y)
    # the direction of largest spread
    axis = 0.5 * float(np.arctan2(2.0 * ((x - mx) * (y - my)).sum(), ((y - my) ** 2 - (x - mx) ** 2).sum()))
    along, _ = turned(x - mx, y - my, axis)
    return _Leg(rows, mx, my, axis, float(along.min()), float(along.max()), width, height)


def _runs(legs: list[_Leg], stations: _Stations, *, one_way: bool) -> list[_Leg]:
    """Legs that lie on one line, one width and one height, taken together; ``one_way``: if they face one way."""
    if not legs:
        return []
    legs = sorted(
        legs, key=lambda leg: (leg.start - leg.end, leg.x, leg.y)
    )  # the longer one's direction is the surer
    mid_x, mid_y = np.array([g.x for g in legs]), np.array([g.y for g in legs])
    axis = np.array([g.axis for g in legs])
    half = np.array([0.5 * (g.end - g.start) for g in legs])
    width, height = np.array([g.width for g in legs]), np.array([g.height for g in legs])
    widest_off = OFF_LINE * max(1.0, float(width.max()))
    # a little more than what the tests below let through
    i, j = near_pairs(mid_x, mid_y, 1.03 * half, 1.03 * (GAP_M + 2.0 * widest_off)).T
    along, across = turned(mid_x[j] - mid_x[i], mid_y[j] - mid_y[i], axis[i])
    turn = np.abs((axis[j] - axis[i] + np.pi / 2) % np.pi - np.pi / 2)
    wide = np.maximum(width[i], width[j])
    off = OFF_LINE * wide
    good = (np.abs(along) - half[i] - half[j] < GAP_M) & (np.abs(across) < off + 0.02 * np.abs(along))
    # a short leg's own direction is no surer than its stations are
    good &= turn < np.radians(3.0) + off / np.maximum(1.0, half[j])
    good &= (np.abs(width[i] - width[j]) < 0.3 * wide) & (
        np.abs(height[i] - height[j]) < 0.35 * np.maximum(height[i], height[j])
    )
    if one_way:
        facing = [stations.facing[g.rows] for g in legs]
        faces = np.array([np.arctan2(np.sin(one).sum(), np.cos(one).sum()) for one in facing])
        good &= np.cos(faces[j] - faces[i]) > 0.9
    graph = coo_matrix((np.ones(int(good.sum())), (i[good], j[good])), (len(legs),) * 2)
    label = connected_components(graph, directed=False)[1]
    out = []
    for one in np.split(np.argsort(label, kind="stable"), np.cumsum(np.bincount(label))[:-1]):
        rows = np.unique(np.concatenate([legs[i].rows for i in one]))
        wide_of, high_of = median(stations.width[rows]), median(stations.height[rows])
        out.append(_leg(rows, stations.x[rows], stations.y[rows], wide_of, high_of))
    return out


def _even(stations: _Stations, run: _Leg, cell_m: float) -> float:
    """How alike the run is from end to end, 0 to 1: straight, one width, one height (or one level), smooth sides.

    The corners lie between what planned cuts scatter by when they are measured on a noisy grid (2 % of the width off the
    line, 5 % in width and height, 2 % of the height in roughness) and what is common in gullies (a fifth and more); no source.
    A width is read between cells: what it scatters by one cell says nothing (of a trench of 12 m on cells of 2 m a sixth).
    """
    along, across = turned(stations.x[run.rows] - run.x, stations.y[run.rows] - run.y, run.axis)
    # the ends of anything run out: the middle eight tenths count
    inner = run.rows[np.abs(along - 0.5 * (run.start + run.end)) <= 0.4 * (run.end - run.start)]
    if len(inner) < 4:
        return 0.0
    width, height = stations.width[inner], stations.height[inner]
    tall, wide = max(0.1, median(height)), max(8.0, median(width))
    straight = ramp(float(np.std(across)) / wide, STRAIGHT)
    scatter = float(np.sqrt(max(0.0, float(np.var(width)) - cell_m**2)))
    same_width = ramp(scatter / max(1.0, float(np.mean(width))), (0.30, 0.10))
    if straight * same_width == 0.0:
        return 0.0
    same_height = ramp(float(np.std(height)) / tall, (0.25, 0.08))
    same_level = ramp(float(np.std(stations.level[inner])) / tall, (0.15, 0.05))
    rough = 1.0 - ramp(median(stations.rough[inner]) / tall, (0.15, 0.05))
    # soundings farther apart than a narrow cut is wide make beads of it
    smooth = 1.0 - rough * (1.0 - median(stations.filled[inner]))
    return float(straight * same_width * max(same_height, same_level) * smooth)


def _cut(stations: _Stations, run: _Leg, natural: Floats, cell_m: float) -> Cut:
    """A trough's run as a cut: sides and floor are one measure already."""
    long = float(ramp(run.end - run.start, LONG_M, LONGER))
    like = (
        (1.0 - median(natural[run.rows])) * min(1.0, _even(stations, run, cell_m) * long)
        if long > 0.0
        else 0.0
    )
    return _strip(run, 0.5 * run.width, like, start=run.start, end=run.end)


def _strip(run: _Leg, half_width: float, like: float, *, start: float, end: float, aside: float = 0.0) -> Cut:
    """A strip along a run from ``start`` to ``end``, its middle line ``aside`` metres to the right of the run's."""
    middle, east, north = 0.5 * (start + end), float(np.sin(run.axis)), float(np.cos(run.axis))
    x, y = run.x + middle * east + aside * north, run.y + middle * north - aside * east
    return Cut(x, y, run.axis, 0.5 * (end - start), half_width, like)


def _walled(stations: _Stations, walls: list[_Leg], natural: Floats, cell_m: float) -> list[Cut]:
    """Cuts too wide to be troughs: two straight even walls that face each other, parallel, as high as each other.

    Each wall of the pair shows its own length, so both together count.
    """
    long = [wall for wall in walls if wall.end - wall.start >= 0.5 * LONG_M[0]]
    even = [(1.0 - median(natural[wall.rows])) * _even(stations, wall, cell_m) for wall in long]
    if not long:
        return []
    x, y = np.array([w.x for w in long]), np.array([w.y for w in long])
    ends = np.array([max(-w.start, w.end) for w in long])
    axis = np.array([w.axis for w in long])
    pairs = near_pairs(x, y, ends, WALLS_M[1])
    turn = np.abs((axis[pairs[:, 1]] - axis[pairs[:, 0]] + np.pi / 2) % np.pi - np.pi / 2)
    out = []
    for i, j in pairs[turn <= np.radians(4.0)].tolist():
        wall, other = long[i], long[j]
        like = min(even[i], even[j])
        if like == 0.0:
            continue
        gap = np.array([[other.x - wall.x], [other.y - wall.y]])
        along, aside = (float(v[0]) for v in turned(gap[0], gap[1], wall.axis))
        half = 0.5 * (other.end - other.start)
        overlap = min(wall.end, along + half) - max(wall.start, along - half)
        if not WALLS_M[0] <= abs(aside) <= WALLS_M[1] or overlap < 0.5 * LONG_M[0]:
            continue
        to_other = wall.axis + (np.pi / 2 if aside > 0 else -np.pi / 2)
        faces = (
            np.cos(stations.facing[wall.rows] - to_other).mean(),
            np.cos(stations.facing[other.rows] - to_other).mean(),
        )
        if faces[0] < 0.9 or faces[1] > -0.9:
            continue
        like *= ramp(abs(wall.height - other.height) / max(wall.height, other.height), (0.4, 0.15))
        like = min(1.0, like * float(ramp(wall.end - wall.start + 2.0 * half, LONG_M, LONGER)))
        start, end = min(wall.start, along - half), max(wall.end, along + half)
        half_width = 0.5 * abs(aside) + 0.5 * max(wall.width, other.width)
        out.append(_strip(wall, half_width, like, start=start, end=end, aside=0.5 * aside))
    return out
