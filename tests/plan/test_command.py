"""``reefscan plan`` from the command line: its files against their standards, and what it refuses."""

from __future__ import annotations

import itertools
import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from geojson_pydantic import FeatureCollection
from lxml import etree
from pyproj import Geod
from review.seabed import HOSTILE, ArraySource, seabed, sites, write_grid, write_run

from reefscan.base.model import Window
from reefscan.cli import run as command_line
from reefscan.io.georef import transformer
from reefscan.io.grids.rasters import open_grids
from reefscan.io.out.schemas import load_schema
from reefscan.pipeline.shoalest import ground_of, shoalest

ROOT = Path(__file__).parents[2]
GEOD = Geod(ellps="WGS84")
NIGHT = ROOT / "data_samples" / "night"
GPX = etree.XMLSchema(etree.parse(str(ROOT / "tests" / "io" / "out" / "schemas" / "gpx.xsd")))


@pytest.fixture(scope="module")
def coast(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a run on an invented seabed, and ``launch.txt`` that holds a wet place of it."""
    base = tmp_path_factory.mktemp("night")
    source = ArraySource(seabed())
    grid = write_grid(base / "coast.tif", source)
    table = sites(source, 60)
    write_run(base / "run", grid, table)
    deep = table.sort_values("depth_m").iloc[40]
    (base / "launch.txt").write_text(f"{deep.lat:.6f},{deep.lon:.6f}")
    return base


def line(coast: Path, out: Path, *more: str, leave_out: tuple[str, ...] = ()) -> list[str]:
    """A whole command; what is given again in ``more`` stands in for what it begins with."""
    options = {
        "--nets": "4", "--rope": "40m", "--marks": "2m", "--date": "2027-02-11", "--tz": "Atlantic/Azores",
        "--tide": str(NIGHT / "tides.csv"), "--tide-datum-offset": "0m", "--launch": (coast / "launch.txt").read_text(),
        "--until": "23:30", "--boat": str(NIGHT / "boat.toml"), "--forecast": str(NIGHT / "forecast.toml"),
        "--rules": str(NIGHT / "rules.toml"), "--out": str(out),
    }  # fmt: skip
    words = [w for k, v in options.items() if k not in more and k not in leave_out for w in (k, v)]
    return ["plan", str(coast / "run"), *words, *more]


@pytest.fixture(scope="module")
def planned(coast: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("planned") / "plan"
    assert command_line(line(coast, out)) == 0
    return out


def test_the_plan_fits_its_schema_and_says_what_it_must(planned: Path) -> None:
    plan = json.loads((planned / "plan.json").read_text())
    jsonschema.validate(plan, load_schema("plan"))
    assert [net["net"] for net in plan["nets"]] == [1, 2, 3, 4]
    for net in plan["nets"]:
        for one in net["rounds"]:
            assert one["rope_m"] == pytest.approx(2 * one["rope_marks"]) and one["rope_m"] <= 40
            assert (
                one["rope_m"] >= net["depth_m"] + one["tide_max_m"] + 0.3 + 0.3
            )  # surge, half of 0.6 m waves
            assert one["set_time"].endswith("-01:00") and one["set_time"] < one["pull_time"]
    assert [way["from"] for way in plan["route"]] == ["launch", "net 1", "net 2", "net 3", "net 4", "net 4"]
    assert [way["to"] for way in plan["route"]] == ["net 1", "net 2", "net 3", "net 4", "net 1", "launch"]
    for change in ({"rope_m": 0}, {"rope_marks": 0}, {"set_time": "2027-02-11T20:00:00"}, {"rope": 3}):
        bad = json.loads(json.dumps(plan))
        bad["nets"][0]["rounds"][0].update(change)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(bad, load_schema("plan"))


def test_the_places_are_valid_geojson_and_gpx_in_the_order_of_the_visits(planned: Path) -> None:
    plan = json.loads((planned / "plan.json").read_text())
    places = json.loads((planned / "plan.geojson").read_text())
    FeatureCollection.model_validate(places)
    assert {f["geometry"]["type"] for f in places["features"]} == {
        "Point"
    }  # no line that an autopilot follows
    nets = [f for f in places["features"] if f["properties"]["role"] == "net"]
    assert [f["geometry"]["coordinates"] for f in nets] == [[net["lon"], net["lat"]] for net in plan["nets"]]
    tree = etree.fromstring((planned / "waypoints.gpx").read_bytes())
    GPX.assertValid(tree)
    names = [n.text for n in tree.findall("{*}wpt/{*}name")]
    assert names[0] == "launch" and [n for n in names if n.startswith("net")] == [
        "net 1",
        "net 2",
        "net 3",
        "net 4",
    ]
    assert tree.findall("{*}rte") == []
    assert "Closed ground: none given" in tree.findtext("{*}metadata/{*}desc")


def test_a_route_is_written_where_it_is_asked_for(coast: Path, tmp_path: Path) -> None:
    assert command_line(line(coast, tmp_path / "plan", "--route")) == 0
    plan = json.loads((tmp_path / "plan" / "plan.json").read_text())
    tree = etree.fromstring((tmp_path / "plan" / "waypoints.gpx").read_bytes())
    GPX.assertValid(tree)
    points = [[float(p.get("lon")), float(p.get("lat"))] for p in tree.findall("{*}rte/{*}rtept")]
    assert points[0] == points[-1] == plan["route"][0]["points"][0]
    # an autopilot follows it: each of its pieces is one that was laid round land and shoals
    laid = [pair for way in plan["route"] for pair in itertools.pairwise(way["points"])]
    assert [pair for pair in itertools.pairwise(points) if pair not in laid] == []
    ordered = [[float(p.get("lon")), float(p.get("lat"))] for p in tree.findall("{*}wpt")]
    assert [pair for pair in itertools.pairwise(ordered[: len(points) - 1]) if pair not in laid] == []
    for net in plan["nets"]:
        assert [net["lon"], net["lat"]] in points
    places = json.loads((tmp_path / "plan" / "plan.geojson").read_text())
    FeatureCollection.model_validate(places)
    assert "LineString" in {f["geometry"]["type"] for f in places["features"]}


def test_the_sheets_carry_the_cautions_and_call_nothing_safe(planned: Path) -> None:
    page = (planned / "deck.html").read_text()
    assert not re.findall(r"(?:src|href)=\"(?!data:)", page) and "url(" not in page
    for text in (page, (planned / "float_plan.txt").read_text()):
        assert "Check local rules" in text and "Not for navigation" in text
    words = re.sub(r"never a place known to be safe", "", page, flags=re.I)
    assert not re.search(r"\bsafe\b", words, re.I)
    assert page.count('type="checkbox"') >= 6 + 4 + 2 * 4
    pdf = (planned / "deck.pdf").read_bytes()
    assert pdf.startswith(b"%PDF") and len(re.findall(rb"/Type /Page\b", pdf)) == 1


def test_the_float_plan_has_the_usual_fields(planned: Path) -> None:
    """Fields of coast guards' forms (CHECKS j: Transport Canada's sail plan)."""
    text = (planned / "float_plan.txt").read_text()
    for field in ("Skipper", "Phone", "Persons aboard", "Boat", "Length, colours", "Engine", "Radio, MMSI", "Safety equipment",
                  "From", "Leaving", "Back by", "Rescue service", "NOT BACK AND NO WORD BY"):  # fmt: skip
        assert field in text
    assert "Pipit" in text and "A. Invented, B. Invented" in text
    assert max(map(len, text.splitlines())) <= 78


def test_equal_plans_are_equal_bytes_and_only_our_own_files_are_written_over(
    coast: Path, planned: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan"
    assert command_line(line(coast, out)) == 0
    assert command_line(line(coast, out)) == 0  # over its own
    for name in ("plan.json", "plan.geojson", "waypoints.gpx", "deck.pdf", "deck.html", "float_plan.txt"):
        assert (out / name).read_bytes() == (planned / name).read_bytes(), name
    (out / "float_plan.txt").write_text("Milk, bread")
    capsys.readouterr()
    assert command_line(line(coast, out)) == 1
    assert "left alone" in capsys.readouterr().err
    assert (out / "float_plan.txt").read_text() == "Milk, bread"


def test_failed_checks_come_first_on_the_sheets_and_last_on_the_screen(
    coast: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    stormy = tmp_path / "forecast.toml"
    stormy.write_text("wind_kn = 30\ngust_kn = 12\nwave_m = 0.5\n")
    assert command_line(line(coast, tmp_path / "plan", "--forecast", str(stormy))) == 0
    last = capsys.readouterr().err.strip().splitlines()[-1]
    assert "STAY?" in last and "wind: 30 kn; your limit is at most 15 kn" in last
    page = (tmp_path / "plan" / "deck.html").read_text()
    assert page.index("wind: 30 kn") < page.index("first set")
    plan = json.loads((tmp_path / "plan" / "plan.json").read_text())
    assert {row["check"] for row in plan["go"]["failed"]} == {
        "wind",
        "visibility",
        "hours from",
    }  # sunset comes before 17:00 there


@pytest.mark.parametrize(
    ("more", "leave_out", "said"),
    [
        (("--nets", "0"), (), "--nets 0: there is no net"),
        (("--rope", "24"), (), "one has a unit and one has none"),
        (("--rope", "1m"), (), "the rope ends before its first mark"),
        (("--rope", "1m", "--marks", "0m"), (), "out of the rope's reach"),
        ((), ("--rope", "--marks"), "say --nets and --rope"),
        (("--gear", str(NIGHT / "gear.toml")), (), "leave --rope and --marks out"),
        (("--gear", str(NIGHT / "gear.toml"), "--nets", "7"), ("--rope", "--marks"), "has 6 nets"),
        ((), ("--tide-datum-offset",), "say --tide-datum-offset"),
        (("--date", "2027-02-30"), (), "is no day"),
        (("--date", "2027-02-21"), (), "tides.csv: reaches from 2027-02-11"),
        (("--tz", "Atlantic/Nowhere"), (), "is not known"),
        (("--until", "25:00"), (), "--until: '25:00' is no time of the clock"),
        (("--until", "15:00"), (), "before the first set (sunset"),
        (("--launch", "22,5,1"), (), "--launch: '22,5,1' is not a place; write latitude and longitude"),
        (("--launch", "122,5"), (), "'122,5' is not a place; write latitude and longitude"),
        (("--launch", "-51.69,-57.86"), (), "23 sites lie beyond --range, 10 km from the launch, of 23 in all; check --launch"),
        (("--soak", "an hour"), (), "--soak"),
        (("--surge", "-1m"), (), "--surge -1m: wanted 0 or more"),
        (("--unit", "yard"), (), "--unit 'yard': is not known"),
        (("--keep", "nowhere"), (), "the run has no such site; wanted its id, such as t"),
        (("--explore", "9"), (), "--explore 9: there are 4 nets"),
        (("--soak", "0"), (), "--soak 0: wanted more than nothing"),
        (("--avoid", "nowhere.geojson"), (), "nowhere.geojson: no such file; --avoid wants"),
        (("--unit", "ft", "--rope", "80", "--marks", "2"), (), "--rope 80: a bare number is metres, and this plan speaks of ft; write 80ft or 80m"),
        (("--unit", "ft", "--rope", "+80", "--marks", "2"), (), "--rope +80: a bare number is metres"),
        (("--unit", "ft", "--tide-datum-offset", "-3"), (), "--tide-datum-offset -3: a bare number is metres"),
        (("--unit", "fathom", "--stand-off", "50"), (), "--stand-off 50: a bare number is metres, and this plan speaks of fathom"),
        (("--unit", "ft", "--surge", "1.5"), (), "--surge 1.5: a bare number is metres"),
        (("--surge", "90m"), (), "deepest workable site: none with 40 m of rope at this tide"),
        (("--tide", "nowhere.csv"), (), "nowhere.csv"),
        (("--boat", str(NIGHT / "forecast.toml")), (), "unknown key"),
    ],
)  # fmt: skip
def test_bad_input_is_refused_in_one_line_that_says_what_to_do(
    coast: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], more: tuple[str, ...], leave_out: tuple[str, ...], said: str
) -> None:  # fmt: skip
    assert command_line(line(coast, tmp_path / "plan", *more, leave_out=leave_out)) == 1
    told = capsys.readouterr().err.strip().splitlines()
    assert len(told) == 1 and said in told[0]
    assert not (tmp_path / "plan").exists()


def test_times_without_a_zone_are_refused_in_summer_time_and_taken_where_there_is_none(
    coast: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The Azores keep -01:00 in winter and +00:00 in summer (IANA): a printed table may keep either."""
    bare = tmp_path / "bare.csv"
    for month, code in (("02", 0), ("07", 1)):
        rows = re.sub(r"Z,", ",", (NIGHT / "tides.csv").read_text()).replace("time_utc", "time").replace("2027-02", f"2027-{month}")  # fmt: skip
        bare.write_text(rows)
        out = tmp_path / month
        words = line(coast, out, "--tide", str(bare), "--date", f"2027-{month}-11", "--start", "19:00", leave_out=("--rules",))  # fmt: skip
        assert command_line(words) == code
    assert "carry no time zone; say --tide-zone" in capsys.readouterr().err
    assert command_line([*words, "--tide-zone", "-01:00"]) == 0


ROWS = (NIGHT / "tides.csv").read_text().splitlines()


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([*ROWS[:2], *ROWS[3:]], "the turn between them is missing"),  # the evening's high left out
        ([*ROWS[:2], ROWS[2].replace("3.31", "3,31"), *ROWS[3:]], "a decimal comma wants semicolons"),
        ([*ROWS[:2], ROWS[2].replace("3.31", "3.3l"), *ROWS[3:]], "none may be left out"),
        ([*ROWS[:2], ROWS[2].removesuffix(",high"), *ROWS[3:]], "none may be left out"),
        ([row.replace("high", "?").replace("low", "high").replace("?", "low") for row in ROWS], "the low water is the higher one"),
    ],
)  # fmt: skip
def test_a_row_that_is_lost_from_the_tide_table_is_refused(
    rows: list[str], said: str, coast: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Without the high of 3.31 m the night's water is 0.7 m, and every float is 2.6 m under."""
    table = tmp_path / "tides.csv"
    table.write_text("\n".join(rows) + "\n")
    assert command_line(line(coast, tmp_path / "plan", "--tide", str(table))) == 1
    assert said in capsys.readouterr().err


def test_a_step_over_a_missing_high_water_is_a_failed_check(
    coast: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Bare rows do not say what they are: from low to low are 12 h 29 min, and steps are taught to 10 h 40 min (CHECKS e1)."""
    table = tmp_path / "tides.csv"
    table.write_text("\n".join(row.rpartition(",")[0] for row in [*ROWS[:2], *ROWS[3:]]) + "\n")
    assert command_line(line(coast, tmp_path / "plan", "--tide", str(table))) == 0
    last = capsys.readouterr().err.strip().splitlines()[-1]
    assert "FAILED: tide table: no turn from 2027-02-11 12:02 to 2027-02-12 00:31, 12.5 h" in last
    table.write_text("\n".join(row.rpartition(",")[0] for row in ROWS) + "\n")
    assert command_line(line(coast, tmp_path / "plan", "--tide", str(table))) == 0
    assert "tide table: no turn" not in capsys.readouterr().err


def test_a_datum_offset_may_stand_in_the_boats_file_and_moves_rope_and_sounder(
    coast: Path, planned: Path, tmp_path: Path
) -> None:
    boat = tmp_path / "boat.toml"
    boat.write_text('tide_datum_offset_m = "1.0m"\n' + (NIGHT / "boat.toml").read_text())
    assert command_line(line(coast, tmp_path / "plan", "--boat", str(boat), leave_out=("--tide-datum-offset",))) == 0  # fmt: skip
    a, b = (json.loads((folder / "plan.json").read_text()) for folder in (planned, tmp_path / "plan"))
    assert b["tide"]["highest_m"] == pytest.approx(a["tide"]["highest_m"] + 1.0)
    both = {net["id"]: net for net in a["nets"]}
    shared = [(both[net["id"]], net) for net in b["nets"] if net["id"] in both]
    assert shared
    for one, other in shared:
        tide = other["rounds"][0]["tide_set_m"]
        assert other["rounds"][0]["sounder_m"] == pytest.approx(other["depth_m"] + tide - 0.3, abs=0.011)
        assert other["rounds"][0]["rope_m"] >= one["rounds"][0]["rope_m"]


def test_picks_are_what_is_chosen_among_and_what_is_typed_stays_text(coast: Path, tmp_path: Path) -> None:
    listed = json.loads((coast / "run" / "candidates.geojson").read_text())["features"]
    wet = [f for f in listed if 4 < f["properties"]["depth_m"] < 15]
    picks = [
        {"id": f["id"], "state": "keep", "name": f"Pick {k} {HOSTILE}", "note": HOSTILE, "lon": f["geometry"]["coordinates"][0],
         "lat": f["geometry"]["coordinates"][1], "depth_m": f["properties"]["depth_m"], "kind": "ledge", "added": False}
        for k, f in enumerate(wet[:6])
    ]  # fmt: skip
    path = tmp_path / "picks.json"
    path.write_text(json.dumps({"schema": "reefscan-picks/1", "run": "run", "picks": picks}))
    assert command_line(line(coast, tmp_path / "plan", "--picks", str(path))) == 0
    plan = json.loads((tmp_path / "plan" / "plan.json").read_text())
    taken = {net["id"]: net for net in plan["nets"]}
    assert set(taken) <= {p["id"] for p in picks}
    assert taken and all(
        net["site_name"].startswith("Pick") and net["score"] is not None for net in taken.values()
    )
    page = (tmp_path / "plan" / "deck.html").read_text()
    assert "Pick 0" in page or "Pick 1" in page
    assert "<script" not in page and "<img src=x" not in page and "&lt;img src=x" in page


def test_a_pick_lies_at_the_depth_of_the_grid_whatever_its_file_says(
    coast: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A pick of another run, or a typed one, may carry any depth: rope cut for it would drown the float."""
    elev, (source,) = seabed(), open_grids([str(coast / "coast.tif")], positive="up")
    row, col = (int(v) for v in np.argwhere((elev > -13) & (elev < -12))[700])
    west, south, _, _ = source.sheet.bounds(Window(source.extent.row + row, source.extent.col + col, 1, 1))
    lon, lat = transformer(source.sheet.crs, "EPSG:4326").transform(west + 1.0, south + 1.0)
    pick = {"id": "mine", "state": "keep", "name": "", "note": "", "lon": lon, "lat": lat, "depth_m": 4.0, "kind": "", "added": True}  # fmt: skip
    path = tmp_path / "picks.json"
    path.write_text(json.dumps({"schema": "reefscan-picks/1", "run": "run", "picks": [pick]}))
    assert command_line(line(coast, tmp_path / "plan", "--picks", str(path), "--nets", "1")) == 0
    (net,) = json.loads((tmp_path / "plan" / "plan.json").read_text())["nets"]
    around = elev[row - 1 : row + 2, col - 1 : col + 2]
    assert net["depth_m"] == pytest.approx(-around.min(), abs=0.011)
    assert re.search(r"pick mine: its file says 4.0 m and the grid 1[23]\.\d m", capsys.readouterr().err)
    path.write_text(
        json.dumps({"schema": "reefscan-picks/1", "run": "run", "picks": [pick | {"lat": lat + 1}]})
    )
    assert command_line(line(coast, tmp_path / "far", "--picks", str(path), "--nets", "1")) == 1
    assert "1 site lies beyond --range, 10 km from the launch, of 1 in all" in capsys.readouterr().err


def test_the_launch_may_be_written_as_cards_and_sheets_print_a_place(coast: Path, tmp_path: Path) -> None:
    lat, lon = (float(part) for part in (coast / "launch.txt").read_text().split(","))
    ways = []
    for k, text in enumerate((f"{lat} {lon}", f"{_minutes(lat, 'NS')} {_minutes(lon, 'EW')}")):
        assert command_line(line(coast, tmp_path / str(k), "--launch", text, "--nets", "1")) == 0
        ways.append(json.loads((tmp_path / str(k) / "plan.json").read_text())["totals"])
    assert ways[0]["rounds"] == ways[1]["rounds"]
    assert ways[0]["way_m"] == pytest.approx(
        ways[1]["way_m"], abs=20
    )  # a thousandth of a minute is two metres


def _minutes(degrees: float, letters: str) -> str:
    whole, rest = divmod(round(abs(degrees) * 60, 3), 60)
    return f"{whole:.0f}°{rest:06.3f}'{letters[degrees < 0]}"


def test_a_run_that_lists_no_site_is_told_so_and_not_to_check_the_launch(
    coast: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    recipe = tmp_path / "none.toml"
    recipe.write_text("[score.terms.depth]\na = 39.0\nb = 39.0\nc = 39.5\nd = 39.5\n")
    none = tmp_path / "none"
    assert command_line(["rescore", str(coast / "run"), "--recipe", str(recipe), "--out", str(none)]) == 0
    capsys.readouterr()
    words = [str(none) if word == str(coast / "run") else word for word in line(coast, tmp_path / "plan")]
    assert command_line(words) == 1
    assert "the run lists no site; scan another place" in capsys.readouterr().err


def test_the_ground_is_the_shoalest_of_its_cells_and_a_hole_in_it_is_unknown(coast: Path) -> None:
    (source,) = open_grids([str(coast / "coast.tif")], positive="up")
    elev = seabed()
    lat, lon = (float(v) for v in (coast / "launch.txt").read_text().split(","))
    whole = shoalest(source, source.extent, 1)
    np.testing.assert_allclose(
        whole, elev, atol=2e-3
    )  # whole millimetres of a 32 bit file; unknown where it is
    four = shoalest(source, source.extent, 4)
    np.testing.assert_array_equal(four, whole.reshape(100, 4, 150, 4).max(axis=(1, 3)))
    ground = ground_of([source], np.array([lon]), np.array([lat]), most=100)
    assert max(ground.elev.shape) <= 100 and ground.cell_m > 4
    row, col = ground.cell(tuple(float(v) for v in _grid_place(ground.crs, lon, lat)))  # type: ignore[arg-type]
    fine = ground_of([source], np.array([lon]), np.array([lat]))
    assert ground.elev[row, col] >= fine.elev[fine.cell(_grid_place(fine.crs, lon, lat))] - 1e-9


def _grid_place(crs: str, lon: float, lat: float) -> tuple[float, float]:
    from pyproj import Transformer

    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(lon, lat)
    return float(x), float(y)


def test_the_help_does_not_wait_for_the_heavy_libraries() -> None:
    code = "import sys; from reefscan.cli import run; run(['plan', '--help']); sys.exit(bool({'scipy', 'matplotlib', 'skimage'} & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, check=False)
    assert done.returncode == 0


@pytest.mark.slow
def test_the_readmes_night_is_planned_on_the_demo_coast(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The command as it stands there, after the scan that stands there; the sites keep out of the fairway and the reserve."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "data_samples").symlink_to(ROOT / "data_samples")
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for start in (r"^\$ reefscan (scan .*)$", r"^reefscan (plan runs/coast --gear (?:.*\\\n)+.*)$"):
        (words,) = re.findall(start, text, re.M)
        assert command_line(shlex.split(words.replace("\\\n", " "))) == 0
    plan = json.loads((tmp_path / "plan" / "plan.json").read_text())
    jsonschema.validate(plan, load_schema("plan"))
    assert len(plan["nets"]) == 6
    reasons = " ".join(left["reason"] for left in plan["sites_left_out"])
    assert "fairway" in reasons
    assert plan["closed"].startswith("Closed ground: from closed.geojson")


def test_floats_keep_off_what_is_named_and_a_candidate_that_is_not_listed_is_refused_with_why(
    coast: Path, planned: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A line is laid through the place of the first net: with a stand-off of 60 m no net lies so near it, its circle counted."""
    first = json.loads((planned / "plan.json").read_text())["nets"][0]
    lon, lat = first["lon"], first["lat"]
    path = tmp_path / "mole.geojson"
    shape = {"type": "LineString", "coordinates": [[lon, lat], [lon + 0.0005, lat]]}
    feature = {"type": "Feature", "properties": {"name": "Mole"}, "geometry": shape}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    assert command_line(line(coast, tmp_path / "plan", "--avoid", str(path), "--stand-off", "60m")) == 0
    plan = json.loads((tmp_path / "plan" / "plan.json").read_text())
    reasons = {left["id"]: left["reason"] for left in plan["sites_left_out"]}
    assert "ground to keep off (Mole)" in reasons[first["id"]]
    for net in plan["nets"]:
        ends = [GEOD.inv(net["lon"], net["lat"], *end)[2] for end in shape["coordinates"]]
        assert min(ends) >= 60 + net["circle_m"]
    capsys.readouterr()
    # the run's recipe lists from 4 to 15 m, and this one lies at 22.83 m
    assert command_line(line(coast, tmp_path / "none", "--keep", "l120-470-40")) == 1
    assert (
        "--keep l120-470-40: the run found it at 22.8 m, outside the depths that it lists"
        in capsys.readouterr().err
    )
