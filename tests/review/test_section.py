"""The section of a site: through its net along the told bearing, with foot and top where planted ground has them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose
from surfaces import cone, coordinates, flat_trough, ramp, scan_cells

from reefscan.base.arraysource import ArraySource
from reefscan.review.section import COUNT, HALF_M, Section, bearing_of, foot_m, half_of, sections

CRS, ORIGIN, CELL_M = "EPSG:32633", (500_000.0, 5_000_000.0), 2.0
X, Y = coordinates(241, 241, CELL_M)


def told(z: np.ndarray, kind: str) -> tuple[pd.Series, Section]:
    """The best site of a kind on a seabed, and its section."""
    run = scan_cells(z, cell_m=CELL_M, crs=CRS, origin=ORIGIN)
    best = run.candidates[run.candidates["kind"] == kind].sort_values("rank").head(1)
    source = ArraySource.from_metres(z, cell_m=CELL_M, crs=CRS, origin=ORIGIN)
    (section,) = sections(best, [source], most=1)
    assert section is not None
    return best.iloc[0], section


def at(section: Section, place_m: float) -> float:
    return float(np.interp(place_m, np.linspace(-section.half_m, section.half_m, COUNT), section.depths_m))


@pytest.mark.parametrize("facing", [20.0, 45.0, 135.0, 255.0, 290.0, 315.0])
def test_a_ledges_foot_and_top_stand_where_it_ends(facing):
    z = -10.0 + ramp(X, Y, height_m=4.0, run_m=12.0, facing_deg=facing, base_m=0.0) - 0.001 * Y
    site, section = told(z, "ledge")
    marks = {mark.what: mark.at_m for mark in section.marks}
    assert set(marks) == {"foot", "top"}
    # the whole bed leans by 1 in 1000 to the north: how much deeper or shoaler it lies here than in the middle
    lean = at(section, 0.0) - 10.0
    assert abs(lean) < 0.001 * Y.max() + 0.01
    # the foot has a tenth to go, the top is all of it; half a metre along a face of 1 in 3 is 0.17 m
    assert_allclose(at(section, marks["foot"]), 9.6 + lean, atol=0.17)
    assert_allclose(at(section, marks["top"]), 6.0 + lean, atol=0.17)
    assert_allclose(abs(foot_m(site)), site["off_m"], atol=0.2)
    assert_allclose(at(section, 0.0), site["depth_m"], atol=0.1)


@pytest.mark.parametrize("axis", [0.0, 65.0])
def test_a_troughs_feet_lie_on_either_side_and_its_tops_its_width_apart(axis):
    z = flat_trough(X, Y, floor_m=12, flank_m=6, depth_m=3, axis_deg=axis) + 0.001 * X
    site, section = told(z, "trough")
    assert [mark.what for mark in section.marks] == ["top", "foot", "foot", "top"]
    left, foot, other, right = (mark.at_m for mark in section.marks)
    assert left < foot < 0 < other < right
    assert_allclose(right - left, site["width_m"], atol=0.1)
    assert_allclose([at(section, left), at(section, right)], 10.0, atol=0.5)
    assert_allclose([at(section, foot), at(section, other)], 12.7, atol=0.5)


def test_a_rises_top_lies_ahead_of_its_foot():
    site, section = told(-12.0 + cone(X, Y, height_m=3.0, radius_m=10.0, base_m=0.0), "rise")
    marks = {mark.what: mark.at_m for mark in section.marks}
    assert abs(marks["top"]) > abs(marks["foot"])
    assert_allclose(at(section, marks["top"]), 9.0, atol=0.6)
    assert_allclose(at(section, marks["foot"]), 11.7, atol=0.4)


def test_a_section_is_long_enough_for_all_that_is_told():
    site = {"kind": "ledge", "lon": 15.0, "lat": 45.0, "structure_lon": 15.0, "structure_lat": 45.0001, "cross_deg": 0.0}  # fmt: skip
    assert_allclose(foot_m(site), 11.12, atol=0.01)
    assert half_of(site | {"width_m": 20.0}) == HALF_M
    assert half_of(site | {"width_m": 140.0}) == 190.0
    assert half_of(site) == HALF_M


def test_a_site_of_ones_own_without_structure_has_a_section_to_the_north_and_no_marks():
    source = ArraySource.from_metres(-10.0 - 0.01 * X, cell_m=CELL_M, crs=CRS, origin=ORIGIN)
    site = pd.DataFrame({"kind": ["man-made"], "lon": [15.002], "lat": [45.1485]})
    (section,) = sections(site, [source], most=1)
    assert bearing_of(site.iloc[0]) == 0.0
    assert section is not None
    assert section.marks == ()
    assert section.half_m == HALF_M
