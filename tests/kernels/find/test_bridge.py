"""Small gaps carried across: exact on planes, no further than two cells, and the same whichever way the grid lies."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from reefscan.base.model import NODATA_MM
from reefscan.kernels.find.bridge import REACH, bridge

Y, X = np.mgrid[:60, :80]
PLANE = (-12_000 + 30 * X - 50 * Y).astype(np.int32)


def bridged(elev_mm: np.ndarray) -> np.ndarray:
    out = np.ascontiguousarray(elev_mm, dtype=np.int32).copy()
    bridge(out)
    return out


def holed(elev_mm: np.ndarray, hole: np.ndarray) -> np.ndarray:
    return np.where(hole, NODATA_MM, elev_mm).astype(np.int32)


def scattered(rng: np.random.Generator, share: float, shape: tuple[int, int] = PLANE.shape) -> np.ndarray:
    return rng.random(shape) < share


def uneven(rng: np.random.Generator) -> np.ndarray:
    return np.rint(PLANE + 800 * np.sin(X / 7) * np.cos(Y / 5) + 100 * rng.normal(size=X.shape)).astype(
        np.int32
    )


@pytest.mark.parametrize("share", [0.05, 0.3, 0.6])
def test_it_is_exact_on_a_plane_and_changes_no_known_cell(rng, share):
    told = bridged(holed(PLANE, scattered(rng, share)))
    known = told != NODATA_MM
    assert_array_equal(told[known], PLANE[known])
    assert known.sum() > (1 - share) * PLANE.size


def test_nothing_is_changed_where_nothing_is_missing_or_nothing_is_known(rng):
    whole = uneven(rng)
    assert_array_equal(bridged(whole), whole)
    assert (bridged(np.full(PLANE.shape, NODATA_MM)) == NODATA_MM).all()


def lane(wide: int, *, turned: bool) -> tuple[np.ndarray, np.ndarray]:
    """A plane, and a gap of so many cells right across it."""
    hole = np.zeros(PLANE.shape, bool)
    hole[:, 40 : 40 + wide] = True
    return (PLANE.T, hole.T) if turned else (PLANE, hole)


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("wide", [1, 2])
def test_a_lane_of_up_to_two_cells_is_closed(wide, turned):
    z, hole = lane(wide, turned=turned)
    inner = (slice(REACH, -REACH),) * 2
    assert_array_equal(bridged(holed(z, hole))[inner], z[inner])


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("wide", [3, 4, 9])
def test_a_wider_lane_stays(wide, turned):
    z, hole = lane(wide, turned=turned)
    assert_array_equal(bridged(holed(z, hole)), holed(z, hole))


@pytest.mark.parametrize("side", [1, 2, 3, 4, 5, 6, 9])
def test_a_square_hole_closes_where_it_is_narrow_and_its_middle_stays_if_it_is_wide(side):
    hole = np.zeros(PLANE.shape, bool)
    hole[20 : 20 + side, 30 : 30 + side] = True
    told = bridged(holed(PLANE, hole))
    assert (told[~hole] == PLANE[~hole]).all()
    left = told == NODATA_MM
    if side <= 2:
        assert not left.any()
    if side >= 6:
        assert left[20 + 2 : 20 + side - 2, 30 + 2 : 30 + side - 2].all()


def test_one_lost_cell_becomes_the_mean_of_its_opposite_pairs(rng):
    z = uneven(rng)
    hole = np.zeros(z.shape, bool)
    hole[20, 30] = True
    about = z[19:22, 29:32].copy().ravel()
    assert bridged(holed(z, hole))[20, 30] == round((about.sum() - about[4]) / 8)
    hole[19, 29:32] = True  # only the pair to its left and right is whole
    hole[21, 29:32] = True
    two = holed(z, hole)
    # the cells above and below close along their own pairs at the same time, so only this one has both beside it known
    assert bridged(two)[20, 30] == round((int(z[20, 29]) + int(z[20, 31])) / 2)


def test_a_hole_stays_where_no_two_opposite_neighbours_are_known():
    """Ground is carried across, never out: the edge of a survey does not grow."""
    hole = X + 0 * Y > 40
    assert_array_equal(bridged(holed(PLANE, hole)), holed(PLANE, hole))
    slanted = X > 20 + Y // 2
    assert (bridged(holed(PLANE, slanted))[slanted & (X > 22 + Y // 2)] == NODATA_MM).all()


@pytest.mark.parametrize("share", [0.1, 0.4, 0.7])
def test_a_mirrored_or_turned_grid_is_closed_alike(rng, share):
    """Cells do not see what others became in the same pass, so the order in which they are taken does not matter."""
    given = holed(uneven(rng), scattered(rng, share))
    told = bridged(given)
    for turn in (np.flipud, np.fliplr, np.transpose, np.rot90):
        assert_array_equal(bridged(turn(given)), turn(told))


@pytest.mark.parametrize("share", [0.1, 0.4, 0.7])
def test_a_part_of_a_grid_is_closed_like_the_whole_of_it_but_for_its_rim(rng, share):
    given = holed(uneven(rng), scattered(rng, share))
    whole = bridged(given)
    part = bridged(given[10:45, 20:70])
    rim = (slice(REACH, -REACH),) * 2
    assert_array_equal(part[rim], whole[10:45, 20:70][rim])


@pytest.mark.parametrize("shape", [(1, 1), (1, 9), (2, 2), (3, 3), (5, 5)])
def test_the_smallest_grids(shape):
    z = np.full(shape, -5000, np.int32)
    z[shape[0] // 2, shape[1] // 2] = NODATA_MM
    told = bridged(z)
    assert (told[shape[0] // 2, shape[1] // 2] == -5000) == (shape == (5, 5))
