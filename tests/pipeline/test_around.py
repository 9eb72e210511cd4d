"""Facts from outside the grid on the demo's coast: hard structure, caution ground, charts, lee, rasters."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from pyproj import Transformer

from reefscan.base.columns import OUTSIDE
from reefscan.base.recipe import Recipe, dump_recipe, load_recipe
from reefscan.pipeline.around import open_around, surround
from reefscan.pipeline.scan import scan
from reefscan.score.listing import list_sites
from reefscan.surroundings.toe import stand_off_m

SAMPLES = Path(__file__).resolve().parents[2] / "data_samples"


@pytest.fixture(scope="module")
def plain():
    """The demo's coast with nothing around it."""
    return scan(SAMPLES / "demo_coast.tif", Recipe.default().with_depth(4.572, 18.288), workers=1)


@pytest.fixture(scope="module")
def sources():
    from reefscan.io.grids.rasters import open_grids

    return open_grids([SAMPLES / "demo_coast.tif"])


def around(plain, sources, **given):
    recipe = plain.recipe.with_around(**given)
    stored = plain.candidates.drop(columns=["score", "confidence", "rank", "why"])
    table, told = surround(stored, open_around(sources, recipe), recipe, sources)
    return recipe, table, told


def test_hard_structure_never_lowers_a_site_and_says_what_is_where(plain, sources):
    recipe, table, _ = around(plain, sources, hard=[str(SAMPLES / "structures.geojson")])
    before, after = list_sites(plain.candidates, recipe), list_sites(table, recipe)
    natural = (table["kind"] != "man-made").to_numpy()
    ids = table["id"][natural]
    points = dict(zip(plain.candidates["id"], before.scored.points, strict=True))
    gain = after.scored.points[natural] - np.array([points[i] for i in ids])
    assert (gain >= 0).all() and (gain > 0).any()
    near = table[natural & (table["hard_m"] < 100)]
    assert len(near) > 5 and set(near["hard_name"]) >= {"Quillet breakwater", "barge Ottoline"}
    told = [site for site in after.sites if site["kind"] != "man-made" and site["hard_m"] < 150]
    assert told and all("to the" in site["why"] and site["hard_name"] in site["why"] for site in told)


def test_caution_ground_flags_a_site_and_lowers_nothing(plain, sources):
    recipe, table, _ = around(plain, sources, caution=[str(SAMPLES / "caution.geojson")])
    listing = list_sites(table, recipe)
    np.testing.assert_array_equal(listing.scored.points, list_sites(plain.candidates, recipe).scored.points)
    inside = [site for site in listing.sites if site["caution_m"] == 0]
    near = [site for site in listing.sites if site["caution_m"] <= 100]
    assert inside and len(near) > len(inside)
    assert all("caution-ground" in site["flags"] for site in near)
    assert all("lies in caution ground (Port Quillet fairway)" in site["why"] for site in inside)
    assert not any("caution-ground" in site["flags"] for site in listing.sites if site["caution_m"] > 100)


def test_a_run_without_files_has_no_columns_of_them_and_no_word_about_their_terms(plain):
    assert not set(OUTSIDE) & set(plain.candidates.columns)
    assert not any("hard_structure" in warning for warning in plain.info["warnings"])


def test_the_toe_of_the_breakwater_is_proposed_where_the_grid_shows_none(plain, sources, tmp_path):
    given = {"hard": [str(SAMPLES / "structures.geojson")], "tide_m": 1.0}
    _, _, told = around(plain, sources, **given)
    assert told["man_made"] == 0, "2 m cells show the toe: the grid's own candidates stand all along it"
    # the same coast in cells of 16 m
    with rasterio.open(SAMPLES / "demo_coast.tif") as file:
        fine, transform = file.read(1, masked=True).filled(np.nan), file.transform
    rows, cols = (n // 8 for n in fine.shape)
    blocks = fine[: rows * 8, : cols * 8].reshape(rows, 8, cols, 8)
    with rasterio.open(
        tmp_path / "coarse.tif", "w", driver="GTiff", width=cols, height=rows, count=1, dtype="float32", crs="EPSG:32627",
        nodata=np.nan, transform=rasterio.Affine(transform.a * 8, 0, transform.c, 0, transform.e * 8, transform.f),
    ) as file:  # fmt: skip
        file.write(blocks.mean(axis=(1, 3)), 1)
    recipe = Recipe.default().with_around(**given)
    run = scan(tmp_path / "coarse.tif", recipe, workers=1)
    table = run.candidates
    made = table[table["kind"] == "man-made"]
    assert len(made) == run.info["around"]["man_made"] > 5
    assert set(made["hard_name"]) == {"Quillet breakwater"}, "a pier's face and a wreck propose nothing"
    assert (made["off_m"] >= stand_off_m(made["depth_m"], 1.0) - 0.15).all()
    assert made["depth_m"].between(recipe.find.depth_min_m, recipe.find.depth_max_m).all()
    to_grid = Transformer.from_crs(4326, 32627, always_xy=True)
    natural = table[table["kind"] != "man-made"]
    here, there = (
        shapely.points(*to_grid.transform(t["lon"].to_numpy(), t["lat"].to_numpy())) for t in (made, natural)
    )
    assert shapely.distance(here[:, None], there[None, :]).min() >= 40 - 0.1
    assert table["id"].is_unique
    shown = [site for site in run.listing.sites if site["kind"] == "man-made"]
    assert shown and all(site["why"].startswith("At the toe of Quillet breakwater; net ") for site in shown)
    assert all("unknown-steep" in site["flags"] for site in shown), (
        "what no grid has measured is said to be unknown"
    )
    shut = tmp_path / "shut.geojson"
    area = shapely.Point(made["lon"].iloc[0], made["lat"].iloc[0]).buffer(1e-4)
    geopandas.GeoDataFrame({"name": ["here"]}, geometry=[area], crs=4326).to_file(shut)
    again = scan(tmp_path / "coarse.tif", recipe.with_around(closed=[str(shut)]), workers=1)
    assert made["id"].iloc[0] not in set(again.candidates["id"]), "a proposed place is closed as any other"


def test_open_water_to_windward_counts_against_a_site(plain, sources, tmp_path):
    # land north of the demo's coast, as its grid has it
    land = shapely.box(-23.4, 45.0165, -21.6, 45.1)
    geopandas.GeoDataFrame(geometry=[land], crs=4326).to_file(tmp_path / "land.geojson")
    given = {"land": [str(tmp_path / "land.geojson")]}
    _, calm, _ = around(plain, sources, **given, wind_from="N")
    recipe, rough, _ = around(plain, sources, **given, wind_from="S")
    assert (calm["wind_fetch_m"].dropna() < 2500).all() and (rough["wind_fetch_m"].dropna() == 50_000).all()
    assert (rough["open_m"].dropna() == 50_000).all() and rough["open_deg"].between(90, 270).mean() > 0.95
    assert rough["fetch"].dropna().str.split().str.len().eq(8).all()
    before, after = (list_sites(t, recipe).scored.points for t in (calm, rough))
    assert (after <= before).all() and (after < before).any()
    with pytest.raises(ValueError, match="add --land"):
        around(plain, sources, wind_from="S")
    with pytest.raises(ValueError, match="not a direction"):
        around(plain, sources, **given, wind_from="seaward")


def test_a_raster_of_ones_own_is_read_under_the_net_and_its_classes_are_never_mixed(plain, sources, tmp_path):
    rng = np.random.default_rng(2)
    codes = rng.choice([1, 3, 7, 255], (60, 80)).astype("uint8")
    west, north, step = -22.522, 45.02, 0.0005
    with rasterio.open(
        tmp_path / "bottom.tif", "w", driver="GTiff", width=80, height=60, count=1, dtype="uint8", crs="EPSG:4326", nodata=255,
        transform=rasterio.Affine(step, 0, west, 0, -step, north),
    ) as file:  # fmt: skip
        file.write(codes, 1)
    given = {"layers": [f"bottom={tmp_path / 'bottom.tif'}"], "worth": ["bottom: 1=1, 3=0.25"]}
    recipe, table, told = around(plain, sources, **given)
    row = np.floor((north - table["lat"]) / step).astype(int)
    col = np.floor((table["lon"] - west) / step).astype(int)
    inside = (row >= 0) & (row < 60) & (col >= 0) & (col < 80)
    want = np.where(inside, codes[row.clip(0, 59), col.clip(0, 79)].astype(float), np.nan)
    np.testing.assert_array_equal(table["layer_bottom"], np.where(want == 255, np.nan, want))
    assert set(np.unique(table["layer_bottom_worth"].dropna())) == {0.0, 0.25, 1.0}
    assert told["layers"]["bottom"]["known_at"] == np.isfinite(table["layer_bottom"]).sum()
    with_term = load_recipe(
        dump_recipe(recipe)
        + '\n[score.terms.bottom]\ncolumn = "layer_bottom_worth"\na = 0\nb = 1\nweight = 2\n'
    )
    listing = list_sites(table, with_term)
    assert any("bottom" in site["why"] for site in listing.sites)
    assert "bottom" in listing.sites[0]["terms"]
    with rasterio.open(
        tmp_path / "far.tif", "w", driver="GTiff", width=8, height=8, count=1, dtype="uint8", crs="EPSG:4326",
        transform=rasterio.Affine(step, 0, 10, 0, -step, 50),
    ) as file:  # fmt: skip
        file.write(codes[:8, :8], 1)
    with pytest.raises(ValueError, match="lies beside the grid"):
        around(plain, sources, layers=[f"far={tmp_path / 'far.tif'}"])
    for wrong in (
        {"layers": ["Bottom=x"]},
        {"layers": ["a=x", "a=y"]},
        {"worth": ["bottom: 1=1"]},
        {"layers": ["a=x"], "worth": ["a: 1=2"]},
    ):
        with pytest.raises(ValueError):
            plain.recipe.with_around(**wrong)
