"""What lies around a station, against pits, heaps, valleys and noise with closed-form answers."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import surfaces
from numpy.testing import assert_allclose, assert_array_equal

from reefscan.kernels.flank import RAY_M, STEPS, flank_halo, surroundings
from reefscan.model import NODATA_MM

MIDDLE = 80


def _mm(z: np.ndarray) -> np.ndarray:
    return np.rint(1000.0 * z).astype(np.int32)


def _grid(surface, cell_m: float = 1.0) -> np.ndarray:
    return _mm(surfaces.sample(surface, 161, 161, cell_m))


def _look(elev: np.ndarray, kind: int, *, row: float = MIDDLE, col: float = MIDDLE, facing_deg: float = 90.0,
          width: float = 12.0, cell_m: float = 1.0, step: int = 1, noise_m: float = 0.0) -> np.ndarray:  # fmt: skip
    found = np.full((1, 14), np.nan)
    found[0, 0], found[0, 1], found[0, 3], found[0, 5] = row, col, width, np.radians(facing_deg)
    return surroundings(elev, found, kind, cell_m, np.array([step]), np.array([noise_m]))[0]


def _cone(x, y, *, height: float, radius: float, gradient: float = 0.0):
    return -10.0 + gradient * x + height * np.clip(1.0 - np.hypot(x, y) / radius, 0.0, None)


def test_out_of_a_pit_one_climbs_its_depth_less_the_fall_of_the_ground():
    """Cone of depth 2 and radius 15 on a slope of 1 in 50: the easiest side is downhill, where after 15 m the ground is .3 lower."""
    pit = _grid(lambda x, y: _cone(x, y, height=-2.0, radius=15.0, gradient=0.02))
    assert_allclose(_look(pit, 0)[0], 2.0 - 0.02 * 15.0, atol=0.06)


def test_out_of_a_valley_one_walks_along_its_floor():
    valley = _grid(lambda x, y: -12.0 + np.minimum(np.abs(x) * 0.3, 2.0) + 0.01 * y)
    # the axis is one of the 16 rays: downhill there is no climb at all
    assert_allclose(_look(valley, 0)[0], 0.0, atol=0.02)


def test_the_side_of_a_pit_knows_the_pit_though_its_middle_lies_off_the_section():
    pit = _grid(lambda x, y: _cone(x - 8.0, y - 4.0, height=-2.0, radius=12.0))
    assert_allclose(_look(pit, 1, facing_deg=90.0)[0], 2.0, atol=0.06)


def test_a_step_is_open_below_and_above():
    step = _grid(lambda x, y: -10.0 - 2.0 * np.clip(x / 3.0 + 0.5, 0.0, 1.0))
    closed, stands, *_ = _look(step, 1, facing_deg=90.0, width=3.0)
    assert_allclose([closed, stands], 0.0, atol=1e-9)


def test_the_side_of_a_heap_stands_on_all_sides_by_its_height():
    heap = _grid(lambda x, y: _cone(x + 8.0, y, height=2.0, radius=16.0))
    assert_allclose(_look(heap, 1, facing_deg=90.0)[1], 2.0, atol=0.02)
    assert_allclose(_look(heap, 2, row=MIDDLE, col=MIDDLE - 8)[1], 2.0, atol=0.02)


def test_a_lost_cell_on_a_ray_does_not_open_a_pit_and_a_hole_beside_it_is_not_taken_for_known():
    pit = _grid(lambda x, y: _cone(x, y, height=-2.0, radius=15.0))
    speckled = pit.copy()
    speckled[MIDDLE + 5, MIDDLE] = speckled[MIDDLE - 3, MIDDLE + 9] = NODATA_MM
    assert_allclose(_look(speckled, 0)[0], 2.0, atol=0.1)
    half = pit.copy()
    half[:, MIDDLE + 4 :] = NODATA_MM
    assert np.isnan(_look(half, 0)[0])


@pytest.mark.parametrize("sigma", [0.03, 0.1])
def test_roughness_is_what_the_cells_have_beyond_the_noise(sigma):
    """White noise of the survey and white roughness of the ground add in squares; the mean over some 400 cells is good to 10 %."""
    rng = np.random.default_rng(3)
    elev = _mm(-10.0 + rng.normal(0.0, sigma, (161, 161)))
    assert_allclose(_look(elev, 2, width=20.0)[2:], sigma, rtol=0.2)
    assert_allclose(_look(elev, 2, width=20.0, noise_m=sigma)[2:], 0.0, atol=0.55 * sigma)
    rougher = np.sqrt(sigma**2 + 0.2**2)
    elev = _mm(-10.0 + rng.normal(0.0, rougher, (161, 161)))
    assert_allclose(_look(elev, 2, width=20.0, noise_m=sigma)[2:], 0.2, rtol=0.2)


def test_slopes_and_bends_along_the_axes_are_not_rough():
    elev = _grid(lambda x, y: -10.0 + 0.2 * x - 0.1 * y + 0.01 * x**2 - 0.02 * y**2 + 0.01 * x * y)
    # whole millimetres leave their own rounding: 1 mm / sqrt(12)
    assert_allclose(_look(elev, 2)[2:], 0.0, atol=0.0006)


@pytest.mark.parametrize("step", STEPS)
def test_roughness_compares_places_as_far_apart_as_it_is_told(step):
    """A chequered bed z = a cos(pi x / s) cos(pi y / s): a second difference over s is -4 z, both ways 16 z, a sixth of that is read."""
    elev = _grid(lambda x, y: -10.0 + 0.3 * np.cos(np.pi * x / step) * np.cos(np.pi * y / step))
    # on the structure: all cells within 6 of the middle
    y, x = np.mgrid[-6:7, -6:7]
    inside = np.hypot(x, y) <= 6.0
    z = 0.3 * np.cos(np.pi * x / step) * np.cos(np.pi * y / step)
    expected = 16.0 / 6.0 * np.sqrt((z[inside] ** 2).mean())
    assert_allclose(_look(elev, 2, step=step)[2], expected, rtol=0.01)
    if step > 1:
        # one cell on, the same bed bends by 2 cos(pi / s) - 2 only
        less = (2.0 - 2.0 * np.cos(np.pi / step)) ** 2 / 16.0
        assert_allclose(_look(elev, 2)[2], less * expected, rtol=0.05)


def test_around_a_structure_roughness_keeps_clear_of_it_at_every_step():
    """A pit of radius 4, told as 12 wide: what lies a step beyond the 6 is level, the corners of the operator too."""
    pit = _grid(lambda x, y: -10.0 - 2.0 * (np.hypot(x, y) < 4.0))
    for step in STEPS:
        assert _look(pit, 0, step=step)[3] == 0.0


def test_the_same_ground_gives_the_same_numbers_wherever_it_is_cut():
    rng = np.random.default_rng(8)
    big = _mm(-10.0 + np.cumsum(rng.normal(0, 0.1, (260, 260)), axis=1))
    halo = flank_halo(1.0)
    for kind, step in itertools.product(range(3), STEPS):
        whole = _look(big, kind, step=step, row=130 + 17 / 4096, col=120 - 1030 / 4096, facing_deg=33.0)
        for top, left in ((130 - halo, 120 - halo), (11, 37)):
            part = big[top : 131 + halo, left : 121 + halo]
            cut = _look(
                part,
                kind,
                step=step,
                row=130 + 17 / 4096 - top,
                col=120 - 1030 / 4096 - left,
                facing_deg=33.0,
            )
            assert_array_equal(whole, cut)
    assert halo >= RAY_M
