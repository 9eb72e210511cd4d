"""What a plan takes from a run: the ground of several grids, closed ground and fairways, the day they were judged for."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Geod, Transformer
from review.seabed import ArraySource, seabed

from reefscan.base.model import Sheet, Window
from reefscan.pipeline.offground import off_grounds
from reefscan.pipeline.planning import _barred, _notes, _site, not_listed, with_scores
from reefscan.pipeline.shoalest import ground_of
from reefscan.plan.books import Boat, Net
from reefscan.plan.model import Asked
from reefscan.plan.sites import OffGround, Site
from reefscan.score.scoring import Scored
from reefscan.surroundings.known import Surroundings
from reefscan.surroundings.shapes import Box, Shapes, no_shapes

FINE = Sheet("EPSG:32630", 4.0)


def source(elev: np.ndarray, sheet: Sheet, west: float, north: float) -> ArraySource:
    made = ArraySource(elev, sheet=sheet)
    made.extent = Window(round((sheet.y_phase_m - north) / sheet.cell_m), round((west - sheet.x_phase_m) / sheet.cell_m), *elev.shape)  # fmt: skip
    return made


@pytest.mark.parametrize(
    "other", [Sheet("EPSG:32630", 10.0, 3.0, 7.0), Sheet("EPSG:32631", 3.0), Sheet("EPSG:3035", 7.0)]
)
def test_of_several_grids_no_cell_is_deeper_than_any_ground_under_it(other: Sheet) -> None:
    """Each cell is compared with what lies under random places in it, read off the grids one by one."""
    rng = np.random.default_rng(5)
    west, north = 500_000.0, 5_600_000.0
    fine = source(seabed(60, 60, seed=3), FINE, west, north)
    fine._mm[:, 30:] = -(2**31)  # its east is not known
    to = Transformer.from_crs(FINE.crs, other.crs, always_xy=True)
    x, y = to.transform([west - 50, west + 290, west - 50, west + 290], [north + 50, north + 50, north - 290, north - 290])  # fmt: skip
    west2, north2 = (math.floor(min(x) / other.cell_m) * other.cell_m + other.x_phase_m, math.ceil(max(y) / other.cell_m) * other.cell_m + other.y_phase_m)  # fmt: skip
    shape = (int((north2 - min(y)) / other.cell_m) + 2, int((max(x) - west2) / other.cell_m) + 2)
    second = source(-8 + rng.normal(0, 2, shape), other, west2, north2)
    back = Transformer.from_crs(FINE.crs, "EPSG:4326", always_xy=True)
    lon, lat = back.transform([west + 120.0], [north - 120.0])
    ground = ground_of([fine, second], np.array(lon), np.array(lat), most=400)
    on_ground = Transformer.from_crs(FINE.crs, ground.crs, always_xy=True)
    looked = 0
    for _ in range(4000):
        px, py = west + rng.uniform(0, 240), north - rng.uniform(0, 240)
        cell = ground.elev[ground.cell(on_ground.transform(px, py))]
        known = []
        for grid in (fine, second):
            gx, gy = (px, py) if grid is fine else to.transform(px, py)
            row, col = round(float(grid.sheet.row_of(gy))), round(float(grid.sheet.col_of(gx)))
            value = grid.read(Window(row, col, 1, 1)).elev_mm[0, 0]
            known.append(math.nan if value == -(2**31) else value / 1000)
        under = known[0] if ground.cell_m == 4.0 and math.isfinite(known[0]) else known[1]
        if ground.cell_m == 3.0 and math.isfinite(known[1]):  # the second is the finer one
            under = known[1]
        if math.isfinite(under) and math.isfinite(cell):
            assert cell >= under - 1e-9
            looked += 1
    assert looked > 2000


BOX = Box(-1.0, 49.0, 1.0, 51.0)
SQUARE = shapely.box(-0.1, 49.9, 0.1, 50.1)


def surroundings(role: str, kind: str) -> Surroundings:
    shapes = Shapes(np.array([SQUARE], dtype=object), ("North Run",), (kind,), ("a.gpkg",))
    return Surroundings(BOX, {role: shapes}, {role: ("a.gpkg",)})


def off(around: Surroundings | None, lon: float, *, avoid: Shapes | None = None, fairways: bool = False, stand_off_m: float = 0.0) -> tuple[OffGround, ...]:  # fmt: skip
    (found,) = off_grounds(
        np.array([lon]), np.array([50.0]), around, avoid or no_shapes(), BOX, fairways=fairways, stand_off_m=stand_off_m
    )  # fmt: skip
    return found


def test_closed_ground_and_fairways_are_told_with_the_distance_to_them() -> None:
    """From 0.5 E, 50 N to the side of the square at 0.1 E are 0.4 degrees of the parallel: 28 679 m by Geod (WGS 84)."""
    apart = float(Geod(ellps="WGS84").inv(0.1, 50.0, 0.5, 50.0)[2])
    (inside,) = off(surroundings("closed", "reserve"), 0.0)
    assert (inside.what, inside.name, inside.metres, inside.bound) == (
        "closed ground",
        "North Run",
        0.0,
        True,
    )
    (outside,) = off(surroundings("closed", "reserve"), 0.5)
    assert outside.metres == pytest.approx(apart, rel=1e-3) and outside.keep_m == 10.0
    fairway = surroundings("caution", "fairway")
    (told,) = off(fairway, 0.0)
    assert (
        told.metres == 0
        and (told.what, told.name) == ("a fairway", "North Run")
        and "--allow-fairways" in told.advice
    )
    assert off(fairway, 0.0, fairways=True) == off(surroundings("caution", "kelp"), 0.0) == off(None, 0.0) == ()  # fmt: skip


def test_structure_and_what_is_named_to_keep_off_are_told_with_the_stand_off() -> None:
    wall = surroundings("hard", "breakwater")
    assert off(wall, 0.5) == ()  # nets beside structure are the purpose, unless one says otherwise
    (told,) = off(wall, 0.5, stand_off_m=40.0)
    assert (told.what, told.name, told.keep_m, told.bound) == ("hard structure", "North Run", 40.0, False)
    line = Shapes(np.array([shapely.LineString([(0.0, 49.9), (0.0, 50.1)])], dtype=object), ("Mole",), ("",), ("mine.geojson",))  # fmt: skip
    for stand_off, keep in ((0.0, 10.0), (25.0, 25.0)):
        found = off(None, 0.001, avoid=line, stand_off_m=stand_off)
        assert [(ground.what, ground.name, ground.keep_m) for ground in found] == [
            ("ground to keep off", "Mole", keep)
        ]
        # CHECKS g, or Geod: a thousandth of a degree of the parallel of 50 N is 71.7 m
        assert found[0].metres == pytest.approx(71.7, abs=0.1)


def test_a_place_beyond_what_the_run_knows_as_closed_and_one_too_far_are_barred() -> None:
    asked = Asked(
        date=dt.date(2027, 2, 11), zone=ZoneInfo("UTC"), until="02:00", nets=(Net(rope_m=20),), launch=(0.0, 50.0), boat=Boat()
    )  # fmt: skip
    closed = surroundings("closed", "reserve")
    near, away = Site("a", 0.01, 50.0, 9.0), Site("b", 1.5, 50.0, 9.0)
    assert _barred(near, asked, closed, 10_000.0) == _barred(away, asked, None, 200_000.0) == ""
    assert "beyond the ground for which this run knows" in _barred(away, asked, closed, 200_000.0)
    assert _barred(away, asked, closed, 10_000.0).startswith("beyond --range: 108 km")
    assert _barred(away, replace(asked, unit="ft"), closed, 10_000.0).startswith("beyond --range: 58.")


def test_a_candidate_that_the_run_does_not_list_is_refused_with_why() -> None:
    """Not "no such site": the run found it, and the depths that were asked for leave it out."""
    table = pd.DataFrame({"id": ["a", "deep", "odd"], "depth_m": [9.0, 31.0, 9.0]})
    worth = {"depth": np.array([1.0, 0.0, 1.0]), "height": np.array([1.0, 1.0, 1.0])}
    listed = np.array([True, False, False])
    scored = Scored(listed * 10, np.ones(3), np.ones(3), listed, ~listed, worth, {}, np.zeros(3, bool), ())
    said = not_listed(("a", "deep", "odd", "nowhere"), table, scored, "ft")
    assert set(said) == {"deep", "odd"}
    assert said["deep"].startswith("the run found it at 101.7 ft, outside the depths") and "--depth" in said["deep"]  # fmt: skip
    assert "doubted to be structure" in said["odd"]


def test_closures_judged_for_another_day_are_told() -> None:
    asked = Asked(
        date=dt.date(2027, 2, 11), zone=ZoneInfo("UTC"), until="02:00", nets=(Net(rope_m=20),), launch=(0.0, 50.0), boat=Boat()
    )  # fmt: skip
    (said,) = _notes(asked, {"around": {"date": "2026-07-01"}})
    assert "judged for 2026-07-01" in said and "scan again with --date 2027-02-11" in said
    assert _notes(asked, {"around": {"date": "2027-02-11"}}) == _notes(asked, {}) == ()
    (moved,) = _notes(asked, {"datum_shift_m": -0.4})
    assert "added -0.4 m" in moved and "--datum-shift" in moved
    assert _notes(replace(asked, date=dt.date(2026, 7, 1)), {"around": {"date": "2026-07-01"}}) == ()


def test_a_site_set_by_hand_has_no_score_and_no_depth_but_what_it_says() -> None:
    site = _site(
        {"id": "mine", "lon": 0.0, "lat": 50.0, "depth_m": math.nan, "flags": None, "slope_deg": 45.0}
    )
    assert math.isnan(site.depth_m) and math.isnan(site.score) and site.flags == ()
    assert site.steep == pytest.approx(1.0)
    scored = Scored(np.zeros(1, np.int64), np.array([55.5]), np.array([0.9]), np.ones(1, bool), np.zeros(1, bool), {}, {}, np.zeros(1, bool), ())  # fmt: skip
    picked = with_scores(pd.DataFrame({"id": ["a", "mine"]}), pd.DataFrame({"id": ["a"]}), scored)
    assert picked["score"].tolist()[0] == 55.5 and math.isnan(picked["score"].tolist()[1])
