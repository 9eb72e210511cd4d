"""The grid held against the depths of a chart: IHO S-57 Appendix A, classes SOUNDG (129) and DEPARE (42), DRVAL1 and DRVAL2."""

from __future__ import annotations

from pathlib import Path

import geopandas
import numpy as np
import pytest
import rasterio
import shapely
from pyproj import Transformer

from reefscan.base.recipe import Around, Recipe
from reefscan.io.around import read_around
from reefscan.io.grids.rasters import open_grids
from reefscan.pipeline.charted import compared, compared_words
from reefscan.pipeline.scan import scan
from reefscan.surroundings.known import Charted
from reefscan.surroundings.shapes import Box

GRID = Path(__file__).resolve().parents[2] / "data_samples" / "demo_coast.tif"
TO_LONLAT = Transformer.from_crs(32627, 4326, always_xy=True)


@pytest.fixture(scope="module")
def coast():
    """Depth (m, positive down) of the demo's grid and its transform, by another library than the scan's reader."""
    with rasterio.open(GRID) as file:
        return -file.read(1, masked=True).filled(np.nan).astype(float), file.transform


def rectangle(transform, rows, cols):
    """Corners of cells as a polygon in degrees."""
    x = [transform.c + transform.a * col for col in (cols[0], cols[1], cols[1], cols[0])]
    y = [transform.f + transform.e * row for row in (rows[0], rows[0], rows[1], rows[1])]
    return shapely.Polygon(np.column_stack(TO_LONLAT.transform(x, y)))


def chart(path, *areas):
    """A layer with the fields of a cell; each area is (least, greatest, polygon)."""
    least, greatest, shapes = zip(*areas, strict=True)
    frame = geopandas.GeoDataFrame(
        {"OBJL": [42] * len(shapes), "DRVAL1": least, "DRVAL2": greatest}, geometry=list(shapes), crs=4326
    )
    frame.to_file(path)
    box = Box(*map(float, frame.total_bounds)).grown(1000)
    return read_around(Around(hard=(str(path),)), box).charted


def test_charted_soundings_check_the_grid(coast, tmp_path):
    depth, transform = coast
    rng = np.random.default_rng(4)
    rows, cols = rng.integers(400, 900, 60), rng.integers(100, 1100, 60)
    lon, lat = TO_LONLAT.transform(transform.c + (cols + 0.5) * 2, transform.f - (rows + 0.5) * 2)
    there = depth[rows, cols]
    wet = np.isfinite(there)
    points = shapely.points(lon[wet], lat[wet], there[wet] - 1.5)
    cell = geopandas.GeoDataFrame({"OBJL": [129]}, geometry=[shapely.MultiPoint(points)], crs=4326)
    cell.to_file(tmp_path / "cell.gpkg")
    recipe = Recipe.default().with_around(hard=[str(tmp_path / "cell.gpkg")])
    run = scan(GRID, recipe, workers=1)
    found = run.info["around"]["soundings"]
    assert found["on_grid"] == wet.sum() and found["middle_m"] == pytest.approx(1.5, abs=0.01)
    assert any(
        f"at {wet.sum()} charted soundings the grid is 1.5 m deeper" in words
        for words in run.info["warnings"]
    )


def test_cells_that_differ_from_their_depth_area_are_counted(coast, tmp_path):
    depth, transform = coast
    rows, cols = (350, 850), (150, 1000)
    part = depth[slice(*rows), slice(*cols)]
    part = part[np.isfinite(part)]
    least, greatest = (float(v) for v in np.percentile(part, (20, 70)))
    charted = chart(tmp_path / "cell.gpkg", (least, greatest, rectangle(transform, rows, cols)))
    found = compared(charted, open_grids([GRID]))["depth_areas"]
    assert 300 < found["on_grid"] < 2000
    # every hundredth cell or so is looked at: the shares of all cells hold within the error of such a sample
    assert found["shallower"] == pytest.approx(0.20, abs=0.04)
    assert found["deeper"] == pytest.approx(0.30, abs=0.04)
    beyond = float(np.median(part[part > greatest] - greatest))
    assert found["deeper_by_m"] == pytest.approx(beyond, rel=0.2)
    (words,) = compared_words({"depth_areas": found})
    assert words.startswith(f"of {found['on_grid']} cells in depth areas of the chart, ")


def test_ground_that_the_chart_has_right_is_said_to_differ_nowhere(coast, tmp_path):
    depth, transform = coast
    rows, left, right = (350, 850), (150, 500), (500, 1000)
    charted = chart(
        tmp_path / "cell.gpkg",
        *(
            (float(np.nanmin(part)), float(np.nanmax(part)), rectangle(transform, rows, cols))
            for cols in (left, right)
            for part in [depth[slice(*rows), slice(*cols)]]
        ),
    )
    found = compared(charted, open_grids([GRID]))["depth_areas"]
    assert found["on_grid"] > 300 and found["shallower"] == found["deeper"] == 0.0


def test_an_area_without_its_depths_is_no_check(coast, tmp_path):
    _, transform = coast
    shape = rectangle(transform, (350, 850), (150, 500))
    assert not len(chart(tmp_path / "cell.gpkg", (None, None, shape)).areas)
    one_sided = chart(tmp_path / "other.gpkg", (10.0, None, shape))
    assert one_sided.depths_m.tolist() == [[10.0, np.inf]]


def test_without_a_chart_nothing_is_said():
    assert compared(Charted(), []) == {} and compared_words({}) == []


@pytest.mark.realdata
def test_a_real_cell_has_its_depth_areas_and_soundings(realdata):
    path = realdata / "US4MD81M.000"
    if not path.exists():
        pytest.skip(f"{path.name} is not among the public grids")
    charted = read_around(Around(hard=(str(path),)), Box(-76.55, 38.4, -76.05, 39.0).grown(50_000)).charted
    assert len(charted.areas) > 100 and len(charted.soundings) > 1000
    assert (charted.depths_m[:, 0] <= charted.depths_m[:, 1]).all()
    # a sounding lies in the area that holds its depth: the chart agrees with itself
    tree = shapely.STRtree(charted.areas)
    sounding, area = tree.query(shapely.points(charted.soundings[:, :2]), predicate="within")
    depth = charted.soundings[sounding, 2]
    least, greatest = charted.depths_m[area].T
    assert ((depth >= least - 0.1) & (depth <= greatest + 0.1)).mean() > 0.9
