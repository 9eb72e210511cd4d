"""The face of a profile against closed forms: a step on any plane is its own height, and what only slopes is none."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from reefscan.kernels.measure.face import FIELDS, mend_gaps, read_face, run_of_side

HALF_M = 140.0
SIGHT = 0.05
LONGEST_M = 150.0


class Face(NamedTuple):
    """What was read, in metres; places from the middle of the profile, downhill positive."""

    height: float
    drop: float
    top: float
    foot: float
    length: float
    middle: float


NONE = Face(0.0, 0.0, 0.0, 0.0, 0.0, 0.0)


def places(step_m: float, half_m: float = HALF_M) -> np.ndarray:
    """Places of the samples; the middle one is at 0."""
    half = int(half_m / step_m)
    return np.arange(-half, half + 1) * step_m


def read(p: np.ndarray, step_m: float = 1.0, *, longest_m: float = LONGEST_M, sight: float = SIGHT) -> Face:
    """The face around the middle of a profile; `NONE` where there is none of any height."""
    out, room = np.full(len(FIELDS), np.nan), np.empty((2, len(p) + 1))
    kept = p.copy()
    if not read_face(p, step_m, sight, longest_m, room[0], room[1], out):
        return NONE
    assert_array_equal(p, kept)
    of, middle = dict(zip(FIELDS, out.tolist(), strict=True)), len(p) // 2
    top, foot, half_done = ((of[name] - middle) * step_m for name in ("top", "foot", "middle"))
    return Face(of["height"], of["drop"], top, foot, of["length"] * step_m, half_done)


def ramp(s: np.ndarray, height_m: float, run_m: float) -> np.ndarray:
    """A fall of so many metres, spread evenly over a run about 0."""
    return -height_m * np.clip(s / run_m + 0.5, 0, 1)


@pytest.mark.parametrize("step_m", [0.5, 1.0, 2.0, 4.0, 10.0])
@pytest.mark.parametrize("slope", [-0.1, 0.0, 0.05, 0.2])
def test_a_step_on_a_plane_of_any_slope_is_as_high_as_the_step(step_m, slope):
    s = places(step_m)
    face = read(-slope * s - 2.0 * (s >= 0), step_m)
    # the ground that climbs against the step is no part of it: the plain fall is all that is told
    told = 2.0 if slope >= 0 else face.drop
    assert_allclose(face.height, told, atol=1e-9)
    assert abs(face.middle) <= step_m
    assert face.foot - face.top <= 4 * step_m


@pytest.mark.parametrize("run_m", [3.0, 6.0, 12.0, 30.0])
@pytest.mark.parametrize("step_m", [1.0, 2.0, 4.0])
def test_a_ramp_is_as_high_as_it_falls_and_as_long_as_it_is(run_m, step_m):
    face = read(ramp(places(step_m), 4.0, run_m), step_m)
    assert_allclose((face.height, face.drop), 4.0, atol=1e-9)
    # samples know its ends to a step, and spread what is shorter over two
    assert run_m - step_m <= face.length <= max(run_m + step_m, 2 * step_m) + 1e-9
    assert_allclose(face.middle, 0.0, atol=1e-6)
    assert face.top <= -run_m / 2 + 0.1 and face.foot >= run_m / 2 - 0.1


@pytest.mark.parametrize("step_m", [1.0, 2.0, 4.0, 10.0])
def test_a_face_of_16_m_in_120_m_is_read_whole(step_m):
    face = read(ramp(places(step_m), 16.0, 120.0), step_m)
    assert_allclose(face.height, 16.0, atol=0.01)
    assert_allclose(face.length, 120.0, atol=step_m)


@pytest.mark.parametrize("slope", [0.0, 0.03, 0.05, 0.1, 0.3, 1.0, -0.1])
@pytest.mark.parametrize("step_m", [1.0, 2.0, 10.0])
def test_a_plane_has_no_face(slope, step_m):
    assert read(-slope * places(step_m), step_m).height <= 1e-6


@pytest.mark.parametrize("bend", [0.0005, 0.002, 0.005])
@pytest.mark.parametrize("centre_m", [-40.0, 0.0, 40.0])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_ground_that_bends_evenly_has_no_face(bend, centre_m, sign):
    assert read(sign * bend * (places(1.0) - centre_m) ** 2).height <= 1e-6


@pytest.mark.parametrize("slopes", [(0.1, 0.3), (0.3, 0.1), (0.02, 0.4)])
@pytest.mark.parametrize("at_m", [-10.0, -6.0, -3.0, 0.0, 3.0, 6.0, 10.0])
def test_where_a_slope_only_grows_steeper_or_gentler_there_is_no_face(slopes, at_m):
    """The mean of the two slopes would read a step of run times half their difference."""
    s = places(1.0)
    assert read(-np.where(s < at_m, *slopes) * (s - at_m)).height <= 1e-6


@pytest.mark.parametrize("length_m", [200.0, 250.0, 300.0])
def test_a_face_longer_than_the_longest_is_none(length_m):
    assert read(ramp(places(2.0, 400.0), 30.0, length_m), 2.0).height <= 0.05 * 30.0


@pytest.mark.parametrize("length_m", [60.0, 80.0, 120.0])
def test_of_a_face_longer_than_a_short_longest_no_part_is_told(length_m):
    assert read(ramp(places(2.0, 400.0), 30.0, length_m), 2.0, longest_m=40.0).height <= 0.05 * 30.0


@pytest.mark.parametrize("gap_m", [30.0, 40.0, 60.0])
@pytest.mark.parametrize("step_m", [1.0, 2.0])
def test_of_two_faces_with_level_ground_between_the_one_asked_for_is_told(gap_m, step_m):
    s = places(step_m)
    face = read(ramp(s, 3.0, 6.0) + ramp(s - 6.0 - gap_m, 3.0, 6.0), step_m)
    assert_allclose(face.height, 3.0, atol=1e-9)


def test_a_fall_no_steeper_than_the_sight_line_is_the_lie_of_the_land():
    s = places(1.0)
    assert read(ramp(s, 1.5, 57.0), sight=0.05).height <= 1e-6
    assert read(ramp(s, 1.5, 20.0), sight=0.08).height <= 1e-6
    assert read(ramp(s, 1.5, 20.0), sight=0.05).height > 1.4


@pytest.mark.parametrize("known_m", [2.0, 6.0, 9.0, 10.0])
@pytest.mark.parametrize("end", ["foot", "top"])
def test_an_end_beyond_the_data_is_not_seen(known_m, end):
    """A fall of 8 m in 20 m whose foot, or top, 10 m from the middle, lies beyond what is known."""
    s = places(1.0)
    p = ramp(s, 8.0, 20.0)
    p[s > known_m if end == "foot" else s < -known_m] = np.nan
    assert read(p).height <= 1e-6


@pytest.mark.parametrize("known_m", [12.0, 14.0, 16.0, 30.0])
def test_data_that_end_behind_the_foot_never_add_to_a_height(known_m):
    s = places(1.0)
    p = ramp(s, 8.0, 20.0) - 0.02 * s
    p[s > known_m] = np.nan
    assert read(p).height <= 8.0 + 1e-9


@pytest.mark.parametrize("known_m", [6.0, 10.0, 20.0, 40.0])
def test_an_even_slope_that_steepens_before_the_data_end_is_no_face(known_m):
    """Where the deep side is unknown the steeper of both grounds is not known: a maximum over the known one alone reads 4 to 5 m."""
    s = places(2.0)
    p = np.where(s < -20, -0.05 * s, 1.0 - 0.35 * (s + 20))
    p[s > known_m] = np.nan
    assert read(p, 2.0).height <= 0.3


def test_noise_alone_gives_next_to_nothing(rng):
    """White noise of 0.1 m, as the mean of five lines leaves it."""
    heights = [read(0.1 / 5**0.5 * rng.normal(size=len(places(2.0))), 2.0).height for _ in range(400)]
    assert np.mean(heights) < 0.02
    assert np.quantile(heights, 0.99) < 0.25


def test_a_face_in_noise_is_told_with_little_bias(rng):
    s = places(2.0)
    heights = [read(ramp(s, 2.0, 6.0) + 0.05 * rng.normal(size=len(s)), 2.0).height for _ in range(200)]
    assert abs(np.mean(heights) - 2.0) < 0.1
    assert np.std(heights) < 0.15


def test_an_unknown_middle_has_no_face():
    p = ramp(places(1.0), 4.0, 6.0)
    p[len(p) // 2] = np.nan
    assert read(p) == NONE


def test_small_gaps_are_carried_straight_over_and_wide_ones_stay():
    p = np.array([np.nan, 0.0, np.nan, np.nan, 3.0, 4.0, np.nan, np.nan, np.nan, 8.0, np.nan])
    mend_gaps(p, 2)
    assert_allclose(p[:6], [np.nan, 0.0, 1.0, 2.0, 3.0, 4.0])
    assert np.isnan(p[6:9]).all()
    assert np.isnan(p[[0, -1]]).all()


@pytest.mark.parametrize("step", [1, -1])
def test_the_run_of_an_even_side_is_its_own_and_half_a_waves_that_of_its_middle_four_fifths(
    step: int,
) -> None:
    """Closed form: half a cosine over n climbs four fifths, about its middle, within 2 n asin(.8) / pi."""
    n = 60
    even, wave = np.arange(n + 1) * 0.1, 3.0 - 3.0 * np.cos(np.pi * np.arange(n + 1) / n)
    start = 0 if step == 1 else n
    assert_allclose(run_of_side(even[::step].copy(), start, step, n, 6.0), n, rtol=1e-9)
    middle = 2.0 * n * np.arcsin(0.8) / np.pi / 0.8
    assert_allclose(run_of_side(wave[::step].copy(), start, step, n, 6.0), middle, rtol=0.01)


def test_the_run_of_a_side_in_two_steps_does_not_jump_where_the_other_step_becomes_the_taller() -> None:
    """A law: what is told of a side is continuous in the ground, also where another stretch of it is the steepest."""
    runs = []
    for lower in np.arange(2.0, 4.01, 0.1):
        steps = np.concatenate([[0.0, lower / 2, lower], np.full(12, lower), [3.0 + lower / 2, 6.0]])
        runs.append(run_of_side(steps, 0, 1, len(steps) - 1, 6.0))
    assert max(abs(np.diff(runs)) / runs[:-1]) < 0.12
