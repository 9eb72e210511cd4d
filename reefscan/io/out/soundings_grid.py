"""The grid of a survey as a GeoTIFF with four bands."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import InputError
from reefscan.base.model import Sheet, Window
from reefscan.io.newraster import sheet_raster
from reefscan.io.whole import put_in_place, telling

Floats = NDArray[np.float64]

BANDS: tuple[tuple[str, str, str], ...] = (
    ("elevation", "metre", "elevation above the datum, positive up"),
    ("uncertainty", "metre", "standard uncertainty of the elevation (1 sigma)"),
    ("count", "1", "soundings in the cell; -1 where that is not known"),
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


def refuse_cells(sheet: Sheet, extent: Window) -> None:
    """Refuse a grid of more cells than a file should have.

    Raises
    ------
    InputError
        With the cell that would do.
    """
    cells = extent.height * extent.width
    if cells > MOST_CELLS:
        least = float(f"{1.01 * sheet.cell_m * math.sqrt(cells / MOST_CELLS):.2g}")
        raise InputError(
            f"a grid of {extent.width:,} x {extent.height:,} cells of {sheet.cell_m:g} m is too large, {MOST_CELLS / 1e9:g} thousand million "
            f"is the most; say --cell {least:g}m or more, or grid the areas one by one"
        )


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
    refuse_cells(sheet, extent)
    stored = {
        "dtype": "float32", "count": len(BANDS), "nodata": NODATA, "blockxsize": 256, "blockysize": 256,
        "compress": "deflate", "predictor": 3,
    }  # fmt: skip
    with put_in_place(path) as partial, sheet_raster(path, partial, sheet, extent, **stored) as out:
        with telling(path):
            for number, (name, unit, meaning) in enumerate(BANDS, start=1):
                out.dataset.set_band_description(number, name)
                out.dataset.set_band_unit(number, unit)
                out.dataset.update_tags(number, meaning=meaning)
            out.dataset.update_tags(AREA_OR_POINT="Area", **tags)
        for part in parts:  # which may read a public grid
            known = np.isfinite(part.elev)
            for number, band in enumerate((part.elev, part.sigma, part.count, part.source), start=1):
                out.put(part.window, np.where(known, np.asarray(band), NODATA), number)
