"""Chart cells: the table of classes, through a GeoPackage with the same fields and on a real cell with its updates."""

from __future__ import annotations

import csv
from collections import Counter
from importlib.resources import files
from pathlib import Path

import geopandas
import pyogrio
import pytest
import shapely

from reefscan.base.errors import RecipeError
from reefscan.base.recipe import Around
from reefscan.io.around import read_around
from reefscan.io.charts import read_classes
from reefscan.surroundings.shapes import Box

BOX = Box(-22.52, 45.0, -22.49, 45.02).grown(50_000)
AREA = shapely.box(-22.51, 45.005, -22.50, 45.01)
LINE = shapely.LineString([(-22.51, 45.005), (-22.50, 45.01)])
POINT = shapely.Point(-22.505, 45.007)


def cell(path, *objects):
    """A layer with the fields of a cell; each object is (code, geometry, other fields)."""
    fields = sorted({name for *_, more in objects for name in more})
    columns = {name: [more.get(name) for *_, more in objects] for name in fields}
    frame = geopandas.GeoDataFrame(
        {"OBJL": [code for code, *_ in objects], **columns}, geometry=[g for _, g, _ in objects], crs=4326
    )
    frame.to_file(path)
    return str(path)


def read(*paths, **more):
    return read_around(Around(hard=paths, **more), BOX)


def test_every_code_is_the_one_of_its_acronym():
    table = Path(pyogrio.__file__).parent / "gdal_data" / "s57objectclasses.csv"
    if not table.exists():
        pytest.skip("this build of the vector library carries no table of S-57 classes")
    with open(table, encoding="utf-8") as file:
        official = {row[2]: int(row[0]) for row in csv.reader(file) if len(row) > 2 and row[0].isdigit()}
    classes = read_classes().by_code
    assert len(classes) > 40
    for code, kind in classes.items():
        assert official[kind.acronym] == code, kind.acronym


def test_classes_go_to_their_roles_whatever_the_file_was_given_as(tmp_path):
    path = cell(
        tmp_path / "cell.gpkg",
        (112, AREA, {"OBJNAM": "Navy Deep", "RESTRN": "8"}),
        (122, LINE, {"CATSLC": 1}),
        (159, POINT, {"OBJNAM": "barge"}),
        (27, AREA, {}),
        (71, AREA, {}),
        (43, LINE, {}),
        (9999, POINT, {}),
    )
    told = read(path)
    assert {role: told.of(role).called(0) for role in ("closed", "caution", "land")} == {
        "closed": "Navy Deep", "caution": "caution area of cell.gpkg", "land": "land of cell.gpkg",
    }  # fmt: skip
    assert told.of("closed").kind == ("restricted area (entry restricted)",)
    assert told.of("hard").kind == ("breakwater", "wreck")
    assert told.knows_closed and told.why_closed(-22.505, 45.007) == "lies in closed ground (Navy Deep)"
    assert told.unused == {"cell.gpkg": {"class 43": 1, "class 9999": 1}}


@pytest.mark.parametrize(
    ("code", "restrictions", "allow", "role"),
    [
        (112, None, False, "closed"),
        (112, "16", False, "caution"),  # discharging prohibited: no matter to a net
        (112, "16,3", False, "closed"),
        (112, '[ "13", "26" ]', False, "caution"),
        (51, None, False, "closed"),
        (51, None, True, "caution"),
        (46, None, True, "caution"),
        (46, "7", True, "closed"),
        (83, None, True, "closed"),
        (20, "1", False, "closed"),
        (20, "2", False, "caution"),
    ],
)
def test_restrictions_and_channels_decide_what_is_closed(tmp_path, code, restrictions, allow, role):
    told = read(cell(tmp_path / "c.gpkg", (code, AREA, {"RESTRN": restrictions})), allow_fairways=allow)
    assert {r for r in ("closed", "caution") if len(told.of(r))} == {role}


def test_what_a_person_hands_over_as_closed_is_closed_whatever_class_it_has(tmp_path):
    path = cell(tmp_path / "c.gpkg", (121, AREA, {}), (112, AREA, {"RESTRN": "16"}))
    assert len(read_around(Around(closed=(path,)), BOX).of("closed")) == 2
    assert len(read(path).of("closed")) == 0


def test_a_marine_farm_charted_as_a_point_closes_the_ground_around_it(tmp_path):
    told = read(cell(tmp_path / "c.gpkg", (82, POINT, {})))
    assert told.why_closed(-22.505, 45.0074) and not told.why_closed(-22.505, 45.0076)


def test_times_of_the_year_of_a_cell_are_judged(tmp_path):
    path = cell(tmp_path / "c.gpkg", (112, AREA, {"PERSTA": "--0401", "PEREND": "--0930", "DATSTA": None}))
    assert len(read(path, date="2026-05-01").of("closed")) == 1
    assert len(read(path, date="2026-11-01").of("closed")) == 0
    assert len(read(path).of("closed")) == 1


def test_a_table_of_ones_own_sorts_otherwise_and_a_wrong_one_is_refused(tmp_path):
    path = cell(tmp_path / "c.gpkg", (158, AREA, {}), (51, AREA, {}))
    own = tmp_path / "own.toml"
    own.write_text('[WEDKLP]\ncode = 158\nrole = "caution"\nwhat = "kelp"\n[FAIRWY]\ncode = 51\n')
    told = read(path, classes=str(own))
    assert told.of("caution").kind == ("kelp",) and not len(told.of("closed"))
    assert told.unused == {"c.gpkg": {"FAIRWY": 1}}
    for text, words in (
        ("[X]\nrole = 'hard'", "names no code"), ("[X]\ncode = 1\nrole = 'shut'", "wanted closed, caution"),
        ("[X]\ncode = 1\ncolour = 2", "unknown key 'colour'"), ("[X]\ncode = 1\n[Y]\ncode = 1", "stands twice"), ("[", "not valid TOML"),
    ):  # fmt: skip
        own.write_text(text)
        with pytest.raises(RecipeError, match=words):
            read(path, classes=str(own))


@pytest.mark.realdata
def test_a_real_cell_is_sorted_with_its_updates(realdata):
    path = realdata / "US4MD81M.000"
    if not path.exists():
        pytest.skip(f"{path.name} is not among the public grids")
    told = read_around(Around(hard=(str(path),)), Box(-76.55, 38.4, -76.05, 39.0).grown(50_000))
    kinds = Counter(told.of("hard").kind)
    assert kinds["wreck"] == 111, "110 in the cell and one more in its updates"
    assert kinds["breakwater"] == 11 and kinds["underwater rock"] == 18
    closed = Counter(kind.split(" (")[0] for kind in told.of("closed").kind)
    assert closed["fairway"] == 20 and closed["firing danger area"] == 3
    assert sum(told.unused["US4MD81M.000"].values()) > 5000
    every = sum(len(told.of(role)) for role in ("closed", "caution", "hard", "land"))
    assert every > 1500


def test_the_table_travels_with_the_package():
    assert files("reefscan.io").joinpath("chart_classes.toml").is_file()
