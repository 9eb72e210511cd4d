"""One seabed as a function of easting and northing, written in many forms."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.transform import Affine

CRS = "EPSG:32760"
WEST, NORTH, CELL = 352_000.0, 5_402_000.0, 4.0


def elevation(x: NDArray[Any] | float, y: NDArray[Any] | float) -> NDArray[np.float64]:
    """Metres, positive up: an uneven floor at 12 m with a reef, a trough and a shore. Smooth over 30 m."""
    u, v = np.asarray(x) - WEST, NORTH - np.asarray(y)
    floor = -12.0 + 0.9 * np.sin(u / 90.0) * np.cos(v / 110.0) - 2.0 * np.cos(v / 900.0)
    reef = 4.0 * np.exp(-(((u - 600.0) / 60.0) ** 2) - ((v - 420.0) / 45.0) ** 2)
    trough = -3.0 * np.exp(-(((u - 0.4 * v - 300.0) / 30.0) ** 2))
    return floor + reef + trough


def cells(width: int = 300, height: int = 260, cell: float = CELL) -> NDArray[np.float64]:
    """Elevation at the cell centres of the reference grid, rounded to centimetres."""
    x = WEST + (np.arange(width) + 0.5) * cell
    y = NORTH - (np.arange(height) + 0.5) * cell
    return np.round(elevation(x[None, :], y[:, None]), 2)


def write(
    path: Path,
    data: NDArray[Any],
    *,
    transform: Affine | None = None,
    crs: str | None = CRS,
    nodata: float | None = None,
    unit: str | None = None,
    name: str | None = None,
    scale: float | None = None,
    offset: float | None = None,
    tags: dict[str, str] | None = None,
    **options: Any,
) -> Path:
    """Write bands (rows, cols) or (bands, rows, cols) as a GeoTIFF (or another form by ``driver``)."""
    data = data if data.ndim == 3 else data[None]
    options.setdefault("driver", "GTiff")
    with rasterio.open(
        path,
        "w",
        height=data.shape[1],
        width=data.shape[2],
        count=data.shape[0],
        dtype=data.dtype,
        crs=crs,
        transform=transform if transform is not None else Affine(CELL, 0, WEST, 0, -CELL, NORTH),
        nodata=nodata,
        **options,
    ) as out:
        out.write(data)
        if unit:
            out.units = (unit,) * data.shape[0]
        if name:
            out.descriptions = (name,) * data.shape[0]
        if scale is not None:
            out.scales = (scale,) * data.shape[0]
        if offset is not None:
            out.offsets = (offset,) * data.shape[0]
        if tags:
            out.update_tags(1, **tags)
    return path
