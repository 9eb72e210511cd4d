"""Speeds, spans of time and clock times as people write them: ``12kn``, ``1h30``, ``02:00``; lengths as sentences say them.

A knot is 1852 m an hour exactly (BIPM, SI brochure, 8th edition, table 8; value from memory).
"""

from __future__ import annotations

import math
import re
from typing import Annotated

from pydantic import BeforeValidator

from reefscan.base.errors import InputError
from reefscan.base.units import METRES_PER, NMI, shown, three_figures

KNOT = NMI / 3600.0
"""Metres a second."""

_KNOTS_PER = {"kn": 1.0, "kt": 1.0, "kts": 1.0, "knot": 1.0, "knots": 1.0, "m/s": 1.0 / KNOT, "km/h": 1000.0 / NMI,
              "mph": 1609.344 / NMI}  # fmt: skip
_NUMBER = re.compile(r"^\s*(\d+\.?\d*|\.\d+)\s*([a-zA-Z/]*)\s*$")
_SPAN = re.compile(r"^\s*(?:(\d+)\s*h)?\s*(?:(\d+)\s*(?:min|m)?)?\s*$")
_CLOCK = re.compile(r"^([01]?\d|2[0-3]):([0-5]\d)$")


def parse_speed(text: object) -> float:
    """Turn a speed into knots; a bare number is knots.

    Raises
    ------
    InputError
        If it is no number of 0 or more with a known unit.

    Examples
    --------
    >>> parse_speed("12kn"), round(parse_speed("10 m/s"), 2), parse_speed(3)
    (12.0, 19.44, 3.0)
    """
    value, unit = _split(text, "a speed; write 12kn or 6m/s")
    factor = _KNOTS_PER.get(unit.lower() or "kn")
    if factor is None:
        raise InputError(f"{shown(text)}: unknown unit {unit!r}; write kn, m/s, km/h or mph")
    return round(value * factor, 6)


def parse_minutes(text: object) -> float:
    """Turn a span of time into minutes; a bare number is minutes.

    Raises
    ------
    InputError
        If it is no span.

    Examples
    --------
    >>> parse_minutes("1h30"), parse_minutes("45min"), parse_minutes(2.5)
    (90.0, 45.0, 2.5)
    """
    if isinstance(text, str) and (found := _SPAN.match(text)) and any(found.groups()):
        return 60.0 * int(found[1] or 0) + int(found[2] or 0)
    value, unit = _split(text, "a span of time; write 45min or 1h30")
    if unit.lower() not in ("", "min", "m", "h"):
        raise InputError(f"{shown(text)}: unknown unit {unit!r}; write 45min or 1h30")
    return value * (60.0 if unit.lower() == "h" else 1.0)


def parse_clock(text: object) -> str:
    """Check a time of the clock, ``18:30``.

    Raises
    ------
    InputError
        If it is none.
    """
    found = _CLOCK.match(text.strip()) if isinstance(text, str) else None
    if found is None:
        raise InputError(f"{shown(text)} is no time of the clock; write hours and minutes, such as 02:00")
    return f"{int(found[1]):02d}:{found[2]}"


def said(metres: float, unit: str, places: int = 1) -> str:
    """A length that was worked out, in the unit of the person.

    Examples
    --------
    >>> said(9.0, "m"), said(9.0, "ft"), said(-0.01, "m")
    ('9.0 m', '29.5 ft', '0.0 m')
    """
    return f"{round(metres / METRES_PER[unit], places) + 0.0:.{places}f} {unit}"


def stated(metres: float, unit: str) -> str:
    """A length that somebody stated: as they wrote it where they spoke in that unit, else in three figures.

    Examples
    --------
    >>> stated(24.0, "m"), stated(24.384, "ft"), stated(24.0, "ft"), stated(-0.9, "m")
    ('24 m', '80 ft', '78.7 ft', '-0.9 m')
    """
    value = metres / METRES_PER[unit]
    spoken = abs(value * 20 - round(value * 20)) < 1e-6
    return f"{f'{round(value, 2) + 0.0:.10g}' if spoken else three_figures(value)} {unit}"


def _split(text: object, what: str) -> tuple[float, str]:
    """A number of 0 or more and its unit."""
    if isinstance(text, (int, float)) and not isinstance(text, bool):
        value, unit = float(text), ""
    else:
        found = _NUMBER.match(text) if isinstance(text, str) else None
        if found is None:
            raise InputError(f"{shown(text)} is not {what}")
        value, unit = float(found[1]), found[2]
    if not (math.isfinite(value) and value >= 0):
        raise InputError(f"{shown(text)} is not {what}")
    return value, unit


Knots = Annotated[float, BeforeValidator(parse_speed)]
Minutes = Annotated[float, BeforeValidator(parse_minutes)]
Clock = Annotated[str, BeforeValidator(parse_clock)]
