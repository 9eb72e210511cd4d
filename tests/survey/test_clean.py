"""Cleaning against planted errors on invented ground whose truth is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from ground import add_spikes, plants, seabed, sounded, tracks

from reefscan.survey.clean import clean
from reefscan.survey.settings import Clean
from reefscan.survey.table import CODE, REASONS

RULES = Clean()


def straight(depth: np.ndarray, *, step: float = 1.5):
    return sounded(np.arange(depth.size) * step, np.zeros(depth.size), -np.asarray(depth, float))


@pytest.mark.parametrize("rough", [0.0, 0.3])
def test_spikes_are_found_and_good_soundings_stay_on_ledges_troughs_and_rises(rng, rough):
    planted = plants(rng, 36, 600.0)
    x, y = tracks(600.0, 12.0)
    truth = -seabed(x, y, planted, rough=rough) + rng.normal(0, 0.06, x.size)
    depth, bad = add_spikes(truth, rng)
    aside = ~clean(sounded(x, y, -depth), RULES).kept
    assert (aside & bad).sum() >= 0.95 * bad.sum()
    assert (aside & ~bad).sum() < 0.005 * (~bad).sum()


def test_one_spike_on_a_level_or_sloping_bottom_is_the_one_that_is_set_aside():
    for slope in (0.0, 0.05):
        depth = 10 + slope * np.arange(200.0)
        depth[77] += 3.0
        assert np.flatnonzero(~clean(straight(depth), RULES).kept).tolist() == [77]


@pytest.mark.parametrize("height", [1.0, 3.0, 8.0])
@pytest.mark.parametrize("noise", [0.0, 0.08])
def test_a_vertical_ledge_loses_no_sounding(rng, height, noise):
    depth = np.where(np.arange(300) < 150, 12.0 + height, 12.0) + rng.normal(0, 1, 300) * noise
    assert clean(straight(depth), RULES).kept.all()


def test_a_rock_four_soundings_wide_stays():
    depth = np.full(200, 15.0)
    depth[100:104] = [13.4, 13.0, 13.1, 13.6]
    assert clean(straight(depth), RULES).kept.all()


def test_a_perfectly_level_bottom_is_not_flagged_for_having_no_scatter():
    depth = np.full(100, 9.0)
    depth[50] = 9.1
    assert clean(straight(depth), RULES).kept.all()


def test_echoes_at_twice_the_depth_are_named_so():
    depth = 8 + 0.3 * np.sin(np.arange(400) / 30)
    depth[200:212] *= 2.0
    got = clean(straight(depth), RULES)
    assert np.flatnonzero(got.reason == CODE["double echo"]).tolist() == list(range(200, 212))
    assert got.kept.sum() == 388


def test_a_burst_of_wild_readings_is_set_aside_and_the_ground_around_it_stays(rng):
    depth = 8.2 + 0.1 * rng.normal(size=300)
    depth[100:120] = rng.uniform(60, 240, 20)
    kept = clean(straight(depth), RULES).kept
    assert not kept[100:120].any()
    assert kept[:100].all() and kept[120:].all()


def test_zero_negative_and_missing_depths_have_no_bottom():
    depth = np.full(60, 7.0)
    depth[[5, 20, 40]] = [0.0, -1.0, np.nan]
    got = clean(straight(depth), RULES)
    assert np.flatnonzero(got.reason == CODE["no bottom"]).tolist() == [5, 20, 40]


def test_a_jump_of_position_is_set_aside_for_its_speed():
    data = straight(np.full(200, 7.0))
    x = data.x.copy()
    x[[50, 51, 120]] += 5000.0
    got = clean(replace(data, x=x), RULES)
    assert np.flatnonzero(got.reason == CODE["speed"]).tolist() == [50, 51, 120]


def test_soundings_logged_twice_count_once():
    data = straight(10 + np.sin(np.arange(80.0)))
    rows = np.sort(np.r_[np.arange(80), [3, 40, 41]])
    twice = replace(
        data,
        **{
            k: getattr(data, k)[rows]
            for k in ("x", "y", "depth", "time", "to_surface", "file", "reason", "steep")
        },
    )
    assert clean(twice, RULES).tally()["repeat"] == 3


def test_a_time_in_the_future_is_set_aside():
    data = straight(np.full(50, 7.0))
    got = clean(data, RULES, now_s=float(data.time[20]) - 86400.0)
    assert (got.reason == CODE["time"]).sum() == 29


def test_one_deep_value_held_for_long_is_stuck():
    depth = 9 + 0.2 * np.sin(np.arange(400) / 9.0)
    depth[100:180] = 30.0
    got = clean(straight(depth), Clean(use_lost=False, use_double=False, use_spike=False))
    assert (got.reason[100:180] == CODE["stuck"]).all()
    assert got.kept.sum() == 320


def test_every_rule_can_be_switched_off_and_nothing_is_lost(rng):
    depth, _ = add_spikes(12 + rng.normal(0, 0.05, 500), rng, 0.05)
    data = straight(depth)
    off = Clean(**{k: False for k in Clean.model_fields if k.startswith("use_")})
    assert clean(data, off).kept.all()
    got = clean(data, RULES)
    assert len(got) == len(data)
    np.testing.assert_array_equal(got.depth, data.depth)


def test_steep_ground_under_a_wide_beam_is_flagged_and_kept():
    depth = np.r_[np.full(50, 20.0), 20 - 0.8 * np.arange(15), np.full(50, 8.8)]
    got = clean(straight(depth, step=1.0), RULES)
    assert got.kept.all()
    assert got.steep[50:64].mean() > 0.6
    assert not got.steep[:45].any() and not got.steep[75:].any()


def test_two_wild_passes_are_told_by_the_passes_beside_them(rng):
    x = np.tile(np.arange(200) * 1.5, 3)
    y = np.repeat([0.0, 2.0, 4.0], 200)
    depth = 14 + 0.05 * rng.normal(size=600)
    depth[300:330] -= 4.0
    got = clean(sounded(x, y, -depth), RULES)
    assert not got.kept[302:328].any()
    assert got.kept.sum() >= 565


def test_every_reason_has_one_name_and_the_first_is_kept():
    names = [n for n, _ in REASONS]
    assert names[0] == "kept"
    assert len(set(names)) == len(names)
