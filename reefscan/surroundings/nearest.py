"""The nearest of many shapes: which one, how far, and in which direction."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from reefscan.surroundings.shapes import GEOD, Box, Floats, Plane, Shapes


def nearest(shapes: Shapes, lon: Floats, lat: Floats, box: Box) -> tuple[NDArray[np.intp], Floats, Floats]:
    """Find the nearest shape of every place.

    The nearest point of it is found in a plane around the box, its distance is that of the geodesic to there: the plane may choose a
    point a little beside the nearest, which changes the distance in the second order only.

    Parameters
    ----------
    shapes : Shapes
        In the frame of ``box``.
    lon, lat : ndarray
        Degrees.

    Returns
    -------
    row : ndarray of int
        The shape; -1 where there is none. Of equally near ones the first.
    metres : ndarray
        0 inside a polygon or on a line; NaN where there is none.
    bearing : ndarray
        From the place to there, true degrees 0-360; NaN where the distance is 0 or unknown.
    """
    n = len(lon)
    row, metres, bearing = np.full(n, -1, dtype=np.intp), np.full(n, np.nan), np.full(n, np.nan)
    if not len(shapes) or not n:
        return row, metres, bearing
    plane = Plane(box)
    flat = plane.flat(shapes.shapes)
    points = shapely.points(plane.points(lon, lat))
    place, shape = shapely.STRtree(flat).query_nearest(points, all_matches=True)
    order = np.lexsort((shape, place))
    found, at = np.unique(place[order], return_index=True)
    row[found] = shape[order][at]
    foot = shapely.get_coordinates(shapely.shortest_line(flat[row], points)).reshape(-1, 2, 2)[:, 0]
    touch = shapely.distance(flat[row], points) == 0
    there = plane.lonlat(foot)
    azimuth, _, along = GEOD.inv(lon, lat, there[:, 0], there[:, 1])
    metres = np.where(touch, 0.0, along)
    bearing = np.where(metres > 0, np.asarray(azimuth) % 360.0, np.nan)
    return row, metres, bearing
