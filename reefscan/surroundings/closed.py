"""Closed ground: which places lie inside it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from reefscan.surroundings.shapes import Box, Floats, Shapes

EDGE_DEG = 1e-9
"""So near to an edge (0.1 mm) a place is inside: what rounding does to a corner must not open ground."""


def first_inside(shapes: Shapes, lon: Floats, lat: Floats, box: Box) -> NDArray[np.intp]:
    """Row of the first polygon that each place lies in or on the edge of; -1 for none.

    Parameters
    ----------
    shapes : Shapes
        Polygons, in the frame of ``box``.
    lon, lat : ndarray
        Degrees.
    """
    out = np.full(len(lon), -1, dtype=np.intp)
    if not len(shapes) or not len(lon):
        return out
    points = shapely.points(box.unwrap(lon), lat)
    place, shape = shapely.STRtree(shapes.shapes).query(points, predicate="dwithin", distance=EDGE_DEG)
    order = np.lexsort((shape, place))
    first, at = np.unique(place[order], return_index=True)
    out[first] = shape[order][at]
    return out


def blank_closed(
    cells: NDArray[np.uint8],
    lonlat: Callable[[Any, Any], tuple[Floats, Floats]],
    shapes: Shapes,
    box: Box,
    nothing: int,
) -> NDArray[np.uint8]:
    """Cells of a score raster with ``nothing`` where a cell's middle lies in closed ground, so that no map of scores leads there.

    Parameters
    ----------
    cells : ndarray of uint8, shape (rows, cols)
        Not modified.
    lonlat : callable
        Longitudes and latitudes of the middles of cells, from their rows and columns.
    shapes : Shapes
        Closed ground, in the frame of ``box``.
    nothing : int
        What stands for no score; such cells are not asked about.
    """
    rows, cols = np.nonzero((cells != nothing) & (cells > 0))
    if not len(shapes) or not len(rows):
        return cells
    lon, lat = lonlat(rows, cols)
    closed = first_inside(shapes, np.asarray(lon), np.asarray(lat), box) >= 0
    out = cells.copy()
    out[rows[closed], cols[closed]] = nothing
    return out


def rings_of(shape: Any) -> list[list[float]]:
    """Rings of a polygon as flat lists of longitude and latitude: what the page carries."""
    return [shapely.get_coordinates(ring).ravel().tolist() for ring in (shape.exterior, *shape.interiors)]


def holds(rings: Sequence[Sequence[float]], lon: float, lat: float) -> bool:
    """Tell whether a polygon holds a place, by counting edges crossed; an edge itself belongs to it.

    The page asks the same (``Closed.holds`` of ``closed.js``), line for line.

    Parameters
    ----------
    rings : sequence of flat sequences
        As `rings_of` gives them.
    """
    odd = False
    for ring in rings:
        for k in range(0, len(ring) - 2, 2):
            ax, ay, bx, by = ring[k] - lon, ring[k + 1] - lat, ring[k + 2] - lon, ring[k + 3] - lat
            dx, dy = bx - ax, by - ay
            length = dx * dx + dy * dy
            t = 0.0 if length == 0 else min(1.0, max(0.0, -(ax * dx + ay * dy) / length))
            x, y = ax + t * dx, ay + t * dy
            if x * x + y * y <= EDGE_DEG * EDGE_DEG:
                return True
            if (ay > 0) != (by > 0) and (ax - ay * dx / dy > 0):
                odd = not odd
    return odd
