"""The foot of a rise, a ledge and a wall, against forms whose foot follows from a formula, and the drop point's stand-off from it."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.ndimage import gaussian_filter

from reefscan.kernels.foot import HEADINGS, foot_towards, ledge_foot, rise_feet, wall_foot
from reefscan.kernels.net_columns import FIELDS
from reefscan.kernels.placement import place_nets
from reefscan.kernels.station_columns import FIELDS as MEASURES
from reefscan.model import to_mm

MIDDLE = 60
Y, X = np.mgrid[-MIDDLE : MIDDLE + 1, -MIDDLE : MIDDLE + 1].astype(float)
BEARINGS = [0.0, 25.0, 45.0, 130.0, 290.0]


def across(bearing: float) -> np.ndarray:
    """Distance from the middle along a bearing (rows run south)."""
    b = np.radians(bearing)
    return X * np.sin(b) - Y * np.cos(b)


@pytest.mark.parametrize("gradient", [0.0, 0.03])
@pytest.mark.parametrize("stretch", [1.0, 1.4])
def test_the_foot_of_a_cone_lies_where_nine_tenths_are_lost(gradient, stretch):
    """A cone 3 m high, 10 m in radius: 9 m out, and so much more along its long axis (east)."""
    z = -10 + np.maximum(0, 3 * (1 - np.hypot(X / stretch, Y) / 10)) + gradient * Y
    feet = np.empty(HEADINGS)
    rise_feet(to_mm(z), float(MIDDLE), float(MIDDLE), 24, 3.0, 0.0, 0.0, feet)
    assert_allclose(foot_towards(feet, -1.0, 0.0), 9.0, atol=0.8)
    assert_allclose(foot_towards(feet, 0.0, 1.0), 9.0 * stretch, atol=0.9)
    assert_allclose(foot_towards(feet, 0.0, -1.0), 9.0 * stretch, atol=0.9)


@pytest.mark.parametrize("bearing", BEARINGS)
@pytest.mark.parametrize("gradient", [0.0, 0.05])
def test_the_foot_of_a_ramp_lies_a_tenth_of_it_up(bearing, gradient):
    """A face 6 m long, 2 m high, its middle here: its lower end 3 m off, the foot 0.6 m nearer."""
    z = -10 - 2 * np.clip(across(bearing) / 6 + 0.5, 0, 1) + gradient * X
    got = ledge_foot(
        to_mm(z), float(MIDDLE), float(MIDDLE), np.radians(bearing), 3.0, 2.0, 0.0, 1.0, np.empty(100)
    )
    assert_allclose(got, 2.4, atol=0.5)


def test_noise_does_not_move_the_foot_of_a_ledge_by_more_than_a_cell(rng):
    z = -10 - 2 * np.clip(across(25.0) / 6 + 0.5, 0, 1)
    got = [
        ledge_foot(
            to_mm(z + 0.15 * rng.standard_normal(z.shape)),
            float(MIDDLE), float(MIDDLE), np.radians(25.0), 3.0, 2.0, 2 * 0.15 / 5**0.5, 1.0, np.empty(100),
        )
        for _ in range(40)
    ]  # fmt: skip
    assert_allclose(np.median(got), 2.4, atol=0.5)
    assert np.quantile(np.abs(np.array(got) - 2.4), 0.9) < 1.5


@pytest.mark.parametrize("lower", [0.0, 1.0, 2.5])
def test_a_face_whose_middle_was_taken_too_low_has_its_foot_where_it_is(lower):
    """A face 1.2 m long: its foot .35 m below its middle, however far below that the station stands, its face read 6 m wide."""
    z = -10 - 1.5 * np.clip(across(90.0) / 1.2 + 0.5, 0, 1)
    got = ledge_foot(
        to_mm(z), float(MIDDLE), MIDDLE + lower, np.radians(90.0), 3.0, 1.5, 0.3, 1.0, np.empty(100)
    )
    assert_allclose(got, 0.35 - lower, atol=0.6)


@pytest.mark.parametrize("hidden", [0.0, 0.5])
def test_a_foot_that_noise_hides_is_carried_on_down_the_side(hidden):
    """The lowest 0.5 m of every side are left to noise: a cone's foot, a ramp's and a wall's are told where they were."""
    cone = -10 + np.maximum(0, 2 * (1 - np.hypot(X, Y) / 12))
    feet = np.empty(HEADINGS)
    rise_feet(to_mm(cone), float(MIDDLE), float(MIDDLE), 28, 2.0, 0.0, hidden, feet)
    assert_allclose(feet, 10.8, atol=0.8)
    ramp = to_mm(-10 - 2 * np.clip(across(25.0) / 10 + 0.5, 0, 1))
    got = ledge_foot(ramp, 60.0, 60.0, np.radians(25.0), 5.0, 2.0, hidden, 1.0, np.empty(100))
    assert_allclose(got, 4.0, atol=0.5)
    valley = to_mm(-10 + 2 * np.clip((np.abs(across(25.0)) - 6) / 10, 0, 1))
    got = wall_foot(valley, 60.0, 60.0, np.radians(25.0), 6.0, 16.0, 2.0, hidden, 1.0, np.empty(100))[0]
    assert_allclose(got, 7.0, atol=0.5)


@pytest.mark.parametrize("least", [1.5, 2.5, 9.0])
def test_a_foot_lies_on_its_side_even_where_noise_is_said_to_be_as_high(least):
    cone = -10 + np.maximum(0, 2 * (1 - np.hypot(X, Y) / 12))
    feet = np.empty(HEADINGS)
    rise_feet(to_mm(cone), float(MIDDLE), float(MIDDLE), 28, 2.0, 0.0, least, feet)
    assert (feet > 3).all()
    assert (feet < 12).all()
    ramp = to_mm(-10 - 2 * np.clip(across(25.0) / 10 + 0.5, 0, 1))
    assert -2 < ledge_foot(ramp, 60.0, 60.0, np.radians(25.0), 5.0, 2.0, least, 1.0, np.empty(100)) <= 5
    valley = to_mm(-10 + 2 * np.clip((np.abs(across(25.0)) - 6) / 10, 0, 1))
    assert (
        5 < wall_foot(valley, 60.0, 60.0, np.radians(25.0), 6.0, 16.0, 2.0, least, 1.0, np.empty(100))[0] < 16
    )


def test_noise_that_goes_together_does_not_move_the_foot_of_a_rise(rng):
    """A cone 1.4 m high, 8 m in radius, under 0.15 m of noise over three cells: within 2 m in nine headings of ten."""
    z = -10 + np.maximum(0, 1.4 * (1 - np.hypot(X, Y) / 8))
    off = []
    for _ in range(20):
        soft = gaussian_filter(rng.standard_normal(z.shape), 3.0)
        feet = np.empty(HEADINGS)
        rise_feet(to_mm(z + 0.15 * soft / soft.std()), 60.0, 60.0, 20, 1.4, 0.0, 3 * 0.13, feet)
        off.append(feet - 7.2)
    assert np.quantile(np.abs(off), 0.9) < 2.0


@pytest.mark.parametrize("bearing", BEARINGS)
@pytest.mark.parametrize("off_middle", [-3, 0, 3])
def test_the_nearer_wall_of_a_trough_is_the_one_told(bearing, off_middle):
    """Floor 12 m wide, walls 5 m long and 2 m high: the foot 6.5 m from the middle; a gap in the survey is no wall."""
    d = across(bearing)
    z = -10 + 2 * np.clip((np.abs(d) - 6) / 5, 0, 1)
    mm = to_mm(z)
    b = np.radians(bearing)
    row, col = MIDDLE - off_middle * np.cos(b), MIDDLE + off_middle * np.sin(b)
    mm[(np.abs(d - off_middle - 2) < 0.5) & (np.abs(X + Y) < 3)] = to_mm(np.array([np.nan]))[0]
    got, side = wall_foot(mm, row, col, b, 6.0, 11.0, 2.0, 0.0, 1.0, np.empty(100))
    assert_allclose(got, 6.5 - abs(off_middle), atol=0.5)
    assert off_middle == 0 or side == np.sign(off_middle)


def test_noise_on_a_wide_floor_is_no_wall(rng):
    """Floor 24 m wide under .12 m of noise, walls of 1 m: the foot is told within 2 m, from wherever on the floor."""
    z = -10 + np.clip((np.abs(across(25.0)) - 12) / 6, 0, 1)
    b = np.radians(25.0)
    quiet = 0.12 * 2 / 3 / 5**0.5
    error = []
    for off_middle in np.tile([0.0, 4.0, 8.0], 30):
        row, col = MIDDLE - off_middle * np.cos(b), MIDDLE + off_middle * np.sin(b)
        noisy = to_mm(z + 0.12 * rng.standard_normal(z.shape))
        got, _ = wall_foot(noisy, row, col, b, 12.0, 18.0, 1.0, 3 * quiet, 1.0, np.empty(100))
        error.append(got - (12.6 - off_middle))
    assert (np.abs(error) < 2).mean() > 0.97
    assert abs(np.mean(error)) < 0.3


def test_a_gap_on_a_wall_moves_its_foot_by_less_than_itself_and_a_lone_cell_at_a_gap_is_no_wall():
    """Walls of 2 m over 10 m from 6 m off, three cells of them not known; then a level floor with one high cell before a gap."""
    z = -10 + 2 * np.clip((np.abs(X) - 6) / 10, 0, 1)
    z[:, MIDDLE + 8 : MIDDLE + 11] = z[:, MIDDLE - 10 : MIDDLE - 7] = np.nan
    got, _ = wall_foot(to_mm(z), 60.0, 60.0, np.pi / 2, 6.0, 16.0, 2.0, 0.6, 1.0, np.empty(100))
    assert_allclose(got, 7.0, atol=0.6)
    level = np.full(X.shape, -10.0)
    level[:, MIDDLE + 14] += 2.0
    level[:, MIDDLE + 15 :] = np.nan
    got, _ = wall_foot(to_mm(level), 60.0, 60.0, np.pi / 2, 6.0, 16.0, 2.0, 0.0, 1.0, np.empty(100))
    assert np.isnan(got)


@pytest.mark.parametrize("seam", [0.0, 0.3])
def test_a_net_lies_beside_a_ledge_as_far_off_its_foot_as_is_said(rng, seam):
    """Foot 1.2 m from the middle of a 3 m face; a seam between survey lines is no rock."""
    z = -10 - 2 * np.clip(across(120.0) / 3 + 0.5, 0, 1) + 0.02 * rng.standard_normal(X.shape)
    z += seam * (across(120.0) > 9)
    measures = np.full((1, len(MEASURES)), np.nan)
    told = {"row": MIDDLE, "col": MIDDLE, "height": 2.0, "width": 3.0, "axis": np.radians(30.0)}
    told |= {"facing": np.radians(120.0), "foot": 1.5, "face_slope": 0.66, "ok": 1.0}
    for name, value in told.items():
        measures[0, MEASURES.index(name)] = value
    mm = to_mm(z)
    out = place_nets(
        mm, measures, 1, 1.0, np.array([0.02]), np.array([0.01]), (3.0, 15.0), 3.0, (-40000, -1000),
        (5.0, 25.0), 20.0, (2.0, 10.0), (10.0, 40.0), 38,
    )  # fmt: skip
    net = dict(zip(FIELDS, out[0], strict=True))
    off = across(120.0)[int(net["row"]), int(net["col"])] - 1.2
    assert 2.5 <= off <= 15.5
    assert_allclose(net["off"], off, atol=1.0)
    apart = np.hypot(net["row"] - net["rock_row"], net["col"] - net["rock_col"])
    assert_allclose(apart, net["off"], atol=1e-6)
    assert_allclose(net["depth"], -z[int(net["row"]), int(net["col"])], atol=0.06)
    assert net["slope"] < 2


def test_one_noisy_cell_beside_a_face_is_no_rock(rng):
    """A face of 1.2 m over 6 m under .2 m of noise: none of 40 nets is said to lie much nearer to it than it does."""
    d = across(120.0)
    measures = np.full((1, len(MEASURES)), np.nan)
    told = {"row": MIDDLE, "col": MIDDLE, "height": 1.2, "width": 6.0, "axis": np.radians(30.0)}
    told |= {"facing": np.radians(120.0), "foot": 3.0, "face_slope": 0.2, "ok": 1.0}
    for name, value in told.items():
        measures[0, MEASURES.index(name)] = value
    error = []
    for _ in range(40):
        z = -10 - 1.2 * np.clip(d / 6 + 0.5, 0, 1) + 0.2 * rng.standard_normal(X.shape)
        out = place_nets(
            to_mm(z), measures, 1, 1.0, np.array([0.2]), np.array([0.06]), (3.0, 15.0), 3.0, (-40000, -1000),
            (5.0, 25.0), 20.0, (2.0, 10.0), (10.0, 40.0), 38,
        )  # fmt: skip
        net = dict(zip(FIELDS, out[0], strict=True))
        error.append(net["off"] - (d[int(net["row"]), int(net["col"])] - 2.4))
    assert min(error) > -2.0


def test_the_stand_off_is_told_abreast_of_the_net_where_the_face_runs_on_elsewhere():
    """A face of 1 m over 9 m, too gentle for rock, whose foot lies 3.6 m off its middle; the station's facing is 28 degrees wrong."""
    d = across(90.0)
    z = -10 - np.clip(d / 9 + 0.5, 0, 1)
    # a hole in the survey abreast of the station leaves only nets some metres along the face
    z[(np.abs(Y) < 6) & (d > 4)] = np.nan
    measures = np.full((1, len(MEASURES)), np.nan)
    told = {"row": MIDDLE, "col": MIDDLE, "height": 1.0, "width": 9.0, "axis": np.radians(28.0)}
    told |= {"facing": np.radians(118.0), "foot": 4.5, "face_slope": 0.11, "ok": 1.0}
    for name, value in told.items():
        measures[0, MEASURES.index(name)] = value
    out = place_nets(
        to_mm(z), measures, 1, 1.0, np.array([0.0]), np.array([0.0]), (3.0, 15.0), 2.0, (-40000, -1000),
        (5.0, 25.0), 20.0, (2.0, 10.0), (10.0, 40.0), 38,
    )  # fmt: skip
    net = dict(zip(FIELDS, out[0], strict=True))
    assert abs(net["row"] - MIDDLE) >= 5
    assert_allclose(net["off"], d[int(net["row"]), int(net["col"])] - 3.6, atol=0.8)


def test_a_little_more_noise_moves_a_foot_by_a_little():
    """What noise does not feign goes from a tenth of the height past all of it: the foot of a straight side stays within 1.5 cells."""
    ramp = to_mm(-10 - np.clip(across(0.0) / 4 + 0.5, 0, 1))
    valley = to_mm(-10 + np.clip((np.abs(across(0.0)) - 6) / 4, 0, 1))
    steps = np.arange(0.1, 1.3, 0.005)
    told = np.array(
        [
            [
                ledge_foot(ramp, 60.0, 60.0, 0.0, 2.0, 1.0, least, 1.0, np.empty(100)),
                wall_foot(valley, 60.0, 60.0, 0.0, 6.0, 10.0, 1.0, least, 1.0, np.empty(100))[0],
            ]
            for least in steps
        ]
    )
    assert np.ptp(told, axis=0).max() < 1.5
    assert np.abs(np.diff(told, axis=0)).max() < 0.3
