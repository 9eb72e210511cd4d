"""The same bytes for any cut: every tile size, worker count and engine, native and warped."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from reefscan.base.recipe import Recipe
from reefscan.pipeline.scan import scan
from tests.batch.run_bytes import contents, differences, rough, sites, write_geographic, write_native

WHOLE = 8192
"""A tile's side that takes any of these grids in one or, where a lattice line runs through, in two."""


def native(folder: Path, seed: int) -> Path:
    """A metric grid of random size at a random place, so that tile borders fall anywhere in it."""
    rng = np.random.default_rng(seed)
    rows, cols = rng.integers(600, 1000, 2)
    row, col = -3_000_000 - rng.integers(0, 4096), 200_000 + rng.integers(0, 4096)
    return write_native(folder / "native.tif", rough(rows, cols, seed=seed), row=int(row), col=int(col))


def warped(folder: Path, seed: int) -> Path:
    """A grid in degrees at a random place."""
    rng = np.random.default_rng(seed)
    rows, cols = rng.integers(600, 900, 2)
    lon, lat = 14.3 + rng.uniform(0, 0.05), 54.2 + rng.uniform(0, 0.05)
    return write_geographic(folder / "degrees.tif", rough(rows, cols, seed=seed), lon=lon, lat=lat)


def shore(folder: Path, seed: int) -> Path:
    """Drying rocks and pools between them; of the rocks some are missing in the data."""
    rng = np.random.default_rng(seed)
    elev = rough(620, 700, seed=seed, holes=0.002)
    # no higher than zero: a grid on both sides of it would have to be told which side is water
    elev = np.minimum(np.where(elev > -9.0, 1.5 * (elev + 9.0) - 1.0, elev), 0.0)
    lost = (elev > -0.3) & (rng.random((31, 35)).repeat(20, 0).repeat(20, 1) < 0.5)
    return write_native(folder / "shore.tif", np.where(lost, np.nan, elev), row=-3_000_217, col=200_391)


@pytest.mark.parametrize("make", [native, warped, shore])
@pytest.mark.parametrize("seed", [1, 2])
def test_a_grid_cut_in_any_way_gives_the_same_bytes(make: object, seed: int, tmp_path: Path) -> None:
    grid = make(tmp_path, seed)  # type: ignore[operator]
    rng = np.random.default_rng(seed)
    scan([grid], Recipe.default(), out=tmp_path / "whole", tile=WHOLE, workers=1)
    wanted = contents(tmp_path / "whole")
    assert sites(tmp_path / "whole") > 5
    for tile, workers in ((512, 1), (int(rng.choice([1024, 1536])), 2)):
        out = tmp_path / f"{tile}_{workers}"
        scan([grid], Recipe.default(), out=out, tile=tile, workers=workers)
        assert differences(wanted, contents(out)) == [], f"tile {tile}, {workers} workers"


def test_other_cells_beside_it_change_no_site_far_from_them(tmp_path: Path) -> None:
    """A wider grid has the same ids and measures where both know the ground and its surroundings."""
    import json

    elev = rough(700, 1400, seed=5, holes=0.0)
    elev = np.minimum(elev.mean() + 2.5 * (elev - elev.mean()), -0.5)
    row, col = -3_000_100, 200_300
    narrow = write_native(tmp_path / "g.tif", elev[:, :900], row=row, col=col)
    scan([narrow], Recipe.default(), out=tmp_path / "narrow", tile=512, workers=1)
    wide = write_native(tmp_path / "g.tif", elev, row=row, col=col)
    scan([wide], Recipe.default(), out=tmp_path / "wide", tile=1024, workers=1)
    import pandas as pd

    one, two = (pd.read_parquet(tmp_path / name / "candidates.parquet") for name in ("narrow", "wide"))
    far = [table[table["col"] < col + 900 - 250].set_index("id").sort_index() for table in (one, two)]
    assert len(far[0]) > 20
    same = ["row", "col", "depth_m", "height_m", "slope_deg", "vrm", "bpi_fine_m"]
    pd.testing.assert_frame_equal(far[0][same], far[1][same])
    assert json.loads((tmp_path / "wide" / "run.json").read_text())["state"] == "done"
