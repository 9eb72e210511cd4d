"""What the attribute table of the contributor band tells is read and used."""

from __future__ import annotations

import shutil
from pathlib import Path

import h5py
import netCDF4
import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

import reefscan
from reefscan.base.model import NODATA_MM
from reefscan.io.grids.rasters import open_grids
from reefscan.io.grids.source import SheetSource
from tests.io.seabed import CELL, CRS, NORTH, WEST, cells

Z95 = 1.959963984540054  # standard normal quantile at 97.5 %

# Columns as the published national compilation and BAG's metadata profile NOAA-OCS-2022.10 name them.
# Type 0 is a whole number, 1 a real, 2 a text; usage 5 is the value, 1 the count (GDAL's GDALRATFieldUsage).
FIELDS = [
    ("value", 0, 5), ("count", 0, 1), ("data_assessment", 0, 0), ("feature_least_depth", 1, 0),
    ("significant_features", 1, 0), ("feature_size", 1, 0), ("coverage", 0, 0), ("bathy_coverage", 0, 0),
    ("horizontal_uncert_fixed", 1, 0), ("horizontal_uncert_var", 1, 0), ("vertical_uncert_fixed", 1, 0),
    ("vertical_uncert_var", 1, 0), ("license_name", 2, 0), ("license_url", 2, 0), ("source_survey_id", 2, 0),
    ("source_institution", 2, 0), ("survey_date_start", 2, 0), ("survey_date_end", 2, 0),
]  # fmt: skip
SURVEYS = [
    # number, bathy_coverage, fixed, var, name
    (1188907, 1, 0.5, 0.01, "A100 & B"),
    (1176392, 0, 1.0, 0.02, "A200.interpolated"),
]


@pytest.fixture(autouse=True)
def own_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))


def attribute_table(band: int) -> str:
    fields = "".join(
        f'<FieldDefn index="{i}"><Name>{n}</Name><Type>{t}</Type><Usage>{u}</Usage></FieldDefn>'
        for i, (n, t, u) in enumerate(FIELDS)
    )
    rows = ""
    for i, (number, coverage, fixed, var, name) in enumerate(SURVEYS):
        told = [number, 1, 1, 0, 1, 2, coverage, coverage, 5, 0.05, fixed, var, "CC0", "", name.replace("&", "&amp;"), "office", "2001-02-03", "2002-03-04"]  # fmt: skip
        rows += f'<Row index="{i}">' + "".join(f"<F>{v}</F>" for v in told) + "</Row>"
    return (
        f'<PAMDataset><PAMRasterBand band="{band}"><GDALRasterAttributeTable tableType="thematic">'
        f"{fields}{rows}</GDALRasterAttributeTable></PAMRasterBand></PAMDataset>"
    )


def compilation(
    folder: Path, z: np.ndarray, *, sigma: bool, crs: str = CRS, transform: Affine | None = None
) -> Path:
    """A tile whose east half was filled in between soundings."""
    numbers = np.full(z.shape, SURVEYS[0][0], dtype="f4")
    numbers[:, z.shape[1] // 2 :] = SURVEYS[1][0]
    bands = [z, np.full(z.shape, 0.3), numbers] if sigma else [z, numbers]
    path = folder / "tile.tiff"
    with rasterio.open(
        path, "w", driver="GTiff", height=z.shape[0], width=z.shape[1], count=len(bands), dtype="float32",
        crs=crs, transform=transform or Affine(CELL, 0, WEST, 0, -CELL, NORTH), nodata=np.nan,
    ) as out:  # fmt: skip
        out.write(np.stack(bands).astype("f4"))
        out.descriptions = (
            ("Elevation", "Uncertainty", "Contributor") if sigma else ("Elevation", "Contributor")
        )
    Path(f"{path}.aux.xml").write_text(attribute_table(len(bands)), encoding="utf-8")
    return path


def only(path: Path) -> SheetSource:
    (sheet,) = open_grids(path)
    return sheet


def test_each_cell_names_its_survey_and_whether_it_was_filled_in(tmp_path: Path) -> None:
    sheet = only(compilation(tmp_path, cells(), sigma=True))
    assert "2 surveys; 1 of them is filled in" in "\n".join(sheet.notes)
    e = sheet.extent
    rows, cols = np.array([e.row + 10, e.row + 200]), np.array([e.col + 149, e.col + 150])
    assert sheet.source_at(rows, cols) == ["tile.tiff (A100 & B)", "tile.tiff (A200.interpolated)"]
    np.testing.assert_array_equal(sheet.filled_at(rows, cols), [False, True])
    block = sheet.read(e)
    assert block.sigma_mm is not None
    assert (block.sigma_mm == 300).all()  # the band goes before the table


def test_without_an_uncertainty_band_the_surveys_state_it(tmp_path: Path) -> None:
    z = cells()
    z[:5] = np.nan
    sheet = only(compilation(tmp_path, z, sigma=False))
    block = sheet.read(sheet.extent)
    assert block.sigma_mm is not None
    depth = -np.rint(z * 1000) / 1000
    # S-101 vertical uncertainty: fixed part plus variable part times depth, at 95 %
    expected = np.where(np.arange(300) < 150, 0.5 + 0.01 * depth, 1.0 + 0.02 * depth) / Z95
    np.testing.assert_allclose(block.sigma_mm[5:] / 1000, expected[5:], atol=0.00051)
    assert (block.sigma_mm[:5] == 0).all()
    assert "from its survey's statement" in "\n".join(sheet.notes)


def test_on_a_warped_grid_the_nearest_number_counts(tmp_path: Path) -> None:
    step = 4 / 111_120
    z = np.full((120, 200), -9.0)
    path = compilation(
        tmp_path, z, sigma=True, crs="EPSG:4326", transform=Affine(step, 0, 175.2, 0, -step, -41.5)
    )
    sheet = only(path)
    e = sheet.extent
    rows = np.full(e.width, e.row + e.height // 2)
    cols = np.arange(e.col, e.col_end)
    lon, _ = sheet.lonlat(rows, cols)
    known = sheet.read(e).elev_mm[e.height // 2] != NODATA_MM
    filled = sheet.filled_at(rows, cols)
    # the border between the two surveys is the meridian of column 100
    np.testing.assert_array_equal(filled[known], lon[known] >= 175.2 + 100 * step)
    assert 0.3 < filled[known].mean() < 0.7


def test_a_scan_marks_filled_ground_and_names_the_survey(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    x = np.arange(300)[None, :] + np.zeros((260, 1))
    y = np.arange(260)[:, None] + np.zeros((1, 300))
    z = -10.0 + rng.normal(scale=0.02, size=(260, 300))
    for col in (60, 240):  # one rise on either side
        z = z + 3.0 * np.exp(-((x - col) ** 2 + (y - 130) ** 2) / 3.0**2)
    path = compilation(tmp_path, z, sigma=True)
    run = reefscan.scan(path, workers=1)
    rises = run.candidates[run.candidates["kind"] == "rise"]
    east = rises["source"].str.contains("A200.interpolated", regex=False)
    assert east.any()
    assert (~east).any()
    assert (rises["interpolated"][east] == 1.0).all()
    assert (rises["interpolated"][~east] < 0.5).all()
    # half a cell diagonal, four times that where filled in
    assert (rises["position_m"][east] == 11.3).all()
    assert (rises["position_m"][~east] == 2.8).all()
    said = dict(zip(run.sites["source"], run.sites["flags"], strict=True))
    assert "interpolated" in said["tile.tiff (A200.interpolated)"]
    assert "interpolated" not in said["tile.tiff (A100 & B)"]


def test_a_remembered_folder_tells_the_same(tmp_path: Path) -> None:
    (tmp_path / "tiles").mkdir()
    compilation(tmp_path / "tiles", cells(), sigma=False)
    first, second = only(tmp_path / "tiles"), only(tmp_path / "tiles")
    assert [str(layer.to_json()) for layer in first.layers] == [
        str(layer.to_json()) for layer in second.layers
    ]
    assert second.layers[0].surveys[1].name == "A200.interpolated"


def test_a_table_that_came_later_is_seen(tmp_path: Path) -> None:
    folder = tmp_path / "tiles"
    folder.mkdir()
    path = compilation(folder, cells(), sigma=True)
    table = Path(f"{path}.aux.xml")
    told = table.read_text(encoding="utf-8")
    table.unlink()
    alone = only(folder)
    assert alone.layers[0].surveys == ()
    assert "is not beside it" in "\n".join(alone.notes)
    table.write_text(told, encoding="utf-8")
    assert len(only(folder).layers[0].surveys) == 2


def test_a_damaged_table_is_no_table(tmp_path: Path) -> None:
    path = compilation(tmp_path, cells(), sigma=True)
    Path(f"{path}.aux.xml").write_text("<PAMDataset><PAMRasterBand band='3'><GDALRaster", encoding="utf-8")
    sheet = only(path)
    assert sheet.layers[0].surveys == ()
    assert sheet.has_uncertainty


@pytest.mark.realdata
def test_a_table_beside_a_real_tile_is_read(tmp_path: Path, realdata: Path) -> None:
    # the tile came without its sidecar: its band numbers the surveys, the table here names two of them
    real = realdata / "BlueTopo_BC25M26L_20221102b.tiff"
    assert all(layer.surveys == () for sheet in open_grids(real) for layer in sheet.layers)
    path = tmp_path / "tile.tiff"
    shutil.copyfile(real, path)
    Path(f"{path}.aux.xml").write_text(attribute_table(3), encoding="utf-8")
    names: set[str] = set()
    for sheet in open_grids(path):  # it reaches over two zones
        e = sheet.extent
        rows, cols = (a.ravel() for a in np.mgrid[e.row : e.row_end, e.col : e.col_end])
        names |= set(sheet.source_at(rows, cols))
    assert {"tile.tiff (A100 & B)", "tile.tiff (A200.interpolated)", "tile.tiff"} <= names


@pytest.mark.realdata
def test_a_bags_own_metadata_layer_is_read(tmp_path: Path, realdata: Path) -> None:
    """Layer and columns after BAG's metadata profile NOAA-OCS-2022.10; record 0 is kept for "nothing told"."""
    path = tmp_path / "a.bag"
    path.write_bytes((realdata / "F00788_SR_8m.bag").read_bytes())
    text = h5py.string_dtype("ascii")
    with h5py.File(path, "a") as bag:
        root = bag["BAG_root"]
        height, width = root["elevation"].shape
        layer = root.create_group("georef_metadata/Elevation")
        keys = np.where(np.arange(width) < width // 2, 1, 2) + np.zeros((height, 1), dtype=int)
        layer.create_dataset("keys", data=keys.astype("u1"), chunks=(height, width))
        kind = np.dtype([("coverage", "u1"), ("bathy_coverage", "u1"), ("source_survey_id", text)])
        values = np.zeros(3, kind)
        values["source_survey_id"] = ["", "F1", "F2"]
        values["bathy_coverage"] = [0, 1, 0]
        layer.create_dataset("values", data=values, chunks=(3,), maxshape=(None,))
    sheet = only(path)
    e = sheet.extent
    rows, cols = np.array([e.row + 50, e.row + 50]), np.array([e.col + width // 2 - 1, e.col + width // 2])
    assert sheet.source_at(rows, cols) == ["a.bag (F1)", "a.bag (F2)"]
    np.testing.assert_array_equal(sheet.filled_at(rows, cols), [False, True])
    assert "2 surveys; 1 of them is filled in" in "\n".join(sheet.notes)


@pytest.mark.parametrize(
    "told", [{}, {"flag_values": np.array([0, 1], "i1"), "flag_meanings": "interpolated not_interpolated"}]
)
def test_a_flag_of_interpolation_in_a_netcdf_file_is_used(tmp_path: Path, told: dict[str, object]) -> None:
    step = 4 / 111_120
    with netCDF4.Dataset(tmp_path / "a.nc", "w") as out:
        for name, size, first, sign in (("lat", 90, -41.5, -1), ("lon", 120, 175.2, 1)):
            out.createDimension(name, size)
            axis = out.createVariable(name, "f8", (name,))
            axis[:] = first + sign * step * np.arange(size)
            axis.units = "degrees_north" if name == "lat" else "degrees_east"
        z = out.createVariable("elevation", "f4", ("lat", "lon"))
        z.units = "m"
        z[:] = np.full((90, 120), -9.0)
        flag = out.createVariable("interpolation_flag", "i1", ("lat", "lon"))
        flag.setncatts(told)
        # 1 in the northern third and in the eastern half
        flag[:] = (np.arange(90)[:, None] < 30) | (np.arange(120)[None, :] >= 60)
    sheet = only(tmp_path / "a.nc")
    e = sheet.extent.grow(-4)
    rows, cols = (a.ravel() for a in np.mgrid[e.row : e.row_end, e.col : e.col_end])
    lon, lat = sheet.lonlat(rows, cols)
    one = (lat > -41.5 - 29.5 * step) | (lon > 175.2 + 59.5 * step)
    np.testing.assert_array_equal(sheet.filled_at(rows, cols), ~one if told else one)
    assert "interpolation_flag tells which cells" in "\n".join(sheet.notes)
    assert set(sheet.source_at(rows[:9], cols[:9])) == {"a.nc"}
