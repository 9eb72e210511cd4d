"""The toe of breakwaters, where rock meets sand: places beside a structure that the grid itself may be too coarse to show.

A guess from the structure's line alone: the rubble goes on under the sand and under water, so a net keeps off the waterline by
what a slope of 1:1.5 to 1:2 covers at that depth, and some metres more.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from reefscan.kernels.near import pairs_within
from reefscan.surroundings.shapes import Floats, outlines

LEAST_M = 15.0
SPARE_M = 5.0
SLOPE = 2.0
"""Stand-off from the waterline: SLOPE × (depth + tide) + SPARE_M, LEAST_M at the least (a guess for slopes of 1:1.5 to 1:2)."""

REACH_M = 120.0
"""So far from the line of a structure its toe is looked for."""

HALF_M = 40.0
"""A line drawn on a structure lies no farther than this from its waterline."""

FACE_M = 30.0
"""So far from a face where ships lie nothing is proposed."""

TOES = re.compile(r"breakwater|groyne|groin|rip ?rap|rubble|revetment|training wall|dyke|dike", re.IGNORECASE)
FACES = re.compile(r"pier|wharf|quay|mole|jetty|berth|landing|slipway|ramp|pontoon|fender", re.IGNORECASE)
"""Words in a structure's kind: those with a toe of rock, and those with a working face."""


def has_toe(kind: str) -> bool:
    """Whether a structure of that kind stands on a foot of rock."""
    return bool(TOES.search(kind)) and not FACES.search(kind)


def stand_off_m(depth_m: Any, tide_m: float) -> Any:
    """Distance (m) to keep from the waterline over a depth (m, positive down).

    Examples
    --------
    >>> float(stand_off_m(3.0, 1.0)), float(stand_off_m(10.0, 1.0))
    (15.0, 27.0)
    """
    return np.maximum(LEAST_M, SLOPE * (np.asarray(depth_m) + tide_m) + SPARE_M)


@dataclass(frozen=True)
class Toes:
    """Proposed places, row for row; metres in the system of the lines.

    Attributes
    ----------
    x, y : ndarray
    depth_m : ndarray
        Positive down.
    off_m : ndarray
        Distance to the waterline.
    at_x, at_y : ndarray
        The waterline beside each.
    line : ndarray of int
        Which line each belongs to.
    """

    x: Floats
    y: Floats
    depth_m: Floats
    off_m: Floats
    at_x: Floats
    at_y: Floats
    line: Any


def toes_of(
    lines: Sequence[Any],
    depth_at: Callable[[Floats, Floats], Floats],
    *,
    faces: Sequence[Any] = (),
    band_m: tuple[float, float],
    tide_m: float,
    station_m: float,
    step_m: float,
) -> Toes:
    """Propose places along both sides and around the ends of lines.

    Parameters
    ----------
    lines : sequence of LineString
        Structures with a toe, metres.
    depth_at : callable
        Depth (m, positive down, NaN unknown) at arrays of x and y.
    faces : sequence of shapes
        Structures with a working face.
    band_m : (shallow, deep)
        Depths looked at.
    tide_m : float
        Rise of the water above the grid's datum.
    station_m : float
        Distance of places along a line.
    step_m : float
        Step outward: the cell of the grid.
    """
    rays = [_rays(line, i, station_m) for i, line in enumerate(lines)]
    x0, y0, dx, dy, line = (
        np.concatenate([ray[k] for ray in rays]) if rays else np.zeros(0) for k in range(5)
    )
    out = np.arange(0.0, REACH_M, step_m)
    x, y = x0[:, None] + out * dx[:, None], y0[:, None] + out * dy[:, None]
    depth = depth_at(x.ravel(), y.ravel()).reshape(x.shape)
    dry = (depth <= 0) & (out <= HALF_M)
    shore = np.where(dry.any(axis=1), out[out.size - 1 - np.argmax(dry[:, ::-1], axis=1)], 0.0)
    off = out[None, :] - shore[:, None]
    far = (off >= stand_off_m(depth, tide_m)) & (depth > 0)
    first = np.argmax(far, axis=1)
    at = np.arange(len(first))
    # what dries again on the way lies behind something, and no boat gets there on this side
    again = ((depth <= 0) & (off > 0) & (out[None, :] <= out[first][:, None])).any(axis=1)
    good = far.any(axis=1) & ~again
    good &= (depth[at, first] >= band_m[0]) & (depth[at, first] <= band_m[1])
    px, py = x[at, first], y[at, first]
    points = shapely.points(px, py)
    if len(at):
        # else another part of it is nearer
        good &= _to_nearest(points, outlines(np.array(lines, dtype=object))) >= out[first] - step_m
    if len(faces):
        good &= _to_nearest(points, np.array(faces, dtype=object)) >= FACE_M
    kept = np.flatnonzero(good)
    kept = kept[_apart(px[kept], py[kept], 0.75 * station_m)]
    return Toes(
        px[kept], py[kept], depth[kept, first[kept]], off[kept, first[kept]],
        x0[kept] + shore[kept] * dx[kept], y0[kept] + shore[kept] * dy[kept], line[kept].astype(np.intp),
    )  # fmt: skip


def _rays(line: Any, number: int, station_m: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Starts and directions: square to the line at each station, and ahead and aslant at both ends."""
    count = max(1, int(line.length // station_m))
    along = (np.arange(count) + 0.5) * line.length / count
    near = min(1.0, line.length / 4)
    a = shapely.get_coordinates(shapely.line_interpolate_point(line, np.maximum(along - near, 0.0)))
    b = shapely.get_coordinates(shapely.line_interpolate_point(line, np.minimum(along + near, line.length)))
    start = shapely.get_coordinates(shapely.line_interpolate_point(line, along))
    way = (b - a) / np.maximum(np.hypot(*(b - a).T), 1e-9)[:, None]
    starts = [start, start]
    ways = [np.column_stack((-way[:, 1], way[:, 0])), np.column_stack((way[:, 1], -way[:, 0]))]
    if not line.is_ring:
        for end, inner in ((0.0, near), (line.length, line.length - near)):
            tip = shapely.get_coordinates(line.interpolate(end))[0]
            ahead = tip - shapely.get_coordinates(line.interpolate(inner))[0]
            ahead = ahead / max(float(np.hypot(*ahead)), 1e-9)
            for turn in (-np.pi / 4, 0.0, np.pi / 4):
                c, s = np.cos(turn), np.sin(turn)
                starts.append(tip[None])
                ways.append(np.array([[c * ahead[0] - s * ahead[1], s * ahead[0] + c * ahead[1]]]))
    p, w = np.concatenate(starts), np.concatenate(ways)
    return p[:, 0], p[:, 1], w[:, 0], w[:, 1], np.full(len(p), float(number))


def _to_nearest(points: Any, shapes: Any) -> Floats:
    """Distance of each point to the nearest shape, metres."""
    (at, _), metres = shapely.STRtree(shapes).query_nearest(points, return_distance=True)
    out = np.full(len(points), np.inf)
    out[at] = metres
    return out


def _apart(x: Floats, y: Floats, least: float) -> Any:
    """Rows in their order, without those nearer than ``least`` to one taken."""
    first, second = pairs_within(x, y, least * (1.0 - 1e-12))
    kept = [True] * len(x)
    for i, j in zip(
        first[(order := np.argsort(first, kind="stable"))].tolist(), second[order].tolist(), strict=True
    ):
        if kept[i]:
            kept[j] = False
    return np.flatnonzero(kept)
