"""A tile with nothing in the search band is known by the elevations of its core and a narrow rim."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

from reefscan.base.model import Window
from reefscan.base.recipe import Recipe
from reefscan.find.candidates import search_halo
from reefscan.io.grids import rawgrid
from reefscan.io.grids.rasters import open_grids
from reefscan.io.grids.source import SheetSource
from reefscan.pipeline.tilework import TileWork
from tests.io.seabed import CELL, NORTH, WEST, write


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))


def shelf(folder: Path) -> SheetSource:
    """Deep water in the north, from 200 m up to 5 m in the south, a trough there; with an uncertainty band."""
    z = np.repeat(np.linspace(-200.0, -5.0, 1536)[:, None], 512, axis=1)
    z[1450:, 250:254] -= 3.0
    bands = np.stack([z, np.full(z.shape, 0.3)]).astype("f4")
    path = write(folder / "a.tif", bands, transform=Affine(CELL, 0, WEST // CELL * CELL, 0, -CELL, NORTH))
    with rasterio.open(path, "r+") as out:
        out.descriptions = ("elevation", "uncertainty")
    (sheet,) = open_grids(path)
    return sheet


def test_the_first_look_has_the_bits_of_the_read(tmp_path: Path) -> None:
    sheet = shelf(tmp_path)
    core = Window(sheet.extent.row + 100, sheet.extent.col - 20, 300, 200)
    seen = sheet.first_look(core)
    assert seen is not None
    np.testing.assert_array_equal(seen, sheet.read(core).elev_mm)


def test_out_of_the_band_only_elevations_of_the_core_and_its_rim_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet = shelf(tmp_path)
    asked: list[tuple[int, int]] = []
    read = rawgrid._millimetres

    def counted(dataset: Any, band: int, window: Any, *how: Any) -> Any:
        asked.append((band, window.height * window.width))
        return read(dataset, band, window, *how)

    monkeypatch.setattr(rawgrid, "_millimetres", counted)
    recipe = Recipe.default()
    work = TileWork(sheet, recipe.find, recipe.score)
    deep = work(Window(sheet.extent.row, sheet.extent.col, 512, 512))  # 200 to 135 m; the band ends at 40 m
    rim = search_halo(recipe.find, CELL)
    assert asked == [(1, (512 + rim) * 512)]  # the grid ends on three sides of the core
    assert deep.stats["in_band"] == 0
    assert "score" not in deep.rasters  # unknown all over
    asked.clear()
    shallow = work(Window(sheet.extent.row + 1024, sheet.extent.col, 512, 512))
    assert shallow.stats["in_band"] > 0
    assert {band for band, _ in asked} == {1, 2}
    assert max(cells for _, cells in asked) > 512 * 512


def test_sampled_cells_are_not_looked_at_first(tmp_path: Path) -> None:
    place = Affine(4 / 111_120, 0, 175.2, 0, -4 / 111_120, -41.5)
    (sheet,) = open_grids(
        write(tmp_path / "a.tif", np.full((50, 60), -9.0), crs="EPSG:4326", transform=place)
    )
    assert sheet.first_look(sheet.extent) is None
