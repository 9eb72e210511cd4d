"""Open water: a pool that dry ground encloses is none, rock that is missing in the data is none, and what is unknown may be."""

from __future__ import annotations

import numpy as np
import pytest
from surfaces import coordinates

from reefscan.base.model import NODATA_MM, to_mm
from reefscan.base.recipe import Find
from reefscan.find.candidates import asked_of, measure_halo, search_of
from reefscan.kernels.find.bridge import bridge
from reefscan.kernels.measure import measured as at
from reefscan.kernels.measure.section import measure_faces
from reefscan.kernels.open_water import OUT_M, is_dry, open_water, reach_of

CELLS = [1.0, 2.0, 10.0]


def grid(cell_m: float, side: int = 161) -> tuple[np.ndarray, np.ndarray]:
    return coordinates(side, side, cell_m)


def at_middle(z: np.ndarray, cell_m: float) -> bool:
    return bool(open_water(to_mm(np.minimum(z, 0.0)), z.shape[0] // 2, z.shape[1] // 2, cell_m))


def pool(
    x: np.ndarray, y: np.ndarray, radius_m: float, *, rim_m: float = 0.3, wide_m: float = 20.0
) -> np.ndarray:
    """Water of 3 m inside a ring whose top stands ``rim_m`` above the grid's zero, in a sea of 8 m."""
    r = np.hypot(x, y)
    return np.where(r < radius_m, -3.0, np.where(r < radius_m + wide_m, rim_m, -8.0))


@pytest.mark.parametrize("cell_m", CELLS)
@pytest.mark.parametrize("cells", [1, 3])
def test_a_pool_inside_dry_ground_is_not_open_and_one_gap_as_wide_as_a_cell_opens_it(cell_m, cells):
    x, y = grid(cell_m)
    z = pool(x, y, cells * cell_m, wide_m=2.5 * cell_m)
    assert not at_middle(z, cell_m)
    gap = (np.abs(x) < 0.5 * cell_m) & (y > 0)
    assert at_middle(np.where(gap, -3.0, z), cell_m)
    # a winding way out: no straight line leads out of it
    bent = (np.abs(x) < 0.5 * cell_m) & (y > 0) & (y < (cells + 1.4) * cell_m)
    bent |= (np.abs(y - (cells + 1) * cell_m) < 0.5 * cell_m) & (x > 0)
    assert at_middle(np.where(bent, -3.0, z), cell_m)


def test_a_ring_that_a_boat_passes_over_encloses_nothing_and_wide_water_is_no_pool():
    x, y = grid(2.0)
    assert at_middle(pool(x, y, 30.0, rim_m=-0.1), 2.0)
    assert not at_middle(pool(x, y, 30.0, rim_m=0.1), 2.0)
    assert not at_middle(pool(x, y, OUT_M - 10.0), 2.0)
    assert at_middle(pool(x, y, OUT_M + 10.0), 2.0)


def test_dry_cells_that_touch_by_a_corner_bar_the_way():
    z = np.full((161, 161), -5.0)
    i, j = np.mgrid[:161, :161] - 80
    z[np.abs(i) + np.abs(j) == 6] = 0.0
    assert not at_middle(z, 2.0)
    z[80 - 3, 80 - 3] = -5.0
    assert at_middle(z, 2.0)


@pytest.mark.parametrize("cell_m", CELLS)
def test_a_hole_on_a_rock_that_climbs_out_of_the_water_is_dry_and_one_in_its_flank_or_in_the_sea_is_not(
    cell_m,
):
    """A cone that stands 4 m above the water, all of it above 2 m of depth missing."""
    x, y = grid(cell_m)
    cone = 4.0 - np.hypot(x, y) / cell_m
    holed = to_mm(np.where(cone > -2.0, np.nan, np.maximum(cone, -12.0)))
    assert is_dry(holed, 80, 80, cell_m)
    assert is_dry(holed, 80, 83, cell_m)
    sunk = to_mm(
        np.where(cone > -2.0, np.nan, np.maximum(cone - 5.0, -12.0))
    )  # its top stays under 1 m of water
    assert not is_dry(sunk, 80, 80, cell_m)
    sea = to_mm(np.where(np.hypot(x, y) < 5 * cell_m, np.nan, -0.9))
    assert not is_dry(sea, 80, 80, cell_m)
    lagoon = to_mm(np.where(np.hypot(x, y) < 5 * cell_m, np.nan, -0.3))
    assert is_dry(lagoon, 80, 80, cell_m)


@pytest.mark.parametrize("depth_m", [4.0, 8.0, 20.0])
def test_beyond_the_end_of_the_data_nothing_is_known_to_bar_a_boat(depth_m):
    """An even slope of 1 in 10 up to a shore, known only where it is deeper: just beyond the end is not dry, the shore is."""
    x, _ = grid(2.0)
    z = -depth_m + 0.1 * x
    elev = to_mm(np.where(x > 0, np.nan, z))
    assert not is_dry(elev, 80, 82, 2.0)
    assert bool(is_dry(elev, 80, 80 + int(5 * (depth_m - 0.4)), 2.0)) == (
        depth_m < 8.0
    )  # farther off nobody looks
    assert open_water(elev, 80, 79, 2.0)


def test_a_narrow_gap_beside_dry_ground_stays_unknown_and_the_same_gap_in_deep_water_is_closed():
    for level, closed in ((-3_000, True), (-600, True), (-400, False), (0, False)):
        z = np.full((20, 20), -3_000, np.int32)
        z[:, 11:] = level
        z[5:15, 10] = NODATA_MM
        bridge(z)
        assert (z[8:12, 10] != NODATA_MM).all() == closed
        assert (z[8:12, 10] == NODATA_MM).all() != closed


def ledge_in(z: np.ndarray, cell_m: float = 2.0) -> bool:
    """True if a net is set beside the face at the middle, which looks east."""
    n, find = z.shape[0] // 2, Find()
    line = measure_faces(
        to_mm(np.minimum(z, 0.0)), np.array([n]), np.array([n]), np.radians([90.0]), np.zeros(1), np.full(1, 0.5),
        search_of(find, cell_m), asked_of(find, cell_m), measure_halo(find, cell_m),
    )  # fmt: skip
    return bool(np.isfinite(line[:, 0, at.KIND]).any())


def test_a_net_is_set_beside_a_face_in_the_sea_and_none_beside_the_same_face_in_a_pool():
    x, y = coordinates(401, 401, 2.0)
    face = -7.0 + 3.0 * np.clip(0.5 - x / 4.0, 0, 1)
    assert ledge_in(face)
    r = np.hypot(x, y)
    assert not ledge_in(np.where((r > 40) & (r < 50), 0.5, face))
    # the ring is missing in the data: known shallow ground on both sides of it tells that it is dry
    ring = np.where((r > 34) & (r < 50), -0.2, face)
    assert not ledge_in(np.where((r > 40) & (r < 44), np.nan, ring))
    # of a ring of deep ground that is missing nothing is known
    assert ledge_in(np.where((r > 40) & (r < 44), np.nan, face))


def test_what_it_looks_at_lies_within_the_reach_it_states(rng):
    """Other ground farther away changes no answer."""
    cell = 5.0
    reach = reach_of(cell)
    half = reach + 25
    for _ in range(40):
        near = rng.choice([-4_000, 0, NODATA_MM], p=[0.6, 0.3, 0.1], size=(2 * half + 1,) * 2).astype(
            np.int32
        )
        far = rng.choice([-4_000, 0, NODATA_MM], size=near.shape).astype(np.int32)
        inner = (slice(25, -25),) * 2
        far[inner] = near[inner]
        near[half, half] = far[half, half] = -4_000
        assert open_water(near, half, half, cell) == open_water(far, half, half, cell)


def test_a_turned_or_mirrored_grid_is_as_open(rng):
    for _ in range(40):
        z = rng.choice([-4_000, -1_000, 0, NODATA_MM], p=[0.3, 0.2, 0.4, 0.1], size=(41, 41)).astype(np.int32)
        told = open_water(z, 20, 20, 10.0)
        for turn in (np.flipud, np.fliplr, np.transpose, np.rot90):
            assert open_water(np.ascontiguousarray(turn(z)), 20, 20, 10.0) == told
