"""Positions as people write them: degrees and decimal minutes, as plotters show them."""

from __future__ import annotations

import re

from reefscan.base.errors import InputError


def _split(value: float) -> tuple[int, str]:
    thousandths = round(abs(value) * 60_000)  # of a minute, whole, so that 59.9996' carries over
    degrees, rest = divmod(thousandths, 60_000)
    return degrees, f"{rest // 1000:02d}.{rest % 1000:03d}"


def degrees_minutes(value: float, *, lat: bool) -> str:
    """Degrees and minutes to 0.001', as plotters show them.

    Examples
    --------
    >>> degrees_minutes(-63.5, lat=False)
    "063° 30.000' W"
    """
    degrees, minutes = _split(value)
    return f"{degrees:0{2 if lat else 3}d}° {minutes}' {('NS' if lat else 'EW')[int(value < 0)]}"


def position_words(lon: float, lat: float) -> str:
    """Say a position in degrees and decimal minutes, short.

    Examples
    --------
    >>> position_words(-63.5234567, 44.9999999)
    "45°00.000'N 63°31.407'W"
    """
    (a, b), (c, d) = _split(lat), _split(lon)
    return f"{a}°{b}'{'NS'[int(lat < 0)]} {c}°{d}'{'EW'[int(lon < 0)]}"


_DEGREES = re.compile(r"([+-]?\d+(?:\.\d+)?)°?\s*([NS]?)[\s,;]+([+-]?\d+(?:\.\d+)?)°?\s*([EW]?)", re.I)
_MINUTES = re.compile(
    r"(\d+)[°\s]\s*(\d+(?:\.\d+)?)['′]?\s*([NS])[\s,;]*(\d+)[°\s]\s*(\d+(?:\.\d+)?)['′]?\s*([EW])", re.I
)


def read_place(text: str) -> tuple[float, float]:
    """Longitude and latitude of a place as people write one: latitude first, in degrees, or degrees and minutes.

    Raises
    ------
    InputError
        If it is not one.

    Examples
    --------
    >>> read_place("45.0118, -22.5167")
    (-22.5167, 45.0118)
    >>> lon, lat = read_place("45°00.708'N 22°31.001'W")
    >>> round(lon, 5), round(lat, 5)
    (-22.51668, 45.0118)
    """
    bare = text.strip()
    if match := _DEGREES.fullmatch(bare):
        lat, lon = (
            -abs(float(number)) if letter.upper() in ("S", "W") and letter else float(number)
            for number, letter in (match.group(1, 2), match.group(3, 4))
        )
    elif (match := _MINUTES.fullmatch(bare)) and max(float(match[2]), float(match[5])) < 60:
        lat, lon = (
            (int(whole) + float(minutes) / 60.0) * (-1 if letter.upper() in ("S", "W") else 1)
            for whole, minutes, letter in (match.group(1, 2, 3), match.group(4, 5, 6))
        )
    else:
        lat = lon = 999.0
    if abs(lat) > 90 or abs(lon) > 180:
        raise InputError(
            f"{text[:60]!r} is not a place; write latitude and longitude, such as '45.0118 -22.5167' "
            "or \"45°00.708'N 22°31.001'W\""
        )
    return lon, lat
