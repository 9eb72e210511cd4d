"""Terrain layers against published and hand-computed values.

Tags as in the project's list of check values: *read* = seen in the source named, *computed* = closed form or
worked by hand in numpy from the published formula.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM, to_mm
from reefscan.kernels.layers import gradient, position, rugosity


def cells(rows: list[list[float]]) -> NDArray[np.int32]:
    return to_mm(np.array(rows, dtype=np.float64))


STEEP = cells([[50, 45, 50], [30, 30, 30], [8, 10, 10]])
WEST_FACE = cells([[101, 92, 85], [101, 92, 85], [101, 91, 84]])
JENNESS = cells([[190, 170, 155], [183, 165, 145], [175, 160, 122]])
LONG = cells(
    [
        [704.237, 242.24084, 429.3324, 779.8816, 193.29506, 984.6926],
        [226.56795, 815.7483, 290.6041, 76.49687, 820.89716, 32.27882],
        [344.8238, 256.34998, 806.8326, 602.0442, 721.1633, 496.95636],
    ]
)


@pytest.mark.parametrize(
    ("grid", "cell_m", "expected"),
    [
        (STEEP, 5.0, 75.2576576917),  # read (rounded) in open-source tests; computed in full
        (WEST_FACE, 5.0, 58.4197009242),  # computed
    ],
)
def test_slope_is_that_of_the_widely_reprinted_worked_examples(
    grid: NDArray[np.int32], cell_m: float, expected: float
) -> None:
    assert_allclose(gradient.slope_deg(grid, cell_m)[1, 1], expected, rtol=0, atol=1e-5)


@pytest.mark.parametrize(("grid", "expected"), [(STEEP, 180.7538483331), (WEST_FACE, 92.6425452941)])
def test_aspect_is_that_of_the_widely_reprinted_worked_examples(
    grid: NDArray[np.int32], expected: float
) -> None:
    assert_allclose(gradient.aspect_deg(grid, 5.0)[1, 1], expected, rtol=0, atol=2e-5)


def test_slope_and_aspect_of_a_longer_row_are_those_in_the_open_source_tests() -> None:
    # Read; the sources' metres have five decimals, ours three: with 1 m cells that is 1e-4 degrees of aspect.
    slope, aspect = gradient.slope_deg(LONG, 1.0)[1, 1:5], gradient.aspect_deg(LONG, 1.0)[1, 1:5]
    assert_allclose(slope, [88.561432, 89.453656, 89.502290, 88.825848], rtol=1e-5)
    assert_allclose(aspect, [278.358020, 45.188133, 306.647616, 358.342947], rtol=0, atol=5e-4)


@pytest.mark.parametrize(("grid", "expected"), [(STEEP, 48.05205511), (JENNESS, 58.71967302)])
def test_rileys_index_is_the_root_of_the_summed_squares(grid: NDArray[np.int32], expected: float) -> None:
    assert_allclose(gradient.tri_riley_m(grid, 5.0)[1, 1], expected, rtol=1e-6)  # computed


def test_surface_ratio_is_that_of_jenness_own_example() -> None:
    ratio = rugosity.surface_ratio(JENNESS, 100.0)[1, 1]
    assert_allclose(ratio, 1.028048, rtol=1e-4)  # read: the paper's 10280.48, which it rounded on the way
    assert_allclose(ratio, 1.028077129, rtol=1e-9)  # computed in full precision


@pytest.mark.parametrize("row", [[3.0, 3.0, 0.0], [0.0, 3.0, 3.0], [0.0, 0.0, 3.0]])
def test_surface_ratio_of_a_step_has_its_closed_form_on_top_and_at_the_foot(row: list[float]) -> None:
    assert_allclose(rugosity.surface_ratio(cells([row] * 3), 5.0)[1, 1], 1.0830951895, rtol=1e-9)


def test_surface_ratio_of_a_spike_has_its_closed_form() -> None:
    spike = cells([[0, 0, 0], [0, 4, 0], [0, 0, 0]])
    assert_allclose(rugosity.surface_ratio(spike, 3.0)[1, 1], math.sqrt(1 + (4 / 3) ** 2), rtol=1e-12)


def test_surface_ratio_of_a_plane_is_the_secant_and_the_even_ratio_is_one() -> None:
    y, x = np.mgrid[0:3, 0:3]
    plane = to_mm(3.0 * x - 4.0 * y)
    assert_allclose(rugosity.surface_ratio(plane, 1.0)[1, 1], math.sqrt(26), rtol=1e-12)
    assert_allclose(rugosity.surface_ratio_even(plane, 1.0)[1, 1], 1.0, rtol=1e-12)


@pytest.mark.parametrize(("column", "expected"), [(20, 0.0893163975), (19, None)])
def test_ruggedness_of_a_ridge_is_that_of_its_nine_normals(column: int, expected: float | None) -> None:
    # Computed: 1 - (6 cos 30 + 3) / 9 on the crest. One cell beside it Horn sees half the bend.
    distance = np.abs(np.arange(41.0) - 20.0)
    ridge = np.repeat(np.rint(-distance * math.tan(math.radians(30)) * 1e6)[None], 41, axis=0)
    seen = rugosity.vrm(ridge.astype(np.int32), 1000.0, 3)[20, column]
    if expected is None:  # columns at -30, 0 and +30 degrees are centred on the crest only
        normals = np.array([[math.sin(a), math.cos(a)] for a in np.radians([30, 30, 0])])
        expected = 1 - float(np.hypot(*normals.sum(axis=0))) / 3
    assert_allclose(
        seen, expected, rtol=0, atol=1e-7
    )  # a millimetre on cells of a kilometre is 1e-6 of slope


ANNULI = [(1, 3), (2, 5), (4, 6), (5, 10), (10, 30)]


@pytest.mark.parametrize(
    ("annulus", "expected"),
    list(zip(ANNULI, [34 / 7, 130 / 9, 25.2352941176, 61.5322580645, 497.5453100159], strict=True)),
)
def test_bpi_of_a_paraboloid_is_the_mean_squared_distance(annulus: tuple[int, int], expected: float) -> None:
    # Computed: elevation -a d**2, so BPI at the top = a mean(d**2); a = 1 mm a cell.
    y, x = np.mgrid[-40:41, -40:41]
    mound = -(x * x + y * y).astype(np.int32)
    assert_allclose(position.bpi(mound, *annulus, 0, 0)[40, 40], expected * 0.001, rtol=1e-6)


@pytest.mark.parametrize(
    ("annulus", "low", "count"),
    [((1, 3), 11, 28), ((2, 5), 32, 72), ((4, 6), 31, 68), ((5, 10), 118, 248), ((10, 30), 1237, 2516)],
)
def test_bpi_on_top_of_a_step_counts_the_low_cells_of_the_annulus(
    annulus: tuple[int, int], low: int, count: int
) -> None:
    # Computed: H n_low / n on top, minus that at the foot; both radii inclusive. The elevation is H = count mm.
    step = np.full((81, 81), -9000, np.int32)
    step[:, :41] += count
    seen = position.bpi(step, *annulus, 0, 0)
    assert_allclose(seen[40, 40], low * 0.001, rtol=1e-6)
    assert_allclose(seen[40, 41], -low * 0.001, rtol=1e-6)


@pytest.mark.parametrize(
    ("annulus", "expected"),
    [((1, 3), 2.1021109489), ((2, 5), 3.6816302666), ((4, 6), 4.9835441488), ((10, 30), 21.6030280877)],
)
def test_bpi_at_the_top_of_a_cone_is_the_mean_distance(annulus: tuple[int, int], expected: float) -> None:
    y, x = np.mgrid[-40:41, -40:41]
    cone = np.rint(-np.hypot(x, y) * 1e5).astype(np.int32)  # 100 m a cell: rounding to mm does not show
    assert_allclose(position.bpi(cone, *annulus, 0, 0)[40, 40], expected * 100.0, rtol=1e-6)


def test_bpi_of_a_spike_is_its_height() -> None:
    spike = np.full((21, 21), -5000, np.int32)
    spike[10, 10] += 1500
    assert position.bpi(spike, 1.0, 6.0, 0, 0)[10, 10] == np.float32(1.5)


def test_bpi_takes_the_mean_of_known_cells_and_wants_half_of_them() -> None:
    sea = np.full((41, 41), -10_000, np.int32)
    sea[20, 20] += 700
    half = sea.copy()
    half[:, :20] = NODATA_MM  # 11 of 28 cells of the annulus 1-3 are west of the centre
    assert position.bpi(half, 1.0, 3.0, 0, 0)[20, 20] == np.float32(0.7)
    half[:, :22] = np.where(np.arange(41)[:, None] == 20, half[:, :22], NODATA_MM)
    assert np.isnan(position.bpi(half, 1.0, 3.0, 0, 0)[20, 20])


@pytest.mark.parametrize("height", [1.0, 3.0])
def test_slope_of_a_sheer_step_is_half_what_it_should_be_on_both_sides(height: float) -> None:
    # Computed: atan(H / 2h); the docstring's warning.
    step = cells([[0.0, 0.0, height, height]] * 3)
    assert_allclose(gradient.slope_deg(step, 2.0)[1, 1:3], math.degrees(math.atan(height / 4.0)), rtol=1e-6)


def test_slope_of_a_wave_has_horns_bias() -> None:
    # Computed: A sin(kh) / h = 0.2938926261 for A 1, wavelength 20, h 2; the true gradient is 0.3141592654.
    wave = cells([[math.sin(2 * math.pi * c * 2 / 20) for c in (-1, 0, 1)]] * 3)
    seen = math.tan(math.radians(float(gradient.slope_deg(wave, 2.0)[1, 1])))
    assert_allclose(seen, 0.2938926261, atol=6e-4)  # heights are whole millimetres: 0.5 mm / 2 m each way


def test_slope_is_unknown_where_any_of_the_nine_cells_is_even_the_middle_one() -> None:
    hole = STEEP.copy()
    hole[1, 1] = NODATA_MM
    assert np.isnan(gradient.slope_deg(hole, 5.0)[1, 1])


def test_aspect_of_level_ground_is_unknown() -> None:
    assert np.isnan(gradient.aspect_deg(np.zeros((3, 3), np.int32), 1.0)[1, 1])
