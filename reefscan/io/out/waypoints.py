"""Sites to take along: their names, texts and order, as plotters, phones and desk programs can bear them.

What a file of a form holds is written in `reefscan.io.out.siteforms`.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from reefscan.base.errors import InputError
from reefscan.base.units import EARTH_M


@dataclass(frozen=True)
class Waypoint:
    """One site to take along.

    Parameters
    ----------
    name : str
    lon, lat : float
        WGS84 degrees.
    depth_m : float or None
        Positive down; None when unknown.
    text : str
        Description in words.
    kind : str
    depth_words : str
        The depth as the reader speaks it, for the description; metres if empty.
    fields : dict
        Further named values (numbers or text) for the formats that hold them.
    """

    name: str
    lon: float
    lat: float
    depth_m: float | None = None
    text: str = ""
    kind: str = ""
    depth_words: str = ""
    fields: dict[str, Any] = field(default_factory=dict)


def clean(text: object) -> str:
    """Text fit for every format: no control characters, lone surrogates or runs of space."""
    kept = (c if c.isprintable() else " " for c in str(text))
    return " ".join("".join(kept).split())


LONGEST_NAME, LONGEST_TEXT = 120, 2000
"""Characters of a name, and of a note or another field: programs that read them break off or hang on more."""

_MARKUP = str.maketrans({"<": "‹", ">": "›"})


def shown(text: object, most: int = LONGEST_TEXT, *, ascii_only: bool = False) -> str:
    """Text that whatever shows it shows as it is: cut, and without what balloons and pop-ups would take for mark-up.

    KML's balloons are HTML, and so is what many programs make of a GPX description or a GeoJSON property; marks that
    look alike are safe in all of them, where a second escaping would be shown by half.
    """
    bare = clean(text)
    bare = bare if len(bare) <= most else bare[: most - 1].rstrip() + "…"
    bare = bare.replace("$[", "$ [")  # in KML the name of another field
    return to_ascii(bare.translate(str.maketrans("<>…", "()."))) if ascii_only else bare.translate(_MARKUP)


def to_ascii(text: str) -> str:
    """Plain ASCII: accents are taken off, what has no plain form is left out."""
    flat = unicodedata.normalize("NFKD", text.replace("ß", "ss").replace("ø", "o").replace("Ø", "O"))
    return " ".join(flat.encode("ascii", "ignore").decode().split())


def unique_names(names: Iterable[str], *, length: int | None = None, ascii_only: bool = False) -> list[str]:
    """Names that differ from each other, case apart, in the given order.

    Parameters
    ----------
    names : iterable of str
    length : int, optional
        Longest name, characters; at least 4.
    ascii_only : bool

    Returns
    -------
    list of str
        A name already taken loses its tail to a number: ``Reef``, ``Reef-2``. An empty one becomes ``site``.

    Raises
    ------
    InputError
        If the length cannot hold as many different names.
    """
    if length is not None and length < 4:
        raise InputError(f"names of {length} characters are too short to tell sites apart; say 4 or more")
    taken: set[str] = set()
    out: list[str] = []
    next_number: dict[str, int] = {}
    for raw in names:
        name = shown(raw, LONGEST_NAME, ascii_only=ascii_only)
        name = (name or "site")[:length].strip() or "site"
        stem, key = name, name.casefold()
        number = next_number.get(key, 2)
        while name.casefold() in taken:
            tail = f"-{number}"
            if length is not None and len(tail) >= length:
                raise InputError(f"no {length}-character name is left for {raw!r}; allow longer names")
            name = (stem[: length - len(tail)] if length is not None else stem).rstrip() + tail
            number += 1
        next_number[key] = number
        taken.add(name.casefold())
        out.append(name)
    return out


def _number(value: Any) -> Any:
    """JSON-ready number: unknown is None, numpy scalars become plain ones."""
    if value is None or isinstance(value, (bool, int)):
        return value
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if isinstance(value, int) else shown(value)


def tidy(
    points: Sequence[Waypoint], *, length: int | None = None, ascii_only: bool = False
) -> list[Waypoint]:
    """Check positions, round them to 7 decimals with -180 <= lon < 180, clean texts and make names unique.

    Raises
    ------
    InputError
        For a latitude beyond 90 or a position that is not finite.
    """
    names = unique_names((p.name for p in points), length=length, ascii_only=ascii_only)
    out: list[Waypoint] = []
    for point, name in zip(points, names, strict=True):
        if not (math.isfinite(point.lon) and math.isfinite(point.lat) and abs(point.lat) <= 90.0):
            raise InputError(
                f"site {name!r}: position lon {point.lon}, lat {point.lat}; "
                "wanted finite degrees with lat -90 to 90"
            )
        inside = -180.0 <= point.lon < 180.0
        lon = round(point.lon if inside else (point.lon + 180.0) % 360.0 - 180.0, 7)
        lon = -180.0 if lon >= 180.0 else lon
        depth = point.depth_m if point.depth_m is not None and math.isfinite(point.depth_m) else None
        fields = {
            k: shown(v, ascii_only=ascii_only) if isinstance(v, str) else _number(v)
            for k, v in point.fields.items()
        }
        out.append(
            replace(
                point,
                name=name,
                lon=lon + 0.0,
                lat=round(point.lat, 7) + 0.0,
                depth_m=depth,
                text=shown(point.text, ascii_only=ascii_only),
                kind=shown(point.kind, LONGEST_NAME, ascii_only=ascii_only),
                fields=fields,
            )
        )
    return out


def distance_m(a: Waypoint, b: Waypoint) -> float:
    """Great-circle distance, metres: close enough to order sites by."""
    la, lb = math.radians(a.lat), math.radians(b.lat)
    dlat, dlon = lb - la, math.radians(b.lon - a.lon)
    h = math.sin(dlat / 2) ** 2 + math.cos(la) * math.cos(lb) * math.sin(dlon / 2) ** 2
    return 2 * EARTH_M * math.asin(min(1.0, math.sqrt(h)))


def route_order(points: Sequence[Waypoint], launch: tuple[float, float] | None = None) -> list[Waypoint]:
    """A short way past all points: nearest next, then uncrossed by 2-opt.

    It starts at the first point, or where a launch (longitude, latitude) is given at the point that the way from there goes to first.

    Misleads when land lies between; it is an order for a list, not a course.
    """
    if launch is not None:
        return route_order([Waypoint("", *launch), *points])[1:]
    left = list(points[1:])
    path = list(points[:1])
    while left:
        here = path[-1]
        k = min(range(len(left)), key=lambda i: distance_m(here, left[i]))
        path.append(left.pop(k))
    if len(path) > 600:  # 2-opt is quadratic a pass; beyond this the nearest-next order is kept
        return path
    for _ in range(20):
        better = False
        for i in range(len(path) - 2):
            for j in range(i + 2, len(path)):
                after = path[j + 1] if j + 1 < len(path) else None
                old = distance_m(path[i], path[i + 1]) + (distance_m(path[j], after) if after else 0.0)
                new = distance_m(path[i], path[j]) + (distance_m(path[i + 1], after) if after else 0.0)
                if new < old - 1e-6:
                    path[i + 1 : j + 1] = path[i + 1 : j + 1][::-1]
                    better = True
        if not better:
            break
    return path
