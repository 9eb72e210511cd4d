"""Grids in degrees far from the equator, whose columns are much finer than the cells they are read on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from rasterio.transform import Affine

from reefscan.base.model import NODATA_MM, Window
from reefscan.io.grids.rasters import open_grids
from reefscan.io.grids.source import SheetSource
from tests.io.seabed import write

SECOND = 1 / 3600
ROWS, COLS = 300, 700


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))


def square_seconds(folder: Path, z: np.ndarray, lat: float = 70.0, lon: float = 20.0) -> SheetSource:
    """One arc-second square: at 70 degrees 30.9 m down and 10.6 m across."""
    place = Affine(SECOND, 0, lon, 0, -SECOND, lat)
    (sheet,) = open_grids(write(folder / "a.tif", z, crs="EPSG:4326", transform=place))
    return sheet


def inner(sheet: SheetSource) -> Window:
    return sheet.extent.grow(-12)


def test_the_cell_is_that_of_the_coarser_axis(tmp_path: Path) -> None:
    sheet = square_seconds(tmp_path, np.full((ROWS, COLS), -9.0))
    assert sheet.sheet.cell_m == 32.0  # of the series 25, 32, 40 the nearest to 30.9


def test_a_plane_in_degrees_stays_a_plane(tmp_path: Path) -> None:
    lon = 20.0 + (np.arange(COLS) + 0.5) * SECOND
    lat = 70.0 - (np.arange(ROWS) + 0.5) * SECOND
    plane = -30.0 + 100.0 * (lon[None, :] - 20.1) + 60.0 * (lat[:, None] - 69.95)
    sheet = square_seconds(tmp_path, plane)
    window = inner(sheet)
    elev = sheet.read(window).elev_mm
    r, c = np.mgrid[window.row : window.row_end, window.col : window.col_end]
    x, y = sheet.lonlat(r.ravel(), c.ravel())
    known = elev.ravel() != NODATA_MM
    expected = 1000 * (-30.0 + 100.0 * (x - 20.1) + 60.0 * (y - 69.95))
    assert known.mean() > 0.9
    np.testing.assert_allclose(elev.ravel()[known], expected[known], atol=2.0)


def test_the_noise_of_the_columns_is_averaged_not_picked(tmp_path: Path) -> None:
    noise = np.random.default_rng(2).normal(scale=1.0, size=(ROWS, COLS))
    sheet = square_seconds(tmp_path, -30.0 + noise)
    elev = sheet.read(inner(sheet)).elev_mm
    spread = elev[elev != NODATA_MM].std() / 1000
    # the three columns under a cell, and a bit of their neighbours, against 0.67 for bilinear points
    assert 0.35 < spread < 0.45


def test_every_column_is_heard(tmp_path: Path) -> None:
    # one column in nine stands up: read at points, some of these walls would be missed and others be whole
    z = np.full((ROWS, COLS), -30.0)
    z[:, 100:600:9] += 9.0
    sheet = square_seconds(tmp_path, z)
    window = inner(sheet)
    elev = sheet.read(window).elev_mm
    r = window.row + window.height // 2
    lon, _ = sheet.lonlat(np.full(window.width, r), np.arange(window.col, window.col_end))
    row = (elev[window.height // 2] + 30_000) / 1000
    per_degree = np.gradient(lon)
    at = 20.0 + (np.arange(100, 600, 9) + 0.5) * SECOND
    # volume above the floor within half a spacing of each wall, in metres times columns: 9 in the file
    volume = [(row * per_degree)[np.abs(lon - a) < 4.5 * SECOND].sum() / SECOND for a in at[2:-2]]
    np.testing.assert_allclose(volume, 9.0, rtol=0.02)


def test_any_window_reads_the_same_bits(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    z = -30.0 + rng.normal(scale=1.0, size=(ROWS, COLS))
    z[rng.random(z.shape) < 0.05] = np.nan
    sheet = square_seconds(tmp_path, z)
    wide = sheet.extent.grow(40)
    whole = sheet.read(wide).elev_mm
    for _ in range(40):
        row, col = (int(rng.integers(a, b)) for a, b in ((wide.row, wide.row_end), (wide.col, wide.col_end)))
        window = Window(row, col, int(rng.integers(1, 150)), int(rng.integers(1, 150))).intersect(wide)
        np.testing.assert_array_equal(sheet.read(window).elev_mm, whole[window.slices_in(wide)])


def test_long_cells_are_read_at_their_longer_side(tmp_path: Path) -> None:
    z = np.random.default_rng(4).normal(scale=1.0, size=(600, 200)) - 20.0
    place = Affine(8, 0, 352_000, 0, -2, 5_402_000)
    (sheet,) = open_grids(write(tmp_path / "a.tif", z, transform=place))
    assert sheet.sheet.cell_m == 8.0
    elev = sheet.read(sheet.extent.grow(-3)).elev_mm
    assert elev[elev != NODATA_MM].std() / 1000 < 0.6  # four rows a cell
