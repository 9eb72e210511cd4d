"""The files of a night: tide, gear, boat, forecast, rules, secondary station, ground to keep off, read from where they lie."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from datetime import tzinfo
from pathlib import Path
from typing import TypeVar

import numpy as np

from reefscan.base.errors import AmbiguousError, InputError
from reefscan.base.recipe_part import Part
from reefscan.io.localfile import read_small_text
from reefscan.io.logs.tides import read_tide
from reefscan.plan.books import Secondary, read_book
from reefscan.plan.tide import NightTide, at_secondary
from reefscan.surroundings.shapes import (
    Box,
    Shapes,
    joined,
    near,
    spoken,
    to_lonlat,
    whole_parts,
)
from reefscan.survey.harmonics import HarmonicTide
from reefscan.survey.tide import TideTable

Book = TypeVar("Book", bound=Part)

SAID = "as you said"
"""Of the zone of a tide file: the person named it."""


def load_book(path: Path, form: type[Book]) -> Book:
    """Read a book; see `reefscan.plan.books.read_book`."""
    return read_book(read_small_text(path), form, name=str(path))


def load_tide(
    path: Path,
    *,
    offset_m: float | None,
    zone: tzinfo | None,
    unit: float | None,
    secondary: Path | None = None,
    zone_is: str = SAID,
) -> NightTide:
    """Read the night's tide.

    Parameters
    ----------
    offset_m : float or None
        How high the table's zero lies over the grid's (m).
    zone : tzinfo or None
        Of times that carry none.
    zone_is : str
        Why that zone, for what the plan says it has assumed.
    unit : float or None
        Metres per unit, where the file does not say.
    secondary : path, optional
        Differences of a secondary station.

    Raises
    ------
    AmbiguousError
        If the offset, the zone or the unit is not stated.
    """
    if offset_m is None:
        raise AmbiguousError(
            f"{path.name}: its heights stand over its own zero and depths under the grid's, and no program can know how far apart "
            "the two are; look both up and say --tide-datum-offset (the table's zero over the grid's, such as 0m where both are "
            "chart datum, or -0.9m), or tide_datum_offset_m in the boat's file"
        )
    source = _read(path, zone, unit)
    taken = [_zone_words(source, zone, zone_is)]
    if secondary is not None:
        if not isinstance(source, TideTable):
            raise InputError(
                f"{path.name}: differences of a secondary station go with a table of high and low water"
            )
        station = load_book(secondary, Secondary)
        source = at_secondary(source, station, name=path.name)
        taken.append(
            f"Times and heights are those of the secondary station {station.name or secondary.name}, by its differences."
        )
    return NightTide(source, offset_m, path.name, tuple(taken))


def _read(path: Path, zone: tzinfo | None, unit: float | None) -> TideTable | HarmonicTide:
    try:
        return read_tide(path, zone=zone, unit=unit)
    except AmbiguousError as error:
        wrong, asks_order, _ = str(error).partition("; say --dates")  # an option of other commands
        if not asks_order:
            raise
        raise AmbiguousError(f"{path.name}: {wrong}; write them as 2027-02-11") from None


def _zone_words(source: TideTable | HarmonicTide, zone: tzinfo | None, zone_is: str) -> str:
    """Which zone the times of a tide file were read in."""
    if not isinstance(source, TideTable):
        return "Its phases are on Greenwich."
    if not source.zoned:
        return f"Its times carry no zone and were read in {zone}, {zone_is}."
    unused = "; --tide-zone is not used" if zone is not None and zone_is == SAID else ""
    return f"Its times carry their own zone{unused}."


def load_off(paths: Sequence[Path], box: Box) -> Shapes:
    """Read the ground that floats keep off: points, lines and areas of any vector files, near the grid.

    Parameters
    ----------
    box : Box
        What lies near, as `reefscan.surroundings.shapes.box_of` and `Box.grown` give it.

    Raises
    ------
    MissingInputError, UnreadableError, NoCrsError, InputError
        For a file that is not there, is none of shapes, does not say where they lie, or holds none near the grid.
    """
    return joined([_off(path, box) for path in paths])


def _off(path: Path, box: Box) -> Shapes:
    from reefscan.io.around import NAMES, column_words
    from reefscan.io.vectors import handed_over

    found: list[Shapes] = []
    for _, frame in handed_over(path, "--avoid"):
        if "geometry" not in frame:
            continue
        raw = np.asarray(frame.geometry.to_numpy(), dtype=object)
        there = np.flatnonzero([shape is not None and not shape.is_empty for shape in raw])
        parts, rows, _ = whole_parts(raw[there])
        parts, at = near(to_lonlat(parts, frame.crs, file=str(path)), box)
        names, of = column_words(frame, NAMES), there[rows[at]]
        found.append(Shapes(parts, tuple(names[i] for i in of), ("",) * len(of), (spoken(path.name),) * len(of)))  # fmt: skip
    shapes = joined(found)
    if not len(shapes):
        raise InputError(
            f"{path}: nothing in it lies near the grid; --avoid wants the ground that floats keep off there"
        )
    return shapes


def zone_of_table(said: tzinfo | None, zone: tzinfo, date: dt.date) -> tzinfo | None:
    """The zone of times that carry none: the one that was said, else the night's own where no summer time makes it doubtful.

    Many printed tables keep winter time all year, and an hour is a tenth of the range.
    """
    if said is not None:
        return said
    days = (dt.datetime.combine(date + dt.timedelta(days=k), dt.time(12), tzinfo=zone) for k in (-1, 0, 1, 2))
    return None if any(day.dst() for day in days) else zone
