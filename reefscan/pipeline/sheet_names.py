"""The name of a sheet, and the longitude and latitude of its cells."""

from __future__ import annotations

import hashlib
import warnings
from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import Sheet


def sheet_name(sheet: Sheet) -> str:
    """Short name of a sheet, part of every id: the CRS, the cell, and where its lattice stands if not on whole cells.

    Two sheets share a name only if they share their cells. Phases are rounded to thousandths of a cell: lattices nearer
    than ten of those are one (`reefscan.io.grids.rawgrid.SAME_PHASE`).

    Examples
    --------
    >>> sheet_name(Sheet("EPSG:32760", 4.0)), sheet_name(Sheet("EPSG:32760", 4.0, 2.0, 0.5))
    ('32760-4m', '32760-4m-500.125')
    """
    code = sheet.crs.rsplit(":", 1)[-1] if len(sheet.crs) < 20 else f"local{_digest(sheet.crs)}"
    phases = [round(1000.0 * phase / sheet.cell_m) % 1000 for phase in (sheet.x_phase_m, sheet.y_phase_m)]
    tail = f"-{phases[0]}.{phases[1]}" if any(phases) else ""
    return f"{code}-{sheet.cell_m:.9g}m{tail}"


@lru_cache(maxsize=64)
def _digest(crs: str) -> str:
    """Four letters for a CRS without a code, from its PROJ text, which says less than WKT and changes less."""
    from pyproj import CRS

    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # that a PROJ text says less is why it is taken
        text = CRS.from_user_input(crs).to_proj4() or crs
    return hashlib.blake2b(text.encode(), digest_size=2).hexdigest()


def lonlat_of(sheet: Sheet) -> Callable[[Any, Any], tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Longitudes and latitudes of fractional lattice positions."""
    from reefscan.io.georef import transformer

    def lonlat(rows: Any, cols: Any) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        x = np.asarray(sheet.x_of(np.asarray(cols, dtype=np.float64)))
        y = np.asarray(sheet.y_of(np.asarray(rows, dtype=np.float64)))
        lon, lat = transformer(sheet.crs, "EPSG:4326").transform(x, y)
        return np.atleast_1d(np.asarray(lon)), np.atleast_1d(np.asarray(lat))

    return lonlat
