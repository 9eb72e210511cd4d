"""Smoothing against binomial weights and the variance they leave of white noise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.ndimage import convolve1d

from reefscan.base.model import to_mm
from reefscan.kernels.find.smooth import SPREAD_M, passes, smooth


def by_scipy(z: np.ndarray, times: int) -> np.ndarray:
    weights = np.array([1.0, 2.0, 1.0]) / 4.0
    for _ in range(times):
        z = convolve1d(convolve1d(z, weights, axis=0, mode="nearest"), weights, axis=1, mode="nearest")
    return z


@pytest.mark.parametrize("times", [0, 1, 4])
def test_known_ground_is_smoothed_by_binomial_weights(rng, times):
    z = np.round(-10 + rng.normal(size=(24, 31)), 3)
    assert_allclose(smooth(to_mm(z), times), by_scipy(z, times), atol=2e-5)


@pytest.mark.parametrize("times", [1, 3])
def test_unknown_cells_stay_unknown_and_have_no_share(rng, times):
    z = np.round(-10 + rng.normal(size=(24, 31)), 3)
    z[rng.random(z.shape) < 0.2] = np.nan
    known = np.isfinite(z)
    wanted = by_scipy(np.where(known, z, 0), times) / by_scipy(known.astype(float), times)
    got = smooth(to_mm(z), times)
    assert_array_equal(np.isnan(got), ~known)
    assert_allclose(got[known], wanted[known], atol=2e-5)


def test_a_plane_stays_that_plane_away_from_the_rim():
    y, x = np.mgrid[0:20, 0:20]
    z = -10 - 0.2 * x + 0.1 * y
    assert_allclose(smooth(to_mm(z), 3)[3:-3, 3:-3], z[3:-3, 3:-3], atol=2e-5)


@pytest.mark.parametrize("cell_m", [0.5, 1.0, 1.4, 2.0])
def test_so_many_passes_spread_a_spike_over_the_stated_length(cell_m):
    z = np.zeros((65, 65))
    z[32, 32] = 1000.0
    left = smooth(to_mm(z), passes(cell_m)).sum(axis=0)
    at = (np.arange(65) - 32) * cell_m
    spread = math.sqrt(float((left * at**2).sum() / left.sum()))
    # whole passes: half of one either way
    assert abs(spread**2 - SPREAD_M**2) <= 0.25 * cell_m**2 + 1e-3


def test_coarse_cells_are_left_as_they_are():
    assert [passes(cell) for cell in (4.0, 10.0, 25.0)] == [0, 0, 0]


def test_noise_of_a_decimetre_on_cells_of_2_m_tilts_a_cell_by_a_hundredth(rng):
    z = smooth(to_mm(0.1 * rng.normal(size=(400, 400))), passes(2.0)).astype(float)
    tilt = (z[:, 2:] - z[:, :-2]) / 4.0
    assert 0.005 < tilt.std() < 0.015
