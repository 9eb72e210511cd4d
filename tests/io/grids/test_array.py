"""An array is read as the file would be that holds it: by its coordinates, CRS, unit and sign, or it is refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rioxarray
import xarray
from rasterio.transform import Affine

import reefscan
from reefscan.base.errors import AmbiguousError, InputError, NoCrsError
from reefscan.base.model import GridBlock
from reefscan.io.grids.array import as_files
from reefscan.io.grids.rasters import open_grids
from tests.io.seabed import CELL, CRS, NORTH, WEST, write

ROWS, COLS = 60, 80
X, Y = WEST + (np.arange(COLS) + 0.5) * CELL, NORTH - (np.arange(ROWS) + 0.5) * CELL
Z = np.round(-9.0 + 0.02 * np.arange(COLS) + np.random.default_rng(1).normal(size=(ROWS, COLS)), 2)


def array(z: np.ndarray = Z, **changes: Any) -> xarray.DataArray:
    made = xarray.DataArray(z, {"y": Y, "x": X}, ("y", "x"), name="elevation", **changes)
    return made.rio.write_crs(CRS)


def cells(grid: Any, **said: Any) -> GridBlock:
    with as_files(grid) as (paths, _):
        (source,) = open_grids(paths, **said)
        return source.read(source.extent)


ASCENDING = array()[::-1]
FORMS: dict[str, tuple[xarray.DataArray, dict[str, Any]]] = {
    "as a file has it": (array(), {}),
    "rows from the south": (ASCENDING, {}),
    "columns from the east": (array()[:, ::-1], {}),
    "x before y": (array().transpose("x", "y"), {}),
    "one band of several": (array().expand_dims(band=[1]), {}),
    "depths by positive": (array(-Z, attrs={"positive": "down"}).rename("z"), {}),
    "depths by a tag of a raster": (array(-Z, attrs={"POSITIVE": "down"}).rename("z"), {}),
    "depths by standard_name": (array(-Z, attrs={"standard_name": "depth"}).rename("z"), {}),
    "depths by name": (array(-Z).rename("depth"), {}),
    "depths as the caller says": (array(-Z).rename("z"), {"positive": "down"}),
    "centimetres": (array(np.rint(Z * 100).astype("i2"), attrs={"units": "cm", "_FillValue": -32768}), {}),
    "as stored": (array(np.rint(Z * 100).astype(">i4"), attrs={"scale_factor": 0.01}), {}),
    "other words": (array().rename(y="northing", x="easting"), {}),
    "words of its coordinates": (
        array()
        .rename(y="a", x="b")
        .assign_coords(
            a=("a", Y, {"standard_name": "projection_y_coordinate"}),
            b=("b", X, {"standard_name": "projection_x_coordinate"}),
        ),
        {},
    ),
    "a CRS that the caller says": (array().drop_vars("spatial_ref"), {"crs": CRS}),
    "in chunks": (array().chunk(y=7), {}),
}


@pytest.mark.parametrize("form", FORMS)
def test_an_array_in_any_form_gives_the_cells_of_its_file(form: str, tmp_path: Path) -> None:
    grid, said = FORMS[form]
    want = cells(write(tmp_path / "a.tif", Z.astype("f8")))
    got = cells(grid, **said)
    assert got.window == want.window
    np.testing.assert_array_equal(got.elev_mm, want.elev_mm)


def test_an_uncertainty_comes_along_as_a_second_band() -> None:
    two = array().expand_dims(band=[1, 2]).copy()
    two[1] = 0.25
    two.attrs["long_name"] = ("elevation", "uncertainty")
    got = cells(two)
    np.testing.assert_array_equal(got.elev_mm, cells(array()).elev_mm)
    assert got.sigma_mm is not None and (got.sigma_mm == 250).all()


def test_unknown_cells_stay_unknown() -> None:
    holes = Z.copy()
    holes[3:5, 7] = np.nan
    stored = array(np.where(np.isnan(holes), -9999.0, holes)).rio.write_nodata(-9999.0)
    np.testing.assert_array_equal(cells(stored).elev_mm, cells(array(holes)).elev_mm)


@pytest.mark.filterwarnings("ignore:Use `@` matmul:PendingDeprecationWarning")  # of the library that opens it
@pytest.mark.parametrize(
    ("crs", "place"),
    [
        ("EPSG:4326", Affine(8e-5, 0, 14.0, 0, -6e-5, 45.0)),
        ("EPSG:4326", Affine(8e-5, 0, 346.0, 0, -6e-5, -33.0)),
        (CRS, Affine(4.0, 0, WEST, 0, -3.0, NORTH)),
        (CRS, Affine.translation(WEST, NORTH) @ Affine.rotation(20.0) @ Affine.scale(4.0, -4.0)),
    ],
    ids=["degrees", "degrees to 360", "not square", "rotated"],
)
def test_an_array_that_must_be_warped_is_warped_as_its_file(crs: str, place: Affine, tmp_path: Path) -> None:
    path = write(tmp_path / "a.tif", Z.astype("f4"), crs=crs, transform=place)
    opened = rioxarray.open_rasterio(path).squeeze()
    got, want = cells(opened.rename("elevation")), cells(path)
    assert got.window == want.window
    known = (want.elev_mm > -20_000) & (got.elev_mm > -20_000)
    assert known.sum() > 0.9 * (want.elev_mm > -20_000).sum() > 1000
    # coordinates are rounded where the transform is not: a millimetre of place on slopes of a quarter
    np.testing.assert_allclose(got.elev_mm[known], want.elev_mm[known], atol=2)


def curved() -> xarray.DataArray:
    lon, lat = np.meshgrid(14 + 1e-4 * np.arange(COLS) ** 1.2, 45 - 1e-4 * np.arange(ROWS))
    return xarray.DataArray(Z, {"lon": (("r", "c"), lon), "lat": (("r", "c"), lat)}, ("r", "c"))


REFUSED: dict[str, tuple[Callable[[], Any], type[Exception], str]] = {
    "no CRS": (
        lambda: array().drop_vars("spatial_ref"),
        NoCrsError,
        "no coordinate system .*--crs",
    ),
    "no coordinates": (
        lambda: array().drop_vars(["x", "y"]),
        InputError,
        "has no coordinates along 'y' and 'x'",
    ),
    "no names": (
        lambda: array().rename(y="row", x="col"),
        InputError,
        r"which runs east .*\.rename\(col='x', row='y'\)",
    ),
    "curvilinear": (curved, InputError, "not a rotated grid"),
    "uneven": (lambda: array()[[0, 1, 2, 5, 9]], InputError, "'y' are not evenly spaced"),
    "three dimensions": (lambda: array().expand_dims(time=3), InputError, r"time: 3.*\.isel"),
    "a CRS of no kind": (
        lambda: array().drop_vars("spatial_ref").assign_attrs(crs="nonsense"),
        InputError,
        r"CRS cannot be understood.*\.rio\.write_crs",
    ),
    "a nodata of no kind": (
        lambda: array(attrs={"_FillValue": "none"}),
        InputError,
        "_FillValue, .* not a number",
    ),
    "a nodata beyond its type": (
        lambda: array(np.rint(Z).astype("i2"), attrs={"_FillValue": -99_999}),
        InputError,
        "_FillValue, .* not a number",
    ),
    "a scale of no kind": (
        lambda: array(attrs={"scale_factor": "ten"}),
        InputError,
        "scale_factor, .* not a number",
    ),
    "no row": (lambda: array()[:0], InputError, "'y' are 0: wanted two"),
    "two of one name": (lambda: [array(), array()], InputError, "have one name"),
    "one row": (lambda: array()[:1], InputError, "has 1 dimension"),
    "depth or height": (lambda: array(-Z).rename("z"), AmbiguousError, "--positive down"),
    "a lie about its sign": (lambda: array(attrs={"positive": "down"}), AmbiguousError, "positive down, but"),
    "words": (lambda: array(np.full(Z.shape, "deep")), InputError, "not numbers"),
    "a dataset": (lambda: array().to_dataset(), InputError, r"give one, as dataset\['name'\]"),
    "a plain array": (lambda: Z, InputError, "does not say where it lies"),
    "degrees unsaid": (
        lambda: xarray.DataArray(Z, {"lat": 45 - 2e-5 * np.arange(ROWS), "lon": 14 + 2e-5 * np.arange(COLS)}),
        NoCrsError,
        "look like longitude and latitude.*EPSG:4326",
    ),
}


@pytest.mark.parametrize("case", REFUSED)
def test_an_array_that_does_not_say_enough_is_refused_with_what_to_say(case: str) -> None:
    make, error, words = REFUSED[case]
    with pytest.raises(error, match=words):
        cells(make())


def test_degrees_by_their_units_are_of_the_world_system_and_it_is_said() -> None:
    lat = ("lat", 45 - 6e-5 * np.arange(ROWS), {"units": "degrees_north"})
    lon = ("lon", 14 + 8e-5 * np.arange(COLS), {"units": "degrees_east"})
    with as_files(xarray.DataArray(Z, {"lat": lat, "lon": lon}, ("lat", "lon"))) as (paths, _):
        (source,) = open_grids(paths)
    assert any("WGS 84" in note for note in source.notes)
    assert "SheetSource array.tif" in repr(source) and len(repr(source)) < 1000


def test_a_run_of_an_array_is_taken_up_again_and_looked_at(tmp_path: Path) -> None:
    z = array(np.round(Z - 3.0 * np.exp(-(((X - X.mean()) / 12.0) ** 2)), 2))
    first = reefscan.scan(z, out=tmp_path / "run", workers=1)
    written = (tmp_path / "run" / "run.json").stat().st_mtime_ns
    again = reefscan.scan(z.copy(), out=tmp_path / "run", workers=1)
    assert (tmp_path / "run" / "run.json").stat().st_mtime_ns == written
    assert again.score.equals(first.score)
    from reefscan.review.opened import open_run

    (source,) = open_run(tmp_path / "run").sources
    assert source.name == "elevation.tif"
    reefscan.scan(z - 0.01, out=tmp_path / "run", workers=1)
    assert (tmp_path / "run" / "run.json").stat().st_mtime_ns > written
