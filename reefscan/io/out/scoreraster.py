"""``score.tif``: the score of every cell where a net could lie, as a Cloud Optimized GeoTIFF.

Tiles are written into a sparse, compressed working file as they come, so a coast of any size needs no
array of its own size; the COG (with overviews) is made from it at the end and moved into place whole.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import rasterio
import rasterio.shutil
from numpy.typing import NDArray
from rasterio.enums import ColorInterp

from reefscan.base.caution import CAUTION
from reefscan.base.model import BLOCK, Sheet, Window
from reefscan.io.newraster import NewRaster, same_cells, sheet_raster
from reefscan.io.whole import replacing, telling
from reefscan.io.words import SCORE_TITLE
from reefscan.surroundings.onsheet import covered

NODATA = 255
SCORE_LABELS = {"long_name": "score of a net dropped here", "units": "1"}
SCHEMA_VERSION = "1"

_RAMP = (
    (0, (236, 239, 241)),
    (40, (150, 184, 200)),
    (70, (42, 112, 142)),
    (85, (38, 70, 83)),
    (100, (244, 162, 40)),
)
"""Pale to deep blue, then amber for the best: lightness changes too, for print and colour-blind eyes."""


def with_gaps(score: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Scores as numbers, NaN where unknown."""
    return np.where(score == NODATA, np.float32(np.nan), score.astype(np.float32))


def read_score(path: Path | str) -> NDArray[np.uint8]:
    """Scores of every cell of a raster (0-100, 255 unknown)."""
    with rasterio.open(path) as dataset:
        cells: NDArray[np.uint8] = dataset.read(1)
    return cells


@contextmanager
def score_raster(path: Path | str, sheet: Sheet, extent: Window) -> Iterator[NewRaster]:
    """Open the working file of a score raster, to be written tile by tile; `publish` makes the raster of it.

    Parameters
    ----------
    path : path
        Where the raster will go.
    sheet : Sheet
        CRS and lattice.
    extent : Window
        Cells the raster covers.

    Raises
    ------
    RunFolderError
        If it cannot be written; `DiskFullError` if the disk is full.
    """
    path = Path(path)
    working = _working(path)
    try:
        with sheet_raster(
            path, working, sheet, extent, dtype="uint8", nodata=NODATA, compress="zstd", zstd_level=1
        ) as raster:
            with telling(path):
                _describe(raster.dataset)
            yield raster  # its block reads tiles too
    except BaseException:
        working.unlink(missing_ok=True)
        raise


def blanked(
    cells: NDArray[np.uint8], window: Window, sheet: Sheet, closed: NDArray[np.object_]
) -> NDArray[np.uint8]:
    """Scores of a window without those of cells whose middle lies in closed ground: no map of scores leads there."""
    return np.where(covered(window, sheet, closed), np.uint8(NODATA), cells)


def publish(path: Path | str) -> None:
    """Make the Cloud Optimized GeoTIFF, with overviews, of its finished working file; whole or not at all.

    In any thread: GDAL's copy leaves the interpreter free.

    Raises
    ------
    RunFolderError
        If it cannot be written; `DiskFullError` if the disk is full.
    """
    path = Path(path)
    working = _working(path)
    try:
        with replacing(path) as part:
            rasterio.shutil.copy(
                working, part, driver="COG", compress="DEFLATE", level=1, blocksize=BLOCK,
                overview_resampling="NEAREST", sparse_ok="YES", bigtiff="IF_SAFER",
            )  # fmt: skip
            same_cells(path, working, part)
    finally:
        working.unlink(missing_ok=True)


def _working(path: Path) -> Path:
    return path.with_name(f".{path.stem}.working.tif")


def _describe(dataset: rasterio.io.DatasetWriter) -> None:
    dataset.set_band_description(1, "score of a net dropped here, 0-100 (255 = no score)")
    dataset.set_band_unit(1, "score 0-100")
    dataset.colorinterp = [ColorInterp.palette]
    dataset.write_colormap(1, colour_table())
    dataset.update_tags(
        TITLE=SCORE_TITLE, SCHEMA_VERSION=SCHEMA_VERSION,
        CAUTION=CAUTION,
    )  # fmt: skip


def colour_table() -> dict[int, tuple[int, int, int, int]]:
    """Return the colour of each value: a ramp over 0-100, clear for nodata."""
    stops = np.array([stop for stop, _ in _RAMP], dtype=float)
    colours = np.array([colour for _, colour in _RAMP], dtype=float)
    table = {}
    for value in range(256):
        r, g, b = (int(np.rint(np.interp(min(value, 100), stops, colours[:, i]))) for i in range(3))
        table[value] = (r, g, b, 0 if value == NODATA else 255)
    return table
