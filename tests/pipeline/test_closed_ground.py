"""No site of any run lies in closed ground: scan in any cut, rescore, page, picks, export, compare."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from pyproj import Transformer

from reefscan import cli
from reefscan.base.errors import NeedsScanError, RunFolderError
from reefscan.base.model import Sheet
from reefscan.base.recipe import Recipe
from reefscan.io.out.runfolder import RunFolder
from reefscan.pipeline.rescore import rescore_run
from reefscan.pipeline.scan import scan, scan_elevation
from reefscan.review.opened import open_run
from reefscan.surroundings.known import NONE_GIVEN

WEST, NORTH, CELL, SIDE = 500_000.0, 5_000_000.0, 4.0, 700


@pytest.fixture(scope="module")
def coast(tmp_path_factory) -> Path:
    """A grid of 2.8 km with a ledge all along its middle and a closed area over the border of two tiles."""
    folder = tmp_path_factory.mktemp("coast")
    y, x = np.mgrid[0:SIDE, 0:SIDE] * CELL
    z = -9.0 - 3.0 * (y > 1400 + 60 * np.sin(x / 300)) + 0.2 * np.sin(x / 37) * np.sin(y / 41)
    with rasterio.open(
        folder / "coast.tif", "w", driver="GTiff", width=SIDE, height=SIDE, count=1, dtype="float32", crs="EPSG:32630",
        transform=rasterio.Affine(CELL, 0, WEST, 0, -CELL, NORTH),
    ) as file:  # fmt: skip
        file.write(z.astype("float32"), 1)
    # column 512 of the sheet's lattice is a border of tiles for any even cut of blocks
    sheet = Sheet("EPSG:32630", CELL)
    border = float(np.ceil((WEST + 800) / (512 * CELL)) * 512 * CELL) + sheet.x_phase_m
    assert WEST + 400 < border < WEST + SIDE * CELL - 400
    area = shapely.box(border - 300, NORTH - 2000, border + 300, NORTH - 500)
    frame = geopandas.GeoDataFrame({"name": ["Middle ground"]}, geometry=[area], crs="EPSG:32630")
    frame.to_crs(4326).to_file(folder / "closed.geojson")
    frame.to_file(folder / "closed.gpkg")
    return folder


@pytest.fixture(scope="module")
def runs(coast):
    recipe = Recipe.default()
    shut = recipe.with_around(closed=[str(coast / "closed.geojson")])
    free = scan(coast / "coast.tif", recipe, out=coast / "free", workers=1)
    return free, scan(coast / "coast.tif", shut, out=coast / "shut", workers=1, tile=512)


def inside(coast, table):
    area = geopandas.read_file(coast / "closed.geojson").geometry.iloc[0]
    return shapely.intersects(area, shapely.points(table["lon"], table["lat"]))


def test_a_scan_lists_nothing_in_closed_ground_in_any_cut_and_says_what_it_left_out(coast, runs):
    free, shut = runs
    hit = inside(coast, free.candidates)
    assert 5 < hit.sum() < len(hit), "the closed area holds candidates, on both sides of the tiles' border"
    assert not inside(coast, shut.candidates).any()
    assert set(shut.candidates["id"]) == set(free.candidates["id"][~hit])
    told = shut.info["around"]["closed"]
    assert told["removed"] == hit.sum() and told["by"] == [
        {"name": "Middle ground", "file": "closed.geojson", "candidates": int(hit.sum())}
    ]
    whole = scan(coast / "coast.tif", shut.recipe, workers=1, tile=1024)
    assert whole.candidates.equals(shut.candidates)
    projected = scan(
        coast / "coast.tif", Recipe.default().with_around(closed=[str(coast / "closed.gpkg")]), workers=1
    )
    assert not inside(coast, projected.candidates).any()


def test_a_listed_site_close_to_closed_ground_says_so(coast, runs):
    _, shut = runs
    close = [site for site in shut.sites if site["closed_m"] <= 50]
    assert close and all(
        "closed-ground-near" in site["flags"] and "(Middle ground)" in site["why"] for site in close
    )
    assert shut.candidates["closed_m"].min() > 0


def test_the_raster_of_scores_tells_none_in_closed_ground(coast, runs):
    with rasterio.open(coast / "free" / "score.tif") as file:
        free, transform = file.read(1), file.transform
    with rasterio.open(coast / "shut" / "score.tif") as file:
        shut = file.read(1)
    rows, cols = np.nonzero((free != 255) & (free > 0))
    x, y = transform.c + (cols + 0.5) * transform.a, transform.f + (rows + 0.5) * transform.e
    area = geopandas.read_file(coast / "closed.geojson").to_crs(32630).geometry.iloc[0]
    in_it = shapely.intersects(area.buffer(-0.1), shapely.points(x, y))
    out_of_it = ~shapely.intersects(area.buffer(0.1), shapely.points(x, y))
    assert in_it.sum() > 100 and (shut[rows[in_it], cols[in_it]] == 255).all()
    np.testing.assert_array_equal(
        shut[rows[out_of_it], cols[out_of_it]], free[rows[out_of_it], cols[out_of_it]]
    )


def test_closed_ground_over_the_180th_meridian_is_closed_on_both_sides(tmp_path):
    y, x = np.mgrid[0:400, 0:400] * 4.0
    z = -9.0 - 3.0 * (y > 800 + 60 * np.sin(x / 300))
    lon0 = 180.0 - 800.0 / 106_000
    east, north = Transformer.from_crs(4326, 32760, always_xy=True).transform(lon0, -17.0)
    origin = (round(east / 4) * 4.0, round(north / 4) * 4.0)
    free = scan_elevation(z, cell_m=4.0, crs="EPSG:32760", origin=origin)
    assert (free.candidates["lon"] > 179).any() and (free.candidates["lon"] < -179).any()
    south, top = free.candidates["lat"].min() - 0.001, free.candidates["lat"].max() + 0.001
    halves = [shapely.box(179.998, south, 180.0, top), shapely.box(-180.0, south, -179.998, top)]
    geopandas.GeoDataFrame({"name": ["line", "line"]}, geometry=halves, crs=4326).to_file(
        tmp_path / "halves.geojson"
    )
    one = shapely.Polygon([(179.998, south), (-179.998, south), (-179.998, top), (179.998, top)])
    geopandas.GeoDataFrame({"name": ["line"]}, geometry=[one], crs=4326).to_file(tmp_path / "one.geojson")
    near = free.candidates["lon"].abs() > 179.998
    assert 3 < near.sum() < len(near)
    for name in ("halves", "one"):
        recipe = Recipe.default().with_around(closed=[str(tmp_path / f"{name}.geojson")])
        shut = scan_elevation(z, cell_m=4.0, crs="EPSG:32760", origin=origin, recipe=recipe)
        assert set(shut.candidates["id"]) == set(free.candidates["id"][~near]), name


def test_rescore_keeps_it_closed_and_other_files_want_a_scan(coast, runs):
    loose = Recipe.default()
    again = rescore_run(coast / "shut", loose, out=coast / "again")
    assert again.listing.sites and not inside(coast, RunFolder.open(coast / "again").candidates()).any()
    assert again.info["around"] == json.loads((coast / "shut" / "run.json").read_text())["around"]
    assert (coast / "again" / "surroundings.gpkg").read_bytes() == (
        coast / "shut" / "surroundings.gpkg"
    ).read_bytes()
    with pytest.raises(NeedsScanError, match="scan again"):
        rescore_run(coast / "shut", loose.with_around(closed=["other.gpkg"]))
    with pytest.raises(NeedsScanError, match="scan again"):
        rescore_run(coast / "free", loose.with_around(closed=[str(coast / "closed.geojson")]))


def test_a_pick_in_closed_ground_is_refused_by_name(coast, runs, capsys):
    free, _ = runs
    site = free.candidates[inside(coast, free.candidates)].iloc[0]
    picks = {"schema": "reefscan-picks/1", "run": "free", "picks": [
        {"id": "hand-1", "state": "keep", "name": "My spot", "lon": site.lon, "lat": site.lat, "added": True},
        {"id": site.id, "state": "keep", "name": "Old one", "lon": site.lon, "lat": site.lat},
        {"id": "hand-2", "state": "keep", "name": "Far one", "lon": 20.0, "lat": 45.0, "added": True},
    ]}  # fmt: skip
    (coast / "picks.json").write_text(json.dumps(picks))
    for command in (["export", "--out", str(coast / "a.geojson")], ["cards", "--out", str(coast / "a.pdf")]):
        assert (
            cli.run([command[0], str(coast / "shut"), "--picks", str(coast / "picks.json"), *command[1:]])
            == 0
        )
        said = capsys.readouterr().err
        assert said.count("lies in closed ground (Middle ground) and is left out") == 2
        assert "'My spot'" in said and "'Old one'" in said and "'Far one' lies beyond" in said
    places = json.loads((coast / "a.geojson").read_text())["features"]
    assert places == [], "those that were wanted are refused, and nothing else was asked for"


@pytest.mark.parametrize("ending", ["gpx", "kml", "csv", "geojson", "gpkg"])
def test_every_file_for_the_boat_says_what_is_known_of_closed_ground(coast, runs, ending):
    for name, words in (("free", NONE_GIVEN), ("shut", "Closed ground: from closed.geojson, 1 area near")):
        out = coast / f"{name}.{ending}"
        assert cli.run(["export", str(coast / name), "--out", str(out)]) == 0
        assert words.encode() in out.read_bytes(), (name, ending)


def test_screen_page_list_and_comparison_say_it_first(coast, runs, capsys):
    assert cli.run(["rescore", str(coast / "free")]) == 0
    assert capsys.readouterr().out.startswith(NONE_GIVEN)
    assert cli.run(["rescore", str(coast / "shut"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["closed_ground"].startswith(
        "Closed ground: from closed.geojson"
    )
    assert NONE_GIVEN in (coast / "free" / "candidates.geojson").read_text().splitlines()[0]
    assert cli.run(["compare", str(coast / "free"), str(coast / "shut")]) == 0
    said = capsys.readouterr().out
    assert said.splitlines()[0] == f"free: {NONE_GIVEN}"
    assert "lies in closed ground (Middle ground), as shut knows it" in said
    for name in ("free", "shut"):
        assert cli.run(["review", str(coast / name), "--out", str(coast / f"{name}.html")]) == 0
    assert NONE_GIVEN in (coast / "free.html").read_text()
    assert "Middle ground" in (coast / "shut.html").read_text()


def test_a_run_whose_closed_ground_is_gone_is_not_opened(coast, runs, tmp_path):
    shutil.copytree(coast / "shut", tmp_path / "shut")
    (tmp_path / "shut" / "surroundings.gpkg").unlink()
    for read in (rescore_run, open_run):
        with pytest.raises(RunFolderError, match="says what is closed"):
            read(tmp_path / "shut")
