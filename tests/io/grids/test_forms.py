"""One seabed in any form gives the same cells; a form's own traps are handled or named."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import rasterio
from pyproj import Transformer
from rasterio.transform import Affine

from reefscan.base.model import NODATA_MM, Window, to_metres
from reefscan.io.grids.rasters import open_grids
from reefscan.io.grids.source import SheetSource
from tests.io import seabed
from tests.io.seabed import CELL, CRS, NORTH, WEST, cells, write


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))


def only(path: Path | str, **said: object) -> SheetSource:
    (sheet,) = open_grids(path, **said)  # type: ignore[arg-type]
    return sheet


def metres_down(path: Path) -> Path:
    return write(path / "down.tif", (-cells()).astype("f4"), name="depth")


def decimetres(path: Path) -> Path:
    return write(path / "dm.tif", np.rint(-cells() * 100).astype("i4"), unit="cm", name="depth")


def packed(path: Path) -> Path:
    # an offset of 0 and a scale of 1 cm: stored whole numbers
    return write(path / "packed.tif", np.rint(cells() * 100).astype("i2"), scale=0.01, nodata=-32768)


def south_up(path: Path) -> Path:
    z = cells()
    turned = Affine(CELL, 0, WEST, 0, CELL, NORTH - CELL * z.shape[0])
    return write(path / "south.tif", z[::-1].copy(), transform=turned)


def tiles(path: Path) -> Path:
    folder = path / "tiles"
    folder.mkdir()
    z = cells()
    for row in range(0, z.shape[0], 70):
        for col in range(0, z.shape[1], 80):
            place = Affine(CELL, 0, WEST + col * CELL, 0, -CELL, NORTH - row * CELL)
            write(folder / f"{row}_{col}.tif", z[row : row + 90, col : col + 100], transform=place)
    return folder


def ascii_grid(path: Path) -> Path:
    z = cells()
    head = (
        f"ncols {z.shape[1]}\nnrows {z.shape[0]}\nxllcorner {WEST}\nyllcorner {NORTH - CELL * z.shape[0]}\n"
    )
    body = "\n".join(" ".join(f"{v:.2f}" for v in row) for row in z)
    (path / "a.asc").write_text(f"{head}cellsize {CELL}\nNODATA_value -9999\n{body}\n")
    (path / "a.prj").write_text(rasterio.crs.CRS.from_string(CRS).to_wkt())
    return path / "a.asc"


def compound(path: Path) -> Path:
    return write(path / "compound.tif", cells(), crs="EPSG:32760+5773")


def masked_band(path: Path) -> Path:
    z = cells()
    write(path / "m.tif", z)
    with rasterio.open(path / "m.tif", "r+") as out:
        out.write_mask(np.full(z.shape, 255, dtype=np.uint8))
    return path / "m.tif"


FORMS: list[Callable[[Path], Path]] = [
    metres_down, decimetres, packed, south_up, tiles, ascii_grid, compound, masked_band,
]  # fmt: skip


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.__name__)
def test_one_seabed_in_any_projected_form_gives_the_same_cells(
    tmp_path: Path, form: Callable[[Path], Path]
) -> None:
    sheet = only(form(tmp_path))
    expected = np.rint(cells() * 1000).astype(np.int32)  # straight from the formula, not from a reader
    assert sheet.sheet.crs == CRS
    assert sheet.sheet.cell_m == CELL
    block = sheet.read(sheet.extent)
    np.testing.assert_array_equal(block.elev_mm, expected)
    assert sheet.sheet.bounds(sheet.extent) == (WEST, NORTH - 1040, WEST + 1200, NORTH)


def test_points_of_a_grid_in_any_order_are_that_grid(tmp_path: Path, rng: np.random.Generator) -> None:
    z = cells(60, 50)
    x, y = np.meshgrid(WEST + (np.arange(60) + 0.5) * CELL, NORTH - (np.arange(50) + 0.5) * CELL)
    table = np.column_stack([x.ravel(), y.ravel(), z.ravel()])[rng.permutation(z.size)][:-20]
    np.savetxt(tmp_path / "a.xyz", table, fmt="%.2f", delimiter=",", header="x,y,z", comments="")
    sheet = only(tmp_path / "a.xyz", crs=CRS)
    got = sheet.read(sheet.extent).elev_mm
    assert (got == NODATA_MM).sum() == 20
    known = got != NODATA_MM
    np.testing.assert_array_equal(got[known], np.rint(z * 1000).astype(np.int32)[known])


def feet(path: Path) -> Path:
    return write(path / "ft.tif", cells() / 0.3048, unit="ft")


def survey_feet(path: Path) -> Path:
    return write(path / "usft.tif", cells() / (1200 / 3937), unit="US survey foot")


def fathoms(path: Path) -> Path:
    return write(path / "fm.tif", -cells() / 1.8288, unit="fathom", name="depth")


def vertical_feet(path: Path) -> Path:
    # EPSG:6360 is NAVD88 height in US survey feet
    return write(path / "vft.tif", cells() / (1200 / 3937), crs="EPSG:32760+6360")


@pytest.mark.parametrize("form", [feet, survey_feet, fathoms, vertical_feet], ids=lambda form: form.__name__)
def test_units_named_in_the_file_are_turned_into_metres(tmp_path: Path, form: Callable[[Path], Path]) -> None:
    sheet = only(form(tmp_path))
    np.testing.assert_allclose(to_metres(sheet.read(sheet.extent).elev_mm), cells(), rtol=0, atol=0.0006)


def truth(sheet: SheetSource, window: Window) -> np.ndarray:
    """The formula at the cells of a sheet in the reference CRS."""
    x = sheet.sheet.x_of(np.arange(window.col, window.col_end, dtype=float))
    y = sheet.sheet.y_of(np.arange(window.row, window.row_end, dtype=float))
    return seabed.elevation(np.asarray(x)[None, :], np.asarray(y)[:, None])


def in_degrees(path: Path, *, turn: float = 0.0) -> Path:
    step = 4 / 111_120
    lon, lat = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True).transform(WEST + 600, NORTH - 520)
    west, north = lon - 180 * step, lat + 150 * step
    cols, rows = west + (np.arange(360) + 0.5) * step, north - (np.arange(300) + 0.5) * step
    x, y = Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(*np.meshgrid(cols, rows))
    place = Affine(step, 0, west + turn, 0, -step, north)
    return write(path / "deg.tif", seabed.elevation(x, y), crs="EPSG:4326", transform=place)


def rotated(path: Path) -> Path:
    along, across = 4 * np.cos(np.radians(20)), 4 * np.sin(np.radians(20))
    place = Affine(along, -across, WEST, -across, -along, NORTH)
    c, r = np.meshgrid(np.arange(300) + 0.5, np.arange(260) + 0.5)
    x, y = place.a * c + place.b * r + place.c, place.d * c + place.e * r + place.f
    return write(path / "rot.tif", seabed.elevation(x, y), transform=place)


def not_square(path: Path) -> Path:
    x, y = WEST + (np.arange(300) + 0.5) * 5, NORTH - (np.arange(260) + 0.5) * 3
    place = Affine(5, 0, WEST, 0, -3, NORTH)
    return write(path / "ns.tif", seabed.elevation(x[None], y[:, None]), transform=place)


def in_feet(path: Path) -> Path:
    # the same projection with a foot as its unit
    crs = "+proj=utm +zone=60 +south +datum=WGS84 +units=ft"
    x, y = WEST + (np.arange(300) + 0.5) * 3.9624, NORTH - (np.arange(260) + 0.5) * 3.9624
    place = Affine(13, 0, WEST / 0.3048, 0, -13, NORTH / 0.3048)
    return write(path / "feet.tif", seabed.elevation(x[None], y[:, None]), transform=place, crs=crs, unit="m")


@pytest.mark.parametrize("form", [in_degrees, rotated, not_square, in_feet], ids=lambda form: form.__name__)
def test_other_lattices_are_warped_to_the_same_catalogue_and_keep_the_seabed(
    tmp_path: Path, form: Callable[[Path], Path]
) -> None:
    sheet = only(form(tmp_path))
    assert (sheet.sheet.crs, sheet.sheet.cell_m) == (CRS, 4.0)
    assert (sheet.sheet.x_phase_m, sheet.sheet.y_phase_m) == (0.0, 0.0)
    got = to_metres(sheet.read(sheet.extent).elev_mm)
    error = np.abs(got - truth(sheet, sheet.extent))
    known = np.isfinite(got)
    assert known.sum() > 40_000
    # bilinear: at most h^2/8 times the bend of the ground, 0.012 per metre here; the outer half cell is held
    assert np.percentile(error[known], 99) < 0.03
    assert error[known].max() < 0.2


def test_longitudes_beyond_180_are_the_same_place(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    plain, turned = only(in_degrees(tmp_path / "a")), only(in_degrees(tmp_path / "b", turn=-360.0))
    assert plain.extent == turned.extent
    got = [s.read(s.extent).elev_mm for s in (plain, turned)]
    # the corner of a file written at another turn differs by a rounding of 1e-13 degrees
    assert np.abs(got[0].astype(np.int64) - got[1]).max() <= 1


def test_tiles_in_degrees_are_joined_before_the_warp(tmp_path: Path) -> None:
    whole = in_degrees(tmp_path)
    with rasterio.open(whole) as src:
        z, place = src.read(1), src.transform
    folder = tmp_path / "t"
    folder.mkdir()
    for row in range(0, 300, 110):
        for col in range(0, 360, 130):
            there = Affine(place.a, 0, place.c + col * place.a, 0, place.e, place.f + row * place.e)
            write(
                folder / f"{row}_{col}.tif",
                z[row : row + 110, col : col + 130],
                crs="EPSG:4326",
                transform=there,
            )
    one, many = only(whole), only(folder)
    np.testing.assert_array_equal(one.read(one.extent).elev_mm, many.read(one.extent).elev_mm)


@pytest.mark.parametrize("form", [in_degrees, rotated, tiles, south_up], ids=lambda form: form.__name__)
def test_any_window_reads_the_same_bits(
    tmp_path: Path, form: Callable[[Path], Path], rng: np.random.Generator
) -> None:
    sheet = only(form(tmp_path))
    wide = sheet.extent.grow(60)
    whole = sheet.read(wide).elev_mm
    for _ in range(40):
        row, col = (
            int(rng.integers(wide.row, wide.row_end - 1)),
            int(rng.integers(wide.col, wide.col_end - 1)),
        )
        window = Window(row, col, int(rng.integers(1, 200)), int(rng.integers(1, 200))).intersect(wide)
        np.testing.assert_array_equal(sheet.read(window).elev_mm, whole[window.slices_in(wide)])


def test_bag_like_uncertainty_comes_with_the_cells(tmp_path: Path) -> None:
    z = cells(80, 70)
    bands = np.stack([z, np.full(z.shape, 0.25)]).astype("f4")
    bands[:, :10] = 1e6
    with rasterio.open(
        tmp_path / "u.tif", "w", driver="GTiff", width=80, height=70, count=2, dtype="float32", nodata=1e6,
        crs=CRS, transform=Affine(CELL, 0, WEST, 0, -CELL, NORTH),
    ) as out:  # fmt: skip
        out.write(bands)
        out.descriptions = ("elevation", "uncertainty")
    sheet = only(tmp_path / "u.tif")
    block = sheet.read(sheet.extent)
    assert sheet.has_uncertainty
    assert block.sigma_mm is not None
    np.testing.assert_array_equal(block.sigma_mm[10:], 250)
    np.testing.assert_array_equal(block.sigma_mm[:10], 0)
    assert (block.elev_mm[:10] == NODATA_MM).all()


def test_a_datum_shift_is_added_to_every_elevation(tmp_path: Path) -> None:
    path = write(tmp_path / "a.tif", cells())
    np.testing.assert_array_equal(
        only(path, datum_shift_m=-0.4).read(only(path).extent).elev_mm,
        only(path).read(only(path).extent).elev_mm - 400,
    )


@pytest.mark.parametrize(
    ("called", "unit", "sigma_mm"),
    [
        ("uncertainty", None, 305),  # a foot, as the depths
        ("uncertainty", "m", 1000),
        ("uncertainty 95 %", "m", 510),  # 1 / 1.959964
        ("2_sigma", "m", 500),
        ("uncertainty", "%", 0),
    ],
)
def test_an_uncertainty_has_its_own_unit_and_level(
    tmp_path: Path, called: str, unit: str | None, sigma_mm: int
) -> None:
    z = cells(40, 30) / 0.3048
    path = write(tmp_path / "a.tif", np.stack([z, np.ones_like(z)]))
    with rasterio.open(path, "r+") as out:
        out.descriptions = ("elevation", called)
        out.units = ("ft", unit or "")
    sheet = only(path)
    block = sheet.read(sheet.extent)
    np.testing.assert_allclose(to_metres(block.elev_mm), cells(40, 30), atol=0.0006)
    assert block.sigma_mm is not None
    assert (block.sigma_mm == sigma_mm).all()
    assert ("not used" in "".join(sheet.notes)) == (sigma_mm == 0)


@pytest.mark.parametrize(
    ("crs", "lon", "lat"),
    [
        ("EPSG:3857", -5.0, 50.0),  # of the whole world
        ("EPSG:3395", 12.0, 44.0),
        ("EPSG:2193", 175.0, -41.0),  # its area ends at 180
        ("EPSG:3851", -178.0, -44.0),  # its area crosses the antimeridian
        ("EPSG:3832", 150.0, 10.0),  # the Pacific, of more than half the world
        ("EPSG:5041", 60.0, 85.0),  # round a pole
        ("EPSG:3031", -60.0, -75.0),
        ("EPSG:32656", 152.0, -27.0),  # a northern zone used in the south
    ],
)
def test_a_grid_in_its_projections_own_area_is_taken(
    tmp_path: Path, crs: str, lon: float, lat: float
) -> None:
    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(lon, lat)
    place = Affine(5, 0, float(x), 0, -5, float(y))
    sheets = open_grids(write(tmp_path / "a.tif", cells(60, 50), crs=crs, transform=place))
    e = sheets[0].extent
    got_lon, got_lat = sheets[0].lonlat(np.array([e.row]), np.array([e.col]))
    assert (float(got_lon[0]) - lon + 180) % 360 - 180 == pytest.approx(0.0, abs=0.05)
    assert float(got_lat[0]) == pytest.approx(lat, abs=0.01)
