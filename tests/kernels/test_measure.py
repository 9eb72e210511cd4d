"""Stations measured on planted ground of known form, with noise."""

from __future__ import annotations

import numpy as np
import pytest

from reefscan.kernels.measure import measure_stations
from reefscan.kernels.shore import dry_share
from reefscan.kernels.station_columns import FIELDS
from reefscan.kernels.stations import best_of_squares
from reefscan.model import to_mm

CELL = 2.0
Y, X = np.mgrid[-100:101, -100:101] * CELL
NOISE = 0.1


def measured(z, kind, rows, cols, radius, ground=0.0):
    rows, cols = np.asarray(rows), np.asarray(cols)
    noise, share = (
        np.full(rows.size, NOISE),
        np.full(rows.size, (28 / 9) ** 0.5 / 5),
    )  # five bilinear samples a cell apart
    out = measure_stations(to_mm(z), rows, cols, kind, CELL, noise, share, radius, ground)
    return {name: out[:, i] for i, name in enumerate(FIELDS)}


@pytest.mark.parametrize("bearing", [0.0, 20.0, 70.0, 135.0])
@pytest.mark.parametrize(("width", "depth"), [(14.0, 1.5), (24.0, 3.0), (40.0, 2.0)])
def test_a_trough_in_noise_keeps_its_depth_width_and_axis(rng, bearing, width, depth):
    a = np.radians(bearing)
    across = X * np.cos(a) + Y * np.sin(a)  # rows run south: the axis bears ``bearing``
    z = -10 - depth * np.clip((width / 2 - np.abs(across)) / (0.25 * width), 0, 1)
    z = z + rng.normal(size=z.shape) * NOISE
    along = np.arange(-60, 61, 20)
    cols, rows = (100 + along * np.sin(a)).round().astype(int), (100 - along * np.cos(a)).round().astype(int)
    got = measured(z, 0, rows, cols, 25.0)
    assert got["ok"].all()
    assert abs(np.median(got["height"]) - depth) <= max(0.2, 0.15 * depth)
    assert abs(np.median(got["width"]) * CELL - width) <= max(2 * CELL, 0.15 * width)
    off = (np.degrees(got["axis"]) - bearing + 90) % 180 - 90
    assert np.median(np.abs(off)) <= 2
    assert np.sort(np.abs(off))[-2] <= 5  # one station of seven may be led astray by its noise


@pytest.mark.parametrize("width", [20.0, 30.0, 38.0])
@pytest.mark.parametrize("rounded", [False, True])
def test_a_trough_is_as_wide_as_from_crest_to_crest_whether_its_sides_are_straight_or_rounded(
    rng, width, rounded
):
    """Two thirds of it are sides; their rounded tops, which noise cuts off, once cost a tenth and more."""
    a = np.radians(25.0)
    across = X * np.cos(a) + Y * np.sin(a)
    up = np.clip((np.abs(across) - width / 6) / (width / 3), 0, 1)
    up = 0.5 - 0.5 * np.cos(np.pi * up) if rounded else up
    z = -10 + 1.5 * up - 0.01 * np.maximum(0, np.abs(across) - width / 2) + rng.normal(size=X.shape) * NOISE
    along = np.arange(-70, 71, 10)
    cols, rows = (100 + along * np.sin(a)).round().astype(int), (100 - along * np.cos(a)).round().astype(int)
    got = measured(z, 0, rows, cols, 25.0)
    assert abs(np.median(got["width"]) * CELL / width - 1) <= 0.085


@pytest.mark.parametrize("bearing", [10.0, 100.0, 200.0])
def test_a_ledge_faces_downhill_whatever_the_slope_it_stands_on(rng, bearing):
    a = np.radians(bearing)
    down = X * np.sin(a) - Y * np.cos(a)
    z = -10 - 2.0 * np.clip(down / 6 + 0.5, 0, 1) + 0.03 * X + rng.normal(size=z_shape()) * NOISE
    along = np.arange(-60, 61, 20)
    cols, rows = (100 + along * np.cos(a)).round().astype(int), (100 + along * np.sin(a)).round().astype(int)
    got = measured(z, 1, rows, cols, 4.0, 4.0)
    off = (np.degrees(got["facing"]) - bearing + 180) % 360 - 180
    assert np.abs(np.median(off)) <= 5
    assert abs(np.median(got["height"]) - 2.0) <= 0.3


def test_a_lost_cell_beside_a_ledge_loses_neither_its_height_nor_its_way(rng):
    down = X * np.sin(0.4) - Y * np.cos(0.4)
    z = -10 - 2.0 * np.clip(down / 6 + 0.5, 0, 1)
    whole = measured(z, 1, [100], [100], 4.0, 4.0)
    for _ in range(40):
        pierced = z.copy()
        r, c = 100 + rng.integers(-6, 7, 2)
        pierced[r, c] = np.nan if (r, c) != (100, 100) else z[r, c]
        got = measured(pierced, 1, [100], [100], 4.0, 4.0)
        assert got["ok"].all()
        assert abs(got["height"] - whole["height"]) < 0.35
        assert abs(np.degrees(got["facing"] - whole["facing"])) < 12


def test_at_the_edge_of_the_survey_nothing_is_measured():
    z = np.where(X < 0, -10.0, -12.0)
    z[:, 101:] = np.nan
    assert not measured(z, 1, [100], [100], 4.0, 4.0)["ok"].any()
    island = np.full(X.shape, np.nan)
    island[99:102, 99:102] = z[99:102, 98:101]
    assert not measured(island, 1, [100], [100], 4.0, 4.0)["ok"].any()


def test_an_even_shore_is_no_ledge_and_a_wall_in_the_water_is_no_taller_for_the_cliff_above():
    # a beach of 17 degrees from 5 m above the water to 3 m below it, and gentle sand beyond
    beach = np.where(X < 10, -0.3 * X, -3 - 0.03 * (X - 10))
    shore = measured(beach, 1, [100, 100, 100], [100, 102, 104], 4.0, 4.0)
    assert (np.nan_to_num(shore["height"]) < 0.5).all()
    for cliff in (0.0, 30.0):
        z = np.where(X < 0, cliff, -6.0)
        got = measured(z, 1, [100], [100], 4.0, 4.0)
        assert 4.0 < got["height"][0] <= 6.0


@pytest.mark.parametrize("slope", [0.0, 0.04, 0.08])
def test_a_pile_on_a_slope_is_as_tall_as_on_the_level(slope):
    z = -10 + slope * X + np.maximum(0, 2.0 - 0.25 * np.hypot(X, Y))
    got = measured(z, 2, [100], [100], 12.5)
    assert got["ok"].all()
    assert abs(got["height"][0] - 2.0) < 0.2


def test_a_dome_whose_top_falls_between_the_cells_is_told_as_tall_as_it_is(rng):
    """A paraboloid a few cells in radius: its highest cell alone would be told some hundredths too low."""
    errors = []
    for _ in range(60):
        dx, dy = rng.uniform(-1, 1, 2)
        z = -10 + np.maximum(0, 2.0 * (1 - ((X - dx) ** 2 + (Y - dy) ** 2) / 7.0**2))
        r, c = np.unravel_index(np.argmax(z), z.shape)
        out = measure_stations(
            to_mm(z), np.array([r]), np.array([c]), 2, CELL, np.zeros(1), np.array([0.35]), 12.5, 0.0
        )
        errors.append(out[0, FIELDS.index("height")] - 2.0)
    assert abs(np.mean(errors)) < 0.02


def test_two_cells_side_by_side_are_no_rise_and_a_pile_of_four_is():
    z = np.full(X.shape, -10.0)
    z[100, 100:102] += 2.0
    assert not measured(z, 2, [100], [100], 12.5)["ok"].any()
    z = -10 + np.maximum(0, 2.0 - 0.5 * np.hypot(X, Y))
    assert measured(z, 2, [100], [100], 12.5)["ok"].all()


def test_a_hump_on_the_floor_of_a_trough_is_not_its_crest():
    z = -10 - 3.0 * np.clip((15 - np.abs(X)) / 7, 0, 1) + 0.3 * np.exp(-((X / 2.0) ** 2))
    got = measured(z, 0, [100, 100], [97, 103], 25.0, 0.8)
    assert np.abs(got["height"] - 3.0).max() < 0.35
    assert np.abs(got["width"] * CELL - 30).max() <= 2 * CELL


def test_the_shore_stays_dry_behind_an_edge_and_a_breakwater_does_not():
    ahead, edge = np.array([3 * np.pi / 2]), np.array([1.0])
    place = np.array([100.25]), np.array([100.75])
    shore = to_mm(np.where(X < 0, 2.0, -6.0))
    assert dry_share(shore, *place, ahead, edge, 60.0)[0] == 1.0
    breakwater = to_mm(np.where(np.abs(X + 15) < 15, 2.0, -6.0))
    assert dry_share(breakwater, *place, ahead, edge, 60.0)[0] == pytest.approx(15 / 60, abs=0.04)
    assert dry_share(breakwater, *place, ahead + np.pi, edge, 60.0)[0] == 0.0


def z_shape():
    return X.shape


def test_squares_of_the_absolute_lattice_offer_the_same_cells_in_any_window(rng):
    field = (rng.random((90, 110)) * 3000).astype(np.int32)
    field[field < 1000] = 0
    live = np.ones((12, 14), np.bool_)  # squares of 8 that hold some, from the corner on
    rows, cols = best_of_squares(field, live, 0, 8, 7, -13, 5)
    whole = {(int(r) + 7, int(c) - 13) for r, c in zip(rows, cols, strict=True)}
    rows, cols = best_of_squares(np.ascontiguousarray(field[20:70, 30:90]), live, 0, 8, 27, 17, 5)
    part = {(int(r) + 27, int(c) + 17) for r, c in zip(rows, cols, strict=True)}
    inner = {(r, c) for r, c in whole if 40 <= r < 64 and 30 <= c < 64}
    assert inner
    assert inner == {(r, c) for r, c in part if 40 <= r < 64 and 30 <= c < 64}
