"""Open water: how far it is from a place to land in every direction, and so what lies in the lee of what.

Misleads where the land's outline is coarse (a place that it takes for land gets no answer), where a bank or a breakwater that
is no land breaks the waves, and beyond `REACH_M`, where nothing is known: that much stands for more.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from reefscan.surroundings.closed import first_inside
from reefscan.surroundings.shapes import GEOD, MARGIN_M, Box, Floats, Plane, Shapes

REACH_M = MARGIN_M
STEP_DEGREES = 5
AZIMUTHS = np.arange(0.0, 360.0, STEP_DEGREES)
EITHER_SIDE = 15.0
"""Waves come from some way to both sides of the wind: the longest open water within so many degrees counts."""

_STAGES = (500.0, 3_000.0, 12_000.0, REACH_M)
"""Rays are made longer only where nothing is hit: most end at a near shore."""


def fetch_m(land: Shapes, lon: Floats, lat: Floats, box: Box, azimuths: Floats = AZIMUTHS) -> Floats:
    """Distance (m) from places to the first land in given true directions.

    Parameters
    ----------
    land : Shapes
        Polygons or lines of the shore.
    lon, lat : ndarray, shape (n,)
    azimuths : ndarray, shape (k,)
        Degrees clockwise from true north.

    Returns
    -------
    ndarray, shape (n, k)
        At most `REACH_M`; NaN for a place on land.
    """
    n, k = len(lon), len(azimuths)
    out = np.full((n, k), REACH_M)
    if not len(land) or not n:
        return out
    plane = Plane(box)
    edges = _edges(plane.flat(land.shapes))
    tree = shapely.STRtree(edges)
    start = np.repeat(plane.points(lon, lat), k, axis=0)
    turned = np.tile(azimuths, n)
    many_lon, many_lat = np.repeat(lon, k), np.repeat(lat, k)
    left = np.arange(n * k)
    flat = out.ravel()
    for reach in _STAGES:
        end_lon, end_lat, _ = GEOD.fwd(
            many_lon[left], many_lat[left], turned[left], np.full(len(left), reach)
        )
        end = plane.points(np.asarray(end_lon), np.asarray(end_lat))
        rays = shapely.linestrings(np.stack((start[left], end), axis=1))
        ray, edge = tree.query(rays, predicate="intersects")
        if len(ray):
            hit = shapely.intersection(rays[ray], edges[edge])
            metres = shapely.distance(shapely.points(start[left][ray]), hit)
            # the plane draws a distance a little longer than it is; the ray's own length says how much
            metres = metres * reach / shapely.length(rays[ray])
            np.minimum.at(flat, left[ray], metres)
        left = np.setdiff1d(left, left[np.unique(ray)], assume_unique=True)
        if not len(left):
            break
    areas = shapely.get_type_id(land.shapes) == 3
    out = flat.reshape(n, k)
    out[first_inside(land.take(np.flatnonzero(areas)), lon, lat, box) >= 0] = np.nan
    return out


def _edges(shapes: np.ndarray) -> np.ndarray:
    """The outlines of shapes in short pieces, so that a ray meets few of them."""
    kind = shapely.get_type_id(shapes)
    lines = np.concatenate([shapely.boundary(shapes[kind == 3]), shapes[kind == 1]])
    pieces = []
    for line in shapely.get_parts(lines):
        xy = shapely.get_coordinates(line)
        for i in range(0, len(xy) - 1, 16):
            pieces.append(shapely.LineString(xy[i : i + 17]))
    return np.array(pieces, dtype=object)


def toward(azimuth: float, fetches: Floats, azimuths: Floats = AZIMUTHS) -> Floats:
    """The longest open water within `EITHER_SIDE` of a direction, for each place."""
    apart = np.abs((azimuths - azimuth + 180.0) % 360.0 - 180.0)
    return np.asarray(fetches[:, apart <= EITHER_SIDE].max(axis=1))


def longest_open(fetches: Floats) -> NDArray[np.intp]:
    """Which direction has the longest open water, for each place: the middle of the widest stretch of directions that share it."""
    most = fetches >= np.nanmax(np.nan_to_num(fetches), axis=1)[:, None]
    k = fetches.shape[1]
    run = np.zeros(most.shape, dtype=np.intp)
    before = np.zeros(len(fetches), dtype=np.intp)
    for turn in range(2 * k):  # twice round, so that a stretch over north is one
        before = np.where(most[:, turn % k], np.minimum(before + 1, k), 0)
        run[:, turn % k] = before
    end = np.argmax(run, axis=1)
    return np.asarray((end - (run[np.arange(len(fetches)), end] - 1) // 2) % k, dtype=np.intp)
