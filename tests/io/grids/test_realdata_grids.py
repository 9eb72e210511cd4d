"""Every public grid at hand opens right, with its traps handled or named."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pytest
import rasterio

from reefscan.base.errors import AmbiguousError, InputError, NoCrsError
from reefscan.base.model import NODATA_MM, to_metres
from reefscan.io.grids.rasters import open_grids
from reefscan.io.grids.source import SheetSource

pytestmark = pytest.mark.realdata


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))


# name, what must be said, CRS, cell, least and greatest elevation (the folder's own index), words of the notes
GRIDS: list[tuple[str, dict[str, Any], str, float, float, float, tuple[str, ...]]] = [
    ("F00788_SR_8m.bag", {}, "EPSG:26910", 8, -68.443, -36.185, ("±1 sigma",)),
    ("F00788_SR_8m.tif", {}, "EPSG:26910", 8, -68.443, -36.185, ("±1 sigma",)),
    ("bering_shelf_2m.tif", {}, "EPSG:32602", 2, -52.132, -51.143, ()),
    ("hilo_harbour_10m.tif", {"crs": "EPSG:4326"}, "EPSG:32605", 10, -30, 109, ("cut off flat at a depth of 30 m",)),
    ("okushiri_islet_4m.tif", {}, "EPSG:32654", 4, -21.03, 50, ("10 rows at the first", "10 columns at the last edge only repeat")),
    ("okushiri_merged_24m.tif", {}, "EPSG:32654", 25, -27.28, 50, ("cut off flat at 50 m (164 ft) above", "10 rows at the last", "24 rows (162-173, 208-219) inside it only repeat")),
    ("tidal_flats_10m.asc", {"crs": "EPSG:32656", "positive": "down"}, "EPSG:32656", 10, -4.033, 1.2, ()),
    ("variable_resolution.bag", {"crs": "EPSG:32610"}, "EPSG:32610", 2.0067, -25, -20, ("cells of several sizes",)),
]  # fmt: skip


def sheet_of(path: Path, said: dict[str, Any]) -> SheetSource:
    (sheet,) = open_grids(path, **said)
    return sheet


@pytest.mark.parametrize("grid", GRIDS, ids=[g[0] for g in GRIDS])
def test_a_public_grid_opens_right_and_names_its_traps(realdata: Path, grid: Any) -> None:
    name, said, crs, cell, low, high, told = grid
    sheet = sheet_of(realdata / name, said)
    assert sheet.sheet.crs == crs
    assert sheet.sheet.cell_m == pytest.approx(cell, rel=1e-4)
    elev = to_metres(sheet.read(sheet.extent).elev_mm)
    assert np.nanmin(elev) >= low - 0.01
    assert np.nanmax(elev) <= high + 0.01
    assert np.nanmin(elev) == pytest.approx(low, abs=1.0)
    notes = "\n".join(sheet.notes)
    assert all(word in notes for word in told), notes
    if not told:
        assert notes == ""


def test_bag_and_tif_of_one_survey_are_the_same_cells(realdata: Path) -> None:
    a, b = (sheet_of(realdata / f"F00788_SR_8m.{end}", {}) for end in ("bag", "tif"))
    left, right = a.read(a.extent), b.read(b.extent)
    assert a.sheet == b.sheet
    np.testing.assert_array_equal(left.elev_mm, right.elev_mm)
    assert left.sigma_mm is not None
    np.testing.assert_array_equal(left.sigma_mm, right.sigma_mm)
    # 80 % nodata (index)
    assert (left.elev_mm == NODATA_MM).mean() == pytest.approx(0.8, abs=0.01)


def test_the_clip_of_the_harbour_grid_is_unknown_over_a_quarter(realdata: Path) -> None:
    sheet = sheet_of(realdata / "hilo_harbour_10m.tif", {"crs": "EPSG:4326"})
    elev = sheet.read(sheet.extent).elev_mm
    with rasterio.open(realdata / "hilo_harbour_10m.tif") as src:
        share = float((src.read(1) == -30.0).mean())
    assert elev[elev != NODATA_MM].min() >= -30_000
    # the warp leaves the rim of the file out, 3 % of its cells
    assert (elev == NODATA_MM).mean() == pytest.approx(share, abs=0.05)
    # the longitude of 204.9 is the island of Hawaii
    lon, lat = sheet.lonlat(np.array([sheet.extent.row]), np.array([sheet.extent.col]))
    assert (lon[0], lat[0]) == pytest.approx((-155.1, 19.774), abs=0.002)


def test_a_compilation_across_two_zones_is_two_sheets_with_its_uncertainty(realdata: Path) -> None:
    sheets = open_grids(realdata / "BlueTopo_BC25M26L_20221102b.tiff")
    assert [s.sheet.crs for s in sheets] == ["EPSG:32614", "EPSG:32615"]
    assert all(s.has_uncertainty and s.vertical == "navd88" for s in sheets)
    assert all(s.layers[0].quality_band == 3 for s in sheets)


@pytest.mark.parametrize(
    ("name", "said", "error", "says"),
    [
        ("hilo_harbour_10m.tif", {}, NoCrsError, "--crs EPSG:4326"),
        ("tidal_flats_10m.asc", {}, NoCrsError, "--crs"),
        ("tidal_flats_10m.asc", {"crs": "EPSG:32656"}, AmbiguousError, "--positive"),
        ("variable_resolution.bag", {}, NoCrsError, "--crs"),
        ("spec_sample.bag", {}, AmbiguousError, "--positive down"),
        ("bank_backscatter_10m.tif", {}, InputError, "no band of depths"),
        (
            "sand_dunes_1m.mat",
            {},
            NoCrsError,
            "lines of 'x y z' to a text file ending in .xyz and open that with --crs",
        ),
        ("US4MD81M.000", {}, InputError, "grid"),
        ("research_ship_depth.nmea", {}, InputError, "grid"),
    ],
)
def test_what_cannot_be_told_is_refused_with_the_way_out(
    realdata: Path, name: str, said: dict[str, Any], error: type[Exception], says: str
) -> None:
    with pytest.raises(error, match=says):
        open_grids(realdata / name, **said)


def test_following_the_hint_on_a_matlab_file_gives_its_grid(realdata: Path, tmp_path: Path) -> None:
    with h5py.File(realdata / "sand_dunes_1m.mat") as f:
        x, y, z = (f[name][()] for name in "xyz")
    # eastings moved to the middle of a zone: the file's are a site's own, and so near 0 UTM is off by 0.2 %
    table = np.column_stack([x.ravel() + 490_000, y.ravel(), z.ravel()])
    np.savetxt(tmp_path / "dunes.xyz", table, fmt="%.3f")
    sheet = sheet_of(tmp_path / "dunes.xyz", {"crs": "EPSG:32631"})
    assert (sheet.sheet.cell_m, sheet.extent.height, sheet.extent.width) == (1.0, 501, 1001)
    expected = np.rint(1000 * np.round(z, 3)).astype(np.int32)
    # stored column by column from west to east, each from south to north
    # the text rounds a half another way than numpy
    np.testing.assert_allclose(sheet.read(sheet.extent).elev_mm, expected.T[::-1], rtol=0, atol=1)
