"""Edges of the layer kernels: sizes, radii, refusals, and what a halo promises."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from reefscan.base.model import NODATA_MM
from reefscan.kernels.layers import gradient, position, relief, rugosity


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (9, 1), (2, 2), (3, 3)])
def test_grids_of_a_row_or_a_cell_give_arrays_of_their_shape(shape: tuple[int, int]) -> None:
    mm = np.full(shape, -8000, np.int32)
    for values in (
        gradient.slope_deg(mm, 2.0),
        gradient.aspect_deg(mm, 2.0),
        gradient.tri_riley_m(mm, 2.0),
        rugosity.vrm(mm, 2.0, 3),
        rugosity.surface_ratio(mm, 2.0),
        position.bpi(mm, 1.0, 3.0, 0, 0),
        position.bpi(mm, 40.0, 90.0, 5, -5),
        relief.relief(mm, 3.0),
        relief.relief(mm, 30.0),
    ):
        assert values.shape == shape
        assert not np.isinf(values).any()


def test_nothing_known_gives_nothing_known() -> None:
    mm = np.full((40, 50), NODATA_MM, np.int32)
    for values in (
        gradient.slope_deg(mm, 2.0),
        rugosity.vrm(mm, 2.0, 5),
        rugosity.surface_ratio_even(mm, 2.0),
        position.bpi(mm, 2.0, 9.0, 0, 0),
        position.bpi(mm, 10.0, 60.0, 0, 0),
        relief.relief(mm, 4.0),
        relief.relief(mm, 20.0),
    ):
        assert np.isnan(values).all()


@pytest.mark.parametrize("n", [0, 1, 4, -3, 513])
def test_a_ruggedness_window_must_be_odd_and_within_bounds(n: int) -> None:
    with pytest.raises(ValueError, match="odd"):
        rugosity.vrm(np.zeros((20, 20), np.int32), 1.0, n)


@pytest.mark.parametrize(
    ("window_m", "cell_m", "cells"), [(6, 2, 3), (6, 8, 3), (20, 2, 11), (10, 2, 5), (9, 1, 9), (1e6, 1, 511)]
)
def test_a_window_in_metres_becomes_the_nearest_odd_number_of_cells(
    window_m: float, cell_m: float, cells: int
) -> None:
    assert rugosity.window_cells(window_m, cell_m) == cells


@pytest.mark.parametrize("radii", [(0.0, 5.0), (6.0, 5.0), (-1.0, 5.0), (float("nan"), 5.0)])
def test_an_annulus_out_of_order_is_refused(radii: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="annulus"):
        position.bpi(np.zeros((20, 20), np.int32), *radii, 0, 0)


@pytest.mark.parametrize("radius", [0.0, 0.9, -2.0, float("nan")])
def test_a_relief_radius_under_a_cell_is_refused(radius: float) -> None:
    with pytest.raises(ValueError, match="radius"):
        relief.relief(np.zeros((20, 20), np.int32), radius)


@pytest.mark.parametrize(
    ("annulus", "count"),
    [((1, 3), 28), ((2, 5), 72), ((4, 6), 68), ((5, 10), 248), ((10, 30), 2516)],
)
def test_an_annulus_holds_the_published_number_of_cells(annulus: tuple[int, int], count: int) -> None:
    # One cell raised by `count` metres lowers each neighbour that has it in its annulus by exactly 1 m.
    mm = np.zeros((125, 125), np.int32)
    mm[62, 62] = count * 1000
    seen = position.bpi(mm, *annulus, 0, 0)
    assert (seen == -1.0).sum() == count


@pytest.mark.parametrize("radius", [33.0, 64.0, 100.0, 250.0])
def test_a_far_disc_sees_a_paraboloid_as_the_exact_one_does(radius: float) -> None:
    # z = -d**2 mm: the mean over all cells with inner <= d <= outer follows from counting them.
    half = int(radius) + 90
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    square = x * x + y * y
    ring = (square >= 25) & (square <= radius * radius)
    expected = square[ring].mean() * 0.001
    seen = position.bpi(-square.astype(np.int32), 5.0, radius, -half, 17)[half, half]
    assert_allclose(seen, expected, rtol=2e-3)


def test_sums_over_the_widest_discs_neither_overflow_nor_drift() -> None:
    mm = np.full((1001, 1001), 8_000_000, np.int32)
    seen = position.bpi(mm, 150.0, 600.0, 0, 0)
    assert_allclose(seen[500, 500], 0.0, atol=1e-6)
