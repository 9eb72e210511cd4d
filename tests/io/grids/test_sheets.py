"""Sheets: zones, borders, what goes before what, and files that disagree."""

from __future__ import annotations

import math
import pickle
import re
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
import rasterio
from pyproj import Geod, Transformer
from rasterio.transform import Affine
from scipy import ndimage

from reefscan.base.errors import InputError
from reefscan.base.model import NODATA_MM, Window
from reefscan.io.grids.lattice import SERIES, series_cell, zone_at, zones_over
from reefscan.io.grids.overlaps import allowed_difference
from reefscan.io.grids.rasters import open_grids
from tests.io import seabed
from tests.io.seabed import CELL, CRS, NORTH, WEST, cells, write


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))


def degrees(
    path: Path, west: float, north: float, *, step: float = 0.001, width: int = 200, height: int = 150
) -> Path:
    lon = west + (np.arange(width) + 0.5) * step
    lat = north - (np.arange(height) + 0.5) * step
    z = -15.0 - 3.0 * np.sin(lon[None, :] * 300) * np.cos(lat[:, None] * 300)
    return write(path, z, crs="EPSG:4326", transform=Affine(step, 0, west, 0, -step, north))


def test_zone_numbers_agree_with_the_utm_rule() -> None:
    # CHECKS g: 180 and -180 lie in zone 1, 179.9999 in 60, -66 in 20, -66.0000001 in 19 (rules from memory)
    assert zone_at(180.0, 10).crs == zone_at(-180.0, 10).crs == "EPSG:32601"
    assert zone_at(179.9999, 10).crs == "EPSG:32660"
    assert zone_at(-66.0, 10).crs == "EPSG:32620"
    assert zone_at(-66.0000001, 10).crs == "EPSG:32619"
    assert zone_at(174.0, -41.0).crs == "EPSG:32760"


def test_zones_over_the_antimeridian_are_both_its_sides() -> None:
    assert [z.crs for z in zones_over(179.5, -18, 180.5, -17)] == ["EPSG:32760", "EPSG:32701"]
    assert len(zones_over(-180, -90, 180, 90)) == 2 * 60 + 2


def test_the_series_of_cells_never_changes_a_cell_by_more_than_an_eighth() -> None:
    for cell in np.geomspace(0.01, 5000, 400):
        assert abs(math.log(series_cell(float(cell)) / cell)) < math.log(1.125)
    assert series_cell(2.0) == 2.0
    assert len(SERIES) == 10


@pytest.mark.parametrize("lat", [-77.0, -45.0, 0.5, 60.0, 83.0, 86.5, 89.2])
def test_distances_on_a_catalogue_sheet_are_true_to_a_thousandth(tmp_path: Path, lat: float) -> None:
    # against geodesics (Karney 2013, by pyproj); the worst places of a zone are its edges and its middle
    geod = Geod(ellps="WGS84")
    for lon in (174.0, 177.0, 179.99):
        zone = zone_at(lon, lat)
        forward = Transformer.from_crs("EPSG:4326", zone.crs, always_xy=True)
        for azimuth in (0.0, 90.0, 45.0):
            lon2, lat2, _ = geod.fwd(lon, lat, azimuth, 500.0)
            x, y = forward.transform([lon, lon2], [lat, lat2])
            assert math.hypot(x[1] - x[0], y[1] - y[0]) == pytest.approx(500.0, rel=1.0e-3)


@pytest.mark.parametrize(("west", "north"), [(-6.1, 50.0), (179.9, -17.0), (17.93, 0.07), (11.9, 78.0)])
def test_every_place_of_a_wide_file_is_owned_by_a_sheet_and_by_two_only_at_a_border(
    tmp_path: Path, west: float, north: float
) -> None:
    sheets = open_grids(degrees(tmp_path / "wide.tif", west, north))
    assert len(sheets) >= 2
    rng = np.random.default_rng(5)
    lon = west + 0.003 + 0.194 * rng.random(300)
    lat = north - 0.003 - 0.144 * rng.random(300)
    owners = np.zeros(300, dtype=int)
    for sheet in sheets:
        x, y = Transformer.from_crs("EPSG:4326", sheet.sheet.crs, always_xy=True).transform(lon, lat)
        rows = np.rint(sheet.sheet.row_of(np.asarray(y))).astype(int)
        cols = np.rint(sheet.sheet.col_of(np.asarray(x))).astype(int)
        e = sheet.extent
        inside = (rows >= e.row) & (rows < e.row_end) & (cols >= e.col) & (cols < e.col_end)
        mine = np.zeros(300, dtype=bool)
        mine[inside] = sheet.owns(rows[inside], cols[inside])
        for i in np.flatnonzero(mine)[:40]:
            cell = sheet.read(Window(int(rows[i]), int(cols[i]), 1, 1)).elev_mm[0, 0]
            (clon,), (clat,) = sheet.lonlat(rows[i : i + 1], cols[i : i + 1])
            (beside,), _ = sheet.lonlat(rows[i : i + 1], cols[i : i + 1] + 1)
            across = (beside - clon) % 360
            # far north a cell is several columns wide: the wave's mean over it is sin(x) / x of its height
            left = np.sinc(across * 300 / (2 * math.pi)) if across > 0.002 else 1.0
            wave = math.sin(((clon - west) % 360 + west) * 300) * math.cos(clat * 300)
            expected = -15.0 - 3.0 * left * wave
            # bilinear, 0.3 of a wave's radian a step: at most 3 * 0.3^2 / 8 for each axis
            assert cell / 1000 == pytest.approx(expected, abs=0.07)
        owners += mine
    assert owners.min() >= 1
    # two own a strip of two cells on each side of a border, and what both find there is told once
    cell = sheets[0].sheet.cell_m / 111_120
    off_meridian = np.abs((lon + 3.0) % 6.0 - 3.0) * np.cos(np.radians(lat)) / cell
    off_equator = np.abs(lat) / cell
    assert (owners[np.minimum(off_meridian, off_equator) > 3.5] == 1).all()


def test_a_pole_is_one_sheet(tmp_path: Path) -> None:
    step = 0.05
    lon = -180 + (np.arange(7200) + 0.5) * step
    lat = 90 - (np.arange(30) + 0.5) * step
    z = -20.0 - 5.0 * np.cos(np.radians(lon))[None, :] * np.cos(np.radians(lat))[:, None] * 50
    path = write(tmp_path / "pole.tif", z, crs="EPSG:4326", transform=Affine(step, 0, -180, 0, -step, 90))
    (sheet,) = open_grids(path)
    x = sheet.sheet.x_of(np.arange(sheet.extent.col, sheet.extent.col_end, dtype=float))
    y = sheet.sheet.y_of(np.arange(sheet.extent.row, sheet.extent.row_end, dtype=float))
    back = Transformer.from_crs(sheet.sheet.crs, "EPSG:4326", always_xy=True)
    glon, glat = back.transform(*np.meshgrid(x, y))
    expected = -20.0 - 5.0 * np.cos(np.radians(glon)) * np.cos(np.radians(glat)) * 50
    got = sheet.read(sheet.extent).elev_mm / 1000.0
    inside = (glat > 88.6) & (glat < 89.97)
    assert (got[inside] > -100).all()  # no seam of unknown cells at the antimeridian
    assert np.abs(got - expected)[inside].max() < 0.1


def test_one_more_file_moves_no_cell(tmp_path: Path) -> None:
    first = degrees(tmp_path / "a.tif", 174.2, -41.0)
    second = degrees(tmp_path / "b.tif", 174.4, -40.95)
    alone = open_grids(first)[0]
    both = open_grids([first, second])[0]
    assert both.sheet == alone.sheet
    before, after = alone.read(alone.extent).elev_mm, both.read(alone.extent).elev_mm
    inside = ndimage.binary_erosion(before != NODATA_MM, iterations=2)  # the outermost cells gain neighbours
    assert inside.sum() > 0.8 * before.size
    np.testing.assert_array_equal(after[inside], before[inside])


def test_another_area_moves_no_cell_inside_it(tmp_path: Path) -> None:
    path = degrees(tmp_path / "a.tif", 174.2, -41.0)
    whole = open_grids(path)[0]
    part = open_grids(path, bbox=(174.25, -41.08, 174.3, -41.04))[0]
    assert part.extent.height < whole.extent.height
    np.testing.assert_array_equal(part.read(part.extent).elev_mm, whole.read(part.extent).elev_mm)
    rows, cols = np.mgrid[part.extent.row : part.extent.row_end, part.extent.col : part.extent.col_end]
    own = part.owns(rows.ravel(), cols.ravel())
    lon, lat = part.lonlat(rows.ravel(), cols.ravel())
    expected = (lon >= 174.25) & (lon <= 174.3) & (lat >= -41.08) & (lat <= -41.04)
    np.testing.assert_array_equal(own, expected)
    assert 0 < own.sum() < own.size


def test_an_area_that_meets_no_file_is_refused_with_what_there_is(tmp_path: Path) -> None:
    path = degrees(tmp_path / "a.tif", 174.2, -41.0)
    with pytest.raises(InputError, match=r"174\.2000, -41\.1500, 174\.4000, -41\.0000"):
        open_grids(path, bbox=(10, 50, 11, 51))


def at(folder: Path, name: str, row: int, col: int, z: np.ndarray, **more: object) -> Path:
    place = Affine(CELL, 0, WEST + col * CELL, 0, -CELL, NORTH - row * CELL)
    return write(folder / name, z[row : row + 100, col : col + 120], transform=place, **more)  # type: ignore[arg-type]


def test_finer_cells_go_before_coarser_ones(tmp_path: Path) -> None:
    coarse = write(tmp_path / "coarse.tif", cells(60, 52, 20.0), transform=Affine(20, 0, WEST, 0, -20, NORTH))
    fine = at(tmp_path, "fine.tif", 100, 90, cells())
    sheets = open_grids([coarse, fine])
    assert [s.sheet.cell_m for s in sheets] == [4.0, 20.0]
    rows, cols = np.mgrid[
        sheets[1].extent.row : sheets[1].extent.row_end, sheets[1].extent.col : sheets[1].extent.col_end
    ]
    own = sheets[1].owns(rows.ravel(), cols.ravel()).reshape(rows.shape)
    # the fine file covers coarse rows 20-39 and columns 18-41 exactly
    expected = np.ones((52, 60), dtype=bool)
    expected[20:40, 18:42] = False
    np.testing.assert_array_equal(own, expected)
    assert sheets[0].owns(np.array([sheets[0].extent.row]), np.array([sheets[0].extent.col])).all()


def test_the_preferred_file_goes_first_whatever_its_cells(tmp_path: Path) -> None:
    z = cells()
    at(tmp_path, "a.tif", 0, 0, z)
    at(tmp_path, "b.tif", 0, 60, z + 0.1)
    paths = [tmp_path / "a.tif", tmp_path / "b.tif"]
    (plain,) = open_grids(paths)
    (other,) = open_grids(paths, prefer="b*")
    place = Window(plain.extent.row + 50, plain.extent.col + 80, 1, 1)
    assert other.read(place).elev_mm[0, 0] - plain.read(place).elev_mm[0, 0] == 100
    assert plain.source_at(np.array([place.row]), np.array([place.col])) == ["a.tif"]
    assert other.source_at(np.array([place.row]), np.array([place.col])) == ["b.tif"]
    assert "b* first" in other.order


def test_files_that_disagree_are_named_with_where_and_how_much(tmp_path: Path) -> None:
    z = cells()
    paths = [at(tmp_path, "a.tif", 0, 0, z), at(tmp_path, "b.tif", 0, 60, z - 2.0)]
    (sheet,) = open_grids(paths)
    (told,) = [n for n in sheet.notes if "disagree" in n]
    assert "b.tif is 2.00 m deeper" in told
    lon, lat = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(
        WEST + 90 * CELL, NORTH - 50 * CELL
    )
    place = re.search(r"around ([-\d.]+), ([-\d.]+)", told)
    assert place is not None
    assert (float(place[1]), float(place[2])) == pytest.approx((lat, lon), abs=1e-4)


@pytest.mark.parametrize("gap", [0, 20])
def test_a_step_between_two_files_is_not_left_as_a_step(tmp_path: Path, gap: int) -> None:
    # files that touch (0) and that overlap by 20 columns, 1.2 m apart in height
    z = cells()
    west = write(tmp_path / "a.tif", z[:100, :100])
    place = Affine(CELL, 0, WEST + (100 - gap) * CELL, 0, -CELL, NORTH)
    east = write(tmp_path / "b.tif", z[:100, 100 - gap : 200] - 1.2, transform=place)
    (sheet,) = open_grids([west, east])
    got = sheet.read(sheet.extent).elev_mm
    unknown = np.flatnonzero((got == NODATA_MM).all(axis=0))
    np.testing.assert_array_equal(unknown, [99, 100])
    known = np.abs(np.diff(got.astype(np.int64), axis=1))[:, np.r_[0:98, 102:198]]
    assert known.max() < 500
    piece = Window(sheet.extent.row + 5, sheet.extent.col + 95, 20, 30)
    np.testing.assert_array_equal(sheet.read(piece).elev_mm, got[5:25, 95:125])


def test_files_that_agree_have_no_border(tmp_path: Path) -> None:
    z = cells()
    paths = [
        at(tmp_path, "a.tif", 0, 0, z),
        at(tmp_path, "b.tif", 0, 120, z),
        at(tmp_path, "c.tif", 80, 30, z),
    ]
    (sheet,) = open_grids(paths)
    assert not sheet.seams
    assert not [n for n in sheet.notes if "disagree" in n]


def test_without_a_stated_uncertainty_s44_order_1a_decides() -> None:
    # S-44 ed. 6.1, order 1a at 20 m: TVU 0.5636 m at 95 % (CHECKS h); two depths differ by sqrt 2 of it
    assert allowed_difference(20.0, math.nan, math.nan) == pytest.approx(math.sqrt(2) * 0.5636, abs=1e-4)
    assert allowed_difference(20.0, 0.1, 0.1) == pytest.approx(1.96 * math.sqrt(2) * 0.1, rel=1e-4)


def test_a_source_survives_pickling_and_threads(tmp_path: Path) -> None:
    sheet = open_grids(degrees(tmp_path / "a.tif", 174.2, -41.0))[0]
    expected = sheet.read(sheet.extent).elev_mm
    copy = pickle.loads(pickle.dumps(sheet))
    e = sheet.extent
    windows = [Window(r, c, 50, 50) for r in range(e.row, e.row_end, 50) for c in range(e.col, e.col_end, 50)]
    with ThreadPoolExecutor(4) as pool:
        for window, block in zip(windows, pool.map(copy.read, windows), strict=True):
            part = window.intersect(e)
            np.testing.assert_array_equal(block.elev_mm[part.slices_in(window)], expected[part.slices_in(e)])


def test_a_window_without_stored_blocks_is_known_to_hold_nothing(tmp_path: Path) -> None:
    path = tmp_path / "sparse.tif"
    with rasterio.open(
        path, "w", driver="GTiff", width=1024, height=1024, count=1, dtype="float32", nodata=-9999.0, crs=CRS,
        transform=Affine(CELL, 0, WEST, 0, -CELL, NORTH), tiled=True, blockxsize=256, blockysize=256, sparse_ok=True,
    ) as out:  # fmt: skip
        out.write(cells(256, 256).astype("f4"), 1, window=((256, 512), (256, 512)))
    (sheet,) = open_grids(path)
    e = sheet.extent
    assert sheet.depth_range(Window(e.row, e.col, 200, 200)) is None
    assert sheet.depth_range(Window(e.row - 500, e.col, 200, 200)) is None
    assert sheet.depth_range(Window(e.row + 200, e.col + 200, 100, 100)) == (-math.inf, math.inf)
    assert (sheet.read(Window(e.row, e.col, 200, 200)).elev_mm == NODATA_MM).all()
    got = sheet.read(Window(e.row + 256, e.col + 256, 256, 256)).elev_mm
    np.testing.assert_allclose(got / 1000, seabed.cells(256, 256), atol=0.0006)


@pytest.mark.parametrize("drop", [0.0, 3.0])
def test_a_coarse_file_that_disagrees_with_a_finer_one_is_named(tmp_path: Path, drop: float) -> None:
    z = cells(60, 52, 20.0) - drop
    coarse = write(tmp_path / "coarse.tif", z, transform=Affine(20, 0, WEST, 0, -20, NORTH))
    fine = write(tmp_path / "fine.tif", cells())
    sheets = open_grids([coarse, fine])
    told = [n for s in sheets for n in s.notes if "disagree" in n]
    if not drop:
        assert told == []
        return
    (one,) = told
    assert one.startswith("fine.tif and coarse.tif meet around")
    depth = float(re.search(r"coarse.tif is ([\d.]+) m deeper", one)[1])  # type: ignore[index]
    assert depth == pytest.approx(drop, abs=0.05)
