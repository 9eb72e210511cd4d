"""What a file or an option says wrongly is told as what it is, and not taken for something else."""

from __future__ import annotations

from pathlib import Path

import pytest
import rasterio

from reefscan.base.errors import InputError
from reefscan.io.grids.rasters import open_grids
from tests.io.seabed import cells, write


def scaled(path: Path, scale: float) -> Path:
    write(path, cells())
    with rasterio.open(path, "r+") as out:
        out.scales = (scale,)
    return path


@pytest.mark.parametrize("scale", [1e30, -1e30, 1e-30, 0.0, float("inf"), float("nan")])
def test_a_scale_that_makes_no_depths_is_called_that(tmp_path: Path, scale: float) -> None:
    with pytest.raises(InputError, match=r"its scale and offset .* turn no value into a depth"):
        open_grids(scaled(tmp_path / "a.tif", scale))


def test_a_scale_of_one_is_no_scale(tmp_path: Path) -> None:
    assert open_grids(scaled(tmp_path / "a.tif", 1.0))[0].layers[0].factor == 1000.0


@pytest.mark.parametrize(
    ("asked", "good"),
    [("1", True), ("1:1", True), ("1:5", False), ("1:0", True), ("2", False), ("9:9", False)],
)
def test_a_layer_that_is_not_there_is_refused(tmp_path: Path, asked: str, good: bool) -> None:
    write(tmp_path / "a.tif", cells())
    if good:
        open_grids(tmp_path / "a.tif", variable=asked)
    else:
        with pytest.raises(InputError, match=r"a\.tif: (--variable|has no band)"):
            open_grids(tmp_path / "a.tif", variable=asked)
