"""NMEA 0183 logs: positions from GGA, RMC and GLL, dates from RMC and ZDA, depths from DBT, DPT, DBS, DBK.

Sentence layouts follow the public NMEA notes of the gpsd project. A sentence whose checksum is
wrong is dropped and counted. One without a checksum counts only if no sentence of its type in the
file has one: there the logger strips them; elsewhere the line was cut off.

A depth sentence has no clock. Where the logger wrote its own time before each sentence, that time
is used for everything; otherwise a depth takes its time from its place between the fixes around it.
"""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import UnreadableError
from reefscan.io.logs.times import parse_date
from reefscan.io.opening import chunks
from reefscan.survey.pairing import interpolate_fixes
from reefscan.survey.table import Log

Floats = NDArray[np.float64]
DAY = 86400.0
_WANTED = {b"GGA", b"RMC", b"GLL", b"ZDA", b"DBT", b"DPT", b"DBS", b"DBK"}
_POSITION = ("GGA", "RMC", "GLL")
_DEPTH_ORDER = ("DBS", "DPT", "DBT", "DBK")
_REFERENCE = {"DBS": "surface", "DPT": "transducer", "DBT": "transducer", "DBK": "keel"}
_STAMP = re.compile(rb"(\d{4}-\d\d-\d\d)[T ,;](\d\d):(\d\d):(\d\d(?:\.\d+)?)")


class _Sentence(NamedTuple):
    """Number of the line, the logger's own time, the values, and whether a checksum proved them."""

    line: int
    stamp: float
    values: tuple[float, ...]
    checked: bool


_Rows = dict[str, list[_Sentence]]
"""Sentences by type."""


def checksum_states(block: bytes) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int8]]:
    """Check every sentence of a chunk at once.

    Returns
    -------
    start, end : ndarray of int
        Places of ``$`` and of the ``*`` or line end behind it, one pair a line.
    state : ndarray of int8
        1 the checksum is right, 0 there is none, -1 it is wrong.
    """
    raw = np.frombuffer(block, np.uint8)
    newline = np.flatnonzero(raw == 10)
    dollars = np.flatnonzero((raw == 36) | (raw == 33))
    if dollars.size == 0 or newline.size == 0:
        return np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0, np.int8)
    line = np.searchsorted(newline, dollars)
    last = np.r_[line[1:] != line[:-1], True]  # two '$' on a line: the first sentence was cut off
    start, line = dollars[last], line[last]
    inside = line < newline.size
    start, end_line = start[inside], newline[line[inside]]
    stars = np.r_[np.flatnonzero(raw == 42), raw.size]
    star = stars[np.searchsorted(stars, start)]
    starred = star < end_line
    end = np.where(starred, star, end_line)
    pairs = np.empty(2 * start.size, np.int64)
    pairs[0::2], pairs[1::2] = start + 1, np.maximum(end, start + 1)
    padded = np.r_[raw, np.uint8(0)]
    xor = np.bitwise_xor.reduceat(padded, pairs)[0::2]
    xor = np.where(pairs[1::2] > pairs[0::2], xor, 0)
    hexes = np.full(256, 255, np.uint8)
    for digits in (b"0123456789abcdef", b"0123456789ABCDEF"):
        hexes[np.frombuffer(digits, np.uint8)] = np.arange(16)
    wide = np.r_[raw, np.zeros(4, np.uint8)]
    high, low = hexes[wide[end + 1]].astype(int), hexes[wide[end + 2]].astype(int)
    right = (high < 16) & (low < 16) & (high * 16 + low == xor) & (end + 2 < end_line)
    state = np.where(starred, np.where(right, 1, -1), 0).astype(np.int8)
    return start, end, state


def read_nmea(path: Path, *, date: str | None = None, gap_s: float = 15.0) -> Log:
    """Read a log of NMEA 0183 sentences.

    Parameters
    ----------
    path : Path
    date : str, optional
        Day of the first sentence (``YYYY-MM-DD``), for logs that have times and no date.
    gap_s : float
        Longest gap between fixes over which a position is interpolated.

    Returns
    -------
    Log
        With both positions and depths: one row a depth, its position interpolated. With only one
        of the two: that one, to be paired with another file by time.

    Raises
    ------
    UnreadableError
        Not one usable position or depth.
    """
    rows: _Rows = {name.decode(): [] for name in _WANTED}
    counts: Counter[str] = Counter()
    number = 0
    for block in chunks(path):
        number = _read_chunk(block, rows, counts, number)
    counts["lines"] = number
    for name, got in rows.items():
        proved = [sentence for sentence in got if sentence.checked]
        if proved:
            counts["cut off"] += len(got) - len(proved)
            rows[name] = proved
    return _assemble(path.name, rows, counts, date, gap_s)


def _read_chunk(block: bytes, rows: _Rows, counts: Counter[str], first: int) -> int:
    start, end, state = checksum_states(block)
    raw = np.frombuffer(block, np.uint8)
    newline = np.flatnonzero(raw == 10)
    line_of = np.searchsorted(newline, start)
    line_start = np.r_[0, newline + 1][line_of]
    wrong = 0
    for s, e, ok, line, begin in zip(
        start.tolist(), end.tolist(), state.tolist(), line_of.tolist(), line_start.tolist(), strict=True
    ):
        kind = block[s + 3 : s + 6]
        if kind not in _WANTED:
            continue
        if ok < 0:
            wrong += 1
            continue
        name = kind.decode()
        try:
            values = _PARSERS[name](block[s + 7 : e].split(b","))
        except (ValueError, IndexError):
            counts["bad lines"] += 1
            continue
        if values is None:
            counts["invalid or empty"] += 1
            continue
        stamp = _stamp(block[begin:s]) if s > begin else np.nan
        rows[name].append(_Sentence(first + line, stamp, values, ok == 1))
    counts["wrong checksum"] += wrong
    return first + int(newline.size)


def _stamp(text: bytes) -> float:
    """Time a logger wrote before a sentence: ISO form, or seconds since 1970; NaN if neither."""
    match = _STAMP.search(text)
    if match:
        try:
            day = parse_date(match[1].decode())
        except ValueError:
            return float("nan")
        return day + int(match[2]) * 3600 + int(match[3]) * 60 + float(match[4])
    word = text.strip(b" \t,;:[]()")
    try:
        value = float(word)
    except ValueError:
        return float("nan")
    value = value / 1000.0 if value > 1e11 else value
    return value if 0 < value < 1e10 else float("nan")


def _clock(text: bytes) -> float:
    value = int(text[:2]) * 3600 + int(text[2:4]) * 60 + float(text[4:])
    if len(text) < 6 or value >= DAY + 1 or int(text[2:4]) > 59:
        raise ValueError("no time of day")
    return value


def _clock_or_nan(text: bytes) -> float:
    return _clock(text) if text.strip() else float("nan")


def _angle(text: bytes, hemisphere: bytes, digits: int) -> float:
    degrees, minutes = int(text[:digits]), float(text[digits:])
    if minutes >= 60 or hemisphere not in (b"N", b"S", b"E", b"W"):
        raise ValueError("no angle")
    value = degrees + minutes / 60.0
    return -value if hemisphere in (b"S", b"W") else value


def _gga(f: list[bytes]) -> tuple[float, ...] | None:
    if not f[1] or f[5] in (b"", b"0"):
        return None
    return _clock_or_nan(f[0]), _angle(f[3], f[4], 3), _angle(f[1], f[2], 2), np.nan


def _rmc(f: list[bytes]) -> tuple[float, ...] | None:
    if f[1] != b"A" or not f[2]:
        return None
    day = np.nan
    if len(f) > 8 and len(f[8]) == 6:
        year = int(f[8][4:6])
        day = parse_date(f"{(1900 if year >= 80 else 2000) + year}-{f[8][2:4].decode()}-{f[8][:2].decode()}")
    return _clock_or_nan(f[0]), _angle(f[4], f[5], 3), _angle(f[2], f[3], 2), day


def _gll(f: list[bytes]) -> tuple[float, ...] | None:
    if not f[0] or (len(f) > 5 and f[5] == b"V"):
        return None
    return _clock_or_nan(f[4]) if len(f) > 4 else np.nan, _angle(f[2], f[3], 3), _angle(f[0], f[1], 2), np.nan


def _zda(f: list[bytes]) -> tuple[float, ...] | None:
    if not (f[1] and f[2] and f[3]):
        return None
    return _clock(f[0]), parse_date(f"{int(f[3]):04d}-{int(f[2]):02d}-{int(f[1]):02d}")


def _dbx(f: list[bytes]) -> tuple[float, ...] | None:
    for value, unit, metres in ((f[2], f[3], 1.0), (f[0], f[1], 0.3048), (f[4], f[5], 1.8288)):
        if value.strip() and unit.strip().upper() in (b"M", b"F"):
            return float(value) * metres, np.nan
    return None


def _dpt(f: list[bytes]) -> tuple[float, ...] | None:
    if not f[0].strip():
        return None
    return float(f[0]), float(f[1]) if len(f) > 1 and f[1].strip() else 0.0


_PARSERS = {
    "GGA": _gga,
    "RMC": _rmc,
    "GLL": _gll,
    "ZDA": _zda,
    "DBT": _dbx,
    "DBS": _dbx,
    "DBK": _dbx,
    "DPT": _dpt,
}


def _assemble(name: str, rows: _Rows, counts: Counter[str], date: str | None, gap_s: float) -> Log:
    notes: list[str] = []
    source = next((k for k in _POSITION if rows[k]), None)
    if source is not None:
        source = max(_POSITION, key=lambda k: len(rows[k]))
    depth_type = next((k for k in _DEPTH_ORDER if len(rows[k]) >= 0.5 * _most(rows) > 0), None)
    if (
        depth_type == "DPT"
        and not any(s.values[1] for s in rows["DPT"])
        and len(rows["DBT"]) > len(rows["DPT"])
    ):
        depth_type = "DBT"
    if source is None and depth_type is None:
        raise UnreadableError(
            f"{name}: {counts['lines']} lines and not one usable position or depth "
            f"({counts['wrong checksum']} wrong checksums); wanted GGA, RMC or GLL and DBT, DPT, DBS or DBK"
        )
    empty = np.zeros(0)
    fix_line, fix_time, lon, lat, stamped, dated = _fixes(rows, source, date, notes)
    depth, depth_time, offset = empty, empty, empty
    if depth_type is not None:
        got = rows[depth_type]
        depth, offset = np.array([s.values for s in got]).T
        line, own = np.array([(s.line, s.stamp) for s in got]).T
        use_own = bool(np.isfinite(own).mean() > 0.9) and (stamped or source is None)
        depth_time = own if use_own else np.full(line.size, np.nan)
        if source is not None and not use_own:
            timed = np.isfinite(fix_time)
            if timed.any():
                depth_time = np.interp(line, fix_line[timed], fix_time[timed], left=np.nan, right=np.nan)
            else:
                notes.append("no clock in the log: positions taken by order of lines")
        others = [k for k in _DEPTH_ORDER if rows[k] and k != depth_type]
        if others:
            notes.append(f"depths from {depth_type}; {', '.join(others)} in the same log not used")
    counts["depths"], counts["fixes"] = int(depth.size), int(lon.size)
    reference = _REFERENCE.get(depth_type or "DBT", "transducer")
    if source is not None and depth_type is not None:
        if np.isfinite(fix_time).any():
            lon, lat = interpolate_fixes(depth_time, fix_time, lon, lat, gap_s=gap_s)
        else:
            lon, lat = interpolate_fixes(
                np.array([s.line for s in rows[depth_type]], float), fix_line, lon, lat, gap_s=np.inf
            )
        times = depth_time
    else:
        times = fix_time if source is not None else depth_time
    to_surface = np.where(offset > 0, offset, np.nan) if depth_type == "DPT" else np.full(depth.size, np.nan)
    if depth_type == "DPT" and np.any(offset < 0):
        notes.append("DPT offsets are to the keel (negative): depths kept below the transducer")
    return Log(name, lon, lat, depth, times, to_surface, reference, dated, dict(counts), tuple(notes))


def _most(rows: _Rows) -> int:
    return max(len(rows[k]) for k in _DEPTH_ORDER)


def _fixes(
    rows: _Rows, source: str | None, date: str | None, notes: list[str]
) -> tuple[Floats, Floats, Floats, Floats, bool, bool]:
    """Line, time and position of every fix; whether the logger's clock is used; whether dated."""
    empty = np.zeros(0)
    if source is None:
        got = next(rows[k] for k in _DEPTH_ORDER if rows[k])
        return empty, empty, empty, empty, False, bool(np.isfinite([s.stamp for s in got]).mean() > 0.9)
    got = rows[source]
    line, stamp = np.array([(s.line, s.stamp) for s in got]).T
    clock, lon, lat, _ = np.array([s.values for s in got], float).T
    if np.isfinite(stamp).mean() > 0.9:
        return line, stamp, lon, lat, True, True
    day_line = [(s.line, s.values[3] + s.values[0]) for s in rows["RMC"]]
    day_line += [(s.line, s.values[1] + s.values[0]) for s in rows["ZDA"]]
    day_line = sorted(p for p in day_line if p[1] == p[1])
    if np.isnan(clock).all():
        if not day_line:
            return line, np.full(line.size, np.nan), lon, lat, False, False
        at, when = np.array(day_line).T
        return line, np.interp(line, at, when, left=np.nan, right=np.nan), lon, lat, False, True
    # Time runs on past midnight: a step back of more than half a day is the next day.
    known = np.isfinite(clock)
    running = clock.copy()
    steps = np.diff(clock[known])
    running[known] += DAY * np.r_[0, np.cumsum(np.round(-steps / DAY))]
    if day_line:
        at, when = np.array(day_line).T
        nearest = np.abs(line[known][:, None] - at[:1]).argmin() if known.any() else 0
        base = np.round((when[0] - running[known][nearest]) / DAY) * DAY
        near = np.interp(line, at, when)
        whole = np.round((near - (running + base)) / DAY) * DAY  # a pause over days, seen by dates alone
        return line, running + base + whole, lon, lat, False, True
    if date is not None:
        return line, running + parse_date(date), lon, lat, False, True
    notes.append("times of day without a date: say --date YYYY-MM-DD, the day of the first fix")
    return line, running, lon, lat, False, False
