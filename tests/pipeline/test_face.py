"""What a person at a prompt or in a notebook gets: names, points, arrays with a place, and texts that fit a screen."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest
import rioxarray  # noqa: F401  # registers the .rio accessor
import shapely
import xarray
from pyproj import Geod
from rasterio.transform import Affine
from scipy.ndimage import gaussian_filter
from surfaces import scan_cells

import reefscan
from reefscan.base.errors import InputError
from reefscan.base.recipe import load_recipe
from tests.io.seabed import NORTH, WEST, write

LAT, LON = 45.0, -22.5


@pytest.fixture(scope="module")
def patch() -> xarray.DataArray:
    """A patch at 45 N in degrees, its rows from the south and its depths positive down, with one slot in it."""
    lat, lon = LAT + 2e-5 * np.arange(-150, 150), LON + 3e-5 * np.arange(-150, 150)
    east = (lon - LON) * 78_847.0
    ends = np.clip((1e-3 - np.abs(lat - LAT - 1e-3)) / 4e-4, 0.0, 1.0)
    depth = 9.0 + 3.0 * np.exp(-(((east[None] - 120.0) / 10.0) ** 2)) * ends[:, None]
    depth += 0.02 * gaussian_filter(np.random.default_rng(3).normal(size=depth.shape), 1)
    made = xarray.DataArray(
        depth, {"lat": lat, "lon": lon}, ("lat", "lon"), name="z", attrs={"positive": "down"}
    )
    return made.rio.write_crs("EPSG:4326")


@pytest.fixture(scope="module")
def run(patch: xarray.DataArray) -> reefscan.Run:
    return reefscan.scan(patch, workers=1)


def test_a_patch_at_45_north_comes_back_there_and_neither_mirrored_nor_upside_down(run: reefscan.Run) -> None:
    best = run.sites.iloc[0]
    assert best["kind"] == "trough"
    assert best["height_m"] == pytest.approx(3.0, abs=0.3)
    assert best["depth_m"] == pytest.approx(12.0, abs=0.5)
    # the slot runs from the patch's middle 220 m north, 120 m east of it: ellipsoidal metres, not those of a sphere
    geod = Geod(ellps="WGS84")
    azimuth, _, away = geod.inv(LON, LAT, best["lon"], best["lat"])
    east, north = away * np.sin(np.radians(azimuth)), away * np.cos(np.radians(azimuth))
    assert east == pytest.approx(120.0, abs=8.0)
    assert 0.0 < north < 222.0


def test_sites_and_candidates_are_points_and_features_lines_on_the_earth(run: reefscan.Run) -> None:
    for frame in (run.sites, run.candidates):
        assert isinstance(frame, geopandas.GeoDataFrame) and len(frame)
        assert frame.crs.to_epsg() == 4326
        np.testing.assert_array_equal(shapely.get_coordinates(frame.geometry), frame[["lon", "lat"]])
    assert list(run.sites["rank"]) == list(range(1, len(run.sites) + 1))
    troughs = run.features["troughs"].to_crs("EPSG:4326")
    assert set(troughs.geom_type) == {"MultiLineString"}
    assert troughs.total_bounds == pytest.approx([LON, LAT, LON, LAT], abs=0.005)


def test_scores_and_layers_have_a_place_and_are_highest_where_the_site_is(
    run: reefscan.Run, patch: xarray.DataArray
) -> None:
    layers = reefscan.derive(patch, only=["trough_m", "slope_deg"])
    here = run.sites.to_crs(run.score.rio.crs).geometry.iloc[0]
    assert run.score.rio.crs == layers.rio.crs
    assert run.score.y.equals(layers.y) and run.score.x.equals(layers.x)
    assert float(run.score.sel(x=here.x, y=here.y, method="nearest")) > 50.0
    assert float(layers.trough_m.sel(x=here.x, y=here.y, method="nearest")) > 2.0
    assert (
        float(run.score.min()) >= 0.0 and float(run.score.max()) <= 100.0 and bool(run.score.isnull().any())
    )


def test_a_run_of_several_sheets_has_its_scores_by_name() -> None:
    z = np.full((40, 40), -9.0)
    from reefscan.base.arraysource import ArraySource
    from reefscan.pipeline.engineoptions import EngineOptions
    from reefscan.pipeline.scan import scan_sources

    two = [ArraySource.from_metres(z, cell_m=2.0, crs=crs) for crs in ("EPSG:32631", "EPSG:32632")]
    run = scan_sources(two, reefscan.Recipe.default(), options=EngineOptions(workers=1))
    assert [array.rio.crs.to_epsg() for array in run.scores.values()] == [32631, 32632]
    with pytest.raises(InputError, match=r"2 sheets; take \.scores\[name\]"):
        run.score
    assert run.sites.empty and run.sites.crs.to_epsg() == 4326 and "why" in run.sites
    assert "0 sites of 0 candidates" in repr(run) and "0 sites" in run._repr_html_()


def test_the_module_shows_its_public_names_and_no_others() -> None:
    assert dir(reefscan) == sorted(reefscan.__all__)
    assert all(callable(getattr(reefscan, name)) for name in dir(reefscan))


def test_what_is_printed_fits_a_screen_and_says_what_matters(run: reefscan.Run, tmp_path: Path) -> None:
    changed = load_recipe("[find]\ntrough_radius_m = 40\n[score.terms.floor]\nweight = 4")
    source = scan_cells(np.full((30, 30), -9.0), cell_m=2.0)
    for thing in (
        run,
        source,
        run.recipe,
        changed,
        changed.find,
        changed.score,
        changed.score.terms["floor"],
    ):
        lines = repr(thing).splitlines()
        assert len(lines) <= 24 and max(map(len, lines)) <= 130, lines
    assert "find.trough_radius_m=40.0, score.terms.floor.weight=4.0" in repr(changed)
    assert "trough_radius_m=40.0" in repr(changed.find) and "4 to 15 m" in repr(changed)
    best = run.sites.iloc[0]
    assert f"{best['lat']:.5f}" in repr(run) and f"{best['score']:.1f}" in repr(run)
    assert best["why"] in run._repr_html_() and "<script" not in run._repr_html_()


def test_a_path_of_several_sheets_is_not_derived_as_if_it_were_one(tmp_path: Path) -> None:
    z = (-9.0 + np.random.default_rng(1).normal(scale=0.1, size=(40, 40))).astype("f4")
    write(tmp_path / "fine.tif", z)
    write(tmp_path / "coarse.tif", z, transform=Affine(10.0, 0, WEST + 4000.0, 0, -10.0, NORTH))
    with pytest.raises(InputError, match="lies on 2 sheets; take one"):
        reefscan.derive(tmp_path, only=["slope_deg"])
    slopes = [reefscan.derive(sheet, only=["slope_deg"]).slope_deg for sheet in reefscan.open_grids(tmp_path)]
    assert [slope.shape for slope in slopes] == [(40, 40), (40, 40)]


def test_a_wrong_name_of_a_layer_is_told_before_the_grid_is_asked(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="did you mean slope_deg"):
        reefscan.derive(tmp_path / "nowhere.tif", only=["slop_deg"])
