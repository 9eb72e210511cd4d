"""The noise that is told from a grid, against noise of known law put on it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.ndimage import map_coordinates, zoom
from scipy.signal import lfilter

from reefscan.base.model import Window, to_mm
from reefscan.find.localnoise import GridNoise, LocalNoise
from reefscan.kernels.evidence import noise
from reefscan.kernels.evidence.noise import LAGS, WAYS, noise_squares
from reefscan.kernels.measure.profiles import spread_of_lines

SIDE = 512
Y, X = np.mgrid[:SIDE, :SIDE].astype(float)
SLOPE = -20 + 0.02 * X - 0.01 * Y + 0.3 * np.sin(X / 90) * np.sin(Y / 70)
MIDDLE = np.array([SIDE // 2])


def autoregressive(rng: np.random.Generator, phi: float, side: int = SIDE) -> np.ndarray:
    """Noise of unit variance whose correlation is phi^|rows apart| phi^|columns apart| (AR(1) along both)."""
    run_in = 60
    z = rng.standard_normal((side + run_in, side + run_in)) * (1 - phi**2)
    for axis in (0, 1):
        z = lfilter([1.0], [1.0, -phi], z, axis=axis)
    return z[run_in:, run_in:]


def at(z: np.ndarray, rows: np.ndarray = MIDDLE, cols: np.ndarray = MIDDLE, cell_m: float = 1.0):
    return GridNoise(to_mm(z), Window(0, 0, *z.shape), cell_m).at(rows, cols)


@pytest.mark.parametrize("sigma", [0.03, 0.1, 0.3])
def test_white_noise_reads_the_same_at_every_lag(rng, sigma):
    fine, by_lag, smooth = noise_squares(to_mm(SLOPE + sigma * rng.standard_normal(X.shape)), 0, 0)
    assert_allclose(np.median(fine), sigma, rtol=0.04)
    assert_allclose(np.median(by_lag, axis=(0, 1)), sigma, rtol=0.05)
    assert np.max(smooth) < 0.1


@pytest.mark.parametrize("phi", [0.3, 0.6, 0.8])
def test_second_differences_of_autoregressive_noise_follow_its_law(rng, phi):
    """Variance of z(-k) - 2 z(0) + z(k) of a stationary process: s2 (6 - 8 rho(k) + 2 rho(2k)); of AR(1) rho(k) = phi^k, on a diagonal phi^(2k)."""
    _, by_lag, _ = noise_squares(to_mm(SLOPE + 0.2 * autoregressive(rng, phi)), 0, 0)
    k = np.array(LAGS)[:, None] * np.abs(WAYS).sum(axis=1)
    law = 0.2 * np.sqrt((6 - 8 * phi**k + 2 * phi ** (2 * k)) / 6)
    assert_allclose(np.median(by_lag, axis=(0, 1)), law, rtol=0.06)


@pytest.mark.parametrize("bearing", [0.0, 20.0, 45.0, 70.0])
@pytest.mark.parametrize("apart", [12.0, 18.0])
def test_ridges_are_neither_noise_nor_filled_in(rng, bearing, apart):
    """Spurs 2 m high from crest to trough, and 5 cm of noise: they level off across themselves, as noise does, but not along."""
    b = np.radians(bearing)
    u = X * np.cos(b) + Y * np.sin(b) + 3 * np.sin(X / 25) * np.cos(Y / 31)
    rows, cols = np.meshgrid(np.arange(40, SIDE, 32), np.arange(40, SIDE, 32))
    ridged = SLOPE + np.tanh(3 * np.sin(2 * np.pi * u / apart))
    told = at(ridged + 0.05 * rng.standard_normal(X.shape), rows.ravel(), cols.ravel(), 2.0)
    assert np.median(told.cell_m) < 0.1
    assert apart < 18.0 or np.median(told.interpolated) < 0.5  # of closer ones the bends along hide the noise


@pytest.mark.parametrize("phi", [0.0, 0.3, 0.6])
def test_what_a_mean_of_lines_keeps_of_autoregressive_noise(rng, phi):
    """Five lines two cells apart: variance (5 + 2 (4 r + 3 r^2 + 2 r^3 + r^4)) / 25 with r = phi^2. Each is a bilinear
    sample at a random place u, v within a cell, whose variance is (1 - 2 E[u (1 - u)] (1 - phi))^2 = ((2 + phi) / 3)^2."""
    got = at(SLOPE + 0.2 * autoregressive(rng, phi))
    r = phi**2
    share = np.sqrt((5 * ((2 + phi) / 3) ** 2 + 2 * (4 * r + 3 * r**2 + 2 * r**3 + r**4)) / 25)
    assert_allclose(got.cell_m, 0.2, rtol=0.06)
    assert_allclose(got.share_of_lines(1.0), share, rtol=0.13)


@pytest.mark.parametrize("cell_m", [0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 10.0, 25.0])
def test_the_lines_of_a_profile_lie_over_eight_metres_of_it_or_one_cell(cell_m):
    lines, gap = spread_of_lines(cell_m)
    assert lines in {3, 5, 7, 9}
    over = (lines - 1) * gap * cell_m
    assert abs(over - max(8.0, cell_m)) < gap * cell_m


@pytest.mark.parametrize("cell_m", [2.0, 6.0, 10.0])
def test_what_a_mean_of_lines_keeps_of_white_noise_is_what_sampling_it_keeps(rng, cell_m):
    lines, gap = spread_of_lines(cell_m)
    rows, cols = rng.uniform(20, 480, (2, 20_000))
    z = rng.standard_normal((500, 500))
    aside = (np.arange(lines) - lines // 2) * gap
    sampled = map_coordinates(z, np.array([rows[:, None] + aside, cols[:, None] + 0.0 * aside]), order=1)
    white = LocalNoise(*(np.ones(1), np.eye(1, len(LAGS) + 1), *np.zeros((3, 1))))
    assert_allclose(white.share_of_lines(cell_m), np.std(sampled.mean(axis=1)), rtol=0.03)


def test_a_seam_fliers_and_a_gully_do_not_pass_for_noise(rng):
    z = SLOPE + 0.05 * rng.standard_normal(X.shape)
    z += 0.3 * (X + 0.4 * Y > 350) - 3 * np.exp(-(((X - Y) / 12) ** 2))
    z[rng.random(z.shape) < 5e-4] += 2.0
    assert_allclose(at(z).cell_m, 0.05, rtol=0.25)


def test_interpolated_ground_is_known_and_each_side_of_its_border_has_its_own_noise(rng):
    fine = SLOPE + 0.1 * rng.standard_normal(X.shape)
    coarse = zoom(
        (SLOPE + 0.1 * rng.standard_normal(X.shape))[2::4, 2::4], 4, order=3, grid_mode=True, mode="nearest"
    )
    z = np.where(X < SIDE // 2, fine, coarse)
    rows, cols = np.array([256, 256, 256, 256]), np.array([100, 240, 270, 400])
    got = at(z, rows, cols)
    assert_array_equal(np.round(got.interpolated), [0, 0, 1, 1])
    assert_allclose(got.cell_m[:2], 0.1, rtol=0.1)
    assert (got.at_lag(1.0)[:2] < 0.15).all()
    assert (got.at_lag(1.0)[2:] > 0.8).all()


def test_too_little_known_ground_gives_a_stated_guess(rng):
    z = np.full((200, 200), np.nan)
    z[95:105, 95:105] = -10 + 0.5 * rng.standard_normal((10, 10))
    got = at(z, np.array([100]), np.array([100]))
    assert_allclose(got.cell_m, 0.05)
    assert got.interpolated[0] == 0


def test_any_window_with_the_halo_around_it_tells_the_same(rng):
    z = to_mm(SLOPE + 0.1 * autoregressive(rng, 0.5))
    row, col = 260, 250
    whole = GridNoise(z, Window(70, -33, SIDE, SIDE), 2.0).at(np.array([row]), np.array([col]))
    for extra in (0, 7):
        h = noise.HALO + 1 + extra
        part = np.ascontiguousarray(z[row - h : row + h + 1, col - h : col + h + 1])
        window = Window(70 + row - h, -33 + col - h, *part.shape)
        got = GridNoise(part, window, 2.0).at(np.array([h]), np.array([h]))
        assert_array_equal(got.cell_m, whole.cell_m)
        assert_array_equal(got.together, whole.together)
