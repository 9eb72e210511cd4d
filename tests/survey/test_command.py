"""`reefscan grid` from logs to grid and report, as a person runs it."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
import rasterio
from ground import plants, seabed, tracks
from pyproj import Transformer

import reefscan
from reefscan.base.units import three_figures
from reefscan.cli import run
from reefscan.io.grids.rasters import open_grids


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """A sounded square with structure, as a CSV in feet with times, and its truth's function."""
    rng = np.random.default_rng(8)
    planted = plants(rng, 4, 200.0)
    x, y = tracks(200.0, 12.0)
    elev = seabed(x, y, planted)
    lon, lat = Transformer.from_crs(32631, 4326, always_xy=True).transform(500_000.0 + x, 5_600_000.0 + y)
    path = tmp_path_factory.mktemp("logs") / "boat.csv"
    stamp = np.datetime_as_string(
        np.datetime64("2024-05-01T04:00:00") + np.arange(x.size).astype("timedelta64[s]")
    )
    feet = (-elev - 0.5 + rng.normal(0, 0.05, x.size)) / 0.3048
    feet[500] = 0.0
    rows = [f"{t}Z,{a:.8f},{b:.8f},{d:.2f}" for t, a, b, d in zip(stamp, lon, lat, feet, strict=True)]
    path.write_text("time,lon,lat,depth_ft\n" + "\n".join(rows) + "\n", encoding="utf-8")
    return path


def grid(log, out, *more) -> int:
    return run(["grid", str(log), "--out", str(out), "--cell", "2m", "--draft", "0.5m", "-q", *more])


def test_a_log_becomes_a_grid_with_four_named_bands_on_whole_cells_and_a_report(log, tmp_path, capsys):
    out = tmp_path / "own.tif"
    assert grid(log, out) == 0
    with rasterio.open(out) as got:
        assert got.descriptions == ("elevation", "uncertainty", "count", "source")
        assert got.units[:2] == ("metre", "metre")
        assert got.crs.to_epsg() == 32631
        assert got.transform.c % 2 == 0 and got.transform.f % 2 == 0 and got.transform.a == 2.0
        elev, sigma, count, source = got.read(masked=True)
    assert -20 < elev.mean() < -10
    assert (sigma.compressed() > 0).all()
    assert set(np.unique(source.compressed())) == {1.0}
    facts = json.loads((tmp_path / "own.report.json").read_text(encoding="utf-8"))
    assert count.sum() == facts["soundings"]["kept"]
    assert {r["reason"] for r in facts["set_aside"]} == {"no bottom"}
    page = (tmp_path / "own.report.html").read_text(encoding="utf-8")
    assert "Not for navigation" in page and 'src="data:image/png' in page
    assert "http://" not in page and "https://" not in page
    assert "Not for navigation" in capsys.readouterr().out
    assert sorted(p.name for p in tmp_path.iterdir()) == ["own.report.html", "own.report.json", "own.tif"]


def test_the_same_logs_give_the_same_bytes(log, tmp_path):
    for name in ("a", "b"):
        (tmp_path / name).mkdir()
        assert grid(log, tmp_path / name / "own.tif") == 0
    for name in ("own.tif", "own.report.json", "own.report.html"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def test_three_plain_lines_come_first_in_the_unit_of_the_person(log, tmp_path, capsys):
    """What is covered, how good it is, what to sound next; on the screen, in the report and its facts; figures after."""
    assert grid(log, tmp_path / "own.tif", "--unit", "ft") == 0
    first = capsys.readouterr().out.splitlines()[:3]
    facts = json.loads((tmp_path / "own.report.json").read_text(encoding="utf-8"))
    assert facts["summary"] == first
    assert [line.split(":")[0] for line in first] == ["Covered", "How good", "Next"]
    low, high = (metres / 0.3048 for metres in facts["depth_m"])
    assert f"{low:.1f} to {high:.1f} ft deep" in first[0]
    page = (tmp_path / "own.report.html").read_text(encoding="utf-8")
    assert (
        page.index("Covered:") < page.index("How good:") < page.index("Next:") < page.index("soundings read")
    )
    assert f"{low:.2f} to {high:.2f} ft</dd>" in page
    assert f"between tracks</dt><dd>{three_figures(facts['gap_m'] / 0.3048)} ft</dd>" in page
    tables = "".join(re.findall("<th[^>]*>[^<]*", page))
    assert "(ft)" in tables and "(m)" not in tables


def test_the_grid_says_how_far_apart_its_tracks_are_and_a_scan_of_it_too(log, tmp_path):
    """The tracks of the log are 12 m apart: a trough between two of them would be seen by neither, however fine the cells."""
    assert grid(log, tmp_path / "own.tif") == 0
    facts = json.loads((tmp_path / "own.report.json").read_text(encoding="utf-8"))
    (sheet,) = open_grids([str(tmp_path / "own.tif")])
    assert sheet.between_m == pytest.approx(facts["gap_m"], abs=0.05)
    assert sheet.between_m == pytest.approx(12.0, rel=0.2)
    run = reefscan.scan(tmp_path / "own.tif", reefscan.Recipe.default().with_depth(1, 40), workers=1)
    assert f"smallest trough or rise {three_figures(4 * sheet.between_m)} m across" in run.info["limits"][0]


def test_a_tide_lowers_every_depth_by_its_height(log, tmp_path):
    tide = tmp_path / "tide.csv"
    tide.write_text(
        "time,height_m\n" + "".join(f"2024-05-01T{h:02d}:00Z,1.25\n" for h in range(24)), encoding="utf-8"
    )
    assert grid(log, tmp_path / "low.tif", "--tide", str(tide)) == 0
    assert grid(log, tmp_path / "raw.tif") == 0
    with rasterio.open(tmp_path / "low.tif") as low, rasterio.open(tmp_path / "raw.tif") as raw:
        np.testing.assert_allclose(
            (low.read(1, masked=True) - raw.read(1, masked=True)).compressed(), 1.25, atol=1e-4
        )


def test_a_tide_that_ends_before_the_log_is_refused_in_one_line(log, tmp_path, capsys):
    tide = tmp_path / "tide.csv"
    tide.write_text(
        "time,height_m\n2024-05-01T00:00Z,1\n2024-05-01T02:00Z,2\n2024-05-01T03:00Z,1\n", encoding="utf-8"
    )
    assert grid(log, tmp_path / "x.tif", "--tide", str(tide)) == 1
    said = capsys.readouterr().err.strip()
    assert "no height is guessed" in said and "\n" not in said
    assert not (tmp_path / "x.tif").exists()


def test_own_soundings_go_onto_a_public_grid_and_the_source_says_so(log, tmp_path):
    public = tmp_path / "public.tif"
    x, y = np.meshgrid(np.arange(-300, 500, 10.0) + 5, np.arange(500, -300, -10.0) - 5)
    elev = (seabed(x, y, []) - 0.7).astype("float32")
    transform = rasterio.Affine(10, 0, 500_000 - 300, 0, -10, 5_600_000 + 500)
    with rasterio.open(public, "w", driver="GTiff", width=80, height=80, count=1, dtype="float32", crs="EPSG:32631",
                       transform=transform, nodata=-9999.0) as f:  # fmt: skip
        f.write(elev, 1)
    out = tmp_path / "better.tif"
    assert grid(log, out, "--onto", str(public)) == 0
    facts = json.loads((tmp_path / "better.report.json").read_text(encoding="utf-8"))
    assert facts["onto"]["bias_m"] == pytest.approx(0.7, abs=0.12)
    with rasterio.open(out) as got:
        source = got.read(4, masked=True).compressed()
        assert {1.0, 2.0, 3.0} == set(np.unique(source))
        assert got.read(1, masked=True).count() >= 0.97 * (800 * 800 / 4)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (["--cell", "2km5"], "not a length"),
        (["--draft", "60m"], "no boat draws that"),
        (["--keel", "40m"], "no boat draws that"),
        (["--keel", "-1m"], "no boat draws that"),
        (["--tide-kind", "moon"], "high-low"),
        (["--tide", "nowhere.csv"], "no such file"),
        (["--onto", "nowhere.tif"], "no such file"),
        (["--settings", "nowhere.toml"], "no such file"),
        (["--crs", "EPSG:999999"], "--crs: 'EPSG:999999' is not a coordinate system"),
        (["--date", "2023-02-29"], "not a day"),
        (["--dates", "day"], "--dates 'day': wanted day-first, month-first"),
        (["--unit", "yard"], "say m, ft or fathom"),
        (["--out", "own.png"], "GeoTIFF"),
    ],
)
def test_what_cannot_be_used_is_refused_in_one_line(log, tmp_path, capsys, more, said):
    assert grid(log, tmp_path / "x.tif", *more) == 1
    text = capsys.readouterr().err.strip()
    assert said in text and "\n" not in text


def test_settings_printed_can_be_changed_and_given_back(log, tmp_path, capsys):
    assert grid(log, tmp_path / "x.tif", "--print-settings") == 0
    text = capsys.readouterr().out
    assert all(
        "#" in line
        for line in text.splitlines()
        if line and not line.startswith("[") and "version" not in line
    )
    changed = tmp_path / "mine.toml"
    changed.write_text(text.replace("speed_max_m_s = 20.0", "speed_max_m_s = 9.0"), encoding="utf-8")
    assert grid(log, tmp_path / "x.tif", "--settings", str(changed), "--print-settings") == 0
    assert "speed_max_m_s = 9.0" in capsys.readouterr().out
    changed.write_text("[clean]\nuse_wishes = true\n", encoding="utf-8")
    assert grid(log, tmp_path / "x.tif", "--settings", str(changed)) == 1
    assert "use_wishes" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--reach", "-5"), "--reach -5: wanted a distance above zero"),
        (("--reach", "far"), "--reach: 'far' is not a length"),
        (("--cell", "x"), "--cell: 'x' is not a length"),
        (("--next", "-1km"), "--next -1km: wanted a distance, or 0"),
        (("--latency", "nan"), "--latency nan: wanted seconds"),
        (("--latency", "1e9"), "at most 60 either way"),
        (("--depth-unit", "smoots"), "--depth-unit 'smoots' is not a unit of length"),
        (("--tide", "gone.csv"), "gone.csv: no such file; check"),
    ],
)
def test_a_number_that_cannot_be_is_refused_with_the_name_of_its_option(log, tmp_path, capsys, words, said):
    assert run(["grid", str(log), "--out", str(tmp_path / "own.tif"), "-q", *words]) == 1
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_side_files_that_say_nothing_are_named(log, tmp_path, capsys):
    tide, settings = tmp_path / "tide.csv", tmp_path / "my.toml"
    tide.write_text("time_utc,height_m\n2024-05-01T04:00:00Z,1.2\n", encoding="utf-8")
    settings.write_bytes(b"\xff\xfe[\x00")
    for words, said in (
        (("--tide", tide), "tide.csv: tide table: 1 usable"),
        (("--settings", settings), "my.toml"),
    ):
        assert run(["grid", str(log), "--out", str(tmp_path / "own.tif"), "-q", *map(str, words)]) == 1
        err = capsys.readouterr().err
        assert said in err
        assert "internal error" not in err
    settings.write_text("\ufeff[clean]\n", encoding="utf-8")
    assert (
        run(
            [
                "grid",
                str(log),
                "--out",
                str(tmp_path / "own.tif"),
                "--settings",
                str(settings),
                "--print-settings",
            ]
        )
        == 0
    )


def test_a_log_that_defines_entities_is_refused_in_one_line(tmp_path, capsys):
    (tmp_path / "a.gpx").write_text(
        '<!DOCTYPE x [<!ENTITY a "b">]><gpx><ele>&a;</ele></gpx>', encoding="utf-8"
    )
    assert run(["grid", str(tmp_path / "a.gpx"), "--out", str(tmp_path / "own.tif"), "-q"]) == 1
    assert "a.gpx: defines entities" in capsys.readouterr().err


@pytest.mark.parametrize("name", ["own.tif", "own.report.json"])
def test_what_cannot_be_written_is_named_and_leaves_no_part(log, tmp_path, capsys, name):
    (tmp_path / name).mkdir()
    assert grid(log, tmp_path / "own.tif") == 1
    assert f"{name}: cannot be written" in capsys.readouterr().err
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


def test_a_log_of_negative_depths_is_told_how_to_say_elevations(tmp_path, capsys):
    path = tmp_path / "boat.csv"
    path.write_text("lon,lat,depth_m\n" + "".join(f"{5 + i * 1e-5:.5f},60.2,-12.{i}\n" for i in range(9)))
    assert grid(path, tmp_path / "own.tif") == 1
    assert "elev_m=4" in capsys.readouterr().err


def test_lines_that_were_lost_and_a_clock_that_went_back_are_told_without_opening_the_report(
    log, tmp_path, capsys
):
    head, *rows = log.read_text(encoding="utf-8").splitlines()
    odd = tmp_path / "odd.csv"
    late = [
        row.replace("2024-05-01T04:", "2024-05-01T02:") if 300 <= n < 310 else row
        for n, row in enumerate(rows)
    ]
    bad = [row + "\nnothing,here,at,all" if n % 4 == 0 else row for n, row in enumerate(late)]
    odd.write_text("\n".join([head, *bad]) + "\n", encoding="utf-8")
    tide = tmp_path / "tide.csv"
    tide.write_text("time,height_m\n" + "".join(f"2024-05-01T{h:02d}:00:00Z,1.0\n" for h in range(24)))
    assert grid(odd, tmp_path / "own.tif", "--tide", str(tide)) == 0
    out = capsys.readouterr().out
    assert "odd.csv: more than a tenth of its lines could not be used (bad lines " in out
    assert "odd.csv: its times go back at 1 place(s), by up to 2.0 h" in out
    assert grid(log, tmp_path / "own.tif", "--tide", str(tide)) == 0
    assert "lines could not" not in (out := capsys.readouterr().out)
    assert "go back" not in out
