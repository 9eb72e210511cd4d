"""Waypoints that arrive: what two readers that are not ours (GDAL, gpxpy) find in the files of ``reefscan export``."""

from __future__ import annotations

import json
from pathlib import Path

import gpxpy
import pyogrio
import pytest
from seabed import ArraySource, seabed, sites, write_grid, write_run

from reefscan.base.caution import SHORT
from reefscan.base.model import Sheet
from reefscan.base.recipe import Recipe
from reefscan.cli import run
from reefscan.review.opened import open_run


@pytest.fixture(scope="module")
def areas(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Two runs of more than 99 listed sites each, six degrees of longitude apart."""
    base = tmp_path_factory.mktemp("areas")
    recipe = Recipe.default().with_top(110)
    recipe = recipe.model_copy(update={"rank": recipe.rank.model_copy(update={"spacing_m": 5.0})})
    out = []
    for name, sheet in (("west", Sheet("EPSG:32630", 4.0)), ("east", Sheet("EPSG:32631", 4.0))):
        source = ArraySource(seabed(), sheet=sheet)
        folder = write_run(
            base / name, write_grid(base / f"{name}.tif", source), sites(source, 400), recipe=recipe
        )
        assert len(open_run(folder).listing.sites) == 110
        out.append(folder)
    return out


def read_by_both(path: Path) -> list[tuple[str, float, float, float | None, str]]:
    """Name, place, elevation and description of each waypoint: gpxpy's reading, with which GDAL's must agree."""
    ours = [
        (w.name, w.longitude, w.latitude, w.elevation, w.description)
        for w in gpxpy.parse(path.read_text(encoding="utf-8")).waypoints
    ]
    frame = pyogrio.read_dataframe(path, layer="waypoints")
    assert [o[0] for o in ours] == list(frame["name"])
    assert [o[4] for o in ours] == list(frame["desc"])
    assert [o[1] for o in ours] == pytest.approx(list(frame.geometry.x), abs=1e-9)
    assert [o[2] for o in ours] == pytest.approx(list(frame.geometry.y), abs=1e-9)
    assert [o[3] for o in ours] == pytest.approx(list(frame["ele"]), abs=1e-9)
    return ours


def test_more_than_99_sites_of_two_areas_sort_are_unique_and_tell_feet(
    areas: list[Path], tmp_path: Path
) -> None:
    """On one plotter both lists lie under each other: no name twice, each list in the order of its ranks."""
    names: list[str] = []
    for folder in areas:
        path = tmp_path / f"{folder.name}.gpx"
        assert run(["export", str(folder), "--unit", "ft", "--out", str(path)]) == 0
        points = read_by_both(path)
        own = [point[0] for point in points]
        assert len(own) == 110 and own == sorted(own)
        assert max(map(len, own)) <= 8
        for (name, lon, lat, ele, text), site in zip(points, open_run(folder).listing.sites, strict=True):
            assert (lon, lat, ele) == (site["lon"], site["lat"], -site["depth_m"])
            assert int(name[2:5]) == site["rank"]
            feet = site["depth_m"] / 0.3048
            assert text.startswith(f"depth {feet:.1f} ft" if feet < 9.95 else f"depth {feet:.0f} ft")
            assert text.endswith(SHORT)
        names += own
    assert len(set(names)) == 220


def test_names_with_accents_arrive_whole_or_in_plain_letters_as_asked(
    areas: list[Path], tmp_path: Path
) -> None:
    listed = open_run(areas[0]).listing.sites
    given = ["Été nord", "Größe", "Ålesund-høyden", "Été nord", "Ñu"]
    rows = [
        {"id": site["id"], "state": "keep", "name": name, "note": "", "lon": site["lon"], "lat": site["lat"], "depth_m": None, "kind": site["kind"]}
        for name, site in zip(given, listed, strict=False)
    ]  # fmt: skip
    picks = tmp_path / "picks.json"
    picks.write_text(
        json.dumps({"schema": "reefscan-picks/1", "run": "west", "picks": rows}), encoding="utf-8"
    )
    for more, want in (
        ([], ["Été nord", "Größe", "Ålesund-", "Été no-2", "Ñu"]),
        (["--ascii"], ["Ete nord", "Grosse", "Alesund-", "Ete no-2", "Nu"]),
    ):
        path = tmp_path / "s.gpx"
        assert run(["export", str(areas[0]), "--picks", str(picks), *more, "--out", str(path)]) == 0
        assert [point[0] for point in read_by_both(path)] == want


def test_letters_that_leave_no_room_for_the_rank_are_refused(
    areas: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Such names would be cut to ``Baie É-2``: they do not sort, and say nothing of the list."""
    asked = ["export", str(areas[0]), "--name", "Baie Été", "--out", str(tmp_path / "s.gpx")]
    assert run(asked) == 1
    assert "write at most 4, or say --name-length 12 or more" in capsys.readouterr().err
    assert run([*asked, "--name-length", "12"]) == 0
    names = [point[0] for point in read_by_both(tmp_path / "s.gpx")]
    assert names == sorted(names) and names[0].startswith("Baie Été001")


def test_a_route_from_the_launch_is_no_longer_than_the_list_and_loses_no_site(
    areas: list[Path], tmp_path: Path
) -> None:
    from pyproj import Geod

    def length(path: Path, start: tuple[float, float]) -> float:
        lon, lat = zip(*[start, *((p[1], p[2]) for p in read_by_both(path))], strict=True)
        return float(Geod(ellps="WGS84").line_length(lon, lat))

    first = open_run(areas[0]).listing.sites[0]
    start = (first["lon"] + 0.01, first["lat"])
    for order in (["rank"], ["route", "--launch", f"{start[1]} {start[0]}"]):
        assert (
            run(["export", str(areas[0]), "--order", *order, "--out", str(tmp_path / f"{order[0]}.gpx")]) == 0
        )
    ranked, route = (read_by_both(tmp_path / f"{name}.gpx") for name in ("rank", "route"))
    assert sorted(ranked) == sorted(route)
    # a random order over n sites in a square is about 0.52 n sides long, the shortest way about 0.71 sqrt(n): 8 times less at 110
    # (Beardwood, Halton and Hammersley 1959; from memory)
    assert length(tmp_path / "route.gpx", start) < 0.25 * length(tmp_path / "rank.gpx", start)
