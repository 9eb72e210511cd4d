"""The grid of a survey as a GeoTIFF with four bands, and a public grid read onto its lattice."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.enums import Resampling
from rasterio.errors import RasterioError
from rasterio.vrt import WarpedVRT
from rasterio.warp import transform_bounds
from rasterio.windows import Window as RasterWindow

from reefscan.errors import InputError, MissingInputError, NoCrsError, UnreadableError
from reefscan.model import Sheet, Window

Floats = NDArray[np.float64]

BANDS: tuple[tuple[str, str, str], ...] = (
    ("elevation", "metre", "elevation above the datum, positive up"),
    ("uncertainty", "metre", "standard uncertainty of the elevation (1 sigma)"),
    ("count", "1", "soundings in the cell"),
    ("source", "1", "1 own soundings, 2 blended, 3 public grid"),
)
NODATA = -99999.0
MOST_CELLS = 4_000_000_000


@dataclass(frozen=True)
class GridCells:
    """One window of the four bands; unknown elevation is NaN."""

    window: Window
    elev: Floats
    sigma: Floats
    count: NDArray[np.int32]
    source: NDArray[np.uint8]


def write_grid(
    path: Path, sheet: Sheet, extent: Window, parts: Iterable[GridCells], *, tags: dict[str, str]
) -> None:
    """Write the grid window by window; the file appears whole or not at all.

    Parameters
    ----------
    path : Path
    sheet, extent
        The lattice, and the window of the file.
    parts : iterable of GridCells
        Windows inside ``extent``; what none covers stays nodata and takes no room.
    tags : dict
        Written to the file's metadata.

    Raises
    ------
    InputError
        The extent has more cells than a file should.
    """
    if extent.height * extent.width > MOST_CELLS:
        raise InputError(
            f"a grid of {extent.width} x {extent.height} cells of {sheet.cell_m:g} m is too wide; "
            "say a larger --cell, or grid the areas one by one"
        )
    partial = path.with_name(f".{path.name}.partial.tif")
    profile = {
        "driver": "GTiff", "dtype": "float32", "count": 4, "nodata": NODATA, "crs": sheet.crs,
        "width": extent.width, "height": extent.height, "transform": rasterio.Affine(*sheet.transform(extent)),
        "tiled": True, "blockxsize": 256, "blockysize": 256, "compress": "deflate", "predictor": 3,
        "sparse_ok": True, "bigtiff": "if_safer",
    }  # fmt: skip
    try:
        with rasterio.open(partial, "w", **profile) as out:
            for number, (name, unit, meaning) in enumerate(BANDS, start=1):
                out.set_band_description(number, name)
                out.set_band_unit(number, unit)
                out.update_tags(number, meaning=meaning)
            out.update_tags(AREA_OR_POINT="Area", **tags)
            for part in parts:
                known = np.isfinite(part.elev)
                row, col = part.window.row - extent.row, part.window.col - extent.col
                at = RasterWindow(col, row, part.window.width, part.window.height)
                for number, band in enumerate((part.elev, part.sigma, part.count, part.source), start=1):
                    out.write(np.where(known, np.asarray(band), NODATA).astype(np.float32), number, window=at)
        with partial.open("rb+") as stream:
            os.fsync(stream.fileno())
        os.replace(partial, path)
    except BaseException:
        partial.unlink(missing_ok=True)
        raise


class PublicGrid:
    """A public grid read onto any lattice, bilinear, with unknown cells kept unknown."""

    def __init__(
        self, dataset: rasterio.DatasetReader, band: int, sigma_band: int | None, positive: str
    ) -> None:
        self._dataset, self._band, self._sigma, self._positive = dataset, band, sigma_band, positive
        self.name = Path(dataset.name).name

    def on_lattice(self, sheet: Sheet, window: Window) -> tuple[Floats, Floats]:
        """Elevation and standard uncertainty (m, NaN unknown) of a window."""
        options = {
            "crs": sheet.crs, "transform": rasterio.Affine(*sheet.transform(window)), "width": window.width,
            "height": window.height, "resampling": Resampling.bilinear, "dtype": "float64", "nodata": np.nan,
        }  # fmt: skip
        if self._dataset.nodata is not None:
            options["src_nodata"] = self._dataset.nodata
        with WarpedVRT(self._dataset, **options) as warped:
            elev = warped.read(self._band).astype(np.float64)
            sigma = (
                warped.read(self._sigma).astype(np.float64) if self._sigma else np.full(elev.shape, np.nan)
            )
        elev = np.where(np.abs(elev) < 12_000, elev, np.nan)
        elev = -elev if self._positive == "down" else elev
        return elev, np.where(np.isfinite(elev), sigma, np.nan)

    def window_on(self, sheet: Sheet) -> Window:
        """Window of the sheet that the grid covers."""
        bounds = transform_bounds(self._dataset.crs, sheet.crs, *self._dataset.bounds)
        return sheet.window_of(*bounds)


@contextmanager
def open_public(path: Path, *, positive: str = "up") -> Iterator[PublicGrid]:
    """Open a public grid of elevations (or depths, with ``positive="down"``).

    Raises
    ------
    MissingInputError, UnreadableError, NoCrsError
        No file, no raster, or no coordinate system.
    """
    if not path.exists():
        raise MissingInputError(f"{path}: no such file; --onto wants a grid")
    try:
        dataset = rasterio.open(path)
    except RasterioError as error:
        raise UnreadableError(f"{path.name}: not a raster ({error}); --onto wants a grid") from error
    with dataset:
        if dataset.crs is None:
            raise NoCrsError(
                f"{path.name}: no coordinate system; assign one before setting soundings into it"
            )
        names = [(d or "").lower() for d in dataset.descriptions]
        band = next((k + 1 for k, n in enumerate(names) if n.startswith(("elev", "depth", "bathy"))), 1)
        sigma = next((k + 1 for k, n in enumerate(names) if "uncert" in n or "sigma" in n), None)
        yield PublicGrid(dataset, band, sigma, positive)
