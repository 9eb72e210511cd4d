"""Open water: how far it is from a place to land in every direction, and so what lies in the lee of what.

Misleads where the land's outline is coarse (a place that it takes for land gets no answer), where a bank or a breakwater that
is no land breaks the waves, and beyond `REACH_M`, where nothing is known: that much stands for more.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from reefscan.kernels.rays import first_hits
from reefscan.surroundings.closed import first_inside
from reefscan.surroundings.shapes import GEOD, MARGIN_M, Box, Floats, Plane, Shapes, outlines

REACH_M = MARGIN_M
STEP_DEGREES = 5
AZIMUTHS = np.arange(0.0, 360.0, STEP_DEGREES)
EITHER_SIDE = 15.0
"""Waves come from some way to both sides of the wind: the longest open water within so many degrees counts."""


def fetch_m(land: Shapes, lon: Floats, lat: Floats, box: Box) -> Floats:
    """Distance (m) from places to the first land in true directions.

    Parameters
    ----------
    land : Shapes
        Polygons or lines of the shore.
    lon, lat : ndarray, shape (n,)

    Returns
    -------
    ndarray, shape (n, directions)
        In the directions of `AZIMUTHS`, at most `REACH_M`, clockwise from true north; NaN for a place on land.

    Notes
    -----
    Rays are straight in a plane that is true in distance from the middle of the box. 100 km from there a distance is drawn
    4e-5 too long at the most, less than any outline of a shore is true.
    """
    n = len(lon)
    out = np.full((n, len(AZIMUTHS)), REACH_M)
    if not len(land) or not n:
        return out
    plane = Plane(box)
    lines = outlines(plane.flat(land.shapes))
    places = plane.points(lon, lat)
    north_lon, north_lat, _ = GEOD.fwd(lon, lat, np.zeros(n), np.full(n, 1000.0))
    north = plane.points(np.asarray(north_lon), np.asarray(north_lat)) - places
    corners, of = shapely.get_coordinates(lines, return_index=True)
    starts = np.searchsorted(of, np.arange(len(lines) + 1))
    bounds = shapely.bounds(lines)
    middle = 0.5 * (bounds[:, :2] + bounds[:, 2:])
    radius = 0.5 * np.hypot(*(bounds[:, 2:] - bounds[:, :2]).T)
    first_hits(places, np.arctan2(*north.T), corners, starts, np.column_stack((middle, radius)), REACH_M, out)
    areas = shapely.get_type_id(land.shapes) == 3
    out[first_inside(land.take(np.flatnonzero(areas)), lon, lat, box) >= 0] = np.nan
    return out


def toward(azimuth: float, fetches: Floats) -> Floats:
    """The longest open water within `EITHER_SIDE` of a direction, for each place."""
    apart = np.abs((AZIMUTHS - azimuth + 180.0) % 360.0 - 180.0)
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
