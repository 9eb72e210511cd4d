"""The toe of a breakwater: stand-off against its closed form on a sloping bottom, faces and bands kept."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from reefscan.surroundings.toe import LEAST_M, has_toe, stand_off_m, toes_of

LINE = shapely.LineString([(0, 0), (0, 300)])


def propose(depth_at, **more):
    asked = {"band_m": (1.0, 40.0), "tide_m": 0.0, "station_m": 20.0, "step_m": 1.0} | more
    return toes_of([LINE], depth_at, **asked)


@pytest.mark.parametrize("tide", [0.0, 2.5])
@pytest.mark.parametrize("wall", [0.0, 6.0])
def test_a_place_lies_where_twice_the_depth_and_tide_is_first_kept_from_the_waterline(tide, wall):
    # dry for `wall` metres either side of the line, then 4 m and falling 1 in 10
    found = propose(
        lambda x, y: np.where(
            np.hypot(x, np.clip(np.abs(y - 150) - 150, 0, None)) <= wall, -2.0, 4 + 0.1 * np.abs(x)
        ),
        tide_m=tide,
    )
    side = (found.y > 20) & (found.y < 280)
    assert side.sum() >= 24 and (found.x[side] > 0).any() and (found.x[side] < 0).any()
    # off = 2 (4 + 0.1 (off + wall) + tide) + 5, or the least
    exact = max(LEAST_M, (2 * (4 + 0.1 * wall + tide) + 5) / (1 - 0.2))
    assert (found.off_m[side] >= exact - 1e-9).all() and (found.off_m[side] <= exact + 1.0).all()
    np.testing.assert_allclose(np.abs(found.x[side]), found.off_m[side] + wall)
    np.testing.assert_allclose(found.depth_m[side], 4 + 0.1 * np.abs(found.x[side]))
    assert (found.off_m >= stand_off_m(found.depth_m, tide) - 1e-9).all()


def test_depths_out_of_the_band_unknown_ground_and_dry_ground_behind_propose_nothing():
    assert len(propose(lambda x, y: np.full(x.shape, 50.0)).x) == 0
    assert len(propose(lambda x, y: np.full(x.shape, np.nan)).x) == 0
    # over 20 m the place is 45 m off: behind a bar that dries it is not reached from this side
    assert len(propose(lambda x, y: np.full(x.shape, 20.0)).x) > 20
    assert (
        len(
            propose(
                lambda x, y: np.where(
                    (np.hypot(x, np.clip(np.abs(y - 150) - 150, 0, None)) // 2) == 21, -1.0, 20.0
                )
            ).x
        )
        == 0
    )
    east_only = propose(lambda x, y: np.where(x > 0, 5.0, np.nan))
    assert len(east_only.x) > 10 and (east_only.x > 0).all()


def test_nothing_is_proposed_by_a_working_face_or_nearer_to_another_part():
    face = shapely.LineString([(25, 100), (25, 200)])
    found = propose(lambda x, y: np.full(x.shape, 5.0), faces=[face])
    assert len(found.x) and (shapely.distance(shapely.points(found.x, found.y), face) >= 30).all()
    corner = shapely.LineString([(0, 0), (0, 100), (100, 100)])
    inside = toes_of(
        [corner], lambda x, y: np.full(x.shape, 5.0), band_m=(1, 40), tide_m=0.0, station_m=20.0, step_m=1.0
    )
    assert (shapely.distance(shapely.points(inside.x, inside.y), corner) >= LEAST_M - 1.0).all()


def test_which_kinds_have_a_toe():
    assert all(has_toe(kind) for kind in ("breakwater", "Groyne", "rip rap", "training wall"))
    assert not any(has_toe(kind) for kind in ("pier", "wharf", "wreck", "mole", "sea wall", ""))


def test_no_two_places_stand_nearer_than_three_quarters_of_the_stations_distance():
    """On a wall with a sharp corner the places inside of it crowd: of each crowd the first along the wall stays."""
    corner = shapely.LineString([(0, 0), (200, 0), (40, 60)])
    found = toes_of(
        [corner], lambda x, y: np.full(x.shape, 6.0), band_m=(1.0, 40.0), tide_m=0.0, station_m=20.0, step_m=1.0
    )  # fmt: skip
    apart = np.hypot(found.x[:, None] - found.x, found.y[:, None] - found.y)
    assert len(found.x) > 20
    assert apart[~np.eye(len(found.x), dtype=bool)].min() >= 15.0 - 1e-6
