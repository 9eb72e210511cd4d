"""What looks ruled: courses of stations that are straight, even and long together, and none that are only one of these."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from reefscan.base.doubts import DOUBTS
from reefscan.doubts import likeness
from reefscan.doubts.pasted import likeness as pasted
from reefscan.doubts.ruled import likeness as ruled

CELL_M = 2.0


def course(
    x: np.ndarray,
    y: np.ndarray,
    height_m: np.ndarray | float = 2.0,
    steep_deg: np.ndarray | float = 25.0,
    *,
    name: str = "f",
    kind: str = "trough",
    run_m: float = 4.0,
) -> pd.DataFrame:
    """Stations of one feature."""
    return pd.DataFrame(
        {"x": x, "y": y, "height_m": height_m + 0.0 * x, "steep_deg": steep_deg + 0.0 * x, "kind": kind, "feature_id": name, "run_m": run_m}
    )  # fmt: skip


def line(length_m: float = 300.0, *, bearing_deg: float = 33.0) -> tuple[np.ndarray, np.ndarray]:
    far, a = np.arange(0.0, length_m, 10.0), np.radians(bearing_deg)
    return far * np.sin(a), far * np.cos(a)


@pytest.mark.parametrize("bearing", [0.0, 33.0, 90.0, 171.0])
@pytest.mark.parametrize("kind", ["trough", "ledge"])
def test_a_long_straight_even_course_is_ruled(bearing, kind):
    assert_allclose(ruled(course(*line(bearing_deg=bearing), kind=kind), CELL_M), 1.0)


def test_a_rise_never_is():
    assert not ruled(course(*line(), kind="rise"), CELL_M).any()


def test_a_bend_of_a_few_metres_or_uneven_heights_or_gradients_are_enough_to_be_natural():
    x, y = line()
    assert not ruled(course(x + 8 * np.sin(y / 25), y), CELL_M).any()
    assert not ruled(course(x, y, np.resize([1.2, 2.8], len(x))), CELL_M).any()
    assert not ruled(course(x, y, 2.0, np.resize([15.0, 35.0], len(x))), CELL_M).any()


def test_the_spreads_of_height_and_of_gradient_are_added_up():
    """Each alone is within what a ruled course shows; both together are more than it ever does."""
    x, y = line()
    other = np.resize([1.0, -1.0], len(x))
    height, steep = 2.0 * (1 + 0.048 * other), 25.0 * (1 + 0.048 * other)
    assert_allclose(ruled(course(x, y, height), CELL_M), 1.0)
    assert_allclose(ruled(course(x, y, 2.0, steep), CELL_M), 1.0)
    assert not ruled(course(x, y, height, steep), CELL_M).any()


def test_all_stations_of_the_feature_within_the_window_count_however_many_they_are():
    """A course is judged alike where its stations lie ten times as close."""
    a = np.radians(33.0)
    for bend_m in (0.0, 1.2, 8.0):
        told = []
        for step in (10.0, 1.0):
            far = np.arange(0.0, 301.0, step)
            off = bend_m * np.sin(far / 15)
            x, y = far * np.sin(a) + off * np.cos(a), far * np.cos(a) - off * np.sin(a)
            told.append(ruled(course(x, y), CELL_M)[:: int(10 / step)])
        assert_allclose(told[1], told[0], atol=0.15)


@pytest.mark.parametrize("bearing", [0.0, 90.0, 180.0, 270.0])
def test_a_step_of_one_cell_along_the_rows_or_columns_is_an_edge_of_the_data_however_high(bearing):
    x, y = line(bearing_deg=bearing)
    assert_allclose(pasted(course(x, y, np.linspace(1.0, 3.0, len(x)), kind="ledge"), CELL_M), 1.0)


def test_rock_is_no_edge_of_the_data_by_its_bearing_its_bends_its_width_or_its_length():
    assert not pasted(course(*line(bearing_deg=1.0)), CELL_M).any()
    x, y = line(bearing_deg=0.0)
    assert not pasted(course(x + 0.5 * np.sin(y / 9), y), CELL_M).any()  # a quarter of a cell
    assert not pasted(course(x, y, run_m=6.0), CELL_M).any()
    assert not pasted(course(*line(60.0, bearing_deg=0.0)), CELL_M).any()
    assert not pasted(course(*line(140.0, bearing_deg=0.0), run_m=40.0), 20.0).any()  # few cells
    assert not pasted(course(x, y, kind="rise"), CELL_M).any()


def test_a_short_course_is_straight_by_chance():
    assert not ruled(course(*line(60.0)), CELL_M).any()


def test_coarse_cells_leave_a_straight_line_less_straight():
    x, y = line(300.0)
    off = course(x + 1.4 * np.resize([1.0, -1.0], len(x)), y)
    assert ruled(off, 2.0).max() < 0.5
    assert ruled(off, 25.0).min() == 1.0


def test_each_feature_is_judged_by_its_own_stations(rng):
    a = course(*line(), name="cut")
    x, y = line()
    b = course(x + 8.0 + 5 * rng.normal(size=len(x)), y, 2.0 + rng.random(len(x)), name="rock")
    both = pd.concat([a, b], ignore_index=True)
    told = ruled(both, CELL_M)
    assert_allclose(told[: len(a)], ruled(a, CELL_M))
    assert_allclose(told[len(a) :], ruled(b, CELL_M))
    assert told[: len(a)].min() == 1.0 and told[len(a) :].max() == 0.0


def test_the_order_of_the_rows_does_not_matter(rng):
    x, y = line()
    stations = course(x + rng.normal(size=len(x)), y, 2.0 + 0.3 * rng.normal(size=len(x)))
    mixed = rng.permutation(len(x))
    assert_allclose(ruled(stations.iloc[mixed].reset_index(drop=True), CELL_M), ruled(stations, CELL_M)[mixed])  # fmt: skip


def test_turning_the_course_changes_nothing(rng):
    x, y = line()
    x = x + 1.5 * np.sin(y / 25)
    before = ruled(course(x, y, 2.0 + 0.3 * np.sin(x)), CELL_M)
    assert before.max() > 0.0
    assert_allclose(ruled(course(-y, x, 2.0 + 0.3 * np.sin(x)), CELL_M), before, atol=1e-9)


@pytest.mark.parametrize("doubt", DOUBTS, ids=lambda doubt: doubt.column)
def test_every_doubt_gives_a_share_to_each_station_and_none_to_no_station(doubt, rng):
    stations = course(1000 * rng.random(200), 1000 * rng.random(200), 1 + rng.random(200))
    told = likeness(doubt, stations, CELL_M)
    assert told.shape == (200,)
    assert (told >= 0).all() and (told <= 1).all()
    alone = likeness(doubt, stations.iloc[:1].reset_index(drop=True), CELL_M)
    assert alone.tolist() == [0.0]
