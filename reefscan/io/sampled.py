"""A person's own raster, read at places: the value of the cell that each lies in. Classes are never averaged, and numbers are not either."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import InputError, NoCrsError
from reefscan.io.georef import transformer
from reefscan.io.handles import open_dataset
from reefscan.io.localfile import require_file

PIECE = 1024
"""Cells on a side of what is read at once."""


def raster_stamp(path: str) -> tuple[str, int, int]:
    """What changes when a raster does: name, size, time.

    Raises
    ------
    MissingInputError, UnreadableError
        If there is no such file.
    """
    require_file(path)
    facts = os.stat(path)
    return Path(path).name, facts.st_size, facts.st_mtime_ns


def sample_raster(
    path: str, name: str, lon: NDArray[np.float64], lat: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Values of a raster's first band at places.

    Parameters
    ----------
    path : str
        A file of this machine, in any system and resolution.
    name : str
        What the layer is called, for messages.
    lon, lat : ndarray
        Degrees, WGS 84.

    Returns
    -------
    ndarray of float64
        The value of the cell that the place lies in, scaled as the file says; NaN beyond the raster and where it has none.

    Raises
    ------
    MissingInputError, UnreadableError, NoCrsError, InputError
        Not there, no raster, without a system, or beside all places.
    """
    require_file(path)
    with open_dataset(path) as file:
        if file.crs is None:
            raise NoCrsError(f"{path}: has no coordinate system; save layer {name} with one")
        x, y = transformer("EPSG:4326", file.crs.to_wkt()).transform(lon, lat)
        x, y, back = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64), ~file.transform
        col, row = back.a * x + back.b * y + back.c, back.d * x + back.e * y + back.f
        with np.errstate(invalid="ignore"):
            inside = (row >= 0) & (row < file.height) & (col >= 0) & (col < file.width)
        if len(lon) and not inside.any():
            raise InputError(
                f"{path}: layer {name} lies beside the grid: none of {len(lon)} candidates is on it; is its coordinate system the right one?"
            )
        out = np.full(len(lon), np.nan)
        at = np.flatnonzero(inside)
        r, c = np.floor(row[at]).astype(np.int64), np.floor(col[at]).astype(np.int64)
        keys, of = np.unique(np.column_stack((r // PIECE, c // PIECE)), axis=0, return_inverse=True)
        for k, (kr, kc) in enumerate(keys):
            mine = np.flatnonzero(of.ravel() == k)
            out[at[mine]] = _piece(file, int(kr), int(kc), r[mine], c[mine])
        return out


def _piece(
    file: Any, kr: int, kc: int, row: NDArray[np.int64], col: NDArray[np.int64]
) -> NDArray[np.float64]:
    from rasterio.windows import Window

    top, left = kr * PIECE, kc * PIECE
    window = Window(left, top, min(PIECE, file.width - left), min(PIECE, file.height - top))
    cells = file.read(1, window=window, masked=True)[row - top, col - left]
    values = np.ma.getdata(cells).astype(np.float64) * file.scales[0] + file.offsets[0]
    return np.where(np.ma.getmaskarray(cells) | ~np.isfinite(values), np.nan, values)
