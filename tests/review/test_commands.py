"""The commands of the review, run as a person runs them."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import gpxpy
import jsonschema
import numpy as np
import pandas as pd
import pytest
import rasterio

from reefscan.cli import run
from reefscan.io.out.schemas import load_schema
from reefscan.review.opened import open_run
from reefscan.review.picks import SCHEMA, Pick, load_picks
from reefscan.review.takealong import area_letters, naming_of, waypoints_of


def picks_text(invented: Path, *, keep: int = 3, drop: int = 0, foreign: bool = False) -> str:
    sites = open_run(invented / "coast").listing.sites
    rows = {}
    for k, site in enumerate(sites[: keep + drop]):
        state = "keep" if k < keep else "drop"
        rows[site["id"]] = Pick(site["id"], state, f"Räf {k}" if k == 0 else "", "nöte" if k == 1 else "", site["lon"],
                                site["lat"], site["depth_m"], site["kind"], False)  # fmt: skip
    if foreign:
        rows["elsewhere"] = Pick("elsewhere", "keep", "Far", "", 10.0, 50.0, 7.0, "ledge", False)
    return picks_file(rows)


def picks_file(rows: dict[str, Pick]) -> str:
    """The file that the page saves of these picks."""
    return json.dumps({"schema": SCHEMA, "run": "coast", "picks": [vars(pick) for pick in rows.values()]})


def test_export_writes_the_ranked_list_in_rank_order(invented: Path, tmp_path: Path) -> None:
    assert run(["export", str(invented / "coast"), "--out", str(tmp_path / "s.gpx")]) == 0
    sites = open_run(invented / "coast").listing.sites
    assert len(sites) > 3
    read = gpxpy.parse((tmp_path / "s.gpx").read_text()).waypoints
    assert [(w.longitude, w.latitude) for w in read] == [(s["lon"], s["lat"]) for s in sites]
    assert [w.elevation for w in read] == [-s["depth_m"] for s in sites]
    assert all(
        f"depth {s['depth_m']:.1f} m" in (w.description or "") for w, s in zip(read, sites, strict=True)
    )
    assert [w.symbol for w in read] == [s["kind"] for s in sites]


def test_a_waypoint_tells_its_depth_in_the_unit_of_the_reason_beside_it(
    invented: Path, tmp_path: Path
) -> None:
    coast = tmp_path / "coast"
    shutil.copytree(invented / "coast", coast)
    facts = json.loads((coast / "run.json").read_text())
    (coast / "run.json").write_text(json.dumps({**facts, "depth_unit": "ft"}))
    assert run(["export", str(coast), "--out", str(tmp_path / "s.gpx")]) == 0
    told = gpxpy.parse((tmp_path / "s.gpx").read_text()).waypoints[0].description
    depth = re.match(r"depth ([\d.]+ ft) \(datum not stated, tide not added\); ", told)
    assert depth
    assert f"in {depth[1]} of water" in told


def test_export_takes_the_kept_picks_with_their_names_and_those_of_another_run(
    invented: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "p.json").write_text(picks_text(invented, foreign=True), encoding="utf-8")
    command = ["export", str(invented / "coast"), "--picks", str(tmp_path / "p.json"), "--out", str(tmp_path / "s.gpx"),
               "--ascii", "--name-length", "8"]  # fmt: skip
    assert run(command) == 0
    names = [w.name for w in gpxpy.parse((tmp_path / "s.gpx").read_text()).waypoints]
    assert len(names) == 4
    assert names[0] == "Raf 0"
    assert names[3] == "Far"
    assert all(len(n) <= 8 and n.isascii() for n in names)
    assert "site this run does not have" in capsys.readouterr().err


def test_the_best_of_each_place_go_along_without_their_neighbours_if_asked(
    invented: Path, tmp_path: Path
) -> None:
    sites = open_run(invented / "coast").listing.sites
    best = [site for site in sites if site["second_to"] is None]
    assert 0 < len(best) < len(sites)
    for which, wanted in (("all", sites), ("best", best)):
        assert (
            run(["export", str(invented / "coast"), "--sites", which, "--out", str(tmp_path / "s.gpx")]) == 0
        )
        read = gpxpy.parse((tmp_path / "s.gpx").read_text()).waypoints
        assert [w.latitude for w in read] == [site["lat"] for site in wanted]
        assert sum("same place as number" in (w.description or "") for w in read) == len(wanted) - len(best)


def test_names_are_the_same_in_every_file_and_on_the_cards_and_sort_by_rank(invented: Path) -> None:
    """Area, rank, kind and depth in at most 8 characters; a part of the list, picks of it and another unit change no number."""
    opened = open_run(invented / "coast")
    naming = naming_of(opened)
    names = [point.name for point in waypoints_of(opened.listed, naming)]
    assert names == sorted(names)
    assert len(set(names)) == len(names)
    kinds = {"trough": "T", "ledge": "L", "rise": "R", "man-made": "M"}
    for name, site in zip(names, opened.listing.sites, strict=True):
        assert re.fullmatch(
            rf"[A-HJ-NP-Z]{{2}}{site['rank']:02d}{kinds[site['kind']]}{site['depth_m']:.0f}", name
        )
    assert [p.name for p in waypoints_of(opened.listed.iloc[4:7], naming)] == names[4:7]
    loose = waypoints_of(
        pd.DataFrame([{"id": "x", "kind": "by hand", "lon": 1.0, "lat": 2.0, "depth_m": 7.4}]), naming
    )
    assert loose[0].name == f"{naming.letters}{len(names) + 1}H7"
    feet = waypoints_of(opened.listed, naming_of(open_run(invented / "coast", unit="ft"), letters="B"))
    assert feet[0].name == f"B01{names[0][4]}{round(opened.listing.sites[0]['depth_m'] / 0.3048)}"
    assert max(len(p.name) for p in waypoints_of(opened.listed.assign(depth_m=123456.0), naming)) <= 8


def test_areas_a_mile_or_more_apart_have_other_letters() -> None:
    """A plotter holds waypoints of many areas under one name each: over half a degree around no two squares share their letters."""
    east = [area_letters(-22.5 + 0.02 * i, 45.0) for i in range(24)]
    north = [area_letters(-22.5, 45.0 + 0.02 * i) for i in range(24)]
    assert len({*east, *north}) == 47
    assert not set("IO") & set("".join([*east, *north]))


def test_the_datum_that_a_run_knows_stands_in_every_file_beside_each_depth(
    invented: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    coast = tmp_path / "coast"
    shutil.copytree(invented / "coast", coast)
    facts = json.loads((coast / "run.json").read_text())
    for name, short in (
        ("mean low water", "below mean low water, tide not added"),
        ("", "datum not stated, tide not added"),
    ):
        (coast / "run.json").write_text(json.dumps({**facts, "datum": name}))
        top = "Depths are below mean low water;" if name else "Datum not stated by the grid:"
        for ending in ("gpx", "kml", "csv", "geojson"):
            assert run(["export", str(coast), "--out", str(tmp_path / f"s.{ending}")]) == 0
            text = (tmp_path / f"s.{ending}").read_text(encoding="utf-8")
            assert top in text
            assert text.count(short) >= len(open_run(coast).listing.sites)
        assert top in capsys.readouterr().err


def test_dropped_picks_leave_the_rest_of_the_list(invented: Path, tmp_path: Path) -> None:
    (tmp_path / "p.json").write_text(picks_text(invented, keep=0, drop=5), encoding="utf-8")
    assert (
        run(
            [
                "export",
                str(invented / "coast"),
                "--picks",
                str(tmp_path / "p.json"),
                "--out",
                str(tmp_path / "s.csv"),
            ]
        )
        == 0
    )
    sites = open_run(invented / "coast").listing.sites
    assert len((tmp_path / "s.csv").read_text().splitlines()) == 1 + len(sites) - 5


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "not valid JSON"),
        ("[]", "is this a picks file"),
        ('{"schema": "reefscan-picks/1"}', "wanted a list"),
        ('{"schema": "reefscan-picks/1", "picks": [3]}', "pick 1: is int"),
        (
            '{"schema": "reefscan-picks/1", "picks": [{"id": "a", "state": "maybe", "lon": 1, "lat": 1}]}',
            "keep, drop",
        ),
        (
            '{"schema": "reefscan-picks/1", "picks": [{"id": "a", "state": "keep", "lon": "1", "lat": 1}]}',
            "lon is '1'",
        ),
        (
            '{"schema": "reefscan-picks/1", "picks": [{"id": "a", "state": "keep", "lon": 1, "lat": 91}]}',
            "lat is 91",
        ),
        (
            '{"schema": "reefscan-picks/1", "picks": [{"id": "a", "state": "keep", "lon": NaN, "lat": 1}]}',
            "lon is nan",
        ),
    ],
)
def test_picks_edited_by_hand_are_refused_in_one_line(
    invented: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str, says: str
) -> None:
    (tmp_path / "p.json").write_text(text)
    code = run(
        [
            "export",
            str(invented / "coast"),
            "--picks",
            str(tmp_path / "p.json"),
            "--out",
            str(tmp_path / "s.gpx"),
        ]
    )
    told = capsys.readouterr().err
    assert code == 1
    assert says in told
    assert told.count("\n") == 1
    assert not (tmp_path / "s.gpx").exists()


def test_a_picks_file_keeps_to_its_own_schema_and_reads_back_equal(invented: Path) -> None:
    text = picks_text(invented, keep=3, drop=2, foreign=True)
    jsonschema.Draft202012Validator(load_schema("picks")).validate(json.loads(text))
    read = load_picks(text)
    assert json.loads(picks_file(dict(read.by_id))) == json.loads(text)


def test_cards_come_two_a_page_as_pdf_and_png(invented: Path, tmp_path: Path) -> None:
    assert run(["cards", str(invented / "coast"), "--top", "5", "--out", str(tmp_path / "c.pdf")]) == 0
    assert (tmp_path / "c.pdf").read_bytes().count(b"/Type /Page\n") + (
        tmp_path / "c.pdf"
    ).read_bytes().count(b"/Type /Page ") == 3
    assert (
        run(["cards", str(invented / "coast"), "--top", "3", "--dpi", "60", "--out", str(tmp_path / "c.png")])
        == 0
    )
    assert sorted(p.name for p in tmp_path.glob("*.png")) == ["c-1.png", "c-2.png"]


def test_a_card_has_no_colour_at_all(invented: Path, tmp_path: Path) -> None:
    from PIL import Image

    run(["cards", str(invented / "coast"), "--top", "2", "--dpi", "60", "--out", str(tmp_path / "c.png")])
    rgb = np.asarray(Image.open(tmp_path / "c.png").convert("RGB")).astype(int)
    assert (np.ptp(rgb, axis=2) <= 2).mean() == 1.0
    assert rgb.min() < 30


@pytest.mark.parametrize("ending", ["png", "pdf", "svg"])
def test_the_map_is_the_same_file_twice(invented: Path, tmp_path: Path, ending: str) -> None:
    for name in ("a", "b"):
        assert (
            run(["map", str(invented / "coast"), "--dpi", "50", "--out", str(tmp_path / f"{name}.{ending}")])
            == 0
        )
    assert (tmp_path / f"a.{ending}").read_bytes() == (tmp_path / f"b.{ending}").read_bytes()


def test_the_georeferenced_picture_lies_where_the_grid_lies(invented: Path, tmp_path: Path) -> None:
    assert run(["map", str(invented / "coast"), "--georeferenced", "--out", str(tmp_path / "g.png")]) == 0
    with rasterio.open(tmp_path / "g.png") as got, rasterio.open(invented / "coast.tif") as grid:
        assert got.crs == grid.crs
        np.testing.assert_allclose(got.bounds, grid.bounds, atol=1e-3)
        assert (got.read(4) == 0).sum() == (grid.read(1) == -9999).sum()


def test_a_run_compared_with_itself_has_only_sites_that_stayed(
    invented: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["compare", str(invented / "coast"), str(invented / "coast"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["counts"]["same"] == len(open_run(invented / "coast").listing.sites)
    assert sum(told["counts"].values()) == told["counts"]["same"]


def test_compare_names_the_term_that_a_recipe_change_acts_through(
    invented: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "r.toml").write_text(
        "[score.terms.depth]\na = 8.0\nb = 8.0\n[score.terms.floor]\nc = 3.0\nd = 9.0\n"
    )
    assert (
        run(
            [
                "rescore",
                str(invented / "coast"),
                "--recipe",
                str(tmp_path / "r.toml"),
                "--out",
                str(tmp_path / "b"),
            ]
        )
        == 0
    )
    capsys.readouterr()
    assert (
        run(
            [
                "compare",
                str(invented / "coast"),
                str(tmp_path / "b"),
                "--json",
                "--out",
                str(tmp_path / "d.png"),
            ]
        )
        == 0
    )
    changes = json.loads(capsys.readouterr().out)["changes"]
    before = {s["id"]: s for s in open_run(invented / "coast").listing.sites}
    after = {s["id"]: s for s in open_run(tmp_path / "b").listing.sites}
    assert {c["id"] for c in changes if c["what"] == "went"} == set(before) - set(after)
    assert {c["id"] for c in changes if c["what"] == "came"} == set(after) - set(before)
    shallow = [c for c in changes if c["what"] == "went" and before[c["id"]]["depth_m"] < 8]
    assert shallow
    assert {c["term"] for c in shallow} == {"depth"}
    fell = [c for c in changes if c["what"] == "fell" and c["score_b"] < c["score_a"]]
    assert fell
    assert {c["term"] for c in fell} == {"floor"}
    assert (tmp_path / "d.png").stat().st_size > 10_000


def test_compare_says_whether_spacing_or_the_cut_left_a_site_out_and_prints_a_dozen_of_a_kind(
    invented: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    coast = str(invented / "coast")
    (tmp_path / "r.toml").write_text("[rank]\nspacing_m = 0.0\ntop = 400\n")
    (tmp_path / "far.toml").write_text("[rank]\nspacing_m = 200.0\ntop = 400\n")
    for name, more in (("all", "r.toml"), ("far", "far.toml")):
        assert run(["rescore", coast, "--recipe", str(tmp_path / more), "--out", str(tmp_path / name)]) == 0
    assert run(["rescore", str(tmp_path / "all"), "--top", "2", "--out", str(tmp_path / "two")]) == 0

    def went(other: str) -> list[str]:
        capsys.readouterr()
        assert run(["compare", str(tmp_path / "all"), str(tmp_path / other), "--json"]) == 0
        return [c["because"] for c in json.loads(capsys.readouterr().out)["changes"] if c["what"] == "went"]

    assert len(went("two")) > 12
    assert all(because.endswith(": below the 2 that are listed") for because in went("two"))
    told = [
        re.search(r"far: (\d+) m from its number \d+, nearer than the 200 m", text) for text in went("far")
    ]
    assert told
    assert all(match is not None and int(match[1]) <= 200 for match in told)
    assert run(["compare", str(tmp_path / "all"), str(tmp_path / "two")]) == 0
    out = capsys.readouterr().out.splitlines()
    assert sum(line.startswith("went") for line in out) == 12
    assert f"... and {len(went('two')) - 12} more that went (--json lists all)" in out


@pytest.mark.parametrize(
    "command",
    [
        ["review", "--out", "x.html"],
        ["cards", "--out", "x.pdf"],
        ["map", "--out", "x.png"],
        ["export", "--out", "x.kml"],
    ],
)
def test_a_run_without_sites_still_gives_a_file(
    invented: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run([command[0], str(invented / "empty"), *command[1:]]) == 0
    assert (tmp_path / command[2]).stat().st_size > 100


@pytest.mark.parametrize("command", ["review", "cards", "map"])
def test_a_grid_that_is_gone_or_changed_is_named_in_one_line(
    invented: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    out = tmp_path / ("x.html" if command == "review" else "x.png")
    words = [command, str(tmp_path / "coast"), "--out", str(out)]
    shutil.copytree(invented / "coast", tmp_path / "coast")
    info = json.loads((tmp_path / "coast" / "run.json").read_text())
    info["grids"] = [str(tmp_path / "gone" / "no.tif")]
    (tmp_path / "coast" / "run.json").write_text(json.dumps(info))
    assert run(words) == 1
    assert "is gone" in capsys.readouterr().err
    with rasterio.open(invented / "coast.tif") as old:
        profile, data = old.profile, old.read(1)
    profile["width"] -= 10
    with rasterio.open(tmp_path / "coast.tif", "w", **profile) as new:
        new.write(data[:, :-10], 1)
    info["grids"] = [str(tmp_path / "coast.tif")]
    (tmp_path / "coast" / "run.json").write_text(json.dumps(info))
    assert run(words) == 1
    assert "has changed" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["export", "RUN", "--out", "x.shp"], "wanted .gpx"),
        (["export", "RUN", "--out", "x.gpx", "--format", "csv"], "--format is csv"),
        (["export", "RUN", "--out", "x.gpx", "--unit", "yard"], "is not known"),
        (["export", "RUN", "--out", "x.gpx", "--launch", "45 -22"], "say --order route too"),
        (
            ["export", "RUN", "--out", "x.gpx", "--order", "route", "--launch", "home"],
            "--launch: 'home' is not a place",
        ),
        (["export", "RUN", "--out", "x.gpx", "--sites", "some"], "say all or best"),
        (["export", "RUN", "--out", "x.gpx", "--order", "best"], "rank or route"),
        (["export", "RUN", "--out", "x.gpx", "--name-length", "2"], "too short"),
        (["export", "RUN", "--out", "x.gpx", "--picks", "none.json"], "no such file"),
        (["map", "RUN", "--out", "x.jpg"], "wanted .png"),
        (["map", "RUN", "--out", "x.png", "--bbox", "10", "10", "11", "11"], "no cell of the grid"),
        (["cards", "RUN", "--out", "x.doc"], "wanted .pdf or .png"),
        (["cards", "RUN", "--out", "x.pdf", "--unit", "yard"], "is not known"),
        (["compare", "RUN", "nowhere"], "no such run folder"),
        (["compare", "RUN", "RUN", "--within", "far"], "--within: 'far' is not a length"),
    ],
)
def test_a_wrong_wish_is_answered_in_one_line(
    invented: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
    arguments: list[str],
    says: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run([str(invented / "coast") if a == "RUN" else a for a in arguments]) == 1
    told = capsys.readouterr().err
    assert says in told
    assert told.count("\n") == 1
    assert list(tmp_path.iterdir()) == []
