"""The width of repeated cells, against ground that was made coarse by a known factor."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from scipy.ndimage import gaussian_filter, map_coordinates

from reefscan.base.model import to_mm
from reefscan.kernels.evidence.interval import interval_squares

SIDE = 256
Y, X = np.mgrid[:SIDE, :SIDE].astype(float)
ALL = np.ones((4, 4), np.bool_)


def rough(rng: np.random.Generator) -> np.ndarray:
    """Rock that is rough down to the cell, on a slope, with noise."""
    z = -12 + 0.02 * X + 0.05 * rng.standard_normal(X.shape)
    for cells in (0.6, 1.2, 2.5, 5.0, 12.0):
        part = gaussian_filter(rng.standard_normal(X.shape), cells)
        z += 0.15 * np.sqrt(cells) * part / part.std()
    return z


def coarse(z: np.ndarray, factor: float, order: int, start: float = 0.7) -> np.ndarray:
    """One value every ``factor`` cells, and the cells between by nearest (0), linear (1) or cubic (3)."""
    at = start + factor * np.arange(-2, int(SIDE / factor) + 3)
    small = map_coordinates(z, np.meshgrid(at, at, indexing="ij"), order=1, mode="nearest")
    return map_coordinates(
        small, [(Y - start) / factor + 2, (X - start) / factor + 2], order=order, mode="nearest"
    )


def told(z: np.ndarray) -> np.ndarray:
    return interval_squares(to_mm(z), 0, 0, ALL)


@pytest.mark.parametrize("factor", [2.0, 2.3, 4.0, 6.5, 8.0, 12.0, 16.0])
def test_repeated_cells_tell_their_width(rng, factor):
    assert np.median(told(coarse(rough(rng), factor, 0))) == pytest.approx(factor, rel=0.12)


@pytest.mark.parametrize("order", [1, 3])
def test_smooth_filling_is_not_taken_for_repeated_cells(rng, order):
    assert not told(coarse(rough(rng), 4.0, order)).any()


def test_depths_in_whole_centimetres_are_not_taken_for_repeated_cells():
    assert not told(np.round(-10 + 0.004 * X + 0.002 * Y + 0.3 * np.sin(X / 20), 2)).any()


@pytest.mark.parametrize("step", [0.1, 0.3048])
def test_depths_in_coarse_steps_that_were_warped_since_are_not_taken_for_repeated_cells(rng, step):
    z = -10 + 0.004 * X + 0.6 * np.sin(X / 20) * np.cos(Y / 17) + 0.03 * rng.standard_normal(X.shape)
    rounded = np.round(z / step) * step
    warped = map_coordinates(rounded, [Y * 0.993 + 0.3, X * 0.993 + 0.1], order=1, mode="nearest")
    assert not told(warped).any()


def test_a_warp_since_leaves_the_width(rng):
    z = coarse(rough(rng), 4.0, 0)
    warped = map_coordinates(z, [Y * 0.97 + 2.3, X * 0.97 + 1.1], order=1, mode="nearest")
    got = told(warped)
    assert (np.abs(got[got > 0] / (4.0 / 0.97) - 1.0) < 0.5).all()
    assert (got > 0).mean() >= 0.75


def test_sounded_ground_and_an_even_slope_tell_nothing(rng):
    assert not told(rough(rng)).any()
    assert not told(-10 + 0.03 * X + 0.01 * Y).any()


def test_only_the_half_that_is_coarse_is_told(rng):
    z = rough(rng)
    got = told(np.where(X < SIDE // 2, z, coarse(z, 4.0, 0)))
    assert not got[:, :2].any()
    assert (got[:, 3] > 0).all()


def test_squares_tell_the_same_in_any_cut(rng):
    e = to_mm(coarse(rough(rng), 4.0, 0))
    whole = interval_squares(e, 640, -320, ALL)
    part = np.ascontiguousarray(e[40:, 45:])
    got = interval_squares(part, 680, -275, ALL)
    assert whole[1:, 1:].any()
    assert_array_equal(got[1:, 1:], whole[1:, 1:])
