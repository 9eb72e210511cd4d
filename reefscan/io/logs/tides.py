"""Tide files: a table of high and low waters, a time series, or harmonic constants.

Time zones are explicit: a table whose times carry no offset is refused until a zone is said.
"""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, tzinfo
from itertools import pairwise
from pathlib import Path

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from reefscan.base.errors import AmbiguousError, InputError, UnreadableError
from reefscan.base.question import Question
from reefscan.io.logs.columns import normal, unit_of
from reefscan.io.logs.times import to_seconds
from reefscan.io.opening import as_text, read_all
from reefscan.io.words import which_unit
from reefscan.survey.harmonics import HarmonicTide, node_and_argument
from reefscan.survey.tide import TideTable, make_table

Floats = NDArray[np.float64]

_TIME = {"time", "datetime", "date time", "timestamp", "utc", "date", "time utc", "date time utc"}
_CLOCK = {"time", "hour", "clock"}
_HEIGHT = ("height", "water level", "sea level", "sealevel", "level", "verified", "prediction", "predicted", "tide",
           "v", "pred", "water_level", "value", "ht", "h")  # fmt: skip
_NAME = {"name", "constituent", "constit"}
_AMPLITUDE = {"amplitude", "amp", "a"}
_PHASE = {"phase", "phase gmt", "greenwich phase", "g", "phase lag"}
_LABEL = {"state", "type", "high low", "hl", "h l", "tide type", "extreme"}
_OFFSET = re.compile(r"(?:Z|[+-]\d{2}:?\d{2}|UTC|GMT)\s*$")


def read_tide(
    path: Path, *, zone: tzinfo | None = None, unit: float | None = None, kind: str = "auto",
    gap_h: float = 2.5, leg_h: float = 14.0, dates: str | None = None,
) -> TideTable | HarmonicTide:  # fmt: skip
    """Read a tide file.

    Parameters
    ----------
    path : Path
        Delimited text with a header. Columns ``time`` (or ``date`` and ``time``) and a height make
        a table; ``constituent``, ``amplitude``, ``phase`` (on Greenwich, degrees) make harmonic
        constants, with the mean level in a row named ``Z0``.
    zone : tzinfo, optional
        Zone of times that carry none.
    unit : float, optional
        Metres per unit of the heights, where the header does not say.
    kind : {"auto", "high-low", "series"}
    gap_h, leg_h : float
        Longest steps bridged, hours.
    dates : {"day-first", "month-first"}, optional
        How 03/04/2024 is meant, where the dates do not tell it.

    Raises
    ------
    UnreadableError
        No such columns.
    AmbiguousError
        Zone or unit not stated.
    """
    raw, rows, odd = _table(path)
    names = [normal(c) for c in raw]
    name_at = _find(names, _NAME)
    amplitude_at = next(
        (k for k, n in enumerate(names) if n in _AMPLITUDE or n.startswith("amplitude")), None
    )
    if name_at is not None and amplitude_at is not None:
        return _harmonic(path, raw, names, rows, name_at, amplitude_at, unit)
    height_at = next(
        (k for w in _HEIGHT for k, n in enumerate(names) if n == w or n.startswith(w + " ")), None
    )
    if height_at is None or (_find(names, _CLOCK) is None and _find(names, _TIME) is None):
        raise UnreadableError(
            f"{path.name}: columns {raw} hold no tide; wanted time and height, or constituent, amplitude and phase"
        )
    try:
        stamps, in_utc = _stamps(raw, names, rows)
    except InputError as error:
        raise InputError(f"{path.name}: {error}") from None
    if not in_utc and zone is None:
        text = f"In which time zone are its times, such as {stamps[0]}? A name (Europe/Oslo) follows summer time, +02:00 does not."
        raise AmbiguousError(
            f"{path.name}: times such as {stamps[0]!r} carry no time zone; say --tide-zone UTC (or +02:00)",
            asks=Question("--tide-zone", text, (("UTC", "universal time"),), free=True),
        )
    values = np.array([_number(r[height_at]) for r in rows])
    heights = values * _factor(path, raw[height_at], unit, values)
    try:
        seconds = to_seconds(pa.array(stamps, pa.string()), zone=UTC if in_utc else zone or UTC, dates=dates)
    except AmbiguousError as error:
        raise AmbiguousError(f"{path.name}: {error}", asks=error.asks) from None
    try:
        table = make_table(seconds, heights, kind=kind, gap_h=gap_h, leg_h=leg_h)
        if table.turning:
            _refuse_torn(odd, rows, seconds, heights)
            _refuse_labels(names, rows, seconds, heights)
    except InputError as error:
        raise InputError(f"{path.name}: {error}") from None
    return replace(table, zoned=in_utc)


def _refuse_torn(odd: list[str], rows: list[list[str]], seconds: Floats, heights: Floats) -> None:
    """A row that is passed over among highs and lows is a tide that does not come: what follows is wrong for half a day."""
    half = np.isfinite(seconds) != np.isfinite(heights)
    torn = [*odd, *(",".join(row) for row, bad in zip(rows, half, strict=True) if bad)]
    if torn:
        raise InputError(
            f"row {torn[0]!r} cannot be read as a time and a height under this header, and among high and low waters none may be "
            "left out; correct it (a decimal comma wants semicolons between the columns)"
        )


def _refuse_labels(names: list[str], rows: list[list[str]], seconds: Floats, heights: Floats) -> None:
    """Where the rows say high or low themselves, heights must agree: two lows in a row miss the high between them."""
    at = _find(names, _LABEL)
    labels = [row[at][:1].lower() if at is not None else "" for row in rows]
    good = np.flatnonzero(np.isfinite(seconds) & np.isfinite(heights))
    if at is None or not all(labels[k] in ("h", "l") for k in good):
        return
    order = good[np.argsort(seconds[good], kind="stable")]
    for a, b in pairwise(order.tolist()):
        first, second = ",".join(rows[a]), ",".join(rows[b])
        if labels[a] == labels[b] and seconds[a] != seconds[b]:
            raise InputError(
                f"row {first!r} and row {second!r} follow each other: the turn between them is missing"
            )
        if labels[a] != labels[b] and (heights[a] > heights[b]) != (labels[a] == "h"):
            raise InputError(
                f"row {first!r} and row {second!r}: the low water is the higher one; which column is which?"
            )


def _table(path: Path) -> tuple[list[str], list[list[str]], list[str]]:
    """Header and rows of a delimited text, and rows with figures in them that have more or fewer fields than the header."""
    text = as_text(read_all(path)).replace("\r\n", "\n").replace("\x00", "")
    lines = [ln for ln in text.split("\n") if ln.strip() and not ln.lstrip().startswith(("#", "//"))]
    delimiter = max((";", "\t", ","), key=lines[0].count) if lines else ","
    raw, *rows = [[c.strip().strip('"') for c in ln.split(delimiter)] for ln in lines] or [[]]
    odd = [
        delimiter.join(r)
        for r in rows
        if (len(r) < len(raw) or any(r[len(raw) :])) and any(c.isdigit() for c in "".join(r))
    ]
    rows = [r for r in rows if len(r) >= len(raw)]
    if not rows:
        raise UnreadableError(f"{path.name}: no table; wanted a header and rows of time and height")
    return raw, rows, odd


def _stamps(raw: list[str], names: list[str], rows: list[list[str]]) -> tuple[list[str], bool]:
    """The time of each row as text, and whether the file itself states the zone."""
    date_at, time_at = _find(names, {"date", "day"}), _find(names, _CLOCK)
    if date_at is not None and time_at is not None:
        stamps = [f"{r[date_at]} {r[time_at]}" for r in rows]
    else:
        at = _find(names, _TIME)
        assert at is not None
        stamps = [r[at] for r in rows]
    carry = [_OFFSET.search(stamp) is not None for stamp in stamps]
    in_head = any("utc" in c.lower() or "gmt" in c.lower() for c in raw)
    if any(carry) and not all(carry) and not in_head:
        raise InputError(
            f"time {stamps[carry.index(False)]!r} carries no zone and {stamps[carry.index(True)]!r} does: which zone is the first in? "
            "Write one with every time"
        )
    stated = carry[0] or in_head
    return [re.sub(r"\s*(UTC|GMT)\s*$", "Z", s) for s in stamps], stated


def _find(names: list[str], words: set[str]) -> int | None:
    return next((k for k, n in enumerate(names) if n in words), None)


def _number(text: str) -> float:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return float("nan")


def _factor(path: Path, name: str, unit: float | None, values: Floats) -> float:
    said = unit_of(name)
    if said is None and unit is None:
        raise AmbiguousError(
            f"{path.name}: column {name!r} states no unit; say --tide-unit m (or ft)",
            asks=which_unit(values, "--tide-unit", "heights", ("m", "ft")),
        )
    if said is not None and unit is not None and abs(said - unit) > 1e-9:
        raise InputError(
            f"{path.name}: column {name!r} states its unit and --tide-unit says another; leave --tide-unit out, or correct the column's name"
        )
    return said if said is not None else float(unit or 1.0)


def _harmonic(
    path: Path,
    raw: list[str],
    names: list[str],
    rows: list[list[str]],
    name_at: int,
    amplitude_at: int,
    unit: float | None,
) -> HarmonicTide:
    phase_at = next((k for k, n in enumerate(names) if n in _PHASE or n.startswith("phase")), None)
    if phase_at is None:
        raise UnreadableError(
            f"{path.name}: amplitudes without a phase column; wanted the phase on Greenwich in degrees"
        )
    if "local" in raw[phase_at].lower():
        raise AmbiguousError(f"{path.name}: phases are on local time; give them on Greenwich (phase_GMT)")
    factor = _factor(path, raw[amplitude_at], unit, np.array([_number(row[amplitude_at]) for row in rows]))
    amplitude, phase, mean = {}, {}, 0.0
    for row in rows:
        value, lag = _number(row[amplitude_at]) * factor, _number(row[phase_at])
        if row[name_at].upper() in ("Z0", "MEAN"):
            mean = value
            continue
        if not (np.isfinite(value) and np.isfinite(lag)):
            raise UnreadableError(f"{path.name}: {row[name_at]}: amplitude or phase is not a number in {row}")
        if value == 0:
            continue
        node_and_argument(row[name_at], np.zeros(1))  # refuses a name it does not know
        amplitude[row[name_at]], phase[row[name_at]] = value, lag
    if not amplitude:
        raise UnreadableError(f"{path.name}: not one constituent with an amplitude")
    return HarmonicTide(amplitude, phase, mean)
