"""Trough, ledge and rise against closed forms; values by hand from the definitions (see each test)."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from reefscan.base.model import NODATA_MM, to_mm
from reefscan.kernels.layers.structure import heights

Y, X = np.mgrid[-60:61, -60:61].astype(float)
AZIMUTHS = (0.0, 22.5, 30.0, 45.0, 101.0)


def fields(z, **options):
    """Heights in metres at 1 m cells with R 15 m, run and ground 8 m."""
    asked = {"trough_cells": 15, "rise_cells": 15, "run_cells": 8, "ground_cells": 8, **options}
    return tuple(field / 1000.0 for field in heights(to_mm(z), **asked))


def valley(u):
    """Flanks .30 up to 3 m and .25 up to 2 m, falling at the same rates outside."""
    left = np.minimum(-u * 0.3, 3 - (-u - 10) * 0.3)
    right = np.minimum(u * 0.25, 2 - (u - 8) * 0.25)
    return np.where(u < 0, left, right)


def test_a_trough_is_as_deep_as_the_climb_over_its_lower_crest():
    trough, _, rise = fields(valley(X))
    assert_allclose(trough[60, [60, 59, 56, 61, 64]], [2.0, 1.7, 0.8, 1.75, 1.0], atol=1e-9)
    assert rise[60, 60] == 0
    assert_allclose(fields(valley(X), trough_cells=5)[0][60, 60], 1.25, atol=1e-9)


@pytest.mark.parametrize("azimuth", AZIMUTHS)
def test_a_trough_read_between_two_axes_is_low_by_at_most_045_slopes_and_never_high(azimuth):
    a = np.radians(azimuth)
    u = X * np.cos(a) + Y * np.sin(a)
    read = fields(valley(u))[0]
    near = np.abs(u) < 2
    near[:20], near[-20:], near[:, :20], near[:, -20:] = False, False, False, False
    true = np.where(u < 0, 2 - 0.3 * np.abs(u), 2 - 0.25 * np.abs(u))
    error = (read - true)[near]
    assert error.max() <= 0.002
    assert error.min() >= -0.45 * 0.3


@pytest.mark.parametrize("azimuth", AZIMUTHS)
def test_a_plane_has_no_trough_no_ledge_and_no_rise(azimuth):
    a = np.radians(azimuth)
    for field in fields(0.1 * (X * np.sin(a) + Y * np.cos(a)) - 20):
        assert field[25:-25, 25:-25].max() <= 0.002  # whole millimetres


@pytest.mark.parametrize("azimuth", AZIMUTHS[:4])
@pytest.mark.parametrize("slope", [0.0, 0.05, 0.2])
def test_a_step_on_any_plane_is_as_high_as_the_step(azimuth, slope):
    a = np.radians(azimuth)
    u = X * np.cos(a) + Y * np.sin(a)
    ledge = fields(slope * X + np.where(u > 1e-9, 2.0, 0.0) - 20)[1]
    near = np.abs(u) < 1
    near[:25], near[-25:], near[:, :25], near[:, -25:] = False, False, False, False
    assert near.any()
    assert_allclose(ledge[near], 2.0, atol=0.004)


def test_a_break_of_slope_without_a_step_is_no_ledge():
    ledge = fields(np.where(X > 0, 0.3 * X, 0.1 * X) - 20)[1]
    assert ledge[25:-25, 25:-25].max() <= 0.002


def test_a_cone_is_a_rise_and_a_ridge_is_not():
    cone = np.maximum(0, 2 - 0.4 * np.hypot(X, Y))
    assert_allclose(fields(cone)[2][60, 60], 2.0, atol=1e-9)
    assert_allclose(fields(-cone)[0][60, 60], 2.0, atol=1e-9)  # round forms turn into each other
    assert fields(np.maximum(0, 2 - 0.4 * np.abs(X)))[2].max() == 0


def test_a_single_raised_cell_is_a_rise_there_and_nowhere_else():
    z = np.zeros_like(X)
    z[60, 60] = 1.5
    rise = fields(z)[2]
    assert rise[60, 60] == 1.5
    assert np.count_nonzero(rise) == 1


def test_a_gap_never_makes_structure():
    z = to_mm(np.full((80, 80), -10.0))
    z[30:40, 30:50] = NODATA_MM
    for field in heights(z, trough_cells=15, rise_cells=15, run_cells=8, ground_cells=8):
        assert field.max() == 0
