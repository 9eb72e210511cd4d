"""Where a file says it lies, and what to do if it does not say."""

from __future__ import annotations

import dataclasses
import math
import warnings
from functools import lru_cache
from pathlib import Path
from typing import Any

from reefscan.base.errors import InputError, NoCrsError
from reefscan.io.georef import CrsFacts, crs_facts, transformer


def place_of(
    dataset: Any,
    transform: tuple[float, ...],
    name: str,
    said: str | None,
    notes: list[str],
    *,
    only_fills: bool,
    file: str = "",
) -> CrsFacts:
    """CRS of a dataset: the one that was said, else the one that is stored, in it or in a ``.prj`` beside ``file``.

    Raises
    ------
    NoCrsError, InputError
        If there is none, or the transform cannot be one.
    """
    a, b, c, d, e, f = transform
    plain = (a, b, c, d, abs(e), f) == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)
    if plain and dataset.gcps[0]:
        raise InputError(f"{name}: is placed by control points only; warp it to a grid first")
    if not all(math.isfinite(v) for v in transform) or a * e - b * d == 0.0:
        raise InputError(f"{name}: its transform {transform} is no grid; the file is damaged: fetch it again")
    stored = dataset.crs.to_wkt() if dataset.crs else ""
    if plain and not stored:
        raise NoCrsError(
            f"{name}: says neither where on Earth it lies nor how large its cells are{_way_out(dataset)}"
        )
    if (a, b, c, d, e, f) == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0):  # what GDAL tells of a file without a transform
        raise InputError(
            f"{name}: names a coordinate system, but says neither where in it the grid lies nor how large its cells are; "
            "save it with its transform, or with a world file beside it"
        )
    if not stored and not (said and not only_fills) and not _cf_degrees(dataset):
        stored, beside = _prj_beside(file)
        if stored:
            notes.append(f"its coordinate system is taken from {beside}")
    if said and not (only_fills and stored):
        facts = crs_facts(said)
        if stored:
            try:
                had = crs_facts(stored)
            except InputError:
                had = None
            if had is not None and had.horizontal != facts.horizontal:
                notes.append(f"--crs {said} replaces the CRS stored in the file")
            if had is not None and not facts.vertical:
                facts = dataclasses.replace(
                    facts,
                    vertical=had.vertical,
                    vertical_down=had.vertical_down,
                    vertical_unit_m=had.vertical_unit_m,
                )
    elif not stored and _cf_degrees(dataset):
        # CF allows a grid of longitude and latitude to name no datum
        notes.append("longitude and latitude without a datum: taken for WGS 84")
        facts = crs_facts("EPSG:4326")
    elif stored:
        try:
            facts = crs_facts(stored)
        except InputError as error:
            raise NoCrsError(f"{name}: {error}") from error
    else:
        east, north = c + a * dataset.width / 2, f + e * dataset.height / 2
        hint = (
            f"its numbers ({c:.6g}, {f:.6g}) look like longitude and latitude: if so say --crs EPSG:4326"
            if -180 <= east <= 360 and -90 <= north <= 90 and abs(a) < 1
            else f"its corner is at {c:.8g}, {f:.8g}; say which with --crs, such as --crs EPSG:32756"
        )
        raise NoCrsError(f"{name}: no coordinate reference system is stored; {hint}")
    if facts.geographic:
        south, north = sorted((f, f + e * dataset.height))
        if abs(a) * dataset.width > 361.0 or south < -91.0 or north > 91.0:
            if abs(c) <= 90.0 and abs(c + a * dataset.width) <= 90.0 and max(abs(south), abs(north)) <= 361.0:
                raise InputError(
                    f"{name}: longitude and latitude are swapped (its corner would be at longitude {c:.6g}, latitude {f:.6g}); "
                    "write it with longitude along the rows"
                )
            raise InputError(
                f"{name}: its corners ({c:.6g}, {f:.6g}) are no longitude and latitude; say the true --crs"
            )
    elif said or stored:
        _check_area(facts, transform, dataset, name)
    _tell_doubt(facts, transform, dataset, notes)
    return facts


def _prj_beside(file: str) -> tuple[str, str]:
    """Text and name of the ``.prj`` that lies beside a file under its name; empty if there is none of use."""
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if not file or file.startswith("/vsi"):
        return "", ""
    for ending in (".prj", ".PRJ"):
        beside = Path(file).with_suffix(ending)
        try:
            return str(
                CRS.from_user_input(beside.read_text(encoding="utf-8", errors="replace")).to_wkt()
            ), beside.name
        except (OSError, CRSError, ValueError):
            continue
    return "", ""


DOUBT_M = 5.0
"""Doubt of the step from a CRS's datum to WGS 84 from which it is told: a net is set within less."""


def _tell_doubt(facts: CrsFacts, transform: tuple[float, ...], dataset: Any, notes: list[str]) -> None:
    """Note how far off the chart positions may be, where the file's datum is only roughly tied to WGS 84."""
    a, b, c, d, e, f = transform
    row, col = dataset.height / 2, dataset.width / 2
    lon, lat = a * col + b * row + c, d * col + e * row + f
    if not facts.geographic:
        lon, lat = transformer(facts.horizontal, "EPSG:4326").transform(lon, lat)
    if math.isfinite(lon) and math.isfinite(lat):
        doubt = _datum_doubt(facts.horizontal, round(lon), round(lat))
        if not doubt <= DOUBT_M:
            size = f"by {doubt:.0f} m" if math.isfinite(doubt) else "by a hundred metres or more"
            notes.append(
                f"positions may be off {size}: its datum is tied to WGS 84 no better on this machine"
            )


@lru_cache(maxsize=512)
def _datum_doubt(crs: str, lon: int, lat: int) -> float:
    """Accuracy (m) of the best step to WGS 84 that this machine can take near a place; infinite if it is not known."""
    from pyproj.aoi import AreaOfInterest
    from pyproj.exceptions import ProjError
    from pyproj.transformer import TransformerGroup

    lon = (lon + 180) % 360 - 180
    lat = max(-89, min(89, lat))
    around: Any = AreaOfInterest(max(lon - 1.0, -180.0), lat - 1.0, min(lon + 1.0, 180.0), lat + 1.0)
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore", UserWarning
        )  # that a better one is not installed is what is told here
        try:
            ways = TransformerGroup(crs, "EPSG:4326", always_xy=True, area_of_interest=around).transformers
        except ProjError:
            return math.inf
    return float(ways[0].accuracy) if ways and ways[0].accuracy >= 0.0 else math.inf


FAR = 20.0
"""Degrees of longitude outside a CRS's area of use at which a grid is surely misplaced."""


def _check_area(facts: CrsFacts, transform: tuple[float, ...], dataset: Any, name: str) -> None:
    """Refuse a grid that its CRS puts far outside the CRS's own area.

    Raises
    ------
    InputError
        Saying where it would lie.
    """
    area = _area_of(facts.horizontal)
    if area is None:
        return
    a, b, c, d, e, f = transform
    row, col = dataset.height / 2, dataset.width / 2
    lon, lat = transformer(facts.horizontal, "EPSG:4326").transform(
        a * col + b * row + c, d * col + e * row + f
    )
    wide = (
        area.east - area.west + (360.0 if area.east < area.west else 0.0)
    )  # some areas cross the antimeridian
    if not math.isfinite(lon) or wide > 180.0:
        return
    off = abs((lon - area.west - wide / 2 + 180.0) % 360.0 - 180.0) - wide / 2
    if off > FAR:
        raise InputError(
            f"{name}: would lie at {lat:.2f}, {lon:.2f}, far outside the area of {facts.horizontal} ({area.name}); are x and y "
            "swapped, or is the CRS wrong? Say the true --crs"
        )


@lru_cache(maxsize=256)
def _area_of(crs: str) -> Any:
    from pyproj import CRS

    return CRS.from_user_input(crs).area_of_use


def _cf_degrees(dataset: Any) -> bool:
    units = {str(v).lower() for k, v in dataset.tags().items() if k.lower().endswith("#units")}
    east = {"degrees_east", "degree_east", "degrees_e", "degree_e"} & units
    north = {"degrees_north", "degree_north", "degrees_n", "degree_n"} & units
    return bool(east and north)


def _way_out(dataset: Any) -> str:
    """What to do with a table of numbers (a MATLAB file is one) that says nothing of places."""
    if dataset.driver not in ("HDF5", "HDF5Image", "netCDF"):
        return ""
    return (
        "; if it holds arrays of x, y and depth (as MATLAB files do), write them as lines of 'x y z' to a text file "
        "ending in .xyz and open that with --crs, or save a grid as GeoTIFF or netCDF"
    )
