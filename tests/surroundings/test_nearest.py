"""The nearest shape against geodesics to every corner of finely cut shapes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Geod

from reefscan.surroundings.nearest import nearest
from reefscan.surroundings.shapes import Box, Shapes

GEOD = Geod(ellps="WGS84")


@pytest.mark.parametrize("middle", [(-22.5, 45.0), (180.0, -17.0), (12.0, 68.0)])
def test_distance_and_bearing_are_those_of_the_geodesic_to_the_nearest_point(middle):
    rng = np.random.default_rng(3)
    x, y = middle[0] + rng.uniform(-0.3, 0.3, 60), middle[1] + rng.uniform(-0.2, 0.2, 60)
    way = np.column_stack((x - middle[0], y - middle[1])) * 0.04
    lines = [shapely.LineString(way[i : i + 3] + (x[i], y[i])) for i in range(57)]
    drawn = [line if i % 3 else shapely.Point(x[i], y[i]).buffer(0.01) for i, line in enumerate(lines)]
    shapes = Shapes(np.array(drawn, dtype=object), tuple(map(str, range(57))), ("",) * 57, ("",) * 57)
    box = Box(middle[0] - 0.5, middle[1] - 0.4, middle[0] + 0.5, middle[1] + 0.4)
    lon, lat = middle[0] + rng.uniform(-0.4, 0.4, 25), middle[1] + rng.uniform(-0.3, 0.3, 25)
    row, metres, bearing = nearest(shapes, (lon + 180) % 360 - 180, lat, box)
    corners = [shapely.get_coordinates(shapely.segmentize(s, 1e-4)) for s in drawn]
    for i in range(25):
        point = shapely.Point(lon[i], lat[i])
        if any(s.geom_type == "Polygon" and s.contains(point) for s in drawn):
            assert metres[i] == 0 and np.isnan(bearing[i])
            continue
        best, azimuth, which = np.inf, 0.0, -1
        for k, c in enumerate(corners):
            az, _, d = GEOD.inv(np.full(len(c), lon[i]), np.full(len(c), lat[i]), c[:, 0], c[:, 1])
            if d.min() < best:
                best, azimuth, which = d.min(), az[d.argmin()] % 360, k
        assert metres[i] == pytest.approx(best, abs=0.5), i
        assert metres[i] <= best + 0.01
        if best > 50:
            assert abs((bearing[i] - azimuth + 180) % 360 - 180) < 2.5
            assert row[i] == which


def test_nothing_given_is_nothing_known():
    box = Box(0, 0, 1, 1)
    none = Shapes(np.empty(0, dtype=object), (), (), ())
    row, metres, _ = nearest(none, np.array([0.5]), np.array([0.5]), box)
    assert row[0] == -1 and np.isnan(metres[0])
