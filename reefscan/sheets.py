"""The name of a sheet, and the longitude and latitude of its cells."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.model import Sheet


def sheet_name(sheet: Sheet) -> str:
    """Short name of a sheet, part of every id: the CRS code and the cell."""
    code = sheet.crs.rsplit(":", 1)[-1] if len(sheet.crs) < 20 else "local"
    return f"{code}-{sheet.cell_m:g}m"


def lonlat_of(sheet: Sheet) -> Callable[[Any, Any], tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Longitudes and latitudes of fractional lattice positions."""
    from reefscan.io.georef import transformer

    def lonlat(rows: Any, cols: Any) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        x = np.asarray(sheet.x_of(np.asarray(cols, dtype=np.float64)))
        y = np.asarray(sheet.y_of(np.asarray(rows, dtype=np.float64)))
        lon, lat = transformer(sheet.crs, "EPSG:4326").transform(x, y)
        return np.atleast_1d(np.asarray(lon)), np.atleast_1d(np.asarray(lat))

    return lonlat
