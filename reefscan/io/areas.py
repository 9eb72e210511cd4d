"""Outlines of the ground a person asks for, from any vector file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from reefscan.base.errors import InputError, MissingInputError, NoCrsError, UnreadableError


def read_area(path: str | Path) -> Any:
    """Read the polygons of a vector file as one shape in degrees (WGS 84).

    Raises
    ------
    MissingInputError, UnreadableError, NoCrsError, InputError
        If the file is missing, not a vector file, has no CRS or no polygon.
    """
    import geopandas

    from reefscan.io.vectors import layer_table

    path = Path(path)
    if not path.exists():
        raise MissingInputError(
            f"{path}: no such file; --area wants an outline (GeoJSON, GPKG, KML, shapefile)"
        )
    try:
        frame = layer_table(path)
    except UnreadableError as error:
        raise UnreadableError(f"{error}; --area wants polygons") from error
    # a table without shapes comes as a plain one
    shapes = (
        frame[frame.geom_type.isin(["Polygon", "MultiPolygon"])]
        if isinstance(frame, geopandas.GeoDataFrame)
        else frame[:0]
    )
    if not len(shapes):
        raise InputError(f"{path}: has no polygon; --area wants the outline of the ground to scan")
    if shapes.crs is None:
        raise NoCrsError(f"{path}: has no coordinate reference system; save the outline with one")
    return shapes.to_crs("EPSG:4326").make_valid().union_all()


def outline_of(area: Any) -> Any:
    """Return the ground that an outline in degrees holds: one that crosses itself in its parts, lines and points left out.

    Raises
    ------
    InputError
        If it holds none, or its corners are no longitudes and latitudes.
    """
    import shapely

    parts = [part for part in shapely.get_parts(shapely.make_valid(area)) if part.area > 0]
    parts = [piece for part in parts for piece in shapely.get_parts(part) if piece.area > 0]
    if not parts:
        raise InputError("--area holds no ground; wanted a polygon in longitude and latitude")
    whole = shapely.union_all(parts)
    west, south, east, north = whole.bounds
    if not (-90 <= south < north <= 90 and -540 <= west < east <= 540):
        raise InputError(
            f"--area runs from {west:.6g}, {south:.6g} to {east:.6g}, {north:.6g}, which are no longitudes and latitudes; "
            "save the outline with its coordinate system, or in degrees"
        )
    return whole
