"""Times in logs and tables, as seconds since 1970 UTC; a time without a zone is UTC, or in the zone that is given."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone, tzinfo
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from reefscan.base.errors import AmbiguousError, InputError
from reefscan.io.logs.asked import which_order
from reefscan.io.logs.columns import to_numbers

Floats = NDArray[np.float64]


def parse_zone(text: str) -> tzinfo:
    """Read ``UTC``, ``+02:00``, ``-7`` or a zone name such as ``America/Halifax``.

    Raises
    ------
    InputError
        If it is none of these.
    """
    word = text.strip()
    if word.upper() in ("UTC", "Z", "GMT"):
        return UTC
    sign = {"+": 1, "-": -1}.get(word[:1])
    if sign:
        hours, _, minutes = word[1:].partition(":")
        if hours.isdigit() and (minutes.isdigit() or not minutes) and int(hours) <= 14:
            return timezone(sign * timedelta(hours=int(hours), minutes=int(minutes or 0)))
    try:
        return ZoneInfo(word)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputError(
            f"time zone {text!r} is not known; write UTC, +02:00 or a name such as Europe/Oslo"
        ) from error


DATE_ORDERS = ("day-first", "month-first")
"""How dates with slashes are read, where they do not tell it themselves."""


def to_seconds(column: pa.Array, *, zone: tzinfo = UTC, dates: str | None = None) -> Floats:
    """Text to seconds since 1970 UTC; NaN where it is no time.

    Numbers are seconds (or milliseconds from 10^11) since 1970. Day-first forms with dots
    (31.12.2024) are understood; slashes where they cannot be read two ways, or in the order of ``dates``.

    Parameters
    ----------
    column : Array of str
    zone : tzinfo
        Of times that carry none.
    dates : {"day-first", "month-first"}, optional
        How 03/04/2024 is meant; without it the dates must tell it: one of them is past the 12th.

    Raises
    ------
    AmbiguousError
        If dates with slashes could be day-first as well as month-first.
    """
    numbers = to_numbers(column)
    if np.isfinite(numbers).mean() > 0.5 if numbers.size else False:
        return np.where(np.abs(numbers) > 1e11, numbers / 1000.0, numbers)
    fast = _iso(column, zone)
    if fast is not None:
        return fast
    series = column.to_pandas().astype("string").str.strip()
    slashed = series.str.contains(r"^\d{1,2}/\d{1,2}/\d{4}", regex=True)
    if slashed.mean() > 0.5:
        parts = series.str.extract(r"^(\d{1,2})/(\d{1,2})/\d{4}").astype(float)
        first, second = bool((parts[0] > 12).any()), bool((parts[1] > 12).any())
        if first == second and dates is None:
            raise AmbiguousError(
                f"dates such as {series[slashed.fillna(False)].iloc[0]} can be read day first or month first; say --dates day-first or --dates month-first",
                asks=which_order(series),
            )
        day_first = dates == "day-first" if dates is not None else first
        return _parsed(series, zone, dayfirst=day_first, format="mixed")
    if series.str.contains(r"^\d{1,2}\.\d{1,2}\.\d{4}", regex=True).mean() > 0.5:
        return _parsed(series, zone, dayfirst=True, format="mixed")
    seconds = _parsed(series, zone, format="ISO8601")
    if (np.isnan(seconds) & series.notna().to_numpy()).mean() > 0.5:
        return _parsed(series, zone, format="mixed")
    return seconds


_DATE = r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}|[A-Za-z]{3}|\d{8}"
_ZONE = r"(?:Z|[+-]\d{2}:?\d{2})$"


def _parsed(series: pd.Series, zone: tzinfo, **how: Any) -> Floats:
    """Seconds of times that carry a zone, and of those that do not and are in ``zone``; a clock without a day is none."""
    dated = series.where(series.str.contains(_DATE, regex=True).fillna(False))
    zoned = dated.str.contains(_ZONE, regex=True).fillna(False).astype(bool)
    stated = _seconds(pd.to_datetime(dated.where(zoned), errors="coerce", utc=True, **how), UTC)
    bare = _seconds(pd.to_datetime(dated.where(~zoned), errors="coerce", **how), zone)
    return np.where(zoned.to_numpy(), stated, bare)


def _seconds(parsed: pd.Series, zone: tzinfo) -> Floats:
    if getattr(parsed.dt, "tz", None) is None:
        if zone is UTC:
            parsed = parsed.dt.tz_localize("UTC")
        else:  # an hour that occurs twice or never has no time
            parsed = parsed.dt.tz_localize(zone, ambiguous="NaT", nonexistent="NaT")
    stamps = parsed.dt.tz_convert("UTC").dt.tz_localize(None).to_numpy("datetime64[us]")
    seconds = stamps.astype(np.int64) / 1e6
    seconds[np.isnat(stamps)] = np.nan
    return np.asarray(seconds, np.float64)


def _iso(column: pa.Array, zone: tzinfo) -> Floats | None:
    """ISO 8601, all rows read at once; None if any row is written in another way."""
    text = pc.utf8_trim_whitespace(column)
    for kind in (pa.timestamp("us"), pa.timestamp("us", tz="UTC")):
        if kind.tz is None and zone is not UTC:
            continue
        try:
            stamps = pc.cast(text, kind)
        except pa.ArrowInvalid:
            continue
        numbers = np.array(stamps.cast(pa.int64()).to_numpy(zero_copy_only=False), np.float64)
        return np.asarray(numbers / 1e6)
    return None


@lru_cache(maxsize=256)  # a log says its day in every sentence
def parse_date(text: str) -> float:
    """Midnight UTC of ``YYYY-MM-DD`` in seconds since 1970.

    Raises
    ------
    InputError
        If there is no such day.
    """
    try:
        return datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC).timestamp()
    except ValueError as error:
        raise InputError(f"--date {text!r} is not a day; write YYYY-MM-DD") from error
