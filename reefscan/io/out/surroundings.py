"""The shapes that a run was made with, kept in its folder: ``surroundings.gpkg``, one layer a role.

A run that says it knows closed ground is not read without it: what is closed must not open because a file went missing.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from reefscan.base.errors import ReefscanError, RunFolderError
from reefscan.io.out.geopackage import write_geopackage
from reefscan.surroundings.known import Surroundings
from reefscan.surroundings.shapes import Box, Shapes

SURROUNDINGS = "surroundings.gpkg"


def write_surroundings(path: Path, known: Surroundings) -> Path:
    """Write all shapes; equal shapes give equal bytes."""
    import geopandas

    layers = {
        role: geopandas.GeoDataFrame(
            {"name": list(shapes.name), "kind": list(shapes.kind), "file": list(shapes.file)},
            geometry=list(shapes.shapes),
            crs="EPSG:4326",
        )
        for role, shapes in known.by_role.items()
    }
    return write_geopackage(
        path,
        layers,
        dict.fromkeys(layers, "Unknown"),
        meaning="reefscan {} around the grid, as this run took it",
    )


def read_surroundings(folder: Path, info: Mapping[str, Any]) -> Surroundings | None:
    """Read the shapes of a run; None for one that was made without any.

    Parameters
    ----------
    folder : Path
        The run folder.
    info : mapping
        Its ``run.json``.

    Raises
    ------
    RunFolderError
        If the run was made with shapes and they are not there as they were.
    """
    from reefscan.io.vectors import layer_table

    around = info.get("around")
    if not isinstance(around, Mapping) or not around.get("given"):
        return None
    path = folder / SURROUNDINGS
    try:
        given = {str(role): tuple(str(f) for f in files) for role, files in around["given"].items()}
        box = Box(*(float(v) for v in around["box"]))
        known = Surroundings(box, {role: _layer(layer_table(path, role)) for role in given}, given)
        same = known.digest() == around["digest"]
    except (ReefscanError, OSError, KeyError, TypeError, ValueError, AttributeError):
        same = False
    if not same:
        raise RunFolderError(f"{path}: missing, damaged or changed; it says what is closed, so scan again")
    return known


def _layer(frame: Any) -> Shapes:
    shapes = np.asarray(frame.geometry.to_numpy(), dtype=object)
    names, kinds, files = (
        tuple("" if v is None or v != v else str(v) for v in frame[key]) for key in ("name", "kind", "file")
    )
    return Shapes(shapes, names, kinds, files)
