"""Outlines of the ground a person asks for, from any vector file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from reefscan.base.errors import InputError, NoCrsError


def read_area(path: str | Path) -> Any:
    """Read the polygons of a vector file as one shape in degrees (WGS 84).

    Raises
    ------
    MissingInputError, UnreadableError, NoCrsError, InputError
        If the file is missing, not a vector file, has no CRS or no polygon.
    """
    import geopandas

    from reefscan.io.vectors import handed_over

    path = Path(path)
    _, frame = next(handed_over(path, "--area", "an outline"))
    # a table without shapes comes as a plain one
    shapes = (
        frame[frame.geom_type.isin(["Polygon", "MultiPolygon"])]
        if isinstance(frame, geopandas.GeoDataFrame)
        else frame[:0]
    )
    if not len(shapes):
        raise InputError(f"{path}: has no polygon; --area wants the outline of the ground to scan")
    if shapes.crs is None:
        raise NoCrsError(f"{path}: has no coordinate system; save the outline with one")
    shapes = shapes.to_crs("EPSG:4326")
    _check_corners(shapes.geometry.array)
    return shapes.make_valid().union_all()


def _check_corners(shapes: Any) -> None:
    """Refuse a corner that is no place: the library's sums of such end in an error of its own.

    Raises
    ------
    InputError
    """
    import numpy as np
    import shapely

    corners = shapely.get_coordinates(shapes)
    odd = ~(np.abs(corners) <= (540.0, 90.0)).all(axis=1)  # unknown is no place either
    if odd.any():
        lon, lat = corners[odd][0]
        raise InputError(
            f"--area has a corner at {lon:.6g}, {lat:.6g}, which is not a longitude and latitude; "
            "save the outline with its coordinate system, or in degrees"
        )


def outline_of(area: Any) -> Any:
    """Return the ground that an outline in degrees holds: one that crosses itself in its parts, lines and points left out.

    Raises
    ------
    InputError
        If it holds none, or its corners are no longitudes and latitudes.
    """
    import shapely

    _check_corners(area)
    parts = [part for part in shapely.get_parts(shapely.make_valid(area)) if part.area > 0]
    parts = [piece for part in parts for piece in shapely.get_parts(part) if piece.area > 0]
    if not parts:
        raise InputError("--area holds no ground; wanted a polygon in longitude and latitude")
    return shapely.union_all(parts)
