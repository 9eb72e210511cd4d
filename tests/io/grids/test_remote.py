"""Rasters over a network: only the ranges that are needed, and a clear word when the server fails."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import rasterio
import rasterio.shutil
from pyproj import Transformer
from rasterio.env import set_gdal_config
from rasterio.transform import Affine

from reefscan.base.errors import MissingInputError, UnreadableError
from reefscan.base.model import Window
from reefscan.io.grids.rasters import open_grids
from tests.io.loopback import Loopback
from tests.io.seabed import CELL, CRS, NORTH, WEST, cells, write


@pytest.fixture(autouse=True)
def straight(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    monkeypatch.setenv("NO_PROXY", "127.0.0.1")
    monkeypatch.setenv("no_proxy", "127.0.0.1")


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a cloud-optimized GeoTIFF of 2048 x 2048 noisy cells, and a virtual mosaic of it."""
    folder = tmp_path_factory.mktemp("served")
    noise = np.random.default_rng(1).normal(scale=0.05, size=(2048, 2048))
    plain = write(folder / "plain.tif", (cells(2048, 2048) + noise).astype("f4"), nodata=-9999.0)
    rasterio.shutil.copy(
        plain, folder / "cog.tif", driver="COG", compress="deflate", predictor="3", blocksize=256
    )
    (folder / "all.vrt").write_text(
        f'<VRTDataset rasterXSize="2048" rasterYSize="2048"><SRS>{CRS}</SRS>'
        f"<GeoTransform>{WEST}, {CELL}, 0, {NORTH}, 0, -{CELL}</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue>'
        '<SimpleSource><SourceFilename relativeToVRT="1">cog.tif</SourceFilename><SourceBand>1</SourceBand>'
        '<SourceProperties RasterXSize="2048" RasterYSize="2048" DataType="Float32" BlockXSize="256" BlockYSize="256"/>'
        '<SrcRect xOff="0" yOff="0" xSize="2048" ySize="2048"/><DstRect xOff="0" yOff="0" xSize="2048" ySize="2048"/>'
        "</SimpleSource></VRTRasterBand></VRTDataset>"
    )
    return folder


def box(left: float, top: float, right: float, bottom: float) -> tuple[float, float, float, float]:
    """Degrees of a rectangle given in metres from the north-west corner."""
    turn = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    west, south, east, north = turn.transform_bounds(WEST + left, NORTH - bottom, WEST + right, NORTH - top)
    return west, south, east, north


def held(path: Path, window: Window) -> int:
    """Stored bytes of the blocks that a window of the sheet meets, as GDAL tells them."""
    total = 0
    row0, col0 = window.row + round(NORTH / CELL), window.col - round(WEST / CELL)
    with rasterio.open(path) as src:
        high, wide = src.block_shapes[0]
        for y in range(row0 // high, (row0 + window.height - 1) // high + 1):
            for x in range(col0 // wide, (col0 + window.width - 1) // wide + 1):
                total += int(src.get_tag_item(f"BLOCK_SIZE_{x}_{y}", "TIFF", bidx=1) or 0)
    return total


@pytest.mark.parametrize("name", ["cog.tif", "all.vrt"])
def test_only_the_ranges_of_the_window_are_fetched(served: Path, name: str) -> None:
    with Loopback(served) as server:
        (sheet,) = open_grids(server.url(name), bbox=box(2500, 2500, 4300, 4300))
        block = sheet.read(sheet.extent)
        # read again in pieces: what was fetched is kept
        for row in range(sheet.extent.row, sheet.extent.row_end, 200):
            sheet.read(Window(row, sheet.extent.col, 200, sheet.extent.width))
    whole = (served / "cog.tif").stat().st_size
    window = held(served / "cog.tif", sheet.extent)
    assert window < 0.4 * whole
    assert server.sent <= 1.3 * window
    (local,) = open_grids(served / "cog.tif")
    np.testing.assert_array_equal(block.elev_mm, local.read(sheet.extent).elev_mm)


def test_an_absent_file_is_missing_and_its_key_is_not_shown(served: Path) -> None:
    with (
        Loopback(served) as server,
        pytest.raises(MissingInputError, match=r"gone\.tif: the server says there is no such file") as caught,
    ):
        open_grids(server.url("gone.tif") + "?key=secret")
    assert "secret" not in str(caught.value)


def test_a_server_that_sends_only_whole_files_is_told_of(served: Path) -> None:
    with (
        Loopback(served, "no ranges") as server,
        pytest.raises(UnreadableError, match=r"download the file"),
    ):
        open_grids(server.url("cog.tif"))


def test_a_server_that_lies_about_ranges_is_an_error_not_a_seabed(served: Path) -> None:
    with Loopback(served, "lies") as server, pytest.raises(UnreadableError, match=r"cannot be read"):
        (sheet,) = open_grids(server.url("cog.tif"), bbox=box(2500, 2500, 4300, 4300))
        sheet.read(sheet.extent)


def test_a_server_that_stalls_is_left(served: Path, tmp_path: Path) -> None:
    write(tmp_path / "any.tif", cells())
    open_grids(tmp_path / "any.tif")  # GDAL's settings are made once, before they are changed here
    set_gdal_config("GDAL_HTTP_LOW_SPEED_TIME", "1")
    set_gdal_config("GDAL_HTTP_MAX_RETRY", "0")
    try:
        with (
            Loopback(served, "stalls") as server,
            pytest.raises(UnreadableError, match=r"does not answer in time"),
        ):
            open_grids(server.url("cog.tif"))
    finally:
        set_gdal_config("GDAL_HTTP_LOW_SPEED_TIME", "20")
        set_gdal_config("GDAL_HTTP_MAX_RETRY", "2")


def test_local_files_ask_for_nothing(served: Path) -> None:
    with Loopback(served) as server:
        (sheet,) = open_grids(served / "all.vrt")
        sheet.read(sheet.extent)
    assert server.asked == []
    assert Affine(*sheet.layers[0].transform).a == CELL


def test_a_mosaic_on_this_machine_asks_no_network_that_was_not_named(served: Path, tmp_path: Path) -> None:
    """In a process of its own: one in which no address has been named yet."""
    with Loopback(served) as server:
        text = (served / "all.vrt").read_text()
        far = text.replace('relativeToVRT="1">cog.tif', f'relativeToVRT="0">/vsicurl/{server.url("cog.tif")}')
        assert far != text
        (tmp_path / "far.vrt").write_text(far)
        done = subprocess.run(
            [sys.executable, "-m", "reefscan", "look", str(tmp_path / "far.vrt")],
            capture_output=True,
            text=True,
            timeout=120,
        )
        assert done.returncode == 1
        assert "only addresses that you name are asked" in done.stderr
        assert server.asked == []
        named = subprocess.run(
            [sys.executable, "-m", "reefscan", "look", server.url("cog.tif")],
            capture_output=True,
            text=True,
            timeout=120,
        )
        assert named.returncode == 0, named.stderr
        assert server.asked != []
