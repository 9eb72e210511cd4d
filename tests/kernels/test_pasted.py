"""Patches of one single depth beside a station, on ground with and without such patches."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, map_coordinates

from reefscan.kernels.pasted import NEAR, REACH, pasted_width
from reefscan.model import NODATA_MM, to_mm

SIDE = 192
Y, X = np.mgrid[:SIDE, :SIDE].astype(float)
AT = np.arange(40, 152, 7, dtype=np.int64)


def ground(rng: np.random.Generator) -> np.ndarray:
    """A gentle slope with swells and a sonar's noise."""
    swell = gaussian_filter(rng.standard_normal(X.shape), 12.0)
    return -12 + 0.01 * X + 0.3 * swell / swell.std() + 0.03 * rng.standard_normal(X.shape)


def told(z: np.ndarray) -> np.ndarray:
    """Widths at stations along the middle row."""
    return pasted_width(to_mm(z), np.full(AT.size, SIDE // 2), AT, NEAR, REACH)


def pasted(z: np.ndarray) -> np.ndarray:
    z = z.copy()
    z[80:112, 90:122] = -9.0
    return z


def test_a_pasted_patch_tells_its_width_to_the_stations_beside_it_and_to_no_others(rng):
    got = told(pasted(ground(rng)))
    beside = (AT >= 90 - NEAR + 6) & (AT < 122 + NEAR - 6)
    far = (AT < 90 - NEAR) | (AT > 122 + NEAR)
    assert beside.sum() >= 5
    assert far.sum() >= 4
    assert got[beside] == pytest.approx(32.0, rel=0.2)
    assert not got[far].any()


def test_sounded_ground_has_no_patch_of_one_depth(rng):
    assert not told(ground(rng)).any()


@pytest.mark.parametrize("step", [0.1, 0.3048, 1.0])
def test_patches_of_rounded_depths_are_not_pasted(rng, step):
    assert not told(np.round(ground(rng) / step) * step).any()


def test_nor_are_they_where_they_were_warped_since(rng):
    z = np.round(ground(rng), 1)
    warped = map_coordinates(z, [Y * 0.97 + 2.3, X * 0.97 + 1.1], order=1, mode="nearest")
    assert not told(warped).any()


def test_a_floor_and_a_top_made_flat_without_noise_are_not_pasted():
    assert not told(np.where(X < 96, -10.0, -13.0)).any()


def test_nor_is_level_ground_in_which_a_gully_is_cut_or_on_which_a_reef_stands(rng):
    gully = np.where(abs(Y - 96) < 12, 0.5 * (1 + np.cos(np.pi * (Y - 96) / 12)), 0.0)
    assert not told(-10.0 - 2.0 * gully).any()
    reef = np.hypot(X - 96, Y - 96) < 42
    edge = np.abs(np.abs(AT - 96) - 42) <= 2
    assert edge.sum() == 2
    assert not told(np.where(reef, -8.0 + 0.3 * rng.standard_normal(X.shape), -10.0))[edge].any()


def test_the_depth_of_a_patch_and_a_shift_of_all_depths_change_nothing(rng):
    z = pasted(ground(rng))
    assert (told(z) == told(z - 3.217)).all()


def test_unknown_cells_and_land_are_no_patch(rng):
    mm = to_mm(ground(rng))
    mm[80:112, 90:122] = NODATA_MM
    mm[80:112, 40:60] = 0
    assert not pasted_width(mm, np.full(AT.size, SIDE // 2), AT, NEAR, REACH).any()
