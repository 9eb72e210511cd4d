"""How far a station stands out (1 alone, and less the more there is around, by a formula that is repeated here) and how far its
feature goes on to both sides of it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from reefscan.join import merge

SIDE_M = 10.0


def stations(x, y, height_m=2.0, steep_deg=30.0) -> pd.DataFrame:
    x = np.asarray(x, float)
    return pd.DataFrame({"x": x, "y": np.asarray(y, float), "height_m": height_m + 0 * x, "steep_deg": steep_deg + 0 * x})  # fmt: skip


def contrast(table: pd.DataFrame, side_m: float) -> np.ndarray:
    return merge.contrast(table, merge._strength(table), side_m)


def test_one_alone_counts_only_itself():
    own = 2.5 * SIDE_M**2 / (np.pi * 60.0**2)
    assert_allclose(contrast(stations([0.0], [0.0]), SIDE_M), 2**0.5 / (2**0.5 + own * min(2**0.5, 1.2)))
    assert contrast(stations([0.0], [0.0]), SIDE_M)[0] > 0.97


def test_what_lies_beyond_its_surroundings_does_not_count():
    pair = contrast(stations([0.0, 61.0], [0.0, 0.0]), SIDE_M)
    assert_allclose(pair, contrast(stations([0.0], [0.0]), SIDE_M)[0])
    assert (contrast(stations([0.0, 59.0], [0.0, 0.0]), SIDE_M) < pair).all()


def test_it_falls_with_every_other_station_and_least_with_small_ones(rng):
    last = 1.0
    for n in (1, 3, 9, 27):
        x, y = 20 * rng.random(n), 20 * rng.random(n)
        told = contrast(stations(np.r_[0.0, x], np.r_[0.0, y]), SIDE_M)[0]
        assert told < last
        last = told
    small = contrast(stations([0.0, 5.0], [0.0, 0.0], np.array([2.0, 0.2])), SIDE_M)[0]
    assert small > contrast(stations([0.0, 5.0], [0.0, 0.0]), SIDE_M)[0]


@pytest.mark.parametrize("steep_deg", [0.0, 2.0])
def test_gentle_structure_counts_for_none(steep_deg):
    x = np.r_[0.0, np.linspace(-30, 30, 13)]
    steep = np.r_[30.0, np.full(13, steep_deg)]
    told = contrast(stations(x, 0 * x, 2.0, steep), SIDE_M)
    assert_allclose(told[0], contrast(stations([0.0], [0.0]), SIDE_M)[0])


def test_it_does_not_depend_on_how_densely_a_course_was_cut_into_stations():
    """Every station stands for its square of the lattice."""
    wide, close = (
        contrast(stations(*[g.ravel() for g in np.meshgrid(*[np.arange(-100, 101, side)] * 2)]), side)
        for side in (20.0, 10.0)
    )
    assert_allclose(wide[len(wide) // 2], close[len(close) // 2], rtol=0.1)


def test_the_order_of_the_rows_does_not_matter(rng):
    table = stations(200 * rng.random(80), 200 * rng.random(80), 1 + rng.random(80), 40 * rng.random(80))
    mixed = rng.permutation(80)
    assert_allclose(contrast(table.iloc[mixed].reset_index(drop=True), SIDE_M), contrast(table, SIDE_M)[mixed])  # fmt: skip
    assert ((contrast(table, SIDE_M) >= 0) & (contrast(table, SIDE_M) <= 1)).all()


def course(x, y, height_m=2.0, steep_deg=30.0, *, name="f", kind="ledge") -> pd.DataFrame:
    return stations(x, y, height_m, steep_deg).assign(feature_id=name, kind=kind)


def extent(table: pd.DataFrame, side_m: float = SIDE_M) -> np.ndarray:
    return merge.extent(table, merge._strength(table), side_m)


def line(
    length_m: float = 300.0, *, step_m: float = SIDE_M, bearing_deg: float = 33.0
) -> tuple[np.ndarray, np.ndarray]:
    far, a = np.arange(0.0, length_m + 1.0, step_m), np.radians(bearing_deg)
    return far * np.sin(a), far * np.cos(a)


def test_of_a_rise_all_is_where_it_stands():
    assert extent(course(*line(), kind="rise")).tolist() == [1.0] * 31
    assert extent(course([0.0], [0.0], kind="rise")).tolist() == [1.0]


@pytest.mark.parametrize("kind", ["trough", "ledge"])
def test_the_middle_of_a_long_course_has_all_of_it_and_its_end_half(kind):
    told = extent(course(*line(), kind=kind))
    assert_allclose(told[6:-6], 1.0, rtol=0.01)
    # half of an endless line, and the other half of the station's own
    assert_allclose(told[[0, -1]], 0.5 + 0.5 * SIDE_M / (4 / 3 * 60.0), rtol=0.02)
    assert (np.diff(told[:7]) >= 0).all() and (np.diff(told[-7:]) <= 0).all()


def test_the_longer_a_course_the_more_goes_on():
    last = 0.0
    for length in (0.0, 20.0, 60.0, 120.0):
        told = extent(course(*line(length))).max()
        assert told > last
        last = told
    assert_allclose(extent(course(*line(0.0))), SIDE_M / (4 / 3 * 60.0))


def test_what_is_weaker_on_both_sides_goes_on_less_and_the_weak_beside_the_strong_least():
    x, y = line()
    height = np.where(np.arange(len(x)) < 15, 3.0, 0.5)
    told = extent(course(x, y, height))
    assert told[14] < extent(course(x, y))[14]
    assert told[15] < told[14]


def test_stations_of_other_features_do_not_count():
    a, b = course(*line(), name="a"), course(*line(60.0, bearing_deg=70.0), name="b")
    told = extent(pd.concat([a, b], ignore_index=True))
    assert_allclose(told, np.r_[extent(a), extent(b)])


def test_the_order_of_the_rows_does_not_matter_to_how_far_a_feature_goes_on(rng):
    table = course(200 * rng.random(80), 200 * rng.random(80), 1 + rng.random(80), 40 * rng.random(80), name=rng.choice(["a", "b"], 80))  # fmt: skip
    mixed = rng.permutation(80)
    told = extent(table)
    assert_allclose(extent(table.iloc[mixed].reset_index(drop=True)), told[mixed])
    assert ((told >= 0) & (told <= 1)).all()


def test_how_far_a_feature_goes_on_does_not_depend_on_how_densely_it_was_cut_into_stations():
    wide, close = (extent(course(*line(step_m=side)), side) for side in (20.0, 10.0))
    assert_allclose(wide, close[::2], atol=0.07)
