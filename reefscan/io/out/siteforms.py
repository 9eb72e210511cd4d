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
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape, quoteattr

from reefscan.base.caution import CAUTION, SHORT
from reefscan.base.degrees import degrees_minutes
from reefscan.base.errors import InputError
from reefscan.io.out.geopackage import write_geopackage
from reefscan.io.out.waypoints import LONGEST_TEXT, Waypoint, clean, shown
from reefscan.io.outs import CSV_HEAD, numbered, refuse_foreign, write_out

SCHEMA = "reefscan-sites/1"


def _degrees(value: float) -> str:
    """Decimal degrees without exponent or useless zeros."""
    text = f"{value:.7f}".rstrip("0")
    text = text + "0" if text.endswith(".") else text
    return "0.0" if text == "-0.0" else text


def described(point: Waypoint) -> str:
    """Depth first, then the reason, then the caution: what a plotter's info box should show."""
    words = point.depth_words or ("" if point.depth_m is None else f"{point.depth_m:.1f} m")
    parts = [
        f"depth {words}" if words else "depth unknown",
        point.text[: LONGEST_TEXT - len(SHORT)].rstrip("."),
    ]
    return "; ".join(p for p in parts if p) + f". {SHORT}"


@dataclass(frozen=True)
class Headed:
    """What stands at the top of a file of sites.

    Parameters
    ----------
    title : str
    note : str
        What is known of closed ground.
    symbols : dict of str
        Name of the symbol of each kind (of all kinds under ``""``), where a form has symbols; none for a kind that is not in it.
    """

    title: str
    note: str = ""
    symbols: Mapping[str, str] = field(default_factory=dict)

    @property
    def note_line(self) -> str:
        """The note first, then what is said of every list."""
        return shown(f"{self.note} {CAUTION}".strip())


def gpx_bytes(points: Sequence[Waypoint], head: Headed) -> bytes:
    """GPX 1.1 waypoints. ``ele`` is minus the depth; ``sym`` is free text there, and what a device does not know it passes over."""
    out = ['<?xml version="1.0" encoding="UTF-8"?>']
    out.append('<gpx version="1.1" creator="reefscan" xmlns="http://www.topografix.com/GPX/1/1">')
    out.append(
        f"<metadata><name>{escape(shown(head.title))}</name><desc>{escape(head.note_line)}</desc></metadata>"
    )
    for p in points:
        out.append(f'<wpt lat="{_degrees(p.lat)}" lon="{_degrees(p.lon)}">')
        if p.depth_m is not None:
            out.append(f"<ele>{-p.depth_m + 0.0:.2f}</ele>")
        out.append(f"<name>{escape(p.name)}</name><desc>{escape(described(p))}</desc>")
        if symbol := head.symbols.get(p.kind) or head.symbols.get(""):
            out.append(f"<sym>{escape(clean(symbol))}</sym>")
        if p.kind:
            out.append(f"<type>{escape(p.kind)}</type>")
        out.append("</wpt>")
    out.append("</gpx>\n")
    return "\n".join(out).encode()


def kml_bytes(points: Sequence[Waypoint], head: Headed) -> bytes:
    """KML 2.2 placemarks on the ground (no altitude: a viewer would bury them), with the fields as data."""
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        "<!-- reefscan -->",
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>',
    ]
    out.append(f"<name>{escape(shown(head.title))}</name>")
    out.append(f"<description>{escape(head.note_line)}</description>")
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


def _record(point: Waypoint) -> dict[str, Any]:
    """The fields of a point, the fixed ones first."""
    fixed = {"name": point.name, "depth_m": point.depth_m, "kind": point.kind, "text": point.text}
    return {**fixed, **point.fields, "caution": SHORT}


def csv_bytes(points: Sequence[Waypoint], head: Headed) -> bytes:
    """RFC 4180 table, UTF-8. A cell that a spreadsheet would run as a formula starts with an apostrophe.

    Degrees and minutes stand beside the decimal degrees, for a plotter that is keyed by hand. Caution and note stand in last columns
    of their own: a line above the heads would break what reads the table.
    """
    last = {"caution": SHORT, **({"remark": head.note} if head.note else {})}
    points = [replace(p, fields={**_keyed(p), **p.fields, **last}) for p in points]
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


def _keyed(point: Waypoint) -> dict[str, str]:
    """Degrees and minutes in plain letters, such as ``45 00.708 N``."""
    texts = (degrees_minutes(point.lat, lat=True), degrees_minutes(point.lon, lat=False))
    return dict(
        zip(("lat_minutes", "lon_minutes"), (t.replace("°", "").replace("'", "") for t in texts), strict=True)
    )


def inert(text: str) -> str:
    """Text that a spreadsheet shows and never runs (OWASP's list of formula starts)."""
    starts = ("=", "+", "-", "@", "|", "%", "\t", "\r")
    return "'" + text if text.lstrip().startswith(starts) or text.startswith(starts) else text


def geojson_bytes(points: Sequence[Waypoint], head: Headed) -> bytes:
    """RFC 7946 points with the same fields."""
    features = [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [p.lon, p.lat]},
            "properties": _record(p),
        }
        for p in points
    ]
    document = {
        "type": "FeatureCollection",
        "schema": SCHEMA,
        "title": shown(head.title),
        "note": head.note_line,
        "features": features,
    }
    return (json.dumps(document, ensure_ascii=False, allow_nan=False, separators=(",", ":")) + "\n").encode()


def gpkg_bytes(points: Sequence[Waypoint], head: Headed) -> bytes:
    """GeoPackage with one layer ``sites``; GDAL's own date is fixed so that equal sites are equal files."""
    import geopandas as gpd
    import pandas as pd
    from shapely.geometry import Point

    columns = ["name", "depth_m", "kind", "text", *_columns(points), "caution"]
    table = pd.DataFrame([_record(p) for p in points], columns=columns)
    table["depth_m"] = table["depth_m"].astype(float)
    frame = gpd.GeoDataFrame(table, geometry=[Point(p.lon, p.lat) for p in points], crs="EPSG:4326")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sites.gpkg"
        return write_geopackage(
            path,
            {"sites": frame},
            {"sites": "Point"},
            meaning="reefscan {}. " + shown(head.note).replace("{", "(").replace("}", ")"),
        ).read_bytes()


def encode(
    points: Sequence[Waypoint],
    fmt: str,
    *,
    title: str,
    note: str = "",
    symbols: Mapping[str, str] | None = None,
) -> bytes:
    """Bytes of tidied points in one of `FORMATS`; the note stands at the top."""
    if fmt not in FORMATS:
        raise InputError(f"format {fmt!r} is not known; say one of {', '.join(FORMATS)}")
    return FORMATS[fmt](points, Headed(title, note, symbols or {}))


FORMATS: dict[str, Callable[[Sequence[Waypoint], Headed], bytes]] = {
    "gpx": gpx_bytes,
    "kml": kml_bytes,
    "csv": csv_bytes,
    "geojson": geojson_bytes,
    "gpkg": gpkg_bytes,
}
"""Every form that sites are written in: a new one is its writer and one row."""


def form_of(out: Path, fmt: str | None) -> str:
    """The form that a file is written in, by its ending; what is asked for besides must agree with it.

    Raises
    ------
    InputError
        If the ending is of no form, or of another than the one asked for: a plotter goes by the ending.
    """
    ending = out.suffix.lower().lstrip(".")
    by_ending = "geojson" if ending == "json" else ending
    if fmt is not None and fmt.lower() not in FORMATS:
        raise InputError(f"--format {fmt}: is not known; say one of {', '.join(FORMATS)}")
    if by_ending not in FORMATS:
        raise InputError(
            f"--out {out}: ends in {out.suffix or 'nothing'}; wanted .{', .'.join(FORMATS)} (the ending says the format)"
        )
    if fmt is not None and fmt.lower() != by_ending:
        raise InputError(
            f"--out {out}: ends in {out.suffix}, but --format is {fmt}; name it {out.stem}.{fmt.lower()}, or leave --format out"
        )
    return by_ending


def write_sites(
    points: Sequence[Waypoint],
    out: Path,
    *,
    fmt: str,
    title: str,
    note: str = "",
    symbols: Mapping[str, str] | None = None,
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
    most = most or max(1, len(points))
    parts = [points[i : i + most] for i in range(0, max(1, len(points)), most)]
    paths = numbered(out, len(parts))
    if not out.parent.is_dir():
        raise InputError(f"{out}: folder {out.parent} does not exist; make it first or name another file")
    for path in paths:
        refuse_foreign(path)
    for path, part in zip(paths, parts, strict=True):
        write_out(path, encode(part, fmt, title=title, note=note, symbols=symbols))
    return paths
