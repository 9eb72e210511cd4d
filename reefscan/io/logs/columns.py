"""Which column is what: names, units, signs and ways of writing an angle.

A depth column must say its unit (``depth_m``, ``Depth (ft)``) or be given one; the bare word
``depth`` is taken for metres only where the caller allows it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from reefscan.base.errors import AmbiguousError, InputError
from reefscan.base.units import METRES_PER

Floats = NDArray[np.float64]

_WORDS: dict[str, tuple[str, ...]] = {
    "lon": ("lon", "long", "longitude", "lng", "lon_deg", "longitude_deg"),
    "lat": ("lat", "latitude", "lat_deg", "latitude_deg"),
    "x": ("x", "easting", "east", "x_m"),
    "y": ("y", "northing", "north", "y_m"),
    "depth": ("depth", "dpt", "dbt", "water depth", "sounding", "depth below transducer", "bottom depth",
              "depth below surface", "tiefe", "profondeur", "profundidad"),
    "elev": ("elevation", "elev", "bathymetry", "altitude", "z", "height", "ele", "topography"),
    "time": ("time", "timestamp", "datetime", "date time", "utc", "time utc", "date_time", "gps time", "epoch",
             "unixtime", "time_utc", "iso time"),
    "date": ("date", "day", "date utc"),
    "ns": ("n/s", "ns", "lat hemisphere", "lat dir"),
    "ew": ("e/w", "ew", "lon hemisphere", "lon dir"),
}  # fmt: skip
UNITS = {**METRES_PER, "ftm": METRES_PER["fathom"], "fms": METRES_PER["fathom"], "f": METRES_PER["foot"]}


@dataclass(frozen=True)
class Columns:
    """Place of each quantity in a row, and the factor that turns the depth into metres."""

    index: dict[str, int]
    depth_factor: float = 1.0
    unit_said: bool = True
    surface: bool = False


def normal(name: str) -> str:
    """Name in lower case with single blanks, without units in brackets or behind an underscore."""
    text = re.sub(r"[\(\[].*?[\)\]]", " ", name.strip().strip('"').lower())
    return re.sub(r"[\s_\-]+", " ", text).strip()


def unit_of(name: str) -> float | None:
    """Metres per unit that a column name states, None if it states none.

    Examples
    --------
    >>> unit_of("depth_ft"), unit_of("Depth (m)"), unit_of("depth")
    (0.3048, 1.0, None)
    """
    text = name.strip().strip('"').lower()
    bracket = re.search(r"[\(\[]\s*([a-z-]+)\s*[\)\]]", text)
    word = bracket[1] if bracket else re.split(r"[\s_]", text)[-1] if re.search(r"[\s_]", text) else ""
    return UNITS.get(word)


def find_columns(names: list[str]) -> Columns | None:
    """Recognise a header; None if the row names no position, depth or time (it is data)."""
    index: dict[str, int] = {}
    factor, said, surface = 1.0, True, False
    for place, raw in enumerate(names):
        unit = unit_of(raw)
        word = normal(raw)
        if unit is not None and not re.search(r"[\(\[]", raw):
            word = " ".join(word.split()[:-1]) or word
        for kind, words in _WORDS.items():
            if word in {w.replace("_", " ") for w in words} and kind not in index:
                index[kind] = place
                if kind in ("depth", "elev"):
                    factor, said = (unit, True) if unit is not None else (1.0, False)
                    surface = surface or "surface" in word or kind == "elev"
                break
    has_place = {"lon", "lat"} <= index.keys() or {"x", "y"} <= index.keys()
    has_depth = "depth" in index or "elev" in index
    if not (has_place or (has_depth and "time" in index)):
        return None
    if "depth" in index:
        index.pop("elev", None)
    return Columns(index, factor, said, surface)


def parse_columns(text: str, header: list[str] | None) -> Columns:
    """Columns given by hand: ``lon=3,lat=2,depth_ft=5,time=1`` (from 1, or by header name).

    Raises
    ------
    InputError
        An unknown quantity, a place that is not there, a name not in the header, or too little to place a depth.
    """
    index: dict[str, int] = {}
    factor, said = 1.0, False
    for item in text.split(","):
        name, _, where = item.partition("=")
        unit = unit_of(name)
        kind = normal(name).split()[0] if name.strip() else ""
        if kind not in _WORDS or not where:
            raise InputError(
                f"--columns {text!r}: cannot use {item!r}; write quantity=place with quantity one of "
                f"{', '.join(_WORDS)} (depth_ft for feet), such as lon=1,lat=2,depth_m=3"
            )
        if where.strip().isdigit():
            index[kind] = int(where) - 1
        elif header is not None and where.strip() in header:
            index[kind] = header.index(where.strip())
        else:
            raise InputError(f"--columns {text!r}: no column {where.strip()!r}; the header has {header}")
        if kind in ("depth", "elev"):
            factor, said = (unit, True) if unit is not None else (1.0, False)
    depth = "depth" in index or "elev" in index
    if not ({"lon", "lat"} <= index.keys() or {"x", "y"} <= index.keys() or (depth and "time" in index)):
        raise InputError(
            f"--columns {text!r}: says neither a place (lon and lat, or x and y) nor a depth and its time"
        )
    return Columns(index, factor, said, "elev" in index)


def to_numbers(column: pa.Array, *, decimal_comma: bool = False) -> Floats:
    """Text to floats; whatever is no number becomes NaN."""
    text = pc.utf8_trim_whitespace(column)
    if decimal_comma:
        text = pc.replace_substring(text, ",", ".")
    try:
        numbers = pc.cast(text, pa.float64())
    except pa.ArrowInvalid:
        ok = pc.match_substring_regex(text, r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$")
        numbers = pc.cast(pc.if_else(ok, text, None), pa.float64())
    return np.array(numbers.to_numpy(zero_copy_only=False), dtype=np.float64)


_ANGLE = re.compile(
    r"^\s*([NSEWO]?)\s*([+-]?)(\d+(?:\.\d*)?)\s*(?:[°d:\s]\s*(\d+(?:\.\d*)?)\s*(?:['′:m\s]\s*(\d+(?:\.\d*)?)?\s*"
    r"(?:\"|″|''|s)?)?)?\s*['′]?\s*([NSEWO]?)\s*$",
    re.IGNORECASE,
)


def parse_angle(text: str) -> float:
    """Read degrees, degrees-minutes or degrees-minutes-seconds, with sign or hemisphere letter.

    Returns NaN for anything else, for minutes or seconds of 60 and more, or for a sign that
    contradicts itself.

    Examples
    --------
    >>> parse_angle("48°07.038'N"), parse_angle("11 31 00 W"), parse_angle("-3.5")
    (48.1173, -11.516666666666667, -3.5)
    """
    match = _ANGLE.match(text.replace(",", "."))
    if match is None:
        return float("nan")
    front, sign, deg, minute, second, back = match.groups()
    letter = (front or back or "").upper()
    if (front and back) or (sign == "-" and letter):
        return float("nan")
    m, s = float(minute or 0), float(second or 0)
    if m >= 60 or s >= 60 or (minute and "." in deg):
        return float("nan")
    value = round(float(deg) + m / 60 + s / 3600, 15)
    return -value if sign == "-" or letter in ("S", "W") else value


def to_degrees(column: pa.Array, *, decimal_comma: bool = False) -> Floats:
    """Text to degrees; plain numbers fast, the other ways of writing an angle one by one."""
    values = to_numbers(column, decimal_comma=decimal_comma)
    odd = np.flatnonzero(np.isnan(values))
    if odd.size:
        text = column.take(pa.array(odd)).to_pylist()
        values[odd] = [parse_angle(t) if t and len(t) < 40 else np.nan for t in text]
    return values


def check_place(lon: Floats, lat: Floats, name: str) -> None:
    """Refuse positions that look swapped.

    Raises
    ------
    AmbiguousError
        If most 'latitudes' lie beyond 90 degrees while the 'longitudes' do not.
    """
    good = np.isfinite(lon) & np.isfinite(lat)
    if good.any() and np.mean(np.abs(lat[good]) > 90) > 0.5 and np.mean(np.abs(lon[good]) <= 90) > 0.5:
        raise AmbiguousError(
            f"{name}: latitudes such as {lat[good][0]:.4f} are beyond 90; are latitude and longitude swapped? "
            "Say --swap-lonlat, or name the columns with --columns"
        )
