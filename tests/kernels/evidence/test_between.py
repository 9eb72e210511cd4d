"""Ground drawn between tracks of soundings is told from surveyed ground: at any bearing, for any cut, and not by its smoothness."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from planted.sounded import tracks
from scipy.interpolate import LinearNDInterpolator

from reefscan.base.model import NODATA_MM, Window, to_mm
from reefscan.find.localnoise import GridNoise
from reefscan.kernels.evidence.between import between_squares
from reefscan.kernels.evidence.noise import SIDE

CELLS = 3 * SIDE
ALL = np.ones((3, 3), bool)


def drawn(rng: np.random.Generator, cell_m: float, apart_m: float, *, sounding_m: float = 0.06) -> np.ndarray:
    """A plane in 10 m of water, sounded on tracks and drawn by straight planes between them."""
    x, y = tracks(rng, CELLS * cell_m + 8, apart_m)
    z = -10 + 0.01 * x + rng.normal(0, sounding_m, x.size)
    at = (np.arange(CELLS) + 0.5) * cell_m
    return np.asarray(LinearNDInterpolator(np.c_[x, y], z)(*np.meshgrid(at, -at)))


def interpolated(z: np.ndarray, cell_m: float) -> np.ndarray:
    """What is told in the middle of each square that has known ground."""
    elev = to_mm(z)
    r, c = (v.ravel() for v in np.mgrid[SIDE // 2 : CELLS : SIDE, SIDE // 2 : CELLS : SIDE])
    told = GridNoise(elev, Window(0, 0, *elev.shape), cell_m).at(r, c).interpolated
    return np.asarray(told[elev[r, c] != NODATA_MM])


@pytest.mark.parametrize(("cell_m", "least"), [(1.0, 0.95), (2.0, 0.75)])
@pytest.mark.parametrize("apart_m", [13.0, 40.0])
def test_ground_between_tracks_is_told_as_filled_in_at_any_bearing(rng, cell_m, apart_m, least):
    """On cells wider than two soundings are apart (1.5 m) a track is no line any more, and some of it is missed."""
    told = np.concatenate([interpolated(drawn(rng, cell_m, apart_m), cell_m) for _ in range(4)])
    assert told.size >= 15
    assert (told >= 0.5).mean() >= least


@pytest.mark.parametrize("noise_m", [0.03, 0.2])
def test_a_survey_of_every_cell_is_not_on_whatever_ground(rng, noise_m):
    y, x = np.mgrid[:CELLS, :CELLS]
    for ground in (0.02 * x, 0.5 * np.sin(x / 15), np.where(x + y > CELLS, 3.0, 0.0)):
        assert (interpolated(-10.0 + ground + rng.normal(0, noise_m, x.shape), 2.0) < 0.5).all()


def test_it_is_the_same_for_every_cut(rng):
    elev = to_mm(drawn(rng, 2.0, 20.0))
    whole = between_squares(elev, -640, 1280, ALL)
    assert np.isfinite(whole[1, 1]).all()
    for top, left in ((10, 37), (50, 3), (61, 60)):
        part = np.ascontiguousarray(elev[top : 2 * SIDE + 9, left : 2 * SIDE + 30])
        assert_array_equal(between_squares(part, -640 + top, 1280 + left, ALL)[1, 1], whole[1, 1])


def test_land_and_gaps_say_nothing():
    assert np.isnan(between_squares(np.full((CELLS, CELLS), 500, np.int32), 0, 0, ALL)).all()
    assert np.isnan(between_squares(np.full((CELLS, CELLS), NODATA_MM, np.int32), 0, 0, ALL)).all()
