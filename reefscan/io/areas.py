"""Outlines of the ground a person asks for, from any vector file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from reefscan.errors import InputError, MissingInputError, NoCrsError, UnreadableError


def read_area(path: str | Path) -> Any:
    """Read the polygons of a vector file as one shape in degrees (WGS 84).

    Raises
    ------
    MissingInputError, UnreadableError, NoCrsError, InputError
        If the file is missing, not a vector file, has no CRS or no polygon.
    """
    import geopandas

    path = Path(path)
    if not path.exists():
        raise MissingInputError(
            f"{path}: no such file; --area wants an outline (GeoJSON, GPKG, KML, shapefile)"
        )
    try:
        frame = geopandas.read_file(path)
    except Exception as error:
        raise UnreadableError(
            f"{path}: not a vector file that can be read ({error}); --area wants polygons"
        ) from error
    shapes = frame[frame.geom_type.isin(["Polygon", "MultiPolygon"])] if len(frame) else frame
    if not len(shapes):
        raise InputError(f"{path}: has no polygon; --area wants the outline of the ground to scan")
    if shapes.crs is None:
        raise NoCrsError(f"{path}: has no coordinate reference system; save the outline with one")
    return shapes.to_crs("EPSG:4326").union_all()
