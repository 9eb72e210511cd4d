"""The files of a night: tide, gear, boat, forecast, rules, secondary station, read from where they lie."""

from __future__ import annotations

import datetime as dt
from datetime import tzinfo
from pathlib import Path
from typing import TypeVar

from reefscan.base.errors import AmbiguousError, InputError
from reefscan.base.recipe_part import Part
from reefscan.io.localfile import read_small_text
from reefscan.io.logs.tides import read_tide
from reefscan.plan.books import Secondary, read_book
from reefscan.plan.tide import NightTide, at_secondary
from reefscan.survey.tide import TideTable

Book = TypeVar("Book", bound=Part)


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
) -> NightTide:
    """Read the night's tide.

    Parameters
    ----------
    offset_m : float or None
        How high the table's zero lies over the grid's (m).
    zone : tzinfo or None
        Of times that carry none.
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
    try:
        source = read_tide(path, zone=zone, unit=unit)
    except AmbiguousError as error:
        wrong, asks_order, _ = str(error).partition("; say --dates")  # an option of other commands
        if not asks_order:
            raise
        raise AmbiguousError(f"{path.name}: {wrong}; write them as 2027-02-11") from None
    if secondary is not None:
        if not isinstance(source, TideTable):
            raise InputError(
                f"{path.name}: differences of a secondary station go with a table of high and low water"
            )
        source = at_secondary(source, load_book(secondary, Secondary), name=path.name)
    return NightTide(source, offset_m, path.name)


def zone_of_table(said: tzinfo | None, zone: tzinfo, date: dt.date) -> tzinfo | None:
    """The zone of times that carry none: the one that was said, else the night's own where no summer time makes it doubtful.

    Many printed tables keep winter time all year, and an hour is a tenth of the range.
    """
    if said is not None:
        return said
    days = (dt.datetime.combine(date + dt.timedelta(days=k), dt.time(12), tzinfo=zone) for k in (-1, 0, 1, 2))
    return None if any(day.dst() for day in days) else zone
