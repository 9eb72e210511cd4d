"""The run folder: never a foreign one, never half written, never two at once."""

from __future__ import annotations

import errno
import hashlib
import json
import multiprocessing
import os
import subprocess
import sys
import time
import warnings

import geopandas
import jsonschema
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from geojson_pydantic import FeatureCollection
from invented_sites import candidates

from reefscan.base.errors import DiskFullError, LockedError, MissingInputError, NeedsScanError, RunFolderError
from reefscan.base.model import Sheet, Window
from reefscan.base.recipe import Recipe, load_recipe
from reefscan.io import whole
from reefscan.io.lock import FolderLock
from reefscan.io.out import tables
from reefscan.io.out.runfolder import RunFolder
from reefscan.io.out.schemas import load_schema
from reefscan.io.out.scoreraster import publish, score_raster
from reefscan.io.whole import write_whole
from reefscan.pipeline.rescore import rescore_run
from reefscan.score.listing import list_sites


def make_run(path, recipe=None, table=None):
    recipe, table = recipe or Recipe.default(), candidates() if table is None else table
    with RunFolder.create(path) as run:
        run.write_candidates(table)
        run.write_recipe(recipe)
        run.write_listed(list_sites(table, recipe).sites)
        run.finish(depth_unit="m", inputs=[{"name": "coast.tif", "bytes": np.int64(3)}])
    return run


def digest(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


def test_a_run_is_marked_as_started_before_anything_else_is_in_it(tmp_path):
    with RunFolder.create(tmp_path / "deep" / "run") as run:
        assert {p.name for p in run.path.iterdir()} == {"run.json", "lock"}
        assert json.loads((run.path / "run.json").read_text())["state"] == "started"
        run.finish()
    assert RunFolder.open(run.path).info["state"] == "done"


def test_a_folder_that_is_not_a_run_is_never_touched(tmp_path):
    (tmp_path / "letters.txt").write_text("dear")
    (tmp_path / "run.json").write_text('{"someone": "else"}')
    before = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    with pytest.raises(RunFolderError, match="left alone"):
        RunFolder.create(tmp_path)
    with pytest.raises(RunFolderError, match="not a run folder"):
        RunFolder.open(tmp_path)
    assert {p.name: p.read_bytes() for p in tmp_path.iterdir()} == before
    with pytest.raises(RunFolderError, match="is a file"):
        RunFolder.create(tmp_path / "letters.txt")


def test_an_error_is_recorded_and_an_unfinished_run_is_not_read_as_one(tmp_path):
    for error, state in ((ValueError("bad cell"), "failed"), (KeyboardInterrupt(), "interrupted")):
        with pytest.raises(type(error)), RunFolder.create(tmp_path / state):
            raise error
        info = json.loads((tmp_path / state / "run.json").read_text())
        jsonschema.validate(info, load_schema("run"))
        assert info["state"] == state and info["error"]
        with pytest.raises(RunFolderError, match="give the same scan again"):
            RunFolder.open(tmp_path / state)
    with RunFolder.create(tmp_path / "failed") as run:  # an earlier run of ours may be taken over
        run.finish()
    with pytest.raises(MissingInputError):
        RunFolder.open(tmp_path / "nowhere")


def test_a_second_process_is_kept_out_while_the_folder_is_in_use_and_let_in_after(tmp_path):
    code = (
        "import sys; from reefscan.io.out.runfolder import RunFolder; from reefscan.base.errors import LockedError\n"
        "try:\n    RunFolder.create(sys.argv[1]).finish()\nexcept LockedError as e:\n    print(e); sys.exit(7)"
    )
    call = [sys.executable, "-c", code, str(tmp_path / "run")]
    with RunFolder.create(tmp_path / "run"):
        found = subprocess.run(call, capture_output=True, text=True, check=False)
        assert found.returncode == 7 and str(os.getpid()) in found.stdout
        with pytest.raises(LockedError):
            RunFolder.create(tmp_path / "run")
    assert subprocess.run(call, check=False).returncode == 0


def _hold_and_die(path):
    RunFolder.create(path)
    os._exit(9)


def test_the_lock_goes_with_a_killed_process(tmp_path):
    process = multiprocessing.get_context("spawn").Process(target=_hold_and_die, args=(tmp_path / "run",))
    process.start()
    process.join()
    assert process.exitcode == 9
    with RunFolder.create(tmp_path / "run") as run:
        run.finish()


def test_a_failed_write_leaves_the_old_file_and_nothing_beside_it(tmp_path, monkeypatch):
    path = tmp_path / "a.json"
    write_whole(path, "old")

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(whole.os, "replace", full)
    with pytest.raises(DiskFullError, match="disk is full"):
        write_whole(path, "new")
    assert path.read_text() == "old" and list(tmp_path.iterdir()) == [path]


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root writes everywhere")
def test_an_unwritable_place_is_said_to_be_one(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(RunFolderError, match="cannot be written"):
        RunFolder.create(tmp_path / "run")
    tmp_path.chmod(0o700)


def test_the_list_is_valid_geojson_and_fits_its_schema(tmp_path):
    run = make_run(tmp_path / "run")
    data = run.listed()
    jsonschema.validate(data, load_schema("candidates"))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        FeatureCollection.model_validate(data)  # an independent RFC 7946 model
    assert "crs" not in data  # RFC 7946, section 4
    for feature in data["features"]:
        lon, lat = feature["geometry"]["coordinates"]
        assert -59.91 < lon < -59.79 and 45.09 < lat < 45.21  # longitude first
        assert feature["properties"]["depth_ft"] == pytest.approx(
            feature["properties"]["depth_m"] / 0.3048, abs=0.051
        )
    frame = geopandas.read_file(run.path / "candidates.geojson")  # and GDAL reads it
    assert len(frame) == len(data["features"]) > 10 and frame.crs.to_epsg() == 4326


def test_the_run_record_fits_its_schema(tmp_path):
    run = make_run(tmp_path / "run")
    jsonschema.validate(json.loads((run.path / "run.json").read_text()), load_schema("run"))


def test_the_schemas_are_schemas_and_refuse_what_is_wrong(tmp_path):
    for name in ("candidates", "run"):
        jsonschema.Draft202012Validator.check_schema(load_schema(name))
    data = make_run(tmp_path / "run").listed()
    for change in ({"score": 101}, {"kind": "wreck"}, {"rank": 0}, {"confidence": 2}, {"why": ""}):
        bad = json.loads(json.dumps(data))
        bad["features"][0]["properties"].update(change)
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(bad, load_schema("candidates"))


def test_equal_runs_are_equal_bytes(tmp_path):
    a, b = make_run(tmp_path / "a").path, make_run(tmp_path / "b").path
    for name in ("candidates.geojson", "candidates.parquet", "recipe.toml"):
        assert digest(a / name) == digest(b / name)


def test_the_table_reads_back_as_it_was_written(tmp_path):
    table = candidates()
    run = make_run(tmp_path / "run", table=table)
    pd.testing.assert_frame_equal(run.candidates(), table, check_dtype=False)
    (run.path / "candidates.parquet").write_bytes(b"PAR1 half")
    with pytest.raises(RunFolderError, match="scan again"):
        run.candidates()


def test_a_stored_recipe_that_lost_a_part_is_not_made_up_from_the_defaults(tmp_path):
    run = make_run(tmp_path / "run", Recipe.default().with_top(3))
    whole_text = (run.path / "recipe.toml").read_text(encoding="utf-8")
    for text in ("", whole_text[: whole_text.index("[rank]")], whole_text[: len(whole_text) // 2]):
        (run.path / "recipe.toml").write_text(text, encoding="utf-8")
        with pytest.raises(RunFolderError, match=r"recipe\.toml.*scan again"):
            run.recipe()


def test_a_rescore_equals_a_fresh_list_byte_for_byte(tmp_path):
    recipe = load_recipe("[score.terms.floor]\nweight = 3\n[rank]\ntop = 25\nspacing_m = 100").with_depth(
        5, 12
    )
    make_run(tmp_path / "scan")
    make_run(tmp_path / "fresh", recipe=recipe)
    rescore_run(tmp_path / "scan", recipe, out=tmp_path / "again")
    for name in ("candidates.geojson", "candidates.parquet", "recipe.toml"):
        assert digest(tmp_path / "again" / name) == digest(tmp_path / "fresh" / name)
    assert digest(tmp_path / "scan" / "candidates.geojson") != digest(
        tmp_path / "again" / "candidates.geojson"
    )
    third = rescore_run(tmp_path / "again", Recipe.default(), out=tmp_path / "back")
    assert digest(third.folder / "candidates.geojson") == digest(tmp_path / "scan" / "candidates.geojson")


def test_a_rescore_outside_the_searched_band_asks_for_a_scan_and_writes_nothing(tmp_path):
    make_run(tmp_path / "scan")
    with pytest.raises(NeedsScanError, match="scan again"):
        rescore_run(tmp_path / "scan", Recipe.default().with_depth(5, 45), out=tmp_path / "new")
    assert not (tmp_path / "new").exists()
    with pytest.raises(RunFolderError, match="the run itself"):
        rescore_run(tmp_path / "scan", out=tmp_path / "scan")


def test_the_time_of_listing_again_grows_with_the_candidates_not_faster():
    # a hundred thousand take about 0.4 s of CPU; a rule that compares each with each would take a hundred times more
    recipe = Recipe.default().with_depth(3, 17)
    few, many = candidates(10_000), candidates(100_000)
    list_sites(few, recipe)
    assert _cpu(lambda: list_sites(many, recipe)) < 25 * _cpu(lambda: list_sites(few, recipe))


def _cpu(call):
    """Least CPU seconds of three runs: a ratio of two holds on a busy machine too."""
    seconds = []
    for _ in range(3):
        start = time.process_time()
        call()
        seconds.append(time.process_time() - start)
    return min(seconds)


def test_features_are_layers_of_one_geopackage_with_equal_bytes(tmp_path):
    line = shapely.LineString([(-59.9, 45.1), (-59.89, 45.11)])
    some = geopandas.GeoDataFrame({"id": ["l1"], "height_m": [1.8]}, geometry=[line], crs="EPSG:4326")
    layers = {"ledges": some, "troughs": some, "rises": some.iloc[:0]}
    for name in ("a", "b"):
        tables.write_features(tmp_path / f"{name}.gpkg", layers)
    assert digest(tmp_path / "a.gpkg") == digest(tmp_path / "b.gpkg")
    found = geopandas.list_layers(tmp_path / "a.gpkg")
    assert sorted(found["name"]) == ["ledges", "rises", "troughs"]
    assert geopandas.read_file(tmp_path / "a.gpkg", layer="ledges")["height_m"].tolist() == [1.8]


def test_the_score_raster_is_a_cloud_optimized_geotiff_that_says_what_it_holds(tmp_path):
    sheet, extent = Sheet("EPSG:32620", 2.0, 0.5, 0.5), Window(-700, 90, 1300, 1100)
    g = np.random.default_rng(1)
    full = g.integers(0, 101, (2048, 2048)).astype(np.uint8)
    path = tmp_path / "score.tif"
    with score_raster(path, sheet, extent) as raster:
        for row in range(-1024, 1024, 512):
            for col in range(0, 2048, 512):
                core = Window(row, col, 512, 512)
                raster.put(core, full[core.slices_in(Window(-1024, 0, 2048, 2048))])
    assert not path.exists()
    publish(path)
    assert list(tmp_path.iterdir()) == [path]
    with rasterio.open(path) as data:
        assert data.nodata == 255 and data.units[0] and "score" in data.descriptions[0]
        assert data.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG" and data.overviews(1)
        assert data.transform[2] == 90 * 2.0 + 0.5 and data.transform[5] == 700 * 2.0 + 0.5
        assert len(data.colormap(1)) == 256
        np.testing.assert_array_equal(data.read(1), full[extent.slices_in(Window(-1024, 0, 2048, 2048))])
    _check_cog_layout(path)


def _check_cog_layout(path):
    """The COG rules of the OGC standard (21-026) that can be seen in the file: tiled, overviews halve, headers
    before data, big data last; read with a TIFF reader of our own here, not with the driver that wrote it."""
    import struct

    raw = path.read_bytes()
    assert raw[:4] == b"II*\0"
    offset, directories = struct.unpack_from("<I", raw, 4)[0], []
    while offset:
        (count,) = struct.unpack_from("<H", raw, offset)
        tags = {}
        for i in range(count):
            tag, kind, n, value = struct.unpack_from("<HHII", raw, offset + 2 + 12 * i)
            tags[tag] = (kind, n, value if kind != 3 else value & 0xFFFF)
        directories.append((offset, tags))
        (offset,) = struct.unpack_from("<I", raw, offset + 2 + 12 * count)
    widths = [tags[256][2] for _, tags in directories]
    assert all(322 in tags and 323 in tags for _, tags in directories)  # TileWidth, TileLength
    assert widths == sorted(widths, reverse=True) and len(widths) >= 2
    first_data = []
    for _, tags in directories:
        kind, n, value = tags[324]  # TileOffsets
        offsets = struct.unpack_from(f"<{n}I", raw, value) if n > 1 else (value,)
        first_data.append(min(o for o in offsets if o))
    assert max(o for o, _ in directories) < min(first_data)
    assert first_data == sorted(first_data, reverse=True)  # smallest overview first, full image last


def test_a_folder_in_which_another_scan_just_begins_is_in_use_and_one_that_it_left_is_taken(tmp_path):
    """Between the lock and the mark there is nothing of ours to read yet."""
    out = tmp_path / "run"
    out.mkdir()
    lock = FolderLock(out)
    lock.acquire()
    with pytest.raises(LockedError):
        RunFolder.create(out)
    lock.release()
    (out / ".0badcafe-1-2.part.json").write_text("half")
    with RunFolder.create(out) as run:
        assert run.info["state"] == "started"
        run.finish()
