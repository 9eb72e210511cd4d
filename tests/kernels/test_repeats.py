"""Ground that repeats itself, against sines, sawteeth, lone forms and noise."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from reefscan.kernels.repeats import reach_cells, repeats_halo, repetition
from reefscan.model import NODATA_MM

SIDE = 301
MIDDLE = SIDE // 2


def _elev(profile, cell_m: float, bearing_deg: float = 90.0, noise_m: float = 0.0) -> np.ndarray:
    """Ground that changes along a bearing only, ``profile`` of the metres from the middle."""
    x = (np.arange(SIDE) - MIDDLE) * cell_m
    b = np.radians(bearing_deg)
    u = x[None, :] * np.sin(b) - x[:, None] * np.cos(b)
    z = -10.0 + profile(u) + np.random.default_rng(4).normal(0.0, noise_m, u.shape)
    return np.rint(1000.0 * z).astype(np.int32)


def _read(
    elev: np.ndarray, cell_m: float, facing_deg: float = 90.0, row: float = MIDDLE, col: float = MIDDLE
):
    found = np.full((1, 14), np.nan)
    found[0, 0], found[0, 1], found[0, 5] = row, col, np.radians(facing_deg)
    return repetition(elev, found, cell_m, reach_cells(cell_m))[0]


@pytest.mark.parametrize("spacing", [24.0, 37.0, 55.0])
@pytest.mark.parametrize(("cell_m", "bearing"), [(1.0, 90.0), (2.0, 33.0), (3.0, 127.0)])
def test_a_sine_repeats_itself_wholly_at_its_own_length(spacing, cell_m, bearing):
    """Likeness -1 half a length on and 1 a length on; on a slope and a bend that waves stand on, all the same."""
    elev = _elev(lambda u: 0.6 * np.sin(2 * np.pi * u / spacing) + 0.02 * u + 1e-4 * u**2, cell_m, bearing)
    like, found = _read(elev, cell_m, bearing)
    assert like > 0.9
    assert_allclose(found, spacing, atol=max(cell_m, 0.04 * spacing))


def test_steep_lee_faces_do_not_matter_and_noise_takes_its_share():
    """A sawtooth of variance s2 is as like itself one length on as a sine; s2 / (s2 + n2 / 3) of that is left in noise n (three lines)."""

    def saw(u):
        return 1.2 * np.mod(u / 30.0, 1.0)

    assert _read(_elev(saw, 1.0), 1.0)[0] > 0.9
    like, spacing = _read(_elev(saw, 1.0, noise_m=0.2), 1.0)
    s2 = 1.2**2 / 12.0
    assert_allclose(like, s2 / (s2 + 0.2**2 / 3.0), atol=0.08)
    assert_allclose(spacing, 30.0, atol=1.0)


@pytest.mark.parametrize(
    "profile",
    [
        lambda u: -2.0 * np.exp(-((u / 8.0) ** 2)),
        lambda u: 2.0 * np.clip(u / 3.0, -0.5, 0.5),
        lambda u: 0.02 * u,
        lambda u: 1.5 * np.exp(-((u / 6.0) ** 2)) - 2.0 * np.exp(-(((u - 25.0) / 9.0) ** 2)),
    ],
    ids=["gully", "ledge", "slope", "rock and gully"],
)
def test_a_lone_form_does_not_repeat_itself(profile):
    assert _read(_elev(profile, 1.0, noise_m=0.04), 1.0)[0] < 0.5


def test_the_last_face_of_a_train_is_known_by_the_waves_on_one_side():
    edge = _elev(lambda u: np.where(u < 15.0, 0.6 * np.sin(2 * np.pi * u / 30.0), 0.0), 1.0, noise_m=0.03)
    like, spacing = _read(edge, 1.0)
    assert like > 0.7
    assert_allclose(spacing, 30.0, atol=1.0)


def test_narrow_grooves_in_flat_ground_are_no_waves_however_evenly_they_lie():
    """Grooves over a tenth of their spacing: half a spacing on the likeness is only -d / (1 - d), -0.11, where waves have -0.5 to -1."""
    grooves = _elev(lambda u: np.where(np.mod(u, 40.0) < 4.0, -2.0, 0.0), 1.0)
    assert _read(grooves, 1.0)[0] < 0.35


def test_waves_too_long_for_three_to_fit_are_not_told_and_unknown_ground_is_unknown():
    long = _elev(lambda u: np.sin(2 * np.pi * u / 75.0), 1.0)
    like, spacing = _read(long, 1.0)
    assert like == 0.0
    assert np.isnan(spacing)
    hole = _elev(lambda u: np.sin(2 * np.pi * u / 30.0), 1.0)
    hole[:, MIDDLE + 10 :] = NODATA_MM
    assert np.isnan(_read(hole, 1.0)).all()
    assert np.isnan(_read(long, 1.0, facing_deg=np.nan)).all()


def test_the_same_ground_gives_the_same_numbers_wherever_it_is_cut():
    rng = np.random.default_rng(8)
    big = np.rint(1000.0 * (-10.0 + np.cumsum(rng.normal(0, 0.1, (SIDE, SIDE)), axis=1))).astype(np.int32)
    halo = repeats_halo(1.0)
    row, col = MIDDLE + 17 / 4096, MIDDLE - 1030 / 4096
    whole = _read(big, 1.0, 33.0, row, col)
    top = MIDDLE - halo
    part = big[top : MIDDLE + halo + 1, top : MIDDLE + halo + 1]
    assert_array_equal(whole, _read(part, 1.0, 33.0, row - top, col - top))
