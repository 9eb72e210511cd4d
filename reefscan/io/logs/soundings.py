"""Logs of soundings, whatever their form, as one table on the survey's sheet."""

from __future__ import annotations

import logging
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import AmbiguousError, InputError, MissingInputError, UnreadableError
from reefscan.base.question import Question
from reefscan.io import localfile
from reefscan.io.georef import crs_facts, transformer
from reefscan.io.logs import text
from reefscan.io.logs.columns import check_place
from reefscan.io.logs.nmea import read_nmea
from reefscan.io.logs.text import TextOptions, read_text
from reefscan.io.logs.vector import read_geojson, read_gpx, read_vector
from reefscan.io.opening import inner_suffix, read_head
from reefscan.survey.pairing import interpolate_fixes
from reefscan.survey.table import CODE, Log, Soundings

Floats = NDArray[np.float64]
_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class ReadOptions:
    """Everything the person can say about the logs."""

    text: TextOptions = TextOptions()
    date: str | None = None
    gpx_element: str | None = None
    reference: str | None = None
    gap_s: float = 15.0


@dataclass(frozen=True)
class LogForm:
    """One form of log: a file is of the first form that knows the end of its name, or its first bytes.

    Attributes
    ----------
    suffixes : frozenset of str
        Ends of names, in lower case.
    looks : callable
        Whether the first 16 kB of a file are of this form.
    read : callable
        From a path and the options to a `Log`.
    """

    suffixes: frozenset[str]
    looks: Callable[[bytes], bool]
    read: Callable[[Path, ReadOptions], Log]


def _looks_nmea(head: bytes) -> bool:
    lines = [ln for ln in head.split(b"\n")[:-1] if ln.strip()] or [head]
    return sum(b"$" in ln and ln.count(b",") >= 2 for ln in lines) > 0.3 * len(lines)


def _read_table(path: Path, options: ReadOptions) -> Log:
    log = read_text(path, options.text)
    return log if options.text.crs is None else _placed(log, options.text.crs)


FORMS = (
    LogForm(
        frozenset(".shp .gpkg .kml .fgb .gml .000 .tab .geojsonl .parquet".split()),
        lambda head: False,
        lambda path, options: read_vector(path, options.text),
    ),
    LogForm(
        frozenset({".gpx"}),
        lambda head: b"<gpx" in head[:2000],
        lambda path, options: read_gpx(path, options.text, element=options.gpx_element),
    ),
    LogForm(
        frozenset({".geojson", ".json"}),
        lambda head: head.lstrip()[:1] == b"{",
        lambda path, options: read_geojson(path, options.text),
    ),
    LogForm(
        frozenset({".nmea", ".nme"}),
        _looks_nmea,
        lambda path, options: read_nmea(path, date=options.date, gap_s=options.gap_s),
    ),
    LogForm(frozenset(".csv .log .txt .xyz .tsv .dat .asc".split()), lambda head: True, _read_table),
)
"""Every form that soundings are read from: a new one is its reader and one row. The last takes what no other knows."""


def list_logs(paths: Sequence[Path]) -> list[Path]:
    """Files named, and those of known forms inside folders named, in a fixed order.

    Raises
    ------
    MissingInputError
        A path that is not there, or a folder without a log.
    InputError
        A folder that holds more than `localfile.MOST_ENTRIES`.
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            held = list(islice(path.rglob("*"), localfile.MOST_ENTRIES + 1))
            if len(held) > localfile.MOST_ENTRIES:
                raise localfile.too_many(path)
            known = {suffix for form in FORMS for suffix in form.suffixes}
            inside = sorted(
                p for p in held if not p.is_dir() and not p.name.startswith(".") and inner_suffix(p) in known
            )
            if not inside:
                raise MissingInputError(
                    f"{path}: no log in this folder; wanted .csv, .txt, .nmea, .gpx, .geojson and the like"
                )
            found += inside
        else:
            localfile.require_file(path)
            found.append(path)
    return list(dict.fromkeys(found))


def _form_of(path: Path, head: bytes) -> LogForm:
    suffix = inner_suffix(path)
    return next(form for form in FORMS if suffix in form.suffixes or form.looks(head))


def read_log(path: Path, options: ReadOptions) -> Log:
    """Read one log in whatever open form it is.

    Raises
    ------
    UnreadableError
        Not of a known form, damaged, or without anything usable.
    AmbiguousError
        Unit, columns or coordinate system are not stated.
    """
    head = read_head(path, 1 << 14)
    if not head.strip():
        raise UnreadableError(f"{path.name}: empty; wanted a log of soundings")
    log = _form_of(path, head).read(path, options)
    if options.reference is not None:
        log = replace(log, reference=options.reference, to_surface=np.full(log.depth.size, np.nan))
    _log.info("%s: %s", log.name, log.counts)
    return log


def refuse_two_ways(paths: Sequence[Path], named: Sequence[Path], options: ReadOptions) -> None:
    """Ask what has to be asked of delimited text before any log is read whole; raises as `text.refuse_two_ways` does.

    What else is wrong with a log is told where it is read, and one that was found in a folder may leave open what it likes: it
    is left out. Dates that read two ways are refused there too, for a grid of half the logs would look whole.
    """
    for path in paths:
        if _form_of(path, read_head(path, 1 << 14)) is not FORMS[-1]:
            continue
        try:
            text.refuse_two_ways(path, options.text)
        except AmbiguousError as error:
            if path in named or (error.asks is not None and error.asks.flag == "--dates"):
                raise
        except InputError:
            continue


def read_found(
    paths: Sequence[Path], named: Sequence[Path], options: ReadOptions
) -> tuple[list[Log], list[str]]:
    """Read logs; those that were not named, but found in a folder, may fail.

    Returns
    -------
    list of Log
        With positions, as `with_positions` gives them.
    list of str
        What is wrong with each that was left out.

    Raises
    ------
    InputError
        If one that was named cannot be used, or none can.
    """
    logs, skipped = [], []
    error: InputError | None = None
    for path in paths:
        try:
            logs.append(read_log(path, options))
        except InputError as wrong:
            if path in named:
                raise
            error = error or wrong
            skipped.append(str(wrong))
    if error is not None and not logs:
        raise error
    return with_positions(logs, options), skipped


def read_logs(paths: Sequence[Path], options: ReadOptions) -> list[Log]:
    """Read logs that were named; see `with_positions`."""
    return read_found(paths, paths, options)[0]


def with_positions(logs: Sequence[Log], options: ReadOptions) -> list[Log]:
    """Give depths without positions the positions of the other logs, by time.

    Raises
    ------
    InputError
        Depths without a position anywhere near in time, or no depth at all.
    """
    fixes = [g for g in logs if g.lon.size and not g.depth.size]
    out: list[Log] = []
    for log in logs:
        if log.depth.size and log.lon.size:
            out.append(log)
        elif log.depth.size:
            if not fixes:
                raise InputError(
                    f"{log.name}: depths without positions; name the log with the positions as well"
                )
            if not (log.dated and all(f.dated for f in fixes)):
                raise AmbiguousError(
                    f"{log.name}: depths and positions are in separate logs without a date; say --date",
                    asks=Question(
                        "--date", "On which day was the first of them? Write it as 2024-12-31.", free=True
                    ),
                )
            time, lon, lat = (np.concatenate([getattr(f, k) for f in fixes]) for k in ("time", "lon", "lat"))
            plon, plat = interpolate_fixes(log.time, time, lon, lat, gap_s=options.gap_s)
            if not np.isfinite(plon).any():
                raise InputError(
                    f"{log.name}: no fix within {options.gap_s:g} s of any of its {log.depth.size} depths; "
                    "do the clocks of the two logs agree?"
                )
            note = f"positions by time from {', '.join(f.name for f in fixes)}"
            out.append(replace(log, lon=plon, lat=plat, notes=(*log.notes, note)))
    if not out:
        raise InputError(f"{', '.join(log.name for log in logs)}: positions, but not one depth")
    return out


def _placed(log: Log, crs: str) -> Log:
    """The log with its positions brought to longitude and latitude, if they are not degrees already.

    On a map's grid degrees would all lie within metres of its origin, so no metres are taken for degrees here.
    """
    facts = crs_facts(crs)
    lon, lat = transformer(facts.horizontal, "EPSG:4326").transform(log.lon, log.lat)
    good = np.isfinite(log.lon) & np.isfinite(log.lat)
    degrees = (np.abs(log.lon[good]) <= 360.0) & (np.abs(log.lat[good]) <= 90.0)
    if facts.geographic or not degrees.size or not degrees.all():
        return replace(log, lon=lon, lat=lat)
    check_place(log.lon, log.lat, log.name)
    note = f"positions are degrees already: --crs {crs} is for x and y, and was not used"
    return replace(log, lon=(log.lon + 180.0) % 360.0 - 180.0, notes=(*log.notes, note))


def zone_crs(lon: float, lat: float) -> str:
    """EPSG code of the UTM (or polar stereographic) zone of a place."""
    if lat >= 84:
        return "EPSG:32661"
    if lat <= -80:
        return "EPSG:32761"
    zone = min(int((lon + 180.0) // 6.0) % 60 + 1, 60)
    return f"EPSG:{(32600 if lat >= 0 else 32700) + zone}"


STRAY_SHARE = 0.005
"""So many soundings at either end of the survey may be strays (a guess); all others lie inside its bulk."""

STRAY_M = 20_000.0
"""Nothing is a stray that lies nearer than this to the bulk, nor than the bulk is wide."""


def _far_off(x: Floats, y: Floats, good: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Soundings whose position is a slip of the receiver's: one of them would stretch the grid over half a sea."""
    out = np.zeros(x.size, bool)
    beyond = math.ceil(STRAY_SHARE * int(good.sum()))
    for values in (x, y):
        inside = np.sort(values[good])[beyond:-beyond] if beyond else values[:0]
        if inside.size < 8:  # too few to say which of them are the bulk
            return out
        give = max(float(np.ptp(inside)), STRAY_M)
        with np.errstate(invalid="ignore"):
            out |= good & ((values < inside[0] - give) | (values > inside[-1] + give))
    return out


def tabulate(logs: Sequence[Log]) -> tuple[Soundings, str]:
    """Join logs into one table of soundings in the UTM zone of the middle of the data.

    Parameters
    ----------
    logs : sequence of Log
        Each with positions and depths.

    Returns
    -------
    Soundings
        Rows without a usable position carry the reason ``no fix`` or ``position``.
    crs : str

    Raises
    ------
    InputError
        No usable position, or data too far apart for one zone.
    """
    lon = np.concatenate([g.lon for g in logs])
    lat = np.concatenate([g.lat for g in logs])
    reason = np.zeros(lon.size, np.uint8)
    reason[~(np.isfinite(lon) & np.isfinite(lat))] = CODE["no fix"]
    with np.errstate(invalid="ignore"):
        odd = (np.abs(lat) > 90) | (np.abs(lon) > 360) | ((np.abs(lon) < 1e-6) & (np.abs(lat) < 1e-6))
    reason[odd] = CODE["position"]
    good = reason == 0
    if not good.any():
        raise InputError(f"not one of {lon.size} soundings has a usable position; are the columns right?")
    angle = np.deg2rad(lon[good])
    middle = math.degrees(math.atan2(np.median(np.sin(angle)), np.median(np.cos(angle))))
    crs = zone_crs(middle, float(np.median(lat[good])))
    x, y = np.full(lon.size, np.nan), np.full(lon.size, np.nan)
    x[good], y[good] = transformer("EPSG:4326", crs).transform(lon[good], lat[good])
    away = (lon - middle + 180.0) % 360.0 - 180.0
    far = good & (~np.isfinite(x) | ~np.isfinite(y) | (np.abs(away) > 9.0) & (np.abs(lat) < 80))
    if far.mean() > 0.02:
        raise InputError(
            f"the logs span {np.ptp(away[good]):.1f} degrees of longitude, too far for one grid; "
            "grid the areas one by one"
        )
    reason[far] = CODE["position"]
    strays = _far_off(x, y, reason == 0)
    reason[strays] = CODE["far off"]
    x[far | strays], y[far | strays] = np.nan, np.nan
    sizes = [g.depth.size for g in logs]
    return Soundings(
        x, y, np.concatenate([g.depth for g in logs]), np.concatenate([g.time for g in logs]),
        np.concatenate([g.to_surface for g in logs]).astype(np.float32),
        np.repeat(np.arange(len(logs), dtype=np.int16), sizes), reason, np.zeros(lon.size, bool),
        tuple(g.name for g in logs), tuple(g.reference for g in logs),
    ), crs  # fmt: skip
