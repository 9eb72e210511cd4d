"""What the neighbours along a line tell, on lines of known form (a circle, two pieces in a row)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reefscan.alongline import _bent, steadied, told_along, told_at_drop
from reefscan.features import join

SIDE_M = 10.0


def stations(x, y, axis, **more):
    n = len(x)
    frame = {
        "kind": "ledge",
        "x": x,
        "y": y,
        "axis": np.asarray(axis) % 180,
        "facing": (np.asarray(axis) + 90) % 360,
    }
    frame |= {"height_m": np.full(n, 2.0), "width_m": np.full(n, 4.0), "level_m": np.full(n, -8.0)}
    return pd.DataFrame(frame | more)


def circle(radius_m=60.0):
    """Stations every 10 m on a circle; the axis is the tangent's bearing."""
    bearing = np.arange(0, 360, np.degrees(10.0 / radius_m))
    x, y = radius_m * np.sin(np.radians(bearing)), radius_m * np.cos(np.radians(bearing))
    return stations(x, y, bearing + 90), bearing


def test_the_axis_is_the_tangent_where_the_net_lies_not_at_the_station():
    part, bearing = circle()
    ahead = np.radians(bearing + 9.5)  # the net of each station lies one station on
    told, elsewhere = told_at_drop(part, np.zeros(len(part), int), 60 * np.sin(ahead), 60 * np.cos(ahead))
    off = (told["axis"].to_numpy() - (bearing + 9.5 + 90) + 90) % 180 - 90
    assert np.abs(off[:-2]).max() < 1.5
    assert not elsewhere.any()


def test_a_troughs_axis_does_not_lean_to_the_side_with_more_stations():
    """On a circle of 40 m radius (1.4 degrees a metre): two stations behind the net, close by, and two or three far ahead."""
    bearing = np.degrees(np.array([-12.0, -5.0, 8.0, 19.0, 30.0]) / 40.0)
    x, y = 40 * np.sin(np.radians(bearing)), 40 * np.cos(np.radians(bearing))
    part = stations(x, y, bearing + 90, kind="trough")
    told, _ = told_at_drop(part, np.zeros(5, int), np.zeros(5), np.full(5, 40.0))
    assert np.abs(told["axis"].to_numpy() - 90).max() < 1.0
    np.testing.assert_allclose(told["facing"], (told["axis"] + 90) % 180)


def test_an_axis_off_a_straight_course_is_a_misreading_and_one_along_a_bend_is_not():
    """Beside a gap the last station of a straight gully reads 30 degrees off; at the end of an arc of 26 degrees the axis is off its
    chord by 13, and where it bends more the stations are no straight course."""
    along = np.arange(5) * SIDE_M
    straight = stations(along, 0.02 * along, [88.0, 90.0, 87.0, 89.0, 119.0], kind="trough")
    told = steadied(straight, np.zeros(5, int), SIDE_M)
    assert told["axis"].to_numpy() == pytest.approx([88, 90, 87, 89, 88.9], abs=0.2)
    assert told["facing"].iloc[-1] == pytest.approx(178.9, abs=0.2)
    for turned in (26.0, 60.0):
        bearing = np.linspace(-0.5, 0.5, 21) * turned
        radius = 4 * SIDE_M / np.radians(turned)
        arc = stations(
            radius * np.sin(np.radians(bearing)),
            radius * np.cos(np.radians(bearing)),
            bearing + 90,
            kind="trough",
        )
        told = steadied(arc, np.zeros(21, int), SIDE_M)
        assert told["axis"].to_numpy() == pytest.approx(arc["axis"].to_numpy())


def test_a_bend_is_not_carried_on_beyond_the_last_station():
    bearing = np.degrees(np.array([10.0, 20.0, 30.0]) / 40.0)
    x, y = 40 * np.sin(np.radians(bearing)), 40 * np.cos(np.radians(bearing))
    part = stations(x, y, bearing + 90, kind="trough")
    told, _ = told_at_drop(part, np.zeros(3, int), np.zeros(3), np.full(3, 40.0))
    assert ((told["axis"] > 90 + bearing[0]) & (told["axis"] < 90 + bearing[2])).all()


def test_a_height_is_told_from_the_stations_beside_the_net():
    x = np.arange(0.0, 100, 10)
    part = stations(x, 0 * x, 90 + 0 * x, height_m=1 + 0.02 * x)
    told, _ = told_at_drop(part, np.zeros(len(x), int), x + 10.0, 0 * x)
    assert np.abs(told["height_m"].to_numpy()[1:-2] - (1 + 0.02 * (x[1:-2] + 10))).max() < 0.05


def test_a_net_beside_a_taller_feature_is_left_to_it():
    part = stations(np.array([0.0, 40.0]), np.zeros(2), np.array([90.0, 90.0]), height_m=np.array([1.0, 3.0]))
    _, elsewhere = told_at_drop(part, np.array([0, 1]), np.array([35.0, 40.0]), np.array([0.0, 5.0]))
    assert elsewhere.tolist() == [True, False]
    _, elsewhere = told_at_drop(part, np.array([0, 1]), np.array([5.0, 40.0]), np.array([0.0, 5.0]))
    assert not elsewhere.any()


def test_one_odd_reading_among_its_neighbours_does_not_stand():
    x = np.arange(0.0, 100, 10)
    height, axis = np.full(10, 2.0), np.full(10, 90.0)
    height[5], axis[5] = 9.0, 30.0
    part = stations(x, 0 * x, axis, height_m=height, kind="trough")
    told = steadied(part, np.zeros(10, int), SIDE_M)
    assert told["height_m"].to_numpy().tolist() == [2.0] * 10
    assert abs(told["axis"].to_numpy()[5] - 90) < 25


@pytest.mark.parametrize(("gap", "shift", "taller", "features"), [
    (20, 0, 1.0, 1), (40, 0, 1.0, 1), (30, 15, 1.0, 2), (40, 0, 2.0, 2), (60, 0, 1.0, 2),
])  # fmt: skip
def test_a_hole_in_the_survey_is_bridged_on_a_straight_course_between_like_heights(
    gap, shift, taller, features
):
    first, second = np.arange(0.0, 60, 10), np.arange(50.0 + gap, 110 + gap, 10)
    x, y = np.r_[first, second], np.r_[0 * first, 0 * second + shift]
    part = stations(x, y, 90 + 0 * x, height_m=np.r_[0 * first + 2, 0 * second + 2 * taller])
    assert len(np.unique(join(part, "ledge", SIDE_M))) == features


def test_facts_of_features_are_those_of_pandas(rng):
    n, count = 200, 17
    code = np.r_[np.arange(count), rng.integers(0, count, n - count)]
    part = stations(
        rng.normal(size=n), rng.normal(size=n), rng.uniform(0, 180, n), height_m=rng.uniform(1, 4, n)
    )
    for name in ("length_m", "turn", "sinuosity", "dug_like", "moving_like", "seam_like", "weed_like"):
        part[name] = rng.uniform(size=n)
    told = told_along(part, code, count)
    groups = part.groupby(code)
    np.testing.assert_allclose(told.facts["height_typical_m"], groups["height_m"].median())
    np.testing.assert_allclose(told.facts["height_m"], groups["height_m"].max())
    np.testing.assert_allclose(told.facts["dug_like"], groups["dug_like"].mean())
    assert [sorted(rows) for rows in told.rows] == [sorted(np.flatnonzero(code == i)) for i in range(count)]


def test_one_stray_axis_does_not_carry_a_trough_past_what_its_stations_tell() -> None:
    """Four stations run at 40 degrees and one strays to 0: the best fit at the place itself would read past 40."""
    axis = np.array([[40.0, 40.0, 0.0, 40.0, 40.0]])
    along = np.array([[9.0, -1.0, 19.0, 11.0, 10.0]])
    bearing = np.radians(33.0)
    got = _bent(axis, np.ones((1, 5)), along * np.sin(bearing), along * np.cos(bearing))
    assert got[0] == pytest.approx(40.0)
