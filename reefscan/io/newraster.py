"""A raster written window by window and read back before it counts.

The raster library tells nothing of what fails as a file is closed, and blocks are mostly written then: on a full
disk, or over a limit on the size of files, a cut file was left without an error. So each window's sum is kept, and
the closed file is read again.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.windows import Window as RasterWindow

from reefscan.base.model import BLOCK, Sheet, Window
from reefscan.io.whole import telling, unwritten


class NewRaster:
    """A raster that is being written; made by `new_raster`."""

    def __init__(self, path: Path, dataset: rasterio.io.DatasetWriter) -> None:
        self.path = path
        self.dataset = dataset
        self.extent = Window(0, 0, dataset.height, dataset.width)
        self.sums: list[tuple[int, RasterWindow, int]] = []

    def put(self, core: Window, cells: NDArray[Any], band: int = 1) -> None:
        """Put the cells of a window of the sheet in their place; what lies outside the extent is cut off, and nodata alone is not stored."""
        inside = core.intersect(self.extent)
        if inside.empty:
            return
        part, nodata = cells[inside.slices_in(core)], self.dataset.nodata
        if (np.isnan(part) if math.isnan(nodata) else part == nodata).all():
            return
        rows, cols = inside.slices_in(self.extent)
        self.write(part, band, RasterWindow.from_slices(rows, cols))

    def write(self, values: NDArray[Any], band: int, window: RasterWindow) -> None:
        """Put one window of a band in its place, in the band's own type; windows of a band do not overlap."""
        values = np.ascontiguousarray(values, dtype=self.dataset.dtypes[band - 1])
        with telling(self.path):
            self.dataset.write(values, band, window=window)
        self.sums.append((band, window, zlib.crc32(values.data)))


@contextmanager
def new_raster(path: Path, place: Path, profile: Mapping[str, Any]) -> Iterator[NewRaster]:
    """Open a raster at ``place`` for writing; close it and compare it with what was written as the block ends.

    Parameters
    ----------
    path : Path
        What the person calls it: error messages name it so.
    place : Path
        Where it is written meanwhile.
    profile : mapping
        As `rasterio.open` takes it.

    Raises
    ------
    RunFolderError
        If it cannot be written; `DiskFullError` if it does not read back as it was written.
    """
    with telling(path):
        made = NewRaster(path, rasterio.open(place, "w", **profile))
    try:
        yield made
    except BaseException:
        with suppress(OSError, rasterio.errors.RasterioError):
            _close(made.dataset)
        raise
    with telling(path):
        _close(made.dataset)
    try:
        with rasterio.open(place) as back:
            whole = all(
                zlib.crc32(np.ascontiguousarray(back.read(band, window=window)).data) == checksum
                for band, window, checksum in made.sums
            )
    except (OSError, rasterio.errors.RasterioError) as error:
        raise unwritten(path) from error
    if not whole:
        raise unwritten(path)


@contextmanager
def sheet_raster(
    path: Path, place: Path, sheet: Sheet, extent: Window, **profile: Any
) -> Iterator[NewRaster]:
    """Open a sparse GeoTIFF of cells of a sheet for writing, as `new_raster` does; ``profile`` names at least type and nodata."""
    usual = {
        "driver": "GTiff", "count": 1, "width": extent.width, "height": extent.height,
        "crs": sheet.crs, "transform": rasterio.Affine(*sheet.transform(extent)),
        "tiled": True, "blockxsize": BLOCK, "blockysize": BLOCK, "sparse_ok": True, "bigtiff": "if_safer",
    }  # fmt: skip
    with new_raster(path, place, {**usual, **profile}) as made:
        made.extent = extent
        yield made


def same_cells(path: Path, one: Path, other: Path) -> None:
    """Compare two files of one raster block by block.

    Raises
    ------
    DiskFullError
        Names ``path``, if a cell differs or cannot be read.
    """
    try:
        with rasterio.open(one) as a, rasterio.open(other) as b:
            windows = (window for _, window in a.block_windows(1))
            whole = a.shape == b.shape and all(
                np.array_equal(a.read(window=window), b.read(window=window)) for window in windows
            )
    except (OSError, rasterio.errors.RasterioError) as error:
        raise unwritten(path) from error
    if not whole:
        raise unwritten(path)


def _close(dataset: rasterio.io.DatasetWriter) -> None:
    with rasterio.Env():  # which keeps the library's own words off the screen
        dataset.close()
