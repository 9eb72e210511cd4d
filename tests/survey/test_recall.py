"""From a boat's log to drop points: planted structure is found through the whole chain."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from ground import EAST, NORTH, add_spikes, plants, seabed, tracks
from pyproj import Transformer

from reefscan.cli import run

SIDE = 400.0


@pytest.mark.slow
@pytest.mark.parametrize(("rough", "least"), [(0.0, 0.9), (0.25, 0.80)], ids=["smooth ground", "rough rock"])
def test_planted_structure_sounded_every_twelve_metres_is_listed(tmp_path, rough, least):
    rng = np.random.default_rng(41)
    planted = plants(rng, 16, SIDE)
    x, y = tracks(SIDE, 12.0)
    depth, _ = add_spikes(-seabed(x, y, planted, rough=rough) + rng.normal(0, 0.06, x.size), rng)
    lon, lat = Transformer.from_crs(32631, 4326, always_xy=True).transform(EAST + x, NORTH + y)
    rows = [
        f"{1.7e9 + k},{a:.8f},{b:.8f},{d / 0.3048:.1f}"
        for k, (a, b, d) in enumerate(zip(lon, lat, depth, strict=True))
    ]
    (tmp_path / "log.csv").write_text("time,lon,lat,depth_ft\n" + "\n".join(rows) + "\n", encoding="utf-8")
    own, out = str(tmp_path / "own.tif"), str(tmp_path / "run")
    assert (
        run(
            [
                "grid",
                str(tmp_path / "log.csv"),
                "--cell",
                "2m",
                "--draft",
                "0m",
                "--next",
                "0",
                "--out",
                own,
                "-q",
            ]
        )
        == 0
    )
    assert run(["scan", own, "--depth", "1m", "40m", "--out", out]) == 0
    sites = pd.read_parquet(tmp_path / "run" / "candidates.parquet")
    sx, sy = Transformer.from_crs(4326, 32631, always_xy=True).transform(
        sites.structure_lon, sites.structure_lat
    )
    found = []
    for p in planted:
        near = np.hypot(np.asarray(sx) - EAST - p.x, np.asarray(sy) - NORTH - p.y) < p.half_m + 10
        found.append(bool((sites.kind[near] == p.kind).any()))
    assert np.mean(found) >= least
    assert (sites.uncertainty_m > 0).all()  # the scan reads the uncertainty that the survey states
