"""Isolated bad cells: found among noise, slopes and steps, and the same whether an array is looked at whole or in parts."""

from __future__ import annotations

import numpy as np
import pytest

from reefscan.base.model import NODATA_MM, to_mm
from reefscan.kernels.find.spikes import SPIKE_HALO, set_aside, spikes_around, spikes_on

CELL = 2.0
Y, X = np.mgrid[-100:101, -100:101] * CELL


def whole(elev):
    return spikes_on(elev, 2.0)


def rows_of(spikes):
    return {tuple(map(int, row)) for row in spikes}


def test_fliers_are_set_aside_and_real_tops_and_steps_are_not(rng):
    z = -10 + 0.02 * X + np.maximum(0, 2 - 0.25 * np.hypot(X, Y)) - 2.0 * (X > 60)
    z = z + rng.normal(size=z.shape) * 0.03
    bad = [(30, 30), (30, 31), (150, 40), (60, 160)]
    for r, c in bad:
        z[r, c] += 3.0
    elev = to_mm(z)
    spikes = whole(elev)
    assert {(int(r), int(c)) for r, c, _ in spikes} == set(bad)
    clean = elev.copy()
    set_aside(clean, spikes)
    changed = clean != elev
    assert {(int(r), int(c)) for r, c in np.argwhere(changed)} == set(bad)
    assert np.abs(clean[changed] - to_mm(-10 + 0.02 * X - 2.0 * (X > 60))[changed]).max() < 150


@pytest.mark.parametrize("pair", [False, True])
@pytest.mark.parametrize("bearing", [0.0, 30.0, 45.0, 90.0])
def test_fliers_on_the_flank_of_a_sand_wave_are_found(rng, bearing, pair):
    """A slope of 1 in 4 spreads the neighbours by 1.4 m: more than a third of what a spike of 2 m stands out by."""
    b = np.radians(bearing)
    z = -10 + 0.25 * (X * np.sin(b) - Y * np.cos(b)) + rng.normal(size=X.shape) * 0.03
    z = np.where(np.abs(z + 10) < 20, z, -10)
    bad = {(100, 100)} | ({(100, 101)} if pair else set())
    for r, c in bad:
        z[r, c] += 2.0
    found = whole(to_mm(z))
    assert {(int(r), int(c)) for r, c, _ in found} == bad
    assert np.abs(found[:, 2] * 0.001 - (z[100, 100] - 2.0)).max() < 0.8


def test_a_crag_on_a_slope_whose_flanks_go_on_is_no_flier():
    z = -10 + 0.25 * X + np.maximum(0, 3 - 0.5 * np.hypot(X, Y))
    assert not len(whole(to_mm(z)))


def test_the_sea_is_the_ceiling_of_what_is_set_aside_too(rng):
    z = 1.0 + 0.02 * X + rng.normal(size=X.shape) * 0.03
    z[50, 50] += 5.0
    elev = to_mm(z)
    spikes = whole(elev)
    assert len(spikes) == 1
    clean = np.minimum(elev, 0)
    set_aside(clean, spikes, 0)
    set_aside(elev, spikes)
    np.testing.assert_array_equal(clean, np.minimum(elev, 0))


@pytest.mark.parametrize("rim", [1, SPIKE_HALO, 9])
def test_a_part_searched_before_gives_the_same_fliers_as_the_whole(rng, rim):
    for _ in range(20):
        z = -10 + rng.normal(size=(40, 50)) * 0.1
        z[rng.random(z.shape) < 0.05] += rng.choice([-3.0, 3.0])
        elev = to_mm(z)
        elev[rng.random(z.shape) < 0.03] = NODATA_MM
        inner = slice(rim, 40 - rim), slice(rim, 50 - rim)
        part = np.ascontiguousarray(elev[inner])
        every = whole(elev)
        assert len(every)
        assert rows_of(spikes_around(elev, 2.0, inner, whole(part))) == rows_of(every)
