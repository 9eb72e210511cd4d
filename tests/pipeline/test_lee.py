"""Layers of open water on the demo's coast, against the same question asked of the shapes themselves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from pyproj import Transformer

from reefscan.base.errors import InputError
from reefscan.base.recipe import Recipe
from reefscan.cli import run
from reefscan.io.grids.rasters import open_grids
from reefscan.pipeline.around import open_around
from reefscan.pipeline.lee import EIGHT, fetch_layers
from reefscan.surroundings.fetch import REACH_M, fetch_m

SAMPLES = Path(__file__).resolve().parents[2] / "data_samples"
LAND = [str(SAMPLES / "land.geojson")]


@pytest.fixture(scope="module")
def source():
    (only,) = open_grids([SAMPLES / "demo_coast.tif"])
    return only


def test_layer_and_site_agree_on_the_open_water_in_eight_directions(source):
    lee = fetch_layers(source, LAND)
    assert list(lee.layers) == [f"fetch_{azimuth:03d}_m" for azimuth in EIGHT]
    known = open_around([source], Recipe.default().with_around(land=LAND))
    rng = np.random.default_rng(3)
    height, width = next(iter(lee.layers.values())).shape
    row, col = rng.integers(0, height, 400), rng.integers(0, width, 400)
    x = np.asarray(lee.sheet.x_of(lee.window.col + col))
    y = np.asarray(lee.sheet.y_of(lee.window.row + row))
    lon, lat = Transformer.from_crs(lee.sheet.crs, 4326, always_xy=True).transform(x, y)
    exact = fetch_m(known.of("land"), lon, lat, known.box)[:, ::9]
    cell = lee.sheet.cell_m
    for i, name in enumerate(lee.layers):
        layer = lee.layers[name][row, col]
        both = ~np.isnan(layer) & ~np.isnan(exact[:, i])
        assert both.mean() > 0.5
        apart = np.abs(layer - exact[:, i])[both]
        # grazing rays may pass a cape by half a cell; most agree within the cells at both ends
        assert np.median(apart) < cell and (apart < 3 * cell).mean() > 0.9, name
        assert np.nanmax(layer) <= REACH_M
    assert 0 < np.isnan(lee.layers["fetch_000_m"]).mean() < 0.5


def test_toward_the_wind_it_is_the_longest_within_fifteen_degrees(source):
    (wind,) = fetch_layers(source, LAND, "W").layers.values()
    west = fetch_layers(source, LAND).layers["fetch_270_m"]
    water = ~np.isnan(west)
    assert (wind[water] >= west[water]).all() and (wind[water] > west[water]).any()


def test_the_command_writes_them_beside_the_grids_own_layers(tmp_path, capsys):
    grid = str(SAMPLES / "demo_coast.tif")
    call = ["layers", grid, "--only", "slope_deg,fetch_m", "--land", *LAND, "--wind-from", "SW"]
    assert run([*call, "--out", str(tmp_path)]) == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == ["fetch_m.tif", "slope_deg.tif"]
    with rasterio.open(tmp_path / "fetch_m.tif") as layer, rasterio.open(grid) as whole:
        assert layer.units == ("m",) and layer.descriptions[0].endswith("the wind from SW")
        assert layer.tags()["LAND"] == "land.geojson"
        assert layer.bounds.left <= whole.bounds.left and layer.bounds.bottom <= whole.bounds.bottom
    capsys.readouterr()
    assert run(["layers", grid, "--only", "fetch_m", "--out", str(tmp_path / "other")]) == 1
    assert "add --land FILE" in capsys.readouterr().err


def test_land_that_lies_elsewhere_is_refused(source, tmp_path):
    far = tmp_path / "far.geojson"
    far.write_text(
        '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": {}, "geometry": '
        '{"type": "Polygon", "coordinates": [[[10, 50], [10.1, 50], [10.1, 50.1], [10, 50]]]}}]}'
    )
    with pytest.raises(InputError, match="nothing in it lies near the grid"):
        fetch_layers(source, [str(far)])
