"""Where a netCDF grid lies, checked against its coordinate variables: GDAL believes them, or gives up, too soon."""

from __future__ import annotations

import math
import re
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import InputError, NoCrsError, UnreadableError
from reefscan.io import handles

OFF = 0.25
"""A row or column may stand this part of a cell off an even spacing, or as far as its numbers are coarse:
coordinates kept in 32 bits are good to 1.7 m far east."""

Affine6 = tuple[float, float, float, float, float, float]

EAST = (  # what a coordinate that runs so calls itself, in its name, unit or CF standard name
    "longitude",
    "lon",
    "x",
    "easting",
    "projection_x_coordinate",
    "degrees_east",
    "degree_east",
    "degrees_e",
)
NORTH = (
    "latitude",
    "lat",
    "y",
    "northing",
    "projection_y_coordinate",
    "degrees_north",
    "degree_north",
    "degrees_n",
)


def placed_by_axes(dataset: Any, transform: Affine6, name: str, notes: list[str]) -> Affine6:
    """Return the transform of a netCDF variable by its own coordinates.

    Parameters
    ----------
    dataset : DatasetReader
        Any form; other than netCDF is passed through.
    transform : tuple of 6 floats
        As GDAL gives it; the identity where it found none.
    name : str
    notes : list of str
        Appended to.

    Raises
    ------
    InputError
        If rows or columns are not evenly spaced, or columns run along latitude.
    NoCrsError
        If longitude and latitude change along both axes.
    """
    if dataset.driver != "netCDF" or handles.is_remote(dataset.name):
        return transform
    a, b, c, d, e, f = transform
    plain = (a, b, c, d, abs(e), f) == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)
    if b or d:
        return transform
    if not plain and _turned(dataset, transform):
        raise InputError(
            f"{name}: longitude and latitude are swapped (its columns run along latitude); write it with longitude along the rows"
        )
    axes = {}
    for label, words, count in (("columns", EAST, dataset.width), ("rows", NORTH, dataset.height)):
        values, grain = _coordinate(dataset, words, count)
        if values is None or count < 2:
            if plain and dataset.tags(ns="GEOLOCATION").get("X_DATASET"):
                raise NoCrsError(
                    f"{name}: its longitudes and latitudes change along both axes (a curvilinear grid); "
                    "warp it to a plain grid first (gdalwarp does it)"
                )
            return transform
        if label == "columns" and abs(values[-1] - values[0]) <= 360.0:
            values = unrolled(values)
        axes[label] = evenly(values, grain, f"{name}: its {label}")
    if not plain:
        return transform
    notes.append("places taken from its coordinate variables, which are evenly spaced but for their rounding")
    (west, dx), (first, dy) = axes["columns"], axes["rows"]
    # without a place of its own GDAL turns every netCDF raster over, whichever way its rows run
    first, dy = first + dy * (dataset.height - 1), -dy
    return dx, 0.0, west - dx / 2, 0.0, dy, first - dy / 2


def _turned(dataset: Any, transform: Affine6) -> bool:
    """True where the columns stand at the latitudes and the rows at the longitudes: GDAL takes the last dimension for x."""
    a, _, c, _, e, f = transform
    across, along = (c, c + a * dataset.width), (f, f + e * dataset.height)

    def stands(values: NDArray[np.float64] | None, ends: tuple[float, float], cell: float) -> bool:
        return values is not None and bool(
            abs(values.min() - min(ends)) < cell and abs(values.max() - max(ends)) < cell
        )

    east, _ = _coordinate(dataset, EAST, dataset.height)
    north, _ = _coordinate(dataset, NORTH, dataset.width)
    if not (stands(east, along, abs(e)) and stands(north, across, abs(a))):
        return False
    # as many rows as columns over the same numbers of degrees: either reading is true
    return not (stands(east, across, abs(a)) and stands(north, along, abs(e)))


def _coordinate(dataset: Any, words: tuple[str, ...], count: int) -> tuple[NDArray[np.float64] | None, float]:
    """Values of the one-dimensional variable of that length that calls itself so, and the grain of their numbers."""
    named: dict[str, set[str]] = {}
    for key, value in dataset.tags().items():
        variable, mark, what = key.partition("#")
        if mark and what in ("units", "standard_name", "axis", "long_name"):
            named.setdefault(variable, {variable.lower()}).add(str(value).lower())
    # a variable without attributes is in no tag: it is known by its name alone; words with "_" are units and standard names
    for word in words:
        if "_" not in word:
            named.setdefault(word, {word})
    path = dataset.name
    part = re.match(r'^netcdf:"?(.+?)"?:[^:/"]+$', path, re.IGNORECASE)
    for variable, said in named.items():
        if not said & set(words):
            continue
        try:
            with handles.open_dataset(f'NETCDF:"{part[1] if part else path}":{variable}') as axis:
                if axis.width * axis.height == count and 1 in (axis.width, axis.height):
                    scale, offset = axis.scales[0] or 1.0, axis.offsets[0] or 0.0
                    raw = axis.read(1).ravel()
                    grain = (
                        float(np.spacing(np.abs(raw).max())) * abs(scale)
                        if raw.dtype.kind == "f"
                        else abs(scale)
                    )
                    return np.asarray(raw.astype(np.float64) * scale + offset), grain
        except UnreadableError:
            continue
    return None, 0.0


def evenly(values: NDArray[np.float64], grain: float, what: str) -> tuple[float, float]:
    """First value and step of coordinates, whose numbers are coarse by ``grain``.

    Raises
    ------
    InputError
        If they are not evenly spaced; ``what`` names them.
    """
    step = float(values[-1] - values[0]) / (values.size - 1)
    off = (
        float(np.abs(values - (values[0] + step * np.arange(values.size))).max()) / abs(step)
        if step
        else math.inf
    )
    if not off <= max(OFF, grain / abs(step) if step else 0.0):
        raise InputError(
            f"{what} are not evenly spaced (off by up to {off:.2g} of a cell); grid it evenly first"
        )
    return float(values[0]), step


def unrolled(longitudes: NDArray[np.float64]) -> NDArray[np.float64]:
    """Longitudes without the jump of a whole turn."""
    steps = np.diff(longitudes)
    steps = np.where(steps > 180.0, steps - 360.0, np.where(steps < -180.0, steps + 360.0, steps))
    return np.asarray(longitudes[0] + np.concatenate([[0.0], np.cumsum(steps)]))
