"""How far a station stands out: 1 alone, and less the more there is around, by a formula that is repeated here."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from reefscan.merge import contrast

SIDE_M = 10.0


def stations(x, y, height_m=2.0, steep_deg=30.0) -> pd.DataFrame:
    x = np.asarray(x, float)
    return pd.DataFrame({"x": x, "y": np.asarray(y, float), "height_m": height_m + 0 * x, "steep_deg": steep_deg + 0 * x})  # fmt: skip


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
