"""Where the net comes to lie: on known floor beside the structure, within what is asked, and never behind something else."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from surfaces import coordinates

from reefscan.base.model import to_mm
from reefscan.base.recipe import Find
from reefscan.find.candidates import asked_of, measure_halo, search_of
from reefscan.kernels.measure import measured as at
from reefscan.kernels.measure.net import USUAL_OFF
from reefscan.kernels.measure.section import measure_faces

CELL_M = 2.0
X, Y = coordinates(201, 201, CELL_M)


def ledge(
    z: np.ndarray, *, find: Find | None = None, x: float = 0.0, facing_deg: float = 90.0
) -> dict[str, float]:
    """The ledge at (x, 0) with its net's place in metres; empty if none can be set beside it."""
    find = find or Find()
    line = measure_faces(
        to_mm(z), np.array([100]), np.array([100 + round(x / CELL_M)]), np.radians([facing_deg]), np.zeros(1),
        np.full(1, 0.5), search_of(find, CELL_M), asked_of(find, CELL_M), measure_halo(find, CELL_M),
    )[at.LEDGE, 0]  # fmt: skip
    if not np.isfinite(line[at.KIND]):
        return {}
    told = dict(zip(at.FIELDS, line.tolist(), strict=True))
    return told | {"x": (told["net_col"] - 100) * CELL_M, "y": (100 - told["net_row"]) * CELL_M}


def step(height_m: float = 3.0, run_m: float = 4.0) -> np.ndarray:
    """A face that looks east, with its middle on the line x = 0, over a floor at 10 m."""
    return np.asarray(-10.0 + height_m * np.clip(0.5 - X / run_m, 0, 1))


@pytest.mark.parametrize(("low", "high"), [(3.0, 15.0), (6.0, 15.0), (0.5, 4.0), (12.0, 30.0)])
def test_the_net_lies_as_far_from_the_foot_as_is_asked(low, high):
    told = ledge(step(), find=Find(off_min_m=low, off_max_m=high))
    assert low - 1e-6 <= told["off"] <= high + 1e-6
    # the foot is where a tenth is climbed: between the line and one cell beyond half the run
    assert 0.0 < told["x"] - told["off"] <= 2.0 + CELL_M
    assert abs(told["y"]) < 0.1


def test_of_places_alike_the_usual_is_taken_and_of_others_the_flattest():
    assert_allclose(ledge(step())["off"], USUAL_OFF)
    scree = step() - 0.35 * np.clip(X - 2, 0, 6) + 0.35 * 6  # a slope of 19 degrees down to 8 m from the line
    told = ledge(np.where(X > 2, scree, step() + 0.35 * 6) - 2.1)
    assert told["floor_slope"] < 6.0


def test_the_floor_is_told_as_it_slopes():
    told = ledge(step() + 0.1 * Y)
    assert_allclose(told["floor_slope"], np.degrees(np.arctan(0.1)), atol=0.1)


def test_a_net_never_lies_behind_another_hump():
    """A bar of 1 m whose near side is 6 m from the foot: the net lies before it."""
    bar = step() + np.where((X > 8) & (X < 14), 1.0, 0.0)
    assert 2.0 < ledge(bar, find=Find(off_min_m=2.0, off_max_m=30.0))["x"] < 9.0
    # where there is no room before it, there is none
    assert ledge(bar, find=Find(off_min_m=12.0, off_max_m=30.0)) == {}


def test_a_net_lies_on_known_ground_and_with_known_ground_up_to_it():
    hole = np.where((X > 9) & (X < 17) & (np.abs(Y) < 12), np.nan, step())
    assert ledge(hole)["x"] < 9.0
    assert ledge(hole, find=Find(off_min_m=9.0, off_max_m=15.0)) == {}


def test_a_net_lies_in_the_band_that_is_searched():
    assert ledge(step(), find=Find(depth_min_m=1.0, depth_max_m=9.5)) == {}
    assert ledge(step(), find=Find(depth_min_m=11.0, depth_max_m=40.0)) == {}
    assert_allclose(ledge(step())["depth"], 10.0, atol=1e-6)


def beside_a_block() -> np.ndarray:
    """A block of 3 m whose edge lies 5 m to the north of where the net would lie."""
    z = step()
    z[(Y > 5) & (Y < 20) & (X > 4) & (X < 12)] = -7.0
    return z


def test_other_rock_beside_the_net_is_told_as_the_nearer_one():
    z = beside_a_block()
    told = ledge(z, find=Find(off_min_m=4.0, off_max_m=12.0))
    near = np.hypot(X - told["x"], Y - told["y"])[z > -8.8].min()
    assert_allclose(told["off"], min(near, told["x"] - 1.6), atol=CELL_M)
    assert told["off"] >= 4.0


def test_no_net_lies_nearer_to_other_rock_than_is_asked_of_its_own():
    """From 8 to 12 m off the foot the block is 5 to 6 m away: there is no place, and so no site."""
    assert ledge(beside_a_block(), find=Find(off_min_m=8.0, off_max_m=12.0)) == {}
    assert ledge(step(), find=Find(off_min_m=8.0, off_max_m=12.0))["off"] >= 8.0


@pytest.mark.parametrize("lost_deg", [90.0, 180.0, 250.0])
@pytest.mark.parametrize("uphill_deg", [0.0, 30.0])
def test_beside_a_rise_the_net_lies_uphill_also_where_a_side_is_unknown(lost_deg, uphill_deg):
    a = np.radians(uphill_deg)
    bearing = np.degrees(np.arctan2(X, Y))
    z = -10.0 + 0.04 * (X * np.sin(a) + Y * np.cos(a)) + 3.0 * np.clip(1.5 - np.hypot(X, Y) / 8.0, 0.0, 1.0)
    z[(np.abs((bearing - lost_deg + 180) % 360 - 180) < 25) & (np.hypot(X, Y) > 9.0)] = np.nan
    find = Find()
    line = measure_faces(
        to_mm(z), np.array([100 - 4]), np.array([100]), np.zeros(1), np.zeros(1), np.full(1, 0.5), search_of(find, CELL_M),
        asked_of(find, CELL_M), measure_halo(find, CELL_M),
    )[at.RISE, 0]  # fmt: skip
    toward = np.degrees(np.arctan2(line[at.NET_COL] - line[at.COL], line[at.ROW] - line[at.NET_ROW]))
    assert abs((toward - uphill_deg + 180) % 360 - 180) <= 23.0
