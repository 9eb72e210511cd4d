"""Cells of a sheet as labelled arrays: coordinates of the centres, CRS, unit and name of each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import Sheet, Window

if TYPE_CHECKING:
    import xarray


def labelled(
    sheet: Sheet,
    window: Window,
    variables: Mapping[str, tuple[NDArray[Any], Mapping[str, str]]],
    *,
    source: str,
) -> xarray.Dataset:
    """Label the cells of a window.

    Parameters
    ----------
    sheet : Sheet
    window : Window
    variables : mapping of str to (ndarray, mapping)
        By name: values of the window's shape, rows north to south, and their attributes.
    source : str
        Where the cells come from.

    Returns
    -------
    xarray.Dataset
        On ``y`` (north to south) and ``x``: cell centres in metres, with the sheet's CRS.
    """
    import rioxarray  # noqa: F401  # registers the .rio accessor
    import xarray

    rows = np.asarray(sheet.y_of(np.arange(window.row, window.row_end, dtype=np.float64)))
    cols = np.asarray(sheet.x_of(np.arange(window.col, window.col_end, dtype=np.float64)))
    coords = {
        "y": ("y", rows, {"units": "m", "long_name": "northing"}),
        "x": ("x", cols, {"units": "m", "long_name": "easting"}),
    }
    values = {name: (("y", "x"), cells, dict(attrs)) for name, (cells, attrs) in variables.items()}
    dataset: xarray.Dataset = xarray.Dataset(values, coords, {"source": source}).rio.write_crs(sheet.crs)
    return dataset
