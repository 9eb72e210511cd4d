"""Lengths as people write them: ``80ft``, ``24 m``, ``13fathom``, or a bare number of metres.

A foot is exactly 0.3048 m, a fathom six feet (1.8288 m), the US survey foot 1200/3937 m
(NIST Handbook 44, Appendix C; values from memory).
"""

from __future__ import annotations

import difflib
import math
import re

from reefscan.base.errors import InputError

METRES_PER: dict[str, float] = {
    "m": 1.0,
    "metre": 1.0,
    "metres": 1.0,
    "meter": 1.0,
    "meters": 1.0,
    "dm": 0.1,
    "cm": 0.01,
    "mm": 0.001,
    "km": 1000.0,
    "ft": 0.3048,
    "foot": 0.3048,
    "feet": 0.3048,
    "us-ft": 1200.0 / 3937.0,
    "fathom": 1.8288,
    "fathoms": 1.8288,
    "fm": 1.8288,
    "nmi": 1852.0,
}

NMI = METRES_PER["nmi"]
"""Metres of a nautical mile."""

EARTH_M = 6371008.8
"""Mean radius of the earth, IUGG."""

UNITS = ("m", "ft", "fathom")
"""Units in which a person may read depths."""

_LENGTH = re.compile(r"^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([a-zA-Z][a-zA-Z-]*)?\s*$")


def parse_length(text: str | float | int) -> float:
    """Turn a length with an optional unit into metres.

    Parameters
    ----------
    text : str or number
        ``"80ft"``, ``"24 m"``, ``"13fathom"`` or a number, taken as metres.

    Returns
    -------
    float
        Metres, with the sign as written.

    Raises
    ------
    InputError
        If it is not a finite number or the unit is unknown.

    Examples
    --------
    >>> parse_length("15ft")
    4.572
    >>> parse_length("3fathom")
    5.4864
    >>> parse_length(4)
    4.0
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise InputError(f"{shown(text)} is not a length; write a number with a unit, such as 15ft or 4.5m")
    if isinstance(text, (int, float)):
        value, unit = math.inf if abs(text) > 1e300 else float(text), "m"
    else:
        match = _LENGTH.match(text)
        if match is None:
            raise InputError(
                f"{shown(text)} is not a length; write a number with a unit, such as 15ft or 4.5m"
            )
        value, unit = float(match[1]), match[2] or "m"
    if not math.isfinite(value):
        raise InputError(f"{shown(text)} is not a finite length")
    factor = METRES_PER.get(unit) or METRES_PER.get(unit.lower())
    if factor is None:
        near = difflib.get_close_matches(unit.lower(), METRES_PER, n=1)
        hint = f"; did you mean {near[0]}?" if near else f"; known: {', '.join(METRES_PER)}"
        raise InputError(f"{shown(text)}: unknown unit {unit[:40]!r}{hint}")
    return round(value * factor, 9)


def check_unit(unit: str) -> str:
    """Return a unit that depths are shown in, as it is.

    Raises
    ------
    InputError
        If it is none of ``m``, ``ft`` and ``fathom``.
    """
    if unit not in UNITS:
        raise InputError(f"--unit {shown(unit)}: is not known; say m, ft or fathom")
    return unit


def far_unit(unit: str) -> str:
    """The unit of distances over the ground, of waves and boats: who counts depths in fathoms counts these in feet."""
    return "m" if unit == "m" else "ft"


def shown(value: object) -> str:
    """A value as a message quotes it: short, and however many digits it has."""
    try:
        text = repr(value)
    except ValueError:  # the interpreter writes no number of thousands of digits
        return "a number of thousands of digits"
    except RecursionError:
        return "tables nested without end"
    return text if len(text) <= 60 else f"{text[:50]}... ({len(text):,} characters)"


def three_figures(value: float) -> str:
    """Write a number in three figures, never with an exponent: for sizes that a person reads.

    Examples
    --------
    >>> three_figures(89.99407), three_figures(1731.9), three_figures(2.0), three_figures(1.25)
    ('90', '1730', '2', '1.25')
    """
    return f"{float(f'{value:.3g}'):.15g}"


def both(metres: float) -> str:
    """A length for whoever reads it: what is noticed in a file is told before anybody says a unit.

    Examples
    --------
    >>> both(30.0), both(1.25)
    ('30 m (98.4 ft)', '1.25 m (4.1 ft)')
    """
    return f"{three_figures(metres)} m ({three_figures(metres / METRES_PER['ft'])} ft)"
