"""Sites as files that a plotter, a phone or a desk program reads: GPX, KML, CSV, GeoJSON, GeoPackage.

All are built as bytes, so that equal sites are equal files. Standards: GPX 1.1 schema
(topografix.com/GPX/1/1), OGC 07-147r2 (KML 2.2), RFC 4180 (CSV), RFC 7946 (GeoJSON).

Misleads when: a plotter shortens names on its own (ask for short ones with ``length``), or shows ``ele`` as a
height; the depth is therefore in the description as well.
"""

from __future__ import annotations

import csv
import io
import json
import math
import tempfile
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from reefscan.base.caution import CAUTION
from reefscan.base.errors import InputError
from reefscan.io.out.geopackage import write_geopackage
from reefscan.io.outs import CSV_HEAD, refuse_foreign, write_out

FORMATS = ("gpx", "kml", "csv", "geojson", "gpkg")
SCHEMA = "reefscan-sites/1"
EARTH_M = 6371008.8  # mean radius, IUGG


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


def _number(value: Any) -> Any:
    """JSON-ready number: unknown is None, numpy scalars become plain ones."""
    if value is None or isinstance(value, (bool, int)):
        return value
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if isinstance(value, int) else shown(value)


def _degrees(value: float) -> str:
    """Decimal degrees without exponent or useless zeros."""
    text = f"{value:.7f}".rstrip("0")
    text = text + "0" if text.endswith(".") else text
    return "0.0" if text == "-0.0" else text


def described(point: Waypoint) -> str:
    """Depth first, then the reason: what a plotter's info box should show."""
    words = point.depth_words or ("" if point.depth_m is None else f"{point.depth_m:.1f} m")
    parts = [f"depth {words}" if words else "depth unknown", point.text]
    return "; ".join(p for p in parts if p)


def _headed(note: str) -> str:
    """What stands at the top of a file: the note first, then what always does."""
    return shown(f"{note} {CAUTION}".strip())


def gpx_bytes(points: Sequence[Waypoint], *, title: str, note: str = "", symbol: str | None = None) -> bytes:
    """GPX 1.1 waypoints. ``ele`` is minus the depth; no ``sym`` unless a name is given."""
    out = ['<?xml version="1.0" encoding="UTF-8"?>']
    out.append('<gpx version="1.1" creator="reefscan" xmlns="http://www.topografix.com/GPX/1/1">')
    out.append(
        f"<metadata><name>{escape(shown(title))}</name><desc>{escape(_headed(note))}</desc></metadata>"
    )
    for p in points:
        out.append(f'<wpt lat="{_degrees(p.lat)}" lon="{_degrees(p.lon)}">')
        if p.depth_m is not None:
            out.append(f"<ele>{-p.depth_m + 0.0:.2f}</ele>")
        out.append(f"<name>{escape(p.name)}</name><desc>{escape(described(p))}</desc>")
        if symbol:
            out.append(f"<sym>{escape(clean(symbol))}</sym>")
        if p.kind:
            out.append(f"<type>{escape(p.kind)}</type>")
        out.append("</wpt>")
    out.append("</gpx>\n")
    return "\n".join(out).encode()


def kml_bytes(points: Sequence[Waypoint], *, title: str, note: str = "") -> bytes:
    """KML 2.2 placemarks on the ground (no altitude: a viewer would bury them), with the fields as data."""
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        "<!-- reefscan -->",
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>',
    ]
    out.append(f"<name>{escape(shown(title))}</name>")
    out.append(f"<description>{escape(_headed(note))}</description>")
    for p in points:
        out.append(
            f"<Placemark><name>{escape(p.name)}</name><description>{escape(described(p))}</description>"
        )
        data = {"depth_m": p.depth_m, "kind": p.kind, **p.fields}
        out.append("<ExtendedData>")
        for key, value in data.items():
            if value is not None and value != "":
                out.append(f"<Data name={quoteattr(clean(key))}><value>{escape(str(value))}</value></Data>")
        out.append("</ExtendedData>")
        out.append(
            f"<Point><coordinates>{_degrees(p.lon)},{_degrees(p.lat)}</coordinates></Point></Placemark>"
        )
    out.append("</Document></kml>\n")
    return "\n".join(out).encode()


def _columns(points: Sequence[Waypoint]) -> list[str]:
    """Names of all further fields, in the order of first sight, none of them a fixed one."""
    fixed = {"name", "lon", "lat", "depth_m", "kind", "text"}
    return list(dict.fromkeys(k for p in points for k in p.fields if k not in fixed))


def csv_bytes(points: Sequence[Waypoint], *, note: str = "") -> bytes:
    """RFC 4180 table, UTF-8. A cell that a spreadsheet would run as a formula starts with an apostrophe.

    The note stands in a last column of its own: a line above the heads would break what reads the table.
    """
    points = [replace(p, fields={**p.fields, "remark": note}) for p in points] if note else points
    extra = _columns(points)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([*CSV_HEAD.split(","), *(inert(k) for k in extra)])
    for p in points:
        cells = [
            p.name,
            _degrees(p.lon),
            _degrees(p.lat),
            "" if p.depth_m is None else f"{p.depth_m:.2f}",
            p.kind,
            p.text,
        ]
        row = [inert(c) if i not in (1, 2, 3) else c for i, c in enumerate(cells)]
        for key in extra:
            value = p.fields.get(key)
            row.append("" if value is None else inert(value) if isinstance(value, str) else str(value))
        writer.writerow(row)
    return out.getvalue().encode()


def inert(text: str) -> str:
    """Text that a spreadsheet shows and never runs (OWASP's list of formula starts)."""
    starts = ("=", "+", "-", "@", "|", "%", "\t", "\r")
    return "'" + text if text.lstrip().startswith(starts) or text.startswith(starts) else text


def geojson_bytes(points: Sequence[Waypoint], *, title: str, note: str = "") -> bytes:
    """RFC 7946 points with the same fields."""
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [p.lon, p.lat]},
            "properties": {"name": p.name, "depth_m": p.depth_m, "kind": p.kind, "text": p.text, **p.fields},
        }
        for p in points
    ]
    document = {
        "type": "FeatureCollection",
        "schema": SCHEMA,
        "title": shown(title),
        "note": _headed(note),
        "features": features,
    }
    return (json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n").encode()


def gpkg_bytes(points: Sequence[Waypoint], *, note: str = "") -> bytes:
    """GeoPackage with one layer ``sites``; GDAL's own date is fixed so that equal sites are equal files."""
    import geopandas as gpd
    from shapely.geometry import Point

    extra = _columns(points)
    rows = [
        {
            "name": p.name,
            "depth_m": p.depth_m,
            "kind": p.kind,
            "text": p.text,
            **{k: p.fields.get(k) for k in extra},
        }
        for p in points
    ]
    columns = ["name", "depth_m", "kind", "text", *extra]
    import pandas as pd

    table = pd.DataFrame(rows, columns=columns)
    table["depth_m"] = table["depth_m"].astype(float)
    frame = gpd.GeoDataFrame(table, geometry=[Point(p.lon, p.lat) for p in points], crs="EPSG:4326")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sites.gpkg"
        return write_geopackage(
            path,
            {"sites": frame},
            {"sites": "Point"},
            meaning="reefscan {}. " + shown(note).replace("{", "(").replace("}", ")"),
        ).read_bytes()


def encode(
    points: Sequence[Waypoint], fmt: str, *, title: str, note: str = "", symbol: str | None = None
) -> bytes:
    """Bytes of tidied points in one of `FORMATS`; the note stands at the top."""
    if fmt == "gpx":
        return gpx_bytes(points, title=title, note=note, symbol=symbol)
    if fmt == "kml":
        return kml_bytes(points, title=title, note=note)
    if fmt == "csv":
        return csv_bytes(points, note=note)
    if fmt == "geojson":
        return geojson_bytes(points, title=title, note=note)
    if fmt == "gpkg":
        return gpkg_bytes(points, note=note)
    raise InputError(f"format {fmt!r} is not known; say one of {', '.join(FORMATS)}")


def distance_m(a: Waypoint, b: Waypoint) -> float:
    """Great-circle distance, metres: close enough to order sites by."""
    la, lb = math.radians(a.lat), math.radians(b.lat)
    dlat, dlon = lb - la, math.radians(b.lon - a.lon)
    h = math.sin(dlat / 2) ** 2 + math.cos(la) * math.cos(lb) * math.sin(dlon / 2) ** 2
    return 2 * EARTH_M * math.asin(min(1.0, math.sqrt(h)))


def route_order(points: Sequence[Waypoint]) -> list[Waypoint]:
    """A short way past all points from the first one: nearest next, then uncrossed by 2-opt.

    Misleads when land lies between; it is an order for a list, not a course.
    """
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


def write_sites(
    points: Sequence[Waypoint],
    out: Path,
    *,
    fmt: str,
    title: str,
    note: str = "",
    symbol: str | None = None,
    most: int | None = None,
) -> list[Path]:
    """Write the points whole or not at all, with a note at the top; with ``most`` as ``name-1.gpx``, ``name-2.gpx`` and so on.

    Returns
    -------
    list of Path
        The files written, in order.
    """
    if most is not None and most < 1:
        raise InputError(f"--max-points {most}: wanted 1 or more")
    parts = (
        [points]
        if most is None or len(points) <= most
        else [points[i : i + most] for i in range(0, len(points), most)]
    )
    paths = (
        [out]
        if len(parts) == 1
        else [out.with_name(f"{out.stem}-{i + 1}{out.suffix}") for i in range(len(parts))]
    )
    if not out.parent.is_dir():
        raise InputError(f"{out}: folder {out.parent} does not exist; make it first or name another file")
    for path in paths:
        refuse_foreign(path)
    for path, part in zip(paths, parts, strict=True):
        write_out(path, encode(part, fmt, title=title, note=note, symbol=symbol))
    return paths
