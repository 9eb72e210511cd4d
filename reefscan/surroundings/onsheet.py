"""Shapes laid on a sheet: in its metres, and the cells that they cover."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray
from rasterio.features import rasterize
from rasterio.transform import Affine

from reefscan.base.model import Sheet, Window
from reefscan.surroundings.shapes import STEP_DEG, Geometries, way_between


def flat_on(sheet: Sheet, shapes: Geometries) -> Geometries:
    """Shapes in longitude and latitude in the metres of a sheet; places that its system cannot draw are infinite."""
    there = way_between("EPSG:4326", sheet.crs)
    return np.asarray(shapely.transform(shapely.segmentize(shapes, STEP_DEG), there))


def areas_on(sheet: Sheet, shapes: Geometries) -> Geometries:
    """Areas, such as closed ground or land (polygons in longitude and latitude), in the metres of a sheet; what its system cannot draw is left out."""
    flat = flat_on(sheet, shapes)
    return np.asarray(flat[np.isfinite(shapely.bounds(flat)).all(axis=1)])


def covered(window: Window, sheet: Sheet, areas: Geometries) -> NDArray[np.bool_]:
    """Cells of a window whose middle lies in one of the areas, as `areas_on` gives them."""
    shape = (window.height, window.width)
    west, south, east, north = sheet.bounds(window)
    left, low, right, high = shapely.bounds(areas).reshape(-1, 4).T
    here = areas[(left < east) & (right > west) & (low < north) & (high > south)]
    if not len(here):
        return np.zeros(shape, dtype=bool)
    inside = rasterize(here, out_shape=shape, transform=Affine(*sheet.transform(window)), dtype="uint8")
    return np.asarray(inside, dtype=bool)
