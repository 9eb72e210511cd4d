"""Straight cuts against lines of stations whose every measure is known: laid out here, not scanned."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from reefscan.cuts import LONG_M, Cut, cuts
from reefscan.features import Line

SIDE_M = 10.0
CELL_M = 2.0


def _along(
    name: str,
    xy: np.ndarray,
    *,
    kind: str = "trough",
    facing: float = np.nan,
    height: float | np.ndarray = 2.0,
    width: float | np.ndarray = 14.0,
    level: float | np.ndarray = -9.0,
    rough: float = 0.02,
    filled: float = 0.0,
) -> pd.DataFrame:
    """Stations of one feature, in order along it."""
    return pd.DataFrame(
        {
            "kind": kind, "feature_id": name, "x": xy[:, 0], "y": xy[:, 1], "facing": facing, "height_m": height,
            "width_m": width, "level_m": level, "rough_m": rough, "interpolated": filled,
        }
    )  # fmt: skip


def _straight(length_m: float, bearing_deg: float, at: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    s = np.arange(-length_m / 2, length_m / 2 + 1e-9, SIDE_M)
    b = np.radians(bearing_deg)
    return np.array(at) + s[:, None] * np.array([np.sin(b), np.cos(b)])


def _found(*features: pd.DataFrame, natural: float = 0.0) -> list[Cut]:
    table = pd.concat(features, ignore_index=True)
    lines = {str(f["feature_id"].iloc[0]): Line(tuple(range(len(f)))) for f in features}
    return cuts(table, lines, np.full(len(table), natural), SIDE_M, CELL_M)


@pytest.mark.parametrize("bearing", [0.0, 37.0, 90.0, 153.0])
def test_a_long_straight_even_trough_is_a_cut_that_lies_where_the_trough_does(bearing):
    (cut,) = _found(_along("a", _straight(400.0, bearing, (120.0, -40.0))))
    assert_allclose(
        [cut.x, cut.y, cut.half_length, cut.half_width, cut.like], [120, -40, 200, 7, 1], atol=1e-6
    )
    assert_allclose(np.sin(cut.axis - np.radians(bearing)), 0.0, atol=1e-9)


def test_evidence_grows_with_length_from_nothing_to_full():
    """The ramp of `LONG_M`: half-way between its corners half the evidence."""
    assert _found(_along("a", _straight(LONG_M[0] - 10, 20.0))) == []
    (half,) = _found(_along("a", _straight(220.0, 20.0)))
    assert_allclose(half.like, (220.0 - LONG_M[0]) / (LONG_M[1] - LONG_M[0]), atol=1e-9)


def test_what_is_straight_for_longer_may_be_measured_less_even():
    """Heights that swing by 17 % of their mean (levels too, the bed being even): half the evidence over 300 m, all of it over 460."""

    def uneven(length_m: float) -> pd.DataFrame:
        xy = _straight(length_m, 20.0)
        swing = 2.2 * (1.0 + 0.165 * np.sqrt(2.0) * np.sin(np.arange(len(xy)) * 1.3))
        return _along("a", xy, height=swing, level=-9.0 - swing)

    (short,), (long,) = _found(uneven(300.0)), _found(uneven(460.0))
    assert 0.4 < short.like < 0.6
    assert long.like > 0.9
    # on filled-in ground beads of the soundings look like rock
    (beaded,) = _found(_along("c", _straight(400.0, 20.0), rough=0.4, filled=1.0))
    assert beaded.like == 1.0
    # nothing makes up for what is not straight, or not even at all
    assert _found(_along("b", _straight(900.0, 20.0), rough=0.4)) == []


def test_a_sinuous_gully_of_any_length_is_no_cut():
    """Meanders of 25 m either way over 160 m: no leg within an eighth of the width is 150 m long."""
    s = np.arange(0.0, 900.0, SIDE_M)
    wave = np.column_stack([25.0 * np.sin(2 * np.pi * s / 160.0), s])
    assert _found(_along("a", wave)) == []


@pytest.mark.parametrize("spoiled", [{"width": 0.35}, {"height": 0.35}, {"rough": 0.4}])
def test_a_straight_gully_that_is_uneven_or_rough_is_no_cut(spoiled):
    """A fifth in width or height and more, or sides rough by a fifth of the height."""
    xy = _straight(400.0, 60.0)
    rng = np.random.default_rng(5)
    swing = 1.0 + np.sqrt(3.0) * rng.uniform(-1, 1, len(xy)) * spoiled.get("width", 0.0)
    heave = 1.0 + np.sqrt(3.0) * rng.uniform(-1, 1, len(xy)) * spoiled.get("height", 0.0)
    # its floor goes up and down with its height: not one level either
    gully = _along(
        "a",
        xy,
        width=14.0 * swing,
        height=2.0 * heave,
        level=-9.0 - 2.0 * heave,
        rough=spoiled.get("rough", 0.02),
    )
    assert max((cut.like for cut in _found(gully)), default=0.0) < 0.2


def test_one_level_counts_as_well_as_one_depth_below_the_ground():
    """A fairway is dredged to a level: its walls are as high as the ground is, its floor is flat."""
    xy = _straight(400.0, 60.0)
    walls = np.linspace(1.2, 4.0, len(xy))
    (level,) = _found(_along("a", xy, height=walls, level=-12.0))
    assert level.like > 0.95
    falling = _found(_along("a", xy, height=walls, level=-8.0 - walls))
    assert max((cut.like for cut in falling), default=0.0) < 0.05


def test_a_bent_channel_is_two_cuts():
    one, two = _straight(300.0, 0.0, (0.0, 150.0)), _straight(300.0, 30.0, (75.0, 300.0 + 130.0))
    found = _found(_along("a", np.concatenate([one, two])))
    assert sorted(round(float(np.degrees(cut.axis)) % 180) for cut in found) == [0, 30]
    assert min(cut.like for cut in found) > 0.9


def test_pieces_on_one_line_are_one_cut_and_pieces_beside_each_other_are_not():
    pieces = [_along(n, _straight(100.0, 45.0, (d, d))) for n, d in (("a", 0.0), ("b", 110.0), ("c", 220.0))]
    (cut,) = _found(*pieces)
    assert_allclose(cut.half_length, 0.5 * (100.0 + 220.0 * np.sqrt(2.0)), atol=1e-6)
    beside = [_along(n, _straight(100.0, 45.0, (d, -d))) for n, d in (("a", 0.0), ("b", 40.0), ("c", 80.0))]
    assert _found(*beside) == []


def _walls(apart_m: float, first: float, second: float) -> list[pd.DataFrame]:
    """Two walls along north, the first on the west side."""
    return [
        _along("w", _straight(250.0, 0.0, (0.0, 0.0)), kind="ledge", facing=first, width=8.0),
        _along("e", _straight(250.0, 0.0, (apart_m, 20.0)), kind="ledge", facing=second, width=8.0),
    ]


def test_two_walls_that_face_each_other_are_a_cut_too_wide_for_a_trough():
    (cut,) = _found(*_walls(160.0, 90.0, 270.0))
    # both walls together: from -125 to 145 along, from -4 to 164 across
    assert_allclose([cut.x, cut.y, cut.half_length, cut.half_width], [80, 10, 135, 84], atol=1e-6)
    assert cut.like == pytest.approx(1.0)


@pytest.mark.parametrize(("first", "second"), [(270.0, 90.0), (90.0, 90.0)])
def test_two_walls_of_a_bank_and_two_steps_of_a_stair_are_none(first, second):
    assert _found(*_walls(160.0, first, second)) == []


def test_what_waves_explain_is_no_cut():
    assert _found(_along("a", _straight(400.0, 10.0)), natural=1.0) == []


def test_a_strip_holds_its_walls_and_ends_and_nothing_beside_it():
    cut = Cut(x=100.0, y=50.0, axis=np.radians(90.0), half_length=200.0, half_width=20.0, like=1.0)
    x = np.array([100.0, 100.0, 100.0, 330.0, 360.0])
    y = np.array([50.0, 72.0, 80.0, 50.0, 50.0])
    assert cut.holds(x, y, 5.0).tolist() == [True, True, False, True, False]


def test_a_width_that_scatters_by_a_cell_is_even_and_one_that_scatters_by_two_of_a_narrow_trough_is_not():
    xy = _straight(400.0, 20.0)
    wave = np.where(np.arange(len(xy)) % 2, 1.0, -1.0)
    (even,) = _found(_along("a", xy, width=12.0 + CELL_M * wave))
    assert even.like == 1.0
    assert _found(_along("a", xy, width=12.0 + 2.2 * CELL_M * wave)) == []
