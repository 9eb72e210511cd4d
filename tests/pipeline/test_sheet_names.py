"""Names of sheets: two sheets share one only if they share their cells."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from rasterio.transform import Affine

import reefscan
from reefscan.base.model import Sheet
from reefscan.io.grids.lattice import zone_at
from reefscan.pipeline.sheet_names import sheet_name


def test_every_difference_of_a_lattice_is_in_its_name() -> None:
    arctic, antarctic = zone_at(0, 89).crs, zone_at(0, -89).crs
    sheets = [
        Sheet("EPSG:32760", 4.0),
        Sheet("EPSG:32760", 4.0, 2.0),
        Sheet("EPSG:32760", 4.0, 0.0, 2.0),
        Sheet("EPSG:32760", 4.0, 0.04),  # one hundredth of a cell: the least that makes another lattice
        Sheet("EPSG:32760", 4.00001),
        Sheet("EPSG:32761", 4.0),
        Sheet(arctic, 4.0),
        Sheet(antarctic, 4.0),
    ]
    assert len({sheet_name(sheet) for sheet in sheets}) == len(sheets)


def test_a_phase_of_a_whole_cell_is_none() -> None:
    assert sheet_name(Sheet("EPSG:32760", 4.0, 3.9999, 4.0)) == sheet_name(Sheet("EPSG:32760", 4.0))


def test_two_grids_half_a_cell_apart_are_two_sheets_with_ids_of_their_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("REEFSCAN_CACHE", str(tmp_path / "cache"))
    y, x = np.mgrid[0:200, 0:240].astype(float)
    z = -9.0 + np.random.default_rng(4).normal(scale=0.02, size=x.shape)
    for col, row in ((50, 60), (120, 100), (190, 150)):
        z += 2.5 * np.exp(-((x - col) ** 2 + (y - row) ** 2) / 3.0**2)
    grids = []
    # the same seabed 8 km farther south, and half a cell off in both directions
    for name, west, north in (("a.tif", 352_000.0, 5_402_000.0), ("b.tif", 352_002.0, 5_402_002.0 - 8000)):
        grids.append(tmp_path / name)
        with rasterio.open(
            grids[-1], "w", driver="GTiff", height=200, width=240, count=1, dtype="float32", crs="EPSG:32760",
            transform=Affine(4, 0, west, 0, -4, north),
        ) as out:  # fmt: skip
            out.write(z.astype("f4"), 1)
    one = reefscan.scan(grids[0], workers=1)
    run = reefscan.scan(grids, workers=1)
    assert run.candidates["sheet"].nunique() == 2
    assert run.candidates["id"].is_unique
    names = {name: set(part["feature_id"]) for name, part in run.candidates.groupby("sheet")}
    assert not set.intersection(*names.values())
    # what another grid is scanned along changes no id
    assert set(one.candidates["id"]) == set(run.candidates["id"][run.candidates["source"] == "a.tif"])
