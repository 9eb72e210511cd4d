"""Where a file says it lies, and what to do if it does not say."""

from __future__ import annotations

import dataclasses
import math
import warnings
from functools import lru_cache
from pathlib import Path
from typing import Any

from reefscan.base.errors import InputError, NoCrsError
from reefscan.base.question import Question
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
    stored = _refuse_unplaced(dataset, transform, name)
    if not stored and not (said and not only_fills) and not _cf_degrees(dataset):
        stored, beside = _prj_beside(file)
        if stored:
            notes.append(f"its coordinate system is taken from {beside}")
    if said and not (only_fills and stored):
        facts = _replaced(said, stored, notes)
    elif stored:
        try:
            facts = crs_facts(stored)
        except InputError as error:
            raise NoCrsError(f"{name}: {error}") from error
    elif _cf_degrees(dataset):
        # CF allows a grid of longitude and latitude to name no datum
        notes.append("longitude and latitude without a datum: taken for WGS 84")
        facts = crs_facts("EPSG:4326")
    else:
        raise NoCrsError(
            f"{name}: no coordinate system is stored; {_hint(dataset, transform)}",
            asks=_which_crs(dataset, transform),
        )
    if facts.geographic:
        _refuse_no_degrees(dataset, transform, name)
    elif said or stored:
        _check_area(facts, transform, dataset, name)
    _note_datum(facts, transform, dataset, notes)
    return facts


def _refuse_unplaced(dataset: Any, transform: tuple[float, ...], name: str) -> str:
    """Refuse a transform that places no grid; return the CRS that is stored, empty if there is none."""
    a, b, c, d, e, f = transform
    plain = (a, b, c, d, abs(e), f) == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)
    if plain and dataset.gcps[0]:
        raise InputError(
            f"{name}: is placed by control points only; warp it to a grid first (gdalwarp does it)"
        )
    if not all(math.isfinite(v) for v in transform) or a * e - b * d == 0.0:
        raise InputError(
            f"{name}: its transform {transform} places no grid; the file is damaged: fetch it again"
        )
    stored = str(dataset.crs.to_wkt()) if dataset.crs else ""
    if plain and not stored:
        raise NoCrsError(
            f"{name}: says neither where on Earth it lies nor how large its cells are{_way_out(dataset)}"
        )
    if (a, b, c, d, e, f) == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0):  # what GDAL gives for a file without a transform
        raise InputError(
            f"{name}: names a coordinate system, but says neither where in it the grid lies nor how large its cells are; "
            "save it with its transform, or with a world file beside it"
        )
    return stored


def _replaced(said: str, stored: str, notes: list[str]) -> CrsFacts:
    """The CRS that was said, with the heights of the stored one where it has none of its own."""
    facts = crs_facts(said)
    try:
        had = crs_facts(stored) if stored else None
    except InputError:
        had = None
    if had is None:
        return facts
    if had.horizontal != facts.horizontal:
        notes.append(f"--crs {said} replaces the coordinate system stored in the file")
    if facts.vertical:
        return facts
    return dataclasses.replace(
        facts,
        vertical=had.vertical,
        vertical_down=had.vertical_down,
        vertical_unit_m=had.vertical_unit_m,
    )


def _which_crs(dataset: Any, transform: tuple[float, ...]) -> Question:
    """The question for the coordinate system, with the numbers that its answer must make sense of."""
    a, _, c, _, e, f = transform
    east, south = c + a * dataset.width, f + e * dataset.height
    spans = f"x runs from {min(c, east):.8g} to {max(c, east):.8g}, y from {min(f, south):.8g} to {max(f, south):.8g}"
    degrees = max(abs(c), abs(east)) <= 360 and max(abs(f), abs(south)) <= 90 and abs(a) < 1
    choices = (("EPSG:4326", "longitude and latitude in degrees, as these numbers look"),) if degrees else ()
    text = f"In which coordinate system does it lie? {spans}. Write its code, such as EPSG:32631 (UTM zone 31 north)."
    return Question("--crs", text, choices, free=True)


def _hint(dataset: Any, transform: tuple[float, ...]) -> str:
    """What the numbers of a grid without a CRS look like."""
    a, _, c, _, e, f = transform
    east, north = c + a * dataset.width / 2, f + e * dataset.height / 2
    if -180 <= east <= 360 and -90 <= north <= 90 and abs(a) < 1:
        return f"its numbers ({c:.6g}, {f:.6g}) look like longitude and latitude: if so say --crs EPSG:4326"
    return f"its corner is at {c:.8g}, {f:.8g}; say which with --crs, such as --crs EPSG:32756"


def _refuse_no_degrees(dataset: Any, transform: tuple[float, ...], name: str) -> None:
    """Refuse numbers that can be no longitude and latitude."""
    a, _, c, _, e, f = transform
    south, north = sorted((f, f + e * dataset.height))
    if abs(a) * dataset.width <= 361.0 and south >= -91.0 and north <= 91.0:
        return
    if abs(c) <= 90.0 and abs(c + a * dataset.width) <= 90.0 and max(abs(south), abs(north)) <= 361.0:
        raise InputError(
            f"{name}: longitude and latitude are swapped (its corner would be at longitude {c:.6g}, latitude {f:.6g}); "
            "write it with longitude along the rows"
        )
    raise InputError(
        f"{name}: its corners ({c:.6g}, {f:.6g}) are not a longitude and latitude; say the true --crs"
    )


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


DATUM_M = 5.0
"""Accuracy of the step from a CRS's datum to WGS 84 above which a note says so: a net is set within less."""


def _note_datum(facts: CrsFacts, transform: tuple[float, ...], dataset: Any, notes: list[str]) -> None:
    """Note how far off the chart positions may be, where the file's datum is only roughly tied to WGS 84."""
    a, b, c, d, e, f = transform
    row, col = dataset.height / 2, dataset.width / 2
    lon, lat = a * col + b * row + c, d * col + e * row + f
    if not facts.geographic:
        lon, lat = transformer(facts.horizontal, "EPSG:4326").transform(lon, lat)
    if math.isfinite(lon) and math.isfinite(lat):
        accuracy_m = _datum_accuracy(facts.horizontal, round(lon), round(lat))
        if not accuracy_m <= DATUM_M:
            size = f"by {accuracy_m:.0f} m" if math.isfinite(accuracy_m) else "by a hundred metres or more"
            notes.append(
                f"positions may be off {size}: its datum is tied to WGS 84 no better on this machine"
            )


@lru_cache(maxsize=512)
def _datum_accuracy(crs: str, lon: int, lat: int) -> float:
    """Accuracy (m) of the best step to WGS 84 that this machine can take near a place; infinite if it is not known."""
    from pyproj.aoi import AreaOfInterest
    from pyproj.exceptions import ProjError
    from pyproj.transformer import TransformerGroup

    lon = (lon + 180) % 360 - 180
    lat = max(-89, min(89, lat))
    around: Any = AreaOfInterest(max(lon - 1.0, -180.0), lat - 1.0, min(lon + 1.0, 180.0), lat + 1.0)
    with warnings.catch_warnings():
        # the warning says that a better one is not installed, as the note does
        warnings.simplefilter("ignore", UserWarning)
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
            "swapped, or is the coordinate system wrong? Say the true --crs"
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
