"""Open water against closed forms: a round bay, a straight coast, an island; the map's own circles are geodesics."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from pyproj import Geod

from reefscan.surroundings.fetch import AZIMUTHS, REACH_M, fetch_m, longest_open, toward
from reefscan.surroundings.shapes import Box, Shapes

GEOD = Geod(ellps="WGS84")


def land(*shapes):
    n = len(shapes)
    return Shapes(np.array(shapes, dtype=object), ("",) * n, ("",) * n, ("",) * n)


def ring(lon, lat, metres):
    turns = np.arange(0, 360, 0.25)
    n = len(turns)
    x, y, _ = GEOD.fwd(np.full(n, lon), np.full(n, lat), turns, np.full(n, metres))
    return np.column_stack(((np.asarray(x) - lon + 180) % 360 - 180 + lon, y))


@pytest.mark.parametrize("place", [(-22.5, 45.0), (179.99, -17.0), (15.0, 69.0)])
def test_in_a_round_bay_open_water_is_the_chord(place):
    lon, lat = place
    box = Box(lon - 0.02, lat - 0.02, lon + 0.02, lat + 0.02).grown(50_000)
    radius, aside = 2000.0, 900.0
    bay = shapely.Polygon(ring(lon, lat, 8000.0), [ring(lon, lat, radius)])
    x, y, _ = GEOD.fwd(lon, lat, 90.0, aside)
    told = fetch_m(land(bay), np.array([lon, x]), np.array([lat, y]), box)
    np.testing.assert_allclose(told[0], radius, rtol=2e-4)
    angle = np.radians(AZIMUTHS - 90.0)
    chord = -aside * np.cos(angle) + np.sqrt(radius**2 - (aside * np.sin(angle)) ** 2)
    np.testing.assert_allclose(told[1], chord, rtol=1e-3)


def test_off_a_straight_coast_it_grows_as_one_over_the_cosine_and_is_open_to_sea():
    box = Box(-0.02, -0.02, 0.02, 0.02).grown(50_000)  # at the equator a parallel is straight
    north = 1500.0 / 110_574.0
    coast = shapely.box(-0.4, north, 0.4, 0.4)
    told = fetch_m(land(coast), np.array([0.0]), np.array([0.0]), box)[0]
    for azimuth, metres in zip(AZIMUTHS, told, strict=True):
        slant = np.cos(np.radians(azimuth))
        if slant > 0.1:
            assert metres == pytest.approx(1500.0 / slant, rel=2e-3), azimuth
        elif slant < -1e-9:
            assert metres == REACH_M
    assert toward(180.0, told[None])[0] == REACH_M
    assert toward(0.0, told[None])[0] == pytest.approx(1500.0 / np.cos(np.radians(15)), rel=2e-3)


def test_an_island_shadows_its_own_angle_and_a_place_on_land_is_told_nothing():
    box = Box(-22.52, 44.98, -22.48, 45.02).grown(50_000)
    x, y, _ = GEOD.fwd(-22.5, 45.0, 225.0, 20_000.0)
    island = shapely.Polygon(ring(x, y, 4000.0))
    told = fetch_m(land(island), np.array([-22.5, x]), np.array([45.0, y]), box)
    half = np.degrees(np.arcsin(4000 / 20_000))
    shadowed = told[0] < REACH_M
    np.testing.assert_array_equal(shadowed, np.abs(AZIMUTHS - 225.0) < half)
    assert told[0][AZIMUTHS == 225.0][0] == pytest.approx(16_000, rel=1e-3)
    assert np.isnan(told[1]).all()


def test_without_land_all_is_open():
    box = Box(-1, -1, 1, 1)
    assert (fetch_m(land(), np.zeros(2), np.zeros(2), box) == REACH_M).all()


def test_the_longest_open_bearing_is_the_middle_of_the_widest_stretch_over_north_too():
    fetches = np.full((3, 72), 100.0)
    fetches[0, [70, 71, 0, 1, 2]] = 500.0
    fetches[0, [20, 21]] = 500.0
    fetches[1, 10] = 200.0
    assert AZIMUTHS[longest_open(fetches)].tolist()[:2] == [0.0, 50.0]
