"""Terrain layers as GeoTIFFs, one file a layer, written window by window.

Each file says what it holds: band description, unit, reference, the settings it was made with and the
usual caution. The files of one call appear together at the end; after an error there are none.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path

import numpy as np
import rasterio
from numpy.typing import NDArray

from reefscan.base.caution import CAUTION
from reefscan.base.errors import RunFolderError
from reefscan.base.model import Sheet, Window
from reefscan.io.newraster import NewRaster, sheet_raster
from reefscan.io.whole import put_in_place, telling

SCHEMA_VERSION = "1"


class LayerRasters(dict[str, NewRaster]):
    """Open layer files by name; made by `layer_rasters`."""

    def write(self, core: Window, values: Mapping[str, NDArray[np.float32]]) -> None:
        """Put one window of every layer in its place; outside the extent it is cut off."""
        for name, raster in self.items():
            raster.put(core, values[name])


@contextmanager
def layer_rasters(
    files: Mapping[str, Path],
    sheet: Sheet,
    extent: Window,
    labels: Mapping[str, Mapping[str, str]],
    *,
    settings: Mapping[str, str] | None = None,
) -> Iterator[LayerRasters]:
    """Write layers window by window; all whole or none at all.

    Parameters
    ----------
    files : mapping of str to path
        Where each layer goes.
    sheet : Sheet
        CRS and lattice.
    extent : Window
        Cells the files cover.
    labels : mapping of str to mapping
        ``units``, ``long_name`` and ``reference`` of each layer.
    settings : mapping of str to str, optional
        Further tags of every file: what the layers were made with.

    Raises
    ------
    RunFolderError
        If a file cannot be written; `DiskFullError` if the disk is full.
    """
    stored = {"dtype": "float32", "nodata": math.nan, "compress": "deflate", "predictor": 3, "zlevel": 6}
    for path in files.values():
        make_folder(path.parent)
    with ExitStack() as renames, ExitStack() as closes:
        rasters = LayerRasters()
        for name, path in files.items():
            part = renames.enter_context(put_in_place(path))
            rasters[name] = closes.enter_context(sheet_raster(path, part, sheet, extent, **stored))
            with telling(path):
                _describe(rasters[name].dataset, labels[name], settings or {})
        yield rasters  # its block reads the grid too
        closes.close()  # flush and compare every file before the first one is moved into place


def make_folder(folder: Path) -> None:
    """Make the folder, or say in one line why it cannot be made."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RunFolderError(
            f"{folder}: cannot be made ({error.strerror}); give --out a folder you may write."
        ) from error


def _describe(
    dataset: rasterio.io.DatasetWriter, label: Mapping[str, str], settings: Mapping[str, str]
) -> None:
    dataset.set_band_description(1, label["long_name"])
    dataset.set_band_unit(1, label["units"])
    dataset.update_tags(1, units=label["units"], description=label["long_name"], reference=label["reference"])
    dataset.update_tags(
        TITLE=label["long_name"],
        REFERENCE=label["reference"],
        SCHEMA_VERSION=SCHEMA_VERSION,
        CAUTION=CAUTION,
        **settings,
    )
