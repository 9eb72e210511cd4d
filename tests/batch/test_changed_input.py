"""A changed input or recipe computes only what it must, and the answer is that of a fresh scan, byte for byte."""

from __future__ import annotations

import os
import pickle
from collections.abc import Callable
from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
from shapely.geometry import box

from reefscan.base.model import Window
from reefscan.base.recipe import Recipe
from reefscan.batch.events import Event, TileDone, TileKept
from reefscan.find import candidates
from reefscan.io.grids.rasters import open_grids
from reefscan.pipeline.scan import scan
from tests.batch.run_bytes import contents, differences, rough, sites, write_geographic, write_native

ROW, COL, SIDE, CELL_M = -3_000_000, 200_100, 700, 2.0
GROUND = rough(3 * SIDE, 3 * SIDE, seed=8, holes=0.004)[:SIDE]
# that ground by itself has gentle swells alone: gullies of 2.5 m across all of it are structure to score
GROUND -= np.float32(2.5) * (np.arange(3 * SIDE) % 100 < 6)
GROUND = np.asarray(GROUND, np.float32)


def write_part(folder: Path, number: int, *, raised_m: float = 0.0) -> Path:
    """Write one of three files that lie side by side."""
    folder.mkdir(exist_ok=True)
    part = GROUND[:, number * SIDE : (number + 1) * SIDE] + np.float32(raised_m)
    return write_native(folder / f"part{number}.tif", part, row=ROW, col=COL + number * SIDE, cell_m=CELL_M)


def write_degrees(folder: Path, number: int, *, raised_m: float = 0.0) -> Path:
    """The same in degrees: three files of one lattice, to be warped."""
    lat = 54.25
    step = 2.0 / 111_320.0 / np.cos(np.deg2rad(lat))
    part = GROUND[:, number * SIDE : (number + 1) * SIDE] + np.float32(raised_m)
    return write_geographic(folder / f"part{number}.tif", part, lon=14.3 + number * SIDE * step, lat=lat)


def write_vrt(folder: Path) -> Path:
    """Write a virtual mosaic over the files of a folder."""
    parts = []
    for path in sorted(folder.glob("*.tif")):
        with rasterio.open(path) as src:
            crs, nodata, left = src.crs.to_wkt(), src.nodata, src.transform.c
        parts.append((path, left))
    west = parts[0][1]
    rows = "".join(
        f'<SimpleSource><SourceFilename relativeToVRT="0">{path}</SourceFilename><SourceBand>1</SourceBand>'
        f'<SrcRect xOff="0" yOff="0" xSize="{SIDE}" ySize="{SIDE}"/>'
        f'<DstRect xOff="{round((left - west) / CELL_M)}" yOff="0" xSize="{SIDE}" ySize="{SIDE}"/></SimpleSource>'
        for path, left in parts
    )
    out = folder.parent / "coast.vrt"
    out.write_text(
        f'<VRTDataset rasterXSize="{SIDE * len(parts)}" rasterYSize="{SIDE}"><SRS>{crs.replace("<", "&lt;")}</SRS>'
        f"<GeoTransform>{west}, {CELL_M}, 0, {-ROW * CELL_M}, 0, {-CELL_M}</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1"><NoDataValue>{nodata}</NoDataValue>{rows}</VRTRasterBand>'
        "</VRTDataset>"
    )
    return out


class Seen:
    """Takes the engine's events, and tells which tiles were computed, carried over or simply kept."""

    def __init__(self) -> None:
        self.events: list[Event] = []

    def __call__(self, event: Event) -> None:
        """Take one."""
        self.events.append(event)

    def done(self) -> set[Window]:
        """Tiles that were computed."""
        return {event.core for event in self.events if isinstance(event, TileDone)}

    def kept(self, *, carried: bool) -> set[Window]:
        """Tiles that were kept; carried over after a reading, or found as they were."""
        return {e.core for e in self.events if isinstance(e, TileKept) and e.carried == carried}


def rescan(grid: Path, out: Path, recipe: Recipe | None = None) -> Seen:
    """Scan with tiles of one block and tell what happened."""
    seen = Seen()
    scan(grid, recipe, out=out, tile=512, workers=1, on_event=seen)
    return seen


def reached(box: Window) -> Callable[[Window], bool]:
    """Tell tiles that read cells of a window."""
    halo = candidates.halo(Recipe.default().find, CELL_M)
    return lambda core: not core.grow(halo).intersect(box).empty


@pytest.mark.parametrize("form", ["folder", "vrt"])
def test_one_changed_file_of_a_mosaic_computes_only_the_tiles_that_read_it(form: str, tmp_path: Path) -> None:
    folder = tmp_path / "coast"
    folder.mkdir()
    for number in range(3):
        write_part(folder, number)
    grid = write_vrt(folder) if form == "vrt" else folder
    first = rescan(grid, tmp_path / "run")
    old = contents(tmp_path / "run")
    write_part(folder, 2, raised_m=0.3)
    again = rescan(grid, tmp_path / "run")
    touched = reached(Window(ROW, COL + 2 * SIDE, SIDE, SIDE))
    assert again.done() == {core for core in first.done() if touched(core)}
    assert again.kept(carried=False) == {core for core in first.done() if not touched(core)}
    assert len(again.done()) >= 2
    assert len(again.kept(carried=False)) >= 2
    rescan(grid, tmp_path / "fresh")
    assert differences(contents(tmp_path / "run"), contents(tmp_path / "fresh")) == []
    assert differences(contents(tmp_path / "run"), old) != []


def test_one_more_file_beside_the_others_leaves_the_far_tiles_as_they_are(tmp_path: Path) -> None:
    folder = tmp_path / "coast"
    folder.mkdir()
    write_part(folder, 0)
    write_part(folder, 1)
    first = rescan(folder, tmp_path / "run")
    write_part(folder, 2)
    again = rescan(folder, tmp_path / "run")
    touched = reached(Window(ROW, COL + 2 * SIDE, SIDE, SIDE))
    assert again.kept(carried=False) == {core for core in first.done() if not touched(core)}
    rescan(folder, tmp_path / "fresh")
    assert differences(contents(tmp_path / "run"), contents(tmp_path / "fresh")) == []


def test_files_in_degrees_that_are_warped_are_told_apart_too(tmp_path: Path) -> None:
    folder = tmp_path / "coast"
    folder.mkdir()
    for number in range(3):
        write_degrees(folder, number)
    first = rescan(folder, tmp_path / "run")
    write_degrees(folder, 2, raised_m=0.3)
    again = rescan(folder, tmp_path / "run")
    assert again.kept(carried=False)
    assert again.done()
    assert again.done() | again.kept(carried=True) | again.kept(carried=False) == first.done()
    rescan(folder, tmp_path / "fresh")
    assert differences(contents(tmp_path / "run"), contents(tmp_path / "fresh")) == []


def test_files_that_only_look_changed_cost_a_reading_and_no_search(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    grid = write_part(tmp_path, 0)
    first = rescan(grid, tmp_path / "run")
    wanted = contents(tmp_path / "run")
    os.utime(grid, (1, 1))
    monkeypatch.setattr(candidates, "find_seeds", _refuse)
    monkeypatch.setattr(candidates, "find_stations", _refuse)
    again = rescan(grid, tmp_path / "run")
    assert again.kept(carried=True) == first.done()
    assert differences(wanted, contents(tmp_path / "run")) == []


def test_a_corner_of_one_large_file_written_anew_computes_only_the_tiles_that_read_it(tmp_path: Path) -> None:
    grid = write_native(tmp_path / "coast.tif", GROUND, row=ROW, col=COL)
    first = rescan(grid, tmp_path / "run")
    changed = GROUND.copy()
    changed[100:140, 2000:2040] += 1.0
    write_native(grid, changed, row=ROW, col=COL)
    again = rescan(grid, tmp_path / "run")
    touched = reached(Window(ROW + 100, COL + 2000, 40, 40))
    assert again.done() == {core for core in first.done() if touched(core)}
    assert again.kept(carried=True) == {core for core in first.done() if not touched(core)}
    rescan(grid, tmp_path / "fresh")
    assert differences(contents(tmp_path / "run"), contents(tmp_path / "fresh")) == []


def _refuse(*args: object, **more: object) -> None:
    raise AssertionError("the search was made again")


def test_other_weights_search_nothing_again_and_give_a_fresh_scans_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    grid = write_part(tmp_path, 1)
    first = rescan(grid, tmp_path / "run")
    old = contents(tmp_path / "run")
    recipe = Recipe.default().with_depth(6.0, 18.0)
    terms = dict(recipe.score.terms)
    terms["floor"] = terms["floor"].model_copy(update={"c": 5.0, "d": 12.0})
    recipe = recipe.model_copy(update={"score": recipe.score.model_copy(update={"terms": terms})})
    assert recipe.find == Recipe.default().find
    rescan(grid, tmp_path / "fresh", recipe)
    with monkeypatch.context() as patch:
        patch.setattr(candidates, "find_seeds", _refuse)
        patch.setattr(candidates, "find_stations", _refuse)
        again = rescan(grid, tmp_path / "run", recipe)
    assert again.kept(carried=True) == first.done()
    assert sites(tmp_path / "run") > 3
    assert differences(contents(tmp_path / "run"), contents(tmp_path / "fresh")) == []
    assert "score.tif" in differences(contents(tmp_path / "run"), old)


def test_a_term_that_no_cell_can_answer_leaves_every_tile_as_it_is(tmp_path: Path) -> None:
    grid = write_part(tmp_path, 1)
    first = rescan(grid, tmp_path / "run")
    recipe = Recipe.default()
    terms = dict(recipe.score.terms)
    terms["steep"] = terms["steep"].model_copy(update={"weight": 3.0})
    recipe = recipe.model_copy(update={"score": recipe.score.model_copy(update={"terms": terms})})
    assert rescan(grid, tmp_path / "run", recipe).kept(carried=False) == first.done()


def test_a_changed_file_behind_a_vrt_makes_a_finished_run_anew(tmp_path: Path) -> None:
    folder = tmp_path / "coast"
    folder.mkdir()
    for number in range(2):
        write_part(folder, number)
    vrt = write_vrt(folder)
    far, near = Window(ROW, COL, 100, 100), Window(ROW, COL + SIDE, 100, 100)
    (source,) = open_grids(vrt)
    before = source.fingerprint(), source.fingerprint_of(far), source.fingerprint_of(near)
    write_part(folder, 1, raised_m=0.5)
    (source,) = open_grids(vrt)
    assert source.fingerprint() != before[0]
    assert source.fingerprint_of(far) == before[1]
    assert source.fingerprint_of(near) != before[2]


def test_a_mosaic_within_a_mosaic_is_looked_into(tmp_path: Path) -> None:
    folder = tmp_path / "coast"
    folder.mkdir()
    write_part(folder, 0)
    inner = write_vrt(folder)
    outer = tmp_path / "outer.vrt"
    text = inner.read_text()
    outer.write_text(text.replace(str(folder / "part0.tif"), str(inner)))
    (source,) = open_grids(outer)
    before = source.fingerprint(), source.fingerprint_of(Window(ROW, COL, 9, 9))
    os.utime(folder / "part0.tif", (1, 1))
    (source,) = open_grids(outer)
    assert source.fingerprint() != before[0]
    assert source.fingerprint_of(Window(ROW, COL, 9, 9)) != before[1]


def test_a_file_that_changes_while_it_is_read_is_told_and_the_next_run_is_right(tmp_path: Path) -> None:
    grid = write_part(tmp_path, 0)
    write_part(tmp_path / "other", 0, raised_m=0.4)
    ended = []

    def watch(event: Event) -> None:
        if isinstance(event, TileDone) and not ended:
            os.replace(tmp_path / "other" / "part0.tif", grid)
            ended.append(event)

    run = scan(grid, out=tmp_path / "run", tile=512, workers=1, on_event=watch)
    assert [
        line for line in run.info["warnings"] if line.startswith("part0.tif: changed while it was being read")
    ]
    run = scan(grid, out=tmp_path / "run", tile=512, workers=1)
    assert not [line for line in run.info["warnings"] if "changed while" in line]
    scan(grid, out=tmp_path / "fresh", tile=512, workers=1)
    assert differences(contents(tmp_path / "run"), contents(tmp_path / "fresh")) == []


@pytest.mark.parametrize("form", ["table", "xml"])
def test_a_changed_file_behind_a_tile_index_is_seen(form: str, tmp_path: Path) -> None:
    part = write_part(tmp_path, 0)
    with rasterio.open(part) as src:
        outline = geopandas.GeoDataFrame({"where": [part.name]}, geometry=[box(*src.bounds)], crs=src.crs)
    index = tmp_path / ("coast.gti.gpkg" if form == "table" else "index.gpkg")
    if form == "table":
        outline = outline.rename(columns={"where": "location"})
    outline.to_file(index, driver="GPKG", layer="parts")
    grid = str(index)
    if form == "xml":
        grid = str(tmp_path / "coast.gti")
        Path(grid).write_text(
            "<GDALTileIndexDataset><IndexDataset>index.gpkg</IndexDataset><IndexLayer>parts</IndexLayer>"
            "<LocationField>where</LocationField></GDALTileIndexDataset>"
        )
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(tmp_path)  # GDAL takes places in an index as seen from here, or from the index
        (source,) = open_grids(grid)
        before = source.fingerprint(), source.fingerprint_of(Window(ROW, COL, 9, 9))
        os.utime(part, (1, 1))
        (source,) = open_grids(grid)
    assert source.fingerprint() != before[0]
    assert source.fingerprint_of(Window(ROW, COL, 9, 9)) != before[1]


def test_a_source_travels_to_workers_without_what_only_the_planner_needs(tmp_path: Path) -> None:
    (source,) = open_grids(write_part(tmp_path, 0))
    bare = len(pickle.dumps(source))
    source.fingerprint_of(Window(ROW, COL, 9, 9))
    assert source.singles
    assert len(pickle.dumps(source)) == bare
    back = pickle.loads(pickle.dumps(source))
    assert back.fingerprint() == source.fingerprint()
    assert (back.read(back.extent).elev_mm == source.read(source.extent).elev_mm).all()
