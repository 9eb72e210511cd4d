"""Semivariance around a station, against what it must be in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from reefscan.kernels import variogram_columns as column
from reefscan.kernels.variogram import PART, REACH, VARIOGRAM_HALO, variogram
from reefscan.model import NODATA_MM, to_mm

SIDE = 600
AT = np.arange(30, SIDE - 30, 11, dtype=np.int64)


def mean_over_stations(z: np.ndarray) -> np.ndarray:
    rows, cols = (v.ravel() for v in np.meshgrid(AT, AT, indexing="ij"))
    return variogram(to_mm(z), rows, cols).mean(axis=0)


def middle(z: np.ndarray) -> np.ndarray:
    return variogram(to_mm(z), np.array([30]), np.array([30]))[0]


@pytest.mark.parametrize("blob", [1, 2, 3])
def test_blobs_of_b_cells_have_a_bth_of_their_variance_at_one_cell_and_all_of_it_at_four(rng, blob):
    heights = rng.normal(size=(SIDE // blob, SIDE // blob))
    told = mean_over_stations(-20 + np.kron(heights, np.ones((blob, blob))))
    assert_allclose(told[[column.NEAR, column.FAR]], [1 / blob, 1.0], rtol=0.02)


def test_a_sharp_step_has_a_quarter_at_one_cell_of_what_it_has_at_four():
    z = np.full((61, 61), -10.0)
    z[:, 30:] += 2.0
    told = middle(z)
    assert_allclose(told[column.NEAR] / told[column.FAR], 0.25)


def test_a_plane_grows_with_the_square_of_the_distance():
    _, x = np.mgrid[:61, :61]
    told = middle(-40 + 0.1 * x)
    assert_allclose(
        told[[column.NEAR, column.FAR, column.QUIET]], [0.5 * 0.01 / 2, 0.5 * 0.16 / 2, 0.5 * 0.01 / 2]
    )
    assert told[column.FLOOR] < 1e-12


def test_a_floor_is_as_uneven_as_the_lowest_cells_of_the_parts_about_their_plane():
    """One part of nine 0.9 m lower: about the plane of best fit a corner part leaves 5/9 of its square (its leverage is 1/9 + 1/6 + 1/6)."""
    _, x = np.mgrid[:61, :61]
    z = -10 + 0.07 * x
    z[30 - REACH, 30 - REACH] -= 0.9
    assert_allclose(middle(z)[column.FLOOR], 0.81 * (5 / 9) / 6, rtol=1e-6)


def test_a_wall_along_the_grid_jumps_one_way_and_cells_of_their_own_jump_every_way(rng):
    wall = -10 + 0.05 * rng.normal(size=(61, 61))
    wall[:, 29:32] += 3.0
    assert middle(wall)[column.LESSER] < 0.02
    loose = -10 + rng.normal(size=(61, 61))
    assert middle(loose)[column.LESSER] > 0.8
    assert middle(np.full((61, 61), -10.0))[column.LESSER] == 1.0


@pytest.mark.parametrize("aside", [0, 2, 4])
def test_a_pile_of_a_few_cells_leaves_the_quieter_parts_quiet(aside):
    z = np.full((61, 61), -10.0)
    z[30 + aside : 33 + aside, 30 + aside : 33 + aside] += 2.0
    told = middle(z)
    assert told[column.NEAR] > 0.01 and told[column.QUIET] == 0.0


def test_the_same_in_every_cut(rng):
    z = to_mm(-10 + rng.normal(size=(80, 80)))
    whole = variogram(z, np.array([40]), np.array([41]))
    part = z[40 - REACH : 41 + VARIOGRAM_HALO, 41 - REACH : 42 + VARIOGRAM_HALO].copy()
    assert_array_equal(variogram(part, np.array([REACH]), np.array([REACH])), whole)


def test_unknown_cells_and_land_take_no_part(rng):
    z = to_mm(-10 + rng.normal(size=(61, 61)))
    spoilt = z.copy()
    spoilt[:20] = NODATA_MM
    spoilt[40:] = 5000
    told = variogram(spoilt, np.array([30]), np.array([30]))[0]
    assert_allclose(told[[column.NEAR, column.FAR]], 1.0, rtol=0.2)
    spoilt[:, : 30 - PART] = NODATA_MM
    spoilt[28 : 33 + PART] = NODATA_MM
    assert np.isnan(variogram(spoilt, np.array([30]), np.array([30]))).all()
