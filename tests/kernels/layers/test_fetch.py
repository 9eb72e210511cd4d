"""Open water swept over a mask of land, against closed forms and a walk along each ray."""

from __future__ import annotations

import numpy as np
import pytest

from reefscan.kernels.layers.fetch import open_water_m

CELL = 5.0


@pytest.mark.parametrize("azimuth", [0.0, 30.0, 45.0, 60.0, 90.0, 200.0, 271.0, 359.0])
def test_in_a_round_bay_open_water_is_the_chord(azimuth):
    radius = 600.0
    row, col = np.indices((301, 301))
    east, north = (col - 150) * CELL, (150 - row) * CELL
    land = np.hypot(east, north) > radius
    found = open_water_m(land, CELL, azimuth, 5000.0)
    along = east * np.sin(np.radians(azimuth)) + north * np.cos(np.radians(azimuth))
    aside = east * np.cos(np.radians(azimuth)) - north * np.sin(np.radians(azimuth))
    chord = np.sqrt(np.maximum(radius**2 - aside**2, 0.0)) - along
    # where the ray meets the shore square on, the cells of the shore are all that is lost
    square_on = ~land & (np.abs(aside) < 0.5 * radius)
    np.testing.assert_allclose(found[square_on], chord[square_on], atol=2.0 * CELL)
    np.testing.assert_array_equal(np.isnan(found), land)


@pytest.mark.parametrize("azimuth", [0.0, 20.0, 40.0, 320.0])
def test_off_a_straight_coast_it_grows_as_one_over_the_cosine(azimuth):
    land = np.zeros((200, 400), dtype=bool)
    land[:50] = True
    found = open_water_m(land, CELL, azimuth, 10_000.0)
    off = (np.arange(50, 200) - 49.5) * CELL
    np.testing.assert_allclose(found[50:, 200], off / np.cos(np.radians(azimuth)), atol=0.01)
    away = open_water_m(land, CELL, azimuth + 180.0, 10_000.0)
    assert (away[50:] == 10_000.0).all()


def test_every_cell_agrees_with_a_walk_along_its_own_ray():
    rng = np.random.default_rng(8)
    land = rng.random((80, 90)) < 0.02
    for azimuth in rng.uniform(0, 360, 6):
        found = open_water_m(land, CELL, azimuth, 300.0)
        near, missed = 0, 0
        for row, col in rng.integers(0, (80, 90), (60, 2)):
            if land[row, col]:
                continue
            distance = np.arange(0.0, 300.0, 0.5)
            r = row - distance / CELL * np.cos(np.radians(azimuth))
            c = col + distance / CELL * np.sin(np.radians(azimuth))
            inside = (r > -0.5) & (r < 79.5) & (c > -0.5) & (c < 89.5)
            hit = np.zeros(len(r), dtype=bool)
            hit[inside] = land[np.rint(r[inside]).astype(int), np.rint(c[inside]).astype(int)]
            walked = float(distance[hit][0]) if hit.any() else 300.0
            near += abs(found[row, col] - walked) < 2 * CELL
            missed += 1
        # a line strays half a cell: of lone cells of land it may pass one that the ray grazes, and the other way round
        assert near > 0.7 * missed


def test_the_mask_is_not_changed_and_all_land_is_unknown():
    land = np.ones((5, 6), dtype=bool)
    land.setflags(write=False)
    assert np.isnan(open_water_m(land, 1.0, 77.0, 10.0)).all()
