"""A step along a row or column of the grid is told to look like the joint of two surveys; edges that ground could have are not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import reefscan
from reefscan.features import Line
from reefscan.seams import WIDEST_CELLS, seam_like

CELL_M = 2.0


def stations(
    x, y, *, turn: float = 0.0, kind: str = "ledge", width_m: float = 8.0
) -> tuple[pd.DataFrame, dict[str, Line]]:
    """One feature whose line runs through its stations in order."""
    table = pd.DataFrame({"x": x, "y": y, "turn": turn, "kind": kind, "width_m": width_m, "feature_id": "f"})
    return table, {"f": Line(tuple(range(len(table))))}


def bearing(degrees: float, length_m: float, *, wander_m: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    along = np.arange(0.0, length_m, 10.0)
    across = wander_m * np.where(np.arange(len(along)) % 4 < 2, 1.0, -1.0)
    a = np.radians(degrees)
    return along * np.sin(a) + across * np.cos(a), along * np.cos(a) - across * np.sin(a)


@pytest.mark.parametrize("degrees", [0.0, 90.0, 180.0, 270.0])
def test_a_straight_course_along_a_row_or_column_is_a_joint(degrees):
    table, lines = stations(*bearing(degrees, 250.0))
    assert (seam_like(table, lines, CELL_M) == 1.0).all()


@pytest.mark.parametrize("degrees", [5.0, 45.0, 95.0, 170.0])
def test_a_straight_course_elsewhere_is_none(degrees):
    table, lines = stations(*bearing(degrees, 250.0))
    assert not seam_like(table, lines, CELL_M).any()


def test_a_file_in_degrees_is_joined_along_true_north_which_the_sheet_has_turned():
    table, lines = stations(*bearing(-3.0, 250.0), turn=3.0)  # true north bears 3 degrees west of grid north
    assert (seam_like(table, lines, CELL_M) == 1.0).all()
    table, lines = stations(*bearing(-3.0, 250.0), turn=0.0)
    assert not seam_like(table, lines, CELL_M).any()


def test_a_short_course_and_a_wandering_one_are_none_and_noise_wants_a_longer_one():
    for length, wander in ((90.0, 0.0), (250.0, 0.4 * CELL_M), (600.0, 0.6 * CELL_M)):
        table, lines = stations(*bearing(0.0, length, wander_m=wander))
        assert not seam_like(table, lines, CELL_M).max() > 0.1, (length, wander)
    table, lines = stations(*bearing(0.0, 600.0, wander_m=0.4 * CELL_M))
    assert (seam_like(table, lines, CELL_M) == 1.0).all()


def test_a_staircase_of_coarse_cells_is_joints_from_end_to_end():
    x = np.repeat([0.0, -12.0, -24.0], 4)
    table, lines = stations(x, np.arange(12) * 60.0)
    assert (seam_like(table, lines, 25.0) >= 0.5).all()


def test_on_coarse_cells_a_line_that_crosses_half_a_cell_by_its_slant_is_none():
    """Over 250 m a slant of 3.5 degrees moves 15 m: within what a joint on 25 m cells may wander, and told by its slope alone."""
    along, joint = stations(*bearing(3.5, 250.0))
    assert not seam_like(along, joint, 25.0).any()
    along, joint = stations(*bearing(0.5, 250.0))
    assert (seam_like(along, joint, 25.0) == 1.0).all()


def test_a_feature_half_of_which_is_a_joint_is_one_as_a_whole_and_one_of_a_third_in_that_part():
    """200 m along a column and then as far, or twice as far, on a slant."""
    y = np.arange(20) * 10.0
    for turns, whole in ((1, True), (2, False)):
        off = np.arange(1, 20 * turns + 1) * 7.0
        table, lines = stations(np.r_[np.zeros(20), off], np.r_[y, y[-1] + off])
        like = seam_like(table, lines, CELL_M)
        assert (like[:20] == 1.0).all()
        assert bool((like[20:] > 0.9).all()) is whole
        assert bool(like[21:].any()) is whole


def test_a_rise_is_never_a_joint():
    table, lines = stations(*bearing(0.0, 250.0), kind="rise")
    assert not seam_like(table, lines, CELL_M).any()


@pytest.mark.parametrize(("kind", "widest"), WIDEST_CELLS.items())
def test_faces_and_troughs_are_joints_only_as_narrow_as_joints_make_them(kind, widest):
    narrow, lines = stations(*bearing(90.0, 250.0), kind=kind, width_m=widest * CELL_M)
    assert (seam_like(narrow, lines, CELL_M) == 1.0).all()
    wide, lines = stations(*bearing(90.0, 250.0), kind=kind, width_m=(widest + 1.0) * CELL_M)
    assert not seam_like(wide, lines, CELL_M).any()


def joined(rng, degrees: float, wander_m: float = 0.0) -> reefscan.Run:
    """Two surveys that disagree by 1.8 m along a line through the middle, on gently uneven sand."""
    y, x = np.mgrid[0:240, 0:240] * CELL_M
    z = -9 + 0.4 * np.sin(x / 90) * np.cos(y / 70) + rng.normal(size=x.shape) * 0.04
    a = np.radians(degrees)
    across = (x - 240) * np.cos(a) + (y - 240) * np.sin(a)
    along = (y - 240) * np.cos(a) - (x - 240) * np.sin(a)
    everything = reefscan.Recipe.model_validate({"score": {"least_kept": 0}})
    beyond = across > wander_m * np.sin(along / 30)
    return reefscan.scan_elevation(z - 1.8 * beyond, cell_m=CELL_M, recipe=everything)


def test_a_joint_inside_a_file_says_so_and_counts_two_fifths_along_a_column_and_half_on_the_slant(rng):
    edge = joined(rng, 25.0, 6.0).sites
    assert not any("looks-like-seam" in site["flags"] for site in edge)
    for degrees, worth in ((0.0, 0.4), (25.0, 0.5)):
        joint = joined(rng, degrees).sites
        assert all("looks-like-seam" in site["flags"] for site in joint)
        assert "looks like the joint of two surveys" in joint[0]["why"]
        assert joint[0]["score"] == pytest.approx(worth * edge[0]["score"], abs=6.0)
