"""Depths in whole steps are known by their flat patches, on any cut and after a warp."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage
from surfaces import scan_cells

from reefscan.base.model import NODATA_MM
from reefscan.kernels.evidence.noise import SIDE
from reefscan.kernels.evidence.rounding import rounding_squares


def shelf(side: int = 3 * SIDE) -> NDArray[np.float64]:
    """A shelf that falls by 3 cm a cell and bends a little, nothing on it."""
    y, x = np.mgrid[:side, :side]
    return np.asarray(-5.0 - 0.03 * x + 0.6 * np.sin(y / 31.0 + x / 57.0))


def in_mm(elev: NDArray[np.float64]) -> NDArray[np.int32]:
    return np.rint(elev * 1000.0).astype(np.int32)


def middle(elev: NDArray[np.float64]) -> float:
    squares = np.ones((elev.shape[0] // SIDE, elev.shape[1] // SIDE), bool)
    return float(rounding_squares(in_mm(elev), 0, 0, squares)[1, 1])


@pytest.mark.parametrize("step", [0.5, 1.0, 0.3048, 1.8288])
def test_the_step_of_rounded_depths_is_read_off_their_patches(step: float) -> None:
    assert middle(np.round(shelf() / step) * step) == pytest.approx(step, abs=0.001)


def test_ground_that_is_not_rounded_has_no_step() -> None:
    rng = np.random.default_rng(5003)
    assert middle(shelf()) == 0.0
    assert middle(shelf() + rng.normal(0, 0.05, (3 * SIDE, 3 * SIDE))) == 0.0


def test_noise_coarser_than_the_step_hides_it_and_needs_no_help() -> None:
    rng = np.random.default_rng(5004)
    assert middle(np.round(shelf() + rng.normal(0, 0.2, (3 * SIDE, 3 * SIDE)), 1)) == 0.0


def test_patches_keep_their_levels_through_a_bilinear_warp() -> None:
    stepped = np.round(shelf(5 * SIDE))
    rows, cols = np.mgrid[: 3 * SIDE, : 3 * SIDE]
    at = [20.0 + 0.93 * rows - 0.11 * cols + 40.0, 20.0 + 0.11 * rows + 0.93 * cols]
    assert middle(ndimage.map_coordinates(stepped, at, order=1)) == pytest.approx(1.0, abs=0.001)


def test_two_flat_pools_are_not_taken_for_a_rounding() -> None:
    elev = shelf() + np.random.default_rng(5005).normal(0, 0.03, (3 * SIDE, 3 * SIDE))
    elev[:70], elev[-60:] = -7.0, -11.0
    assert middle(elev) == 0.0


def test_a_few_flat_pools_at_whole_metres_do_not_make_a_noisy_shelf_a_rounded_one() -> None:
    elev = shelf() + np.random.default_rng(5006).normal(0, 0.05, (3 * SIDE, 3 * SIDE))
    for i, level in enumerate((-6.0, -7.0, -8.0, -9.0, -11.0)):
        elev[10 + 30 * i : 22 + 30 * i, 60:80] = level
    assert middle(elev) == 0.0


def test_a_square_does_not_depend_on_the_cut() -> None:
    elev = in_mm(np.round(shelf(6 * SIDE)))
    whole = rounding_squares(elev, 0, 0, np.ones((6, 6), bool))
    row, col = 2 * SIDE - SIDE // 2, SIDE - 7
    part = rounding_squares(elev[row:, col:], row, col, np.ones((6 - row // SIDE, 6 - col // SIDE), bool))
    # the squares whose surroundings are whole in the part
    np.testing.assert_array_equal(whole[3:5, 2:5], part[3 - row // SIDE : 5 - row // SIDE, 2:5])


def test_land_and_unknown_cells_have_no_say() -> None:
    elev = in_mm(np.round(shelf()))
    elev[:, : 2 * SIDE] = NODATA_MM
    elev[:, 2 * SIDE :] = np.abs(elev[:, 2 * SIDE :])
    assert not rounding_squares(elev, 0, 0, np.ones((3, 3), bool)).any()


def test_terraces_of_a_smooth_shelf_are_not_listed_and_a_ledge_of_two_steps_is() -> None:
    y, x = np.mgrid[:320, :320]
    smooth = -5.0 - 0.03 * x + 0.6 * np.sin(y / 31.0 + x / 57.0)
    ledge = smooth - 4.5 / (1.0 + np.exp(-(y - 160.0) / 0.7))
    for elev, expected in ((smooth, False), (ledge, True)):
        stepped = np.floor(elev / 2.0) * 2.0
        found = scan_cells(stepped, cell_m=2.0, crs="EPSG:32755").candidates
        assert bool(len(found)) is expected
