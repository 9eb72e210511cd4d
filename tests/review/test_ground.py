"""Overviews and profiles against planes, whose depth at any place is known in closed form."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from pyproj import Geod, Transformer
from seabed import SHEET, ArraySource, sites

from reefscan.base.errors import InputError
from reefscan.base.model import Sheet
from reefscan.base.recipe import Recipe
from reefscan.review.compare import Side, compare_runs
from reefscan.review.ground import cut_to, depths_along, overview, overview_of_all, patch
from reefscan.score.listing import list_sites

Y, X = np.mgrid[0:200, 0:300] * 4.0
PLANE = ArraySource(-10.0 - 0.02 * X + 0.01 * Y)


def plane_depth(source: ArraySource, lon: np.ndarray, lat: np.ndarray) -> np.ndarray:
    x, y = Transformer.from_crs("EPSG:4326", source.sheet.crs, always_xy=True).transform(lon, lat)
    col = np.asarray(source.sheet.col_of(np.asarray(x))) - source.extent.col
    row = np.asarray(source.sheet.row_of(np.asarray(y))) - source.extent.row
    return 10.0 + 0.08 * col - 0.04 * row


def middle(source: ArraySource) -> tuple[float, float]:
    west, south, east, north = source.sheet.bounds(source.extent)
    lon, lat = Transformer.from_crs(source.sheet.crs, "EPSG:4326", always_xy=True).transform(
        (west + east) / 2, (south + north) / 2
    )
    return float(lon), float(lat)


@pytest.mark.parametrize("heading", [0, 37, 90, 135, 222.5, 359])
def test_a_profile_lies_on_the_true_heading_from_the_site(heading: float) -> None:
    # places along a geodesic of that azimuth (GeographicLib through pyproj)
    lon, lat = middle(PLANE)
    got = depths_along(PLANE, lon=lon, lat=lat, heading_deg=heading, half_m=80, count=81)
    t = np.linspace(-80, 80, 81)
    lons, lats, _ = Geod(ellps="WGS84").fwd(np.full(81, lon), np.full(81, lat), np.full(81, heading), t)
    np.testing.assert_allclose(
        got, plane_depth(PLANE, lons, lats), atol=0.003
    )  # whole millimetres, grid scale 0.9996


def test_a_profile_is_unknown_beyond_the_grid_and_in_gaps() -> None:
    elev = -10.0 - 0.02 * X
    elev[:, 160:] = np.nan
    source = ArraySource(elev)
    lon, lat = middle(source)
    got = depths_along(source, lon=lon, lat=lat, heading_deg=90, half_m=80, count=81)
    assert np.isfinite(got[:40]).all()
    assert np.isnan(got[-15:]).all()


def test_an_overview_is_the_mean_of_whole_blocks_of_known_cells() -> None:
    elev = np.arange(200 * 300, dtype=float).reshape(200, 300) / 1000 - 70
    elev[0, 0] = np.nan
    source = ArraySource(elev)
    ground = overview(source, source.extent, most=100)
    assert ground.cell_m == 12.0
    assert ground.elev.shape == (67, 100)
    np.testing.assert_allclose(ground.elev[1, 1], elev[3:6, 3:6].mean(), atol=1e-9)
    np.testing.assert_allclose(ground.elev[0, 0], np.nanmean(elev[:3, :3]), atol=1e-9)


def test_sheets_of_two_zones_make_one_picture_with_the_finer_on_top() -> None:
    coarse = ArraySource(np.full((120, 150), -20.0), sheet=Sheet(SHEET.crs, 8.0))
    object.__setattr__(coarse, "extent", coarse.extent.__class__(-700_000, 62_500, 120, 150))
    fine = ArraySource(np.full((100, 100), -5.0))
    ground = overview_of_all([coarse, fine], most=400)
    assert ground.crs == SHEET.crs
    values = set(np.unique(ground.elev[np.isfinite(ground.elev)]))
    assert values == {-20.0, -5.0}
    assert (ground.elev == -5.0).sum() * ground.cell_m**2 == pytest.approx(400.0 * 400.0, rel=0.02)


def test_a_patch_has_the_site_in_its_middle() -> None:
    lon, lat = middle(PLANE)
    ground = patch(PLANE, lon=lon, lat=lat, half_m=60)
    assert ground is not None
    rows, cols = ground.elev.shape
    want = plane_depth(PLANE, np.array([lon]), np.array([lat]))[0]
    assert -np.nanmean(ground.elev) == pytest.approx(want, abs=0.2)
    assert patch(PLANE, lon=lon + 3, lat=lat, half_m=60) is None
    assert abs(rows - cols) <= 1


def test_a_box_cuts_the_picture_and_a_reversed_one_is_refused() -> None:
    lon, lat = middle(PLANE)
    ground = overview_of_all([PLANE], most=400)
    part = cut_to(ground, (lon - 0.002, lat - 0.001, lon + 0.002, lat + 0.001))
    assert part.elev.shape[0] < ground.elev.shape[0]
    assert part.bounds[0] > ground.bounds[0]
    assert part.bounds[3] < ground.bounds[3]
    with pytest.raises(InputError, match="west < east"):
        cut_to(ground, (lon + 0.002, lat - 0.001, lon - 0.002, lat + 0.001))


def test_another_survey_of_the_same_sites_is_matched_by_place() -> None:
    source = ArraySource(-8.0 - 0.005 * X)
    table = sites(source, 40).drop(columns=["flags", "why"])
    recipe = Recipe.model_validate({"rank": {"spacing_m": 0}})
    moved = table.assign(id=[f"other-{i}" for i in range(40)], lat=table["lat"] + 3e-5)  # about 3 m north
    a, b = (Side(n, t, list_sites(t, recipe), recipe) for n, t in (("a", table), ("b", moved)))
    near = compare_runs(a, b, within_m=5.0)
    assert {c.what for c in near} <= {"same", "rose", "fell"}
    assert len(near) == len(a.listing.rows)
    far = compare_runs(a, b, within_m=1.0)
    assert {c.what for c in far} == {"came", "went"}


def test_a_site_that_is_gone_is_said_not_to_have_been_found() -> None:
    source = ArraySource(-8.0 - 0.005 * X)
    table = sites(source, 30).drop(columns=["flags", "why"])
    recipe = Recipe.default()
    a = Side("a", table, list_sites(table, recipe), recipe)
    first = a.listing.rows[0]
    rest: pd.DataFrame = table.drop(index=table.index[first]).reset_index(drop=True)
    b = Side("b", rest, list_sites(rest, recipe), recipe)
    gone = [c for c in compare_runs(a, b, within_m=0.5) if c.id == table["id"].iloc[first]]
    assert [c.what for c in gone] == ["went"]
    assert "was found in b" in gone[0].because


def test_a_site_left_out_for_its_penalties_is_said_to_be_by_the_dearest_of_them() -> None:
    source = ArraySource(-8.0 - 0.005 * X)
    table = (
        sites(source, 30).drop(columns=["flags", "why"]).assign(kind="ledge", ruled_like=0.3, scatter=0.05)
    )
    recipe = Recipe.default()
    a = Side("a", table, list_sites(table, recipe), recipe)
    first = a.listing.rows[0]
    other = table.copy()
    # seven tenths are left of what looks ruled and just half of what jumps from cell to cell: of both together, too little
    other.loc[other.index[first], ["ruled_like", "scatter"]] = 1.0, 0.33
    b = Side("b", other, list_sites(other, recipe), recipe)
    gone = [c for c in compare_runs(a, b, within_m=0.5) if c.id == table["id"].iloc[first]]
    assert [c.what for c in gone] == ["went"]
    assert gone[0].because == "depths that jump from cell to cell: too little of its score is left in b"
