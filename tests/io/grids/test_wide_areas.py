"""Across zones, across the antimeridian, far north: every structure once, at its true place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from pyproj import Geod
from rasterio.transform import Affine

import reefscan
from tests.io.seabed import write

GEOD = Geod(ellps="WGS84")


def cones(
    folder: Path, lon0: float, lat0: float, step_m: float = 4.0
) -> tuple[Path, list[tuple[float, float]]]:
    """Round rises 2.4 m high, 150 m apart, on both sides of a meridian; in degrees."""
    dlat = step_m / 111_120
    dlon = dlat / np.cos(np.radians(lat0))
    rows, cols = 160, 400
    west, north = lon0 - dlon * cols / 2, lat0 + dlat * rows / 2
    lon = west + (np.arange(cols) + 0.5) * dlon
    lat = north - (np.arange(rows) + 0.5) * dlat
    east_m = (lon - lon0) / dlon * step_m
    north_m = (lat - lat0) / dlat * step_m
    z = -9.0 + 0.0005 * east_m[None, :] + np.random.default_rng(7).normal(scale=0.01, size=(rows, cols))
    places = []
    # the second row has one within 2 m of the meridian itself
    for x, y in [(x, 90.0) for x in (-525.0, -375, -225, -75, 75, 225, 375, 525)] + [
        (x, -90.0) for x in (-300.0, -150, 1.5, 150, 300)
    ]:
        z = z + 2.4 * np.exp(-((east_m[None, :] - x) ** 2 + (north_m[:, None] - y) ** 2) / 11.0**2)
        places.append((lon0 + x / step_m * dlon, lat0 + y / step_m * dlat))
    path = write(
        folder / "cones.tif",
        z.astype("f4"),
        crs="EPSG:4326",
        transform=Affine(dlon, 0, west, 0, -dlat, north),
    )
    return path, places


@pytest.mark.parametrize(
    ("lon0", "lat0"), [(12.0, 44.0), (180.0, -17.0), (6.0, 71.0)], ids=["zones", "antimeridian", "far north"]
)
def test_no_structure_at_a_border_is_doubled_or_lost(
    tmp_path: Path, lon0: float, lat0: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    path, places = cones(tmp_path, lon0, lat0)
    run = reefscan.scan(path, workers=1)
    assert len(run.info["sheets"]) == 2
    rises = run.candidates[run.candidates["kind"] == "rise"]
    for lon, lat in places:
        _, _, away = GEOD.inv(
            np.full(len(rises), lon),
            np.full(len(rises), lat),
            rises["structure_lon"].to_numpy(),
            rises["structure_lat"].to_numpy(),
        )
        near = rises[away < 40.0]
        assert near["feature_id"].nunique() == 1, (lon, lat, near[["feature_id", "lon", "lat"]])
        # the structure is its foot, a tenth of the height up: exp(-(r / 11 m)^2) is that at 16.7 m; cells are 4 m
        assert np.min(away) == pytest.approx(11.0 * np.sqrt(np.log(10.0)), abs=4.0)
    best = run.sites
    assert best.groupby("kind")["feature_id"].nunique()["rise"] == len(places)
    assert (best["lon"].abs() <= 180).all()
