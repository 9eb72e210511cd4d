"""Layer files: what GDAL reads back, and that there are all of them or none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio
from numpy.testing import assert_array_equal

from reefscan.base.errors import RunFolderError
from reefscan.base.model import Sheet, Window
from reefscan.io.out.layers import layer_rasters

SHEET = Sheet("EPSG:32633", 2.0)
EXTENT = Window(-30, 40, 700, 610)
LABELS = {
    "slope_deg": {"units": "degree", "long_name": "slope", "reference": "Horn 1981"},
    "vrm": {"units": "1", "long_name": "vector ruggedness", "reference": "Sappington 2007"},
}


def values(window: Window) -> dict[str, np.ndarray]:
    rows, cols = np.mgrid[window.row : window.row_end, window.col : window.col_end]
    slope = (rows + cols / 1000.0).astype(np.float32)
    return {"slope_deg": slope, "vrm": np.where(rows < 100, np.nan, 0.5).astype(np.float32)}


def test_windows_written_one_by_one_read_back_as_one_raster_in_its_place(tmp_path: Path) -> None:
    files = {name: tmp_path / "new" / f"{name}.tif" for name in LABELS}
    with layer_rasters(files, SHEET, EXTENT, LABELS, settings={"SOURCE": "bay"}) as rasters:
        for row in range(EXTENT.row, EXTENT.row_end, 512):
            for col in range(EXTENT.col, EXTENT.col_end, 512):
                window = Window(row, col, 512, 512)  # the last ones reach beyond the extent
                rasters.write(window, values(window))
    for name, path in files.items():
        with rasterio.open(path) as dataset:
            assert_array_equal(dataset.read(1), values(EXTENT)[name])
            assert (dataset.bounds.left, dataset.bounds.top) == (80.0, 60.0)
            assert dataset.crs.to_epsg() == 32633
            assert np.isnan(dataset.nodata)
            assert dataset.units == (LABELS[name]["units"],)
            assert dataset.descriptions == (LABELS[name]["long_name"],)
            assert dataset.tags()["REFERENCE"] == LABELS[name]["reference"]
            assert dataset.tags()["SOURCE"] == "bay"


def test_after_an_error_no_file_is_left(tmp_path: Path) -> None:
    files = {name: tmp_path / f"{name}.tif" for name in LABELS}
    with pytest.raises(KeyError), layer_rasters(files, SHEET, EXTENT, LABELS) as rasters:
        rasters.write(EXTENT, {"slope_deg": values(EXTENT)["slope_deg"]})
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with (
        pytest.raises(RunFolderError, match="cannot be made"),
        layer_rasters({"vrm": tmp_path / "file" / "vrm.tif"}, SHEET, EXTENT, LABELS),
    ):
        pass
