"""The whole path through the public names: what is found, what is said when nothing is, and sameness."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from surfaces import scan_cells

import reefscan
from reefscan.base.arraysource import ArraySource
from reefscan.base.errors import DiskFullError, InputError, RecipeError
from reefscan.base.recipe import load_recipe
from reefscan.pipeline.engineoptions import EngineOptions
from reefscan.pipeline.scan import scan_sources

Y, X = np.mgrid[-150:150, -150:150] * 2.0


def ground(rng, depth=10.0):
    return -depth + rng.normal(size=X.shape) * 0.03


def gully(rng):
    """One gully 20 m wide and 2.5 m deep, running north, that bends a little: no one dug it."""
    return ground(rng) - 2.5 * np.clip((10 - np.abs(X - 4 * np.sin(Y / 50))) / 5, 0, 1) * (np.abs(Y) < 200)


def test_a_gully_is_one_feature_and_the_best_site_lies_on_its_floor(rng):
    run = scan_cells(gully(rng), cell_m=2.0)
    best = run.sites.iloc[0]
    assert best["kind"] == "trough"
    assert best["height_m"] == pytest.approx(2.5, abs=0.2)
    assert best["depth_m"] == pytest.approx(12.5, abs=0.2)
    assert best["width_m"] == pytest.approx(20, abs=4)
    assert min(best["axis_deg"], 180 - best["axis_deg"]) < 5
    assert len(run.features["troughs"]) == 1
    assert run.features["troughs"].length.iloc[0] == pytest.approx(400, rel=0.1)


def test_any_tile_gives_the_same_table_features_and_score(rng):
    z = np.tile(gully(rng), (2, 3))
    whole, cut = (scan_cells(z, cell_m=2.0, tile=tile) for tile in (1024, 512))
    assert len(whole.candidates) > 10
    assert whole.candidates.equals(cut.candidates)
    assert whole.score.equals(cut.score)
    assert all(whole.features[name].equals(cut.features[name]) for name in whole.features)


def test_bad_cells_beside_a_gully_change_nothing_of_what_is_told_of_it(rng):
    """Spikes of 6 m on its floor, its sides and its crests: set aside before anything is measured, not only before it is sought."""
    z = gully(rng)
    spiked = z.copy()
    for i, row in enumerate(range(60, 240, 6)):
        spiked[row, 150 + (-7, -4, -2, 0, 2, 4, 7)[i % 7]] += 6.0 if i % 2 else -6.0
    clean, run = (scan_cells(cells, cell_m=2.0) for cells in (z, spiked))
    plain, told = clean.candidates, run.candidates
    away = np.abs(run.score.fillna(255) - clean.score.fillna(255))
    assert np.count_nonzero(away > 15) < 500  # 26 spikes, whose slope would mark 7 x 7 cells each
    assert len(told) >= 0.8 * len(plain) > 8
    assert set(told["kind"]) <= {"trough", "ledge"}  # a ledge at either end, where it is closed
    told = told[told["kind"] == "trough"]
    assert len(told) >= 0.7 * len(plain)
    np.testing.assert_allclose(told["height_m"], 2.5, atol=0.2)
    np.testing.assert_allclose(told["width_m"], 20.0, atol=4.0)
    np.testing.assert_allclose(told["depth_m"], 12.5, atol=0.2)


def test_a_score_raster_that_cannot_be_written_beside_the_list_fails_the_scan(rng, tmp_path, monkeypatch):
    def full(path):
        raise DiskFullError(f"{path}: the disk is full")

    monkeypatch.setattr("reefscan.pipeline.sheet.publish", full)
    source = ArraySource.from_metres(gully(rng), cell_m=2.0)
    with pytest.raises(DiskFullError, match=r"score\.tif"):
        scan_sources(
            [source], reefscan.Recipe.default(), out=tmp_path / "run", options=EngineOptions(workers=1)
        )
    assert json.loads((tmp_path / "run" / "run.json").read_text())["state"] != "done"


def test_a_reach_of_more_cells_than_memory_holds_is_refused_before_anything_is_written(rng, tmp_path):
    wide = load_recipe("[find]\nbpi_broad_outer_m = 9000")
    source = ArraySource.from_metres(gully(rng), cell_m=1.0)
    with pytest.raises(RecipeError, match=r"find\.bpi_broad_outer_m = 9000 m makes each place depend on"):
        scan_sources([source], wide, out=tmp_path / "run")
    assert not (tmp_path / "run").exists()


def test_flat_ground_lists_nothing_and_says_why(rng):
    run = scan_cells(ground(rng), cell_m=2.0)
    assert run.sites.empty
    assert any("no structure" in line for line in run.info["warnings"])


def test_ground_out_of_the_band_is_an_empty_result_with_a_sentence(rng):
    run = scan_cells(ground(rng, depth=200.0), cell_m=2.0)
    assert run.sites.empty
    assert any("no cell is as deep as what is searched" in line for line in run.info["warnings"])


def test_cells_too_coarse_for_the_recipe_are_said_to_be(rng):
    """The message names the field and a value; with that value it does not come again."""
    recipe = reefscan.Recipe.default()
    run = scan_cells(ground(rng), cell_m=50.0, recipe=recipe)
    said = [line for line in run.info["warnings"] if "too coarse" in line]
    set_to = dict(re.findall(r"find\.(\w+) = (\d+) would fit", " ".join(said)))
    assert set(set_to) == {"trough_radius_m", "off_max_m", "refuge_min_m"}
    find = recipe.find.model_copy(update={name: float(value) for name, value in set_to.items()})
    again = scan_cells(ground(rng), cell_m=50.0, recipe=recipe.model_copy(update={"find": find}))
    assert not any("too coarse" in line for line in again.info["warnings"])


def test_what_the_cells_cannot_show_is_told_by_file_and_system_where_there_are_several_sheets(rng):
    two = [ArraySource.from_metres(ground(rng), cell_m=2.0, crs=crs) for crs in ("EPSG:32631", "EPSG:32632")]
    told = scan_sources(two, reefscan.Recipe.default(), options=EngineOptions(workers=1)).info["limits"]
    for source, line, crs in zip(two, told, ("EPSG:32631", "EPSG:32632"), strict=True):
        assert line.startswith(f"{source.name} ({crs}): cells of 2 m")


@pytest.mark.parametrize("shape", [(1, 1), (1, 40), (40, 1)])
def test_one_cell_or_one_row_is_scanned_to_nothing(shape):
    assert scan_cells(np.full(shape, -10.0), cell_m=2.0).sites.empty


def test_an_array_that_is_no_grid_is_refused():
    with pytest.raises(InputError, match="two-dimensional"):
        scan_cells(np.zeros(5), cell_m=2.0)


def test_a_shore_cliff_is_no_higher_than_its_part_under_water(rng):
    z = np.where(8 * np.sin(Y / 25) < X, 20.0, -8.0) + rng.normal(size=X.shape) * 0.03
    run = scan_cells(z, cell_m=2.0)
    assert run.sites["height_m"].max() <= 8.3


def test_the_flat_shelf_has_no_site_worth_a_trip(realdata):
    recipe = reefscan.Recipe.default().with_depth(40, 60)
    run = reefscan.scan(realdata / "bering_shelf_2m.tif", recipe, workers=1)
    assert run.info["sheets"][0]["cells_in_band"] == 400 * 400
    assert run.sites.empty or run.sites["score"].max() <= 40


def test_the_harbour_shows_its_breakwater_and_not_its_clip_line(realdata):
    run = reefscan.scan(realdata / "hilo_harbour_10m.tif", crs="EPSG:4326", workers=1)
    assert run.sites["depth_m"].max() < 29
    # the breakwater's foot, read off the picture: from 155.074 W 19.742 N to 155.052 W 19.732 N
    assert len(run.sites.cx[-155.0745:-155.05, 19.731:19.7455]) >= 5


def test_a_grid_that_was_filled_in_between_soundings_says_so_once_and_is_less_sure(rng):
    y, x = np.mgrid[0:200, 0:200] * 2.0
    z = -9 + 0.3 * np.sin(x / 60) - 1.4 * np.clip((x + 0.3 * y + 8 * np.sin(y / 25) - 230) / 6, 0, 1)
    said = {}
    for name, noise in (("sounded", 0.05), ("filled", 0.0)):
        run = scan_cells(z + noise * rng.normal(size=z.shape), cell_m=2.0)
        said[name] = [w for w in run.info["warnings"] if "filled in between soundings" in w]
        said[name + " sure"] = run.sites["confidence"].mean()
    assert not said["sounded"]
    assert len(said["filled"]) == 1
    assert said["filled sure"] < said["sounded sure"] - 0.03


def test_one_cell_read_differently_is_told_by_the_run(rng):
    z = gully(rng)
    same, other = z.copy(), z.copy()
    other[10, 20] -= 0.01
    told = [scan_cells(cells, cell_m=2.0).info["sheets"][0]["cells_read"] for cells in (z, same, other)]
    assert told[0] == told[1] != told[2]


def test_a_run_without_a_map_is_the_same_but_for_it_and_the_map_comes_when_it_is_asked_for(rng, tmp_path):
    source = ArraySource.from_metres(gully(rng), cell_m=2.0)
    recipe = reefscan.Recipe.default()
    drawn = scan_sources([source], recipe, out=tmp_path / "drawn", options=EngineOptions(workers=1))
    bare = scan_sources([source], recipe, out=tmp_path / "bare", options=EngineOptions(workers=1), draw=False)
    names = {path.name for path in drawn.folder.iterdir()}
    assert names - {path.name for path in bare.folder.iterdir()} == {"map.png"}
    for name in names & {"candidates.geojson", "candidates.parquet", "features.gpkg", "score.tif"}:
        assert (drawn.folder / name).read_bytes() == (bare.folder / name).read_bytes()
    scan_sources([source], recipe, out=tmp_path / "bare", options=EngineOptions(workers=1))
    assert (bare.folder / "map.png").read_bytes() == (drawn.folder / "map.png").read_bytes()
    scan_sources(
        [source],
        reefscan.Recipe.default().with_top(3),
        out=bare.folder,
        options=EngineOptions(workers=1),
        draw=False,
    )
    assert not (bare.folder / "map.png").exists()
