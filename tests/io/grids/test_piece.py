"""One raw grid as seen on a sheet: cells as they are stored, or sampled at the sheet's own places."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from rasterio.transform import Affine

from reefscan.base.model import NODATA_MM, Window
from reefscan.io.grids.piece import Piece
from reefscan.io.grids.rasters import open_grids
from tests.io.seabed import CELL, cells, write

STEP = 2e-5
LAT, LON = 45.1, -59.9


def piece_of(path: Path) -> Piece:
    (source,) = open_grids(path)
    (piece,) = source.pieces
    return piece


def slope(rows: int, cols: int) -> np.ndarray:
    """Elevation (m) that falls evenly along rows and columns: bilinear sampling must give it back exactly."""
    return (-5.0 - 0.01 * np.arange(rows)[:, None] - 0.02 * np.arange(cols)).astype("f4")


def in_degrees(folder: Path, elev: np.ndarray, *, lon: float = LON, step: float = STEP) -> Piece:
    return piece_of(
        write(folder / "degrees.tif", elev, crs="EPSG:4326", transform=Affine(step, 0, lon, 0, -step, LAT))
    )


def stored_at(piece: Piece, rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Fractional row and column of the file under cells of the sheet."""
    r, c = piece.places(rows, cols)
    return r - piece.grid.extent.row, c - piece.grid.extent.col


def test_a_grid_that_lies_on_the_sheet_gives_its_cells_as_they_are_stored(tmp_path: Path) -> None:
    stored = cells(120, 80)
    piece = piece_of(write(tmp_path / "a.tif", stored.astype("f4")))
    assert not piece.warped
    elev, sigma = piece.read(piece.extent)
    assert_array_equal(elev, np.rint(stored * 1000))
    assert sigma is None
    part = Window(piece.extent.row + 11, piece.extent.col + 7, 20, 30)
    assert_array_equal(piece.read(part)[0], np.rint(stored[11:31, 7:37] * 1000))


@pytest.mark.parametrize("warped", [False, True])
def test_beyond_its_extent_it_knows_nothing_and_says_so_before_reading(tmp_path: Path, warped: bool) -> None:
    elev = slope(200, 300)
    piece = in_degrees(tmp_path, elev) if warped else piece_of(write(tmp_path / "a.tif", elev))
    assert piece.warped == warped
    e = piece.extent
    far = Window(e.row_end + 600, e.col, 40, 50)
    assert piece.empty(far)
    assert piece.layers_at(far) == []
    assert (piece.read(far)[0] == NODATA_MM).all()
    assert not piece.empty(e)
    assert [layer.name for layer in piece.layers_at(e)] == ["degrees.tif" if warped else "a.tif"]


def test_blocks_that_the_file_does_not_hold_are_empty_without_reading(tmp_path: Path) -> None:
    elev = np.full((512, 512), -9999.0, "f4")
    elev[:256] = slope(256, 512)
    options = {"tiled": True, "blockxsize": 256, "blockysize": 256, "sparse_ok": True, "nodata": -9999.0}
    piece = piece_of(write(tmp_path / "sparse.tif", elev, **options))
    e = piece.extent
    for row, col in ((0, 0), (0, 256), (200, 200)):
        assert not piece.empty(Window(e.row + row, e.col + col, 100, 100))
    for row, col in ((256, 0), (256, 256)):
        part = Window(e.row + row, e.col + col, 256, 256)
        assert piece.empty(part)
        assert (piece.read(part)[0] == NODATA_MM).all()


def test_a_grid_in_degrees_is_sampled_between_its_cells(tmp_path: Path) -> None:
    piece = in_degrees(tmp_path, slope(300, 400))
    elev, _ = piece.read(piece.extent)
    known = np.argwhere(elev != NODATA_MM)
    assert len(known) > 10_000
    rows, cols = known[::97, 0] + piece.extent.row, known[::97, 1] + piece.extent.col
    r, c = stored_at(piece, rows, cols)
    between = (r >= 0) & (r <= 299) & (c >= 0) & (c <= 399)  # not half a cell beyond the outermost centres
    assert between.sum() > 1000
    want = -5.0 - 0.01 * r - 0.02 * c
    got = elev[known[::97, 0], known[::97, 1]] / 1000.0
    assert_allclose(got[between], want[between], atol=1e-3)


def test_places_are_where_the_projection_says(tmp_path: Path) -> None:
    from pyproj import Transformer

    piece = in_degrees(tmp_path, slope(300, 400))
    e = piece.extent
    rows, cols = np.array([e.row + 20, e.row + 90]), np.array([e.col + 30, e.col + 200])
    x, y = piece.sheet.x_of(cols.astype(float)), piece.sheet.y_of(rows.astype(float))
    lon, lat = Transformer.from_crs(piece.sheet.crs, "EPSG:4326", always_xy=True).transform(x, y)
    r, c = stored_at(piece, rows, cols)
    assert_allclose(c, (lon - LON) / STEP - 0.5, atol=1e-4)
    assert_allclose(r, (LAT - lat) / STEP - 0.5, atol=1e-4)


@pytest.mark.parametrize("cut", [(17, 5, 60, 200), (100, 33, 1, 1), (0, 0, 150, 150)])
def test_a_part_reads_the_cells_of_the_whole(tmp_path: Path, cut: tuple[int, int, int, int]) -> None:
    rough = slope(300, 400) + np.random.default_rng(4).normal(0, 0.3, (300, 400)).astype("f4")
    piece = in_degrees(tmp_path, rough)
    e = piece.extent
    whole = piece.read(e)[0]
    part = Window(e.row + cut[0], e.col + cut[1], cut[2], cut[3])
    assert_array_equal(piece.read(part)[0], whole[part.slices_in(e)])


def test_a_hole_stays_a_hole_and_spreads_by_one_cell_at_the_most(tmp_path: Path) -> None:
    elev = slope(300, 400)
    elev[140:150, 200:215] = np.nan
    piece = in_degrees(tmp_path, elev)
    read, e = piece.read(piece.extent)[0], piece.extent
    rows, cols = (g.ravel() for g in np.mgrid[e.row : e.row_end, e.col : e.col_end])
    r, c = stored_at(piece, rows, cols)
    unknown = (read == NODATA_MM).ravel()
    inside = (r > 140) & (r < 149) & (c > 200) & (c < 214)
    around = (r > 60) & (r < 240) & (c > 60) & (c < 340)
    near = (r > 138) & (r < 151) & (c > 198) & (c < 216)
    assert inside.sum() > 50
    assert unknown[inside].all()
    assert (around & ~near).sum() > 1000
    assert not unknown[around & ~near].any()


def test_columns_go_on_over_the_antimeridian_where_the_grid_goes_round_the_earth(tmp_path: Path) -> None:
    """Elevation depends on latitude alone: a sheet over the antimeridian shows neither a gap nor a step there."""
    step = 0.25
    rows, cols = 80, round(360 / step)
    elev = np.repeat((-100.0 - np.arange(rows, dtype="f4"))[:, None], cols, axis=1)
    path = write(
        tmp_path / "world.tif", elev, crs="EPSG:4326", transform=Affine(step, 0, -180.0, 0, -step, 10.0)
    )
    sources = open_grids(path, bbox=(178.0, 2.0, -178.0, 8.0))
    assert sources
    for source in sources:
        e = source.extent
        row = Window(e.row + e.height // 2, e.col, 1, e.width)
        (piece,) = source.pieces
        lon = source.lonlat(np.full(e.width, row.row), np.arange(e.col, e.col_end))[0]
        assert lon.min() < 0 < lon.max()  # it reaches over the antimeridian
        middle = piece.read(row)[0][0]
        assert (middle != NODATA_MM).all()
        # parallels curve on the sheet's map, by less than a tenth of a cell from one column to the next
        assert np.abs(np.diff(middle.astype(int))).max() < 100


def test_the_lattice_of_the_sheet_is_where_its_cells_are(tmp_path: Path) -> None:
    piece = piece_of(write(tmp_path / "a.tif", cells(50, 40).astype("f4")))
    rows, cols = np.array([piece.extent.row + 3]), np.array([piece.extent.col + 5])
    r, c = stored_at(piece, rows, cols)
    assert (r[0], c[0]) == (3.0, 5.0)
    assert piece.sheet.cell_m == CELL
