"""Closures for a part of the year or of time: is one in force on a day?"""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

SIDES = (
    ("from", "to"), ("date_from", "date_to"), ("from_date", "to_date"), ("valid_from", "valid_to"), ("start", "end"),
    ("start_date", "end_date"), ("datsta", "datend"), ("persta", "perend"),
)  # fmt: skip
"""Names of columns, in lower case, that hold the first and the last day; the last two pairs are those of S-57
(IHO S-57 Appendix A: DATSTA, DATEND, PERSTA, PEREND)."""

_DAY = re.compile(r"(\d{4})-?(\d{2})-?(\d{2})(?:[T ].*)?")
_YEARLY = re.compile(r"--(\d{2})-?(\d{2})")


def day_of(value: Any) -> dt.date | tuple[int, int] | None:
    """Read a day: a date, text like ``2026-04-01`` or ``20260401``, or each year's ``--04-01``.

    Returns
    -------
    date, (month, day) or None
        None where nothing is stated.

    Raises
    ------
    ValueError
        For anything else.

    Examples
    --------
    >>> day_of("2026-04-01T00:00:00"), day_of("--0930"), day_of("")
    (datetime.date(2026, 4, 1), (9, 30), None)
    """
    if value is None or value != value:
        return None
    if isinstance(value, dt.datetime):
        return value.date()
    if isinstance(value, dt.date):
        return value
    whole = isinstance(value, float) and value.is_integer()  # 20260401 in a column with gaps
    text = str(int(value) if whole else value).strip()
    if not text:
        return None
    if found := _YEARLY.fullmatch(text):
        month, day = (int(part) for part in found.groups())
        dt.date(2000, month, day)  # a leap year: the 29th of February is a day
        return month, day
    if found := _DAY.fullmatch(text):
        return dt.date(*(int(part) for part in found.groups()))
    raise ValueError(f"{text[:40]!r} is not a day; wanted 2026-04-01, or --04-01 for each year")


def in_force(start: Any, end: Any, day: dt.date | None) -> bool:
    """Tell whether a closure from ``start`` to ``end`` (both days included) holds on a day.

    Without a day it always holds. A side that is not stated is open. Days of each year may run over New Year.

    Raises
    ------
    ValueError
        If a side is no day, or one side is a day of each year and the other is not.

    Examples
    --------
    >>> in_force("--1001", "--0331", dt.date(2026, 1, 5)), in_force("2026-04-01", None, dt.date(2026, 3, 31))
    (True, False)
    """
    a, b = day_of(start), day_of(end)
    if isinstance(a, tuple) != isinstance(b, tuple) and a is not None and b is not None:
        raise ValueError("one side is a day of each year, the other is not")
    if day is None:
        return True
    if isinstance(a, tuple) or isinstance(b, tuple):
        this = (day.month, day.day)
        low = a if isinstance(a, tuple) else (1, 1)
        high = b if isinstance(b, tuple) else (12, 31)
        return low <= this <= high if low <= high else this >= low or this <= high
    return (a is None or a <= day) and (b is None or day <= b)
