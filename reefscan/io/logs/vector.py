"""Soundings in structured forms: GPX, IHO B-12 GeoJSON, and any vector file that GDAL reads."""

from __future__ import annotations

import io
import tempfile
from datetime import UTC
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import shapely
from defusedxml import ElementTree
from defusedxml.common import DefusedXmlException
from numpy.typing import NDArray

from reefscan.base.errors import AmbiguousError, UnreadableError
from reefscan.base.question import Question
from reefscan.io.jsonfile import parse_json
from reefscan.io.logs.asked import which_crs
from reefscan.io.logs.columns import Columns, check_place, find_columns, parse_columns
from reefscan.io.logs.text import TextOptions
from reefscan.io.logs.times import to_seconds
from reefscan.io.opening import PACKED, inner_suffix, read_all
from reefscan.io.words import which_unit
from reefscan.survey.table import Log

Floats = NDArray[np.float64]


def _times(values: list[Any]) -> Floats:
    if not any(values):
        return np.full(len(values), np.nan)
    return to_seconds(pa.array([None if v is None else str(v) for v in values], pa.string()), zone=UTC)


def read_gpx(path: Path, options: TextOptions, *, element: str | None = None) -> Log:
    """Read track, route and way points of a GPX file that carry a depth.

    Parameters
    ----------
    path : Path
    options : TextOptions
        ``depth_unit`` scales the named element; ``ele`` is always metres (GPX 1.1).
    element : str, optional
        Local name of the element with the depth, positive down. Without it: an element called
        ``depth`` if there is one, else ``ele`` where it is negative.

    Raises
    ------
    UnreadableError
        Not well-formed, or without any depth.
    """
    lon, lat, when = [], [], []
    candidates: dict[str, list[float]] = {}
    wanted = {element} if element else {"ele", "depth"}
    cut: tuple[str, ...] = ()
    try:
        for _, node in ElementTree.iterparse(io.BytesIO(read_all(path)), events=("end",)):
            if _local(node.tag) not in ("trkpt", "rtept", "wpt"):
                continue
            lon.append(_number(node.get("lon")))
            lat.append(_number(node.get("lat")))
            stamp = None
            found: dict[str, float] = {}
            for child in node.iter():
                word = _local(child.tag)
                if word in wanted:
                    found[word] = _number(child.text)
                elif word == "time":
                    stamp = (child.text or "").strip() or None
            when.append(stamp)
            for word in wanted:
                candidates.setdefault(word, []).append(found.get(word, np.nan))
            node.clear()
    except DefusedXmlException as error:
        raise UnreadableError(
            f"{path.name}: defines entities of its own ({error}), which no log needs; export it again"
        ) from error
    except ElementTree.ParseError as error:
        if not lon:
            raise UnreadableError(f"{path.name}: not well-formed GPX ({error}); export it again") from error
        # a logger whose battery died leaves such a file, and the points before that are sound
        cut = (f"not well-formed GPX ({error}): what stands after {len(lon):,} points is left out",)
    picked = element or ("depth" if np.isfinite(candidates.get("depth", [np.nan])).any() else "ele")
    depth = np.array(candidates.get(picked, []), float)
    if picked == "ele":
        depth = np.where(depth < 0, -depth, np.nan)
    elif options.depth_unit is not None:
        depth = depth * options.depth_unit
    if not np.isfinite(depth).any():
        return Log(
            path.name, np.array(lon), np.array(lat), np.zeros(0), _times(when), np.zeros(0),
            counts={"points": len(lon)}, notes=("positions only: no depth in it (ele is not negative)", *cut),
        ) if len(lon) else _no_depth(path)  # fmt: skip
    return _log(path.name, np.array(lon), np.array(lat), depth, _times(when), notes=cut)


def _no_depth(path: Path) -> Log:
    raise UnreadableError(
        f"{path.name}: no point with a depth; wanted negative ele or say --gpx-depth ELEMENT"
    )


def _local(tag: Any) -> str:
    return str(tag).rpartition("}")[2]


def _number(value: Any) -> float:
    """A number in any notation; NaN for anything else, and for a number that is too large."""
    try:
        return float(value) if isinstance(value, (str, int, float)) else float("nan")
    except (ValueError, OverflowError):
        return float("nan")


def _table(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}


def _log(name: str, lon: Floats, lat: Floats, depth: Floats, time: Floats, **more: Any) -> Log:
    keep = np.isfinite(lon) & np.isfinite(lat) & np.isfinite(depth)
    counts = {"points": int(lon.size), "bad lines": int((~keep).sum())}
    return Log(
        name, lon[keep], lat[keep], depth[keep], time[keep], more.pop("to_surface", np.full(lon.size, np.nan))[keep],
        more.pop("reference", "transducer"), counts=counts, notes=tuple(more.pop("notes", ())),
    )  # fmt: skip


def is_b12(document: Any) -> bool:
    """True for a GeoJSON document after IHO B-12: points with ``depth`` and ``time``."""
    if not isinstance(document, dict) or document.get("type") != "FeatureCollection":
        return False
    features = document.get("features") or []
    if not (isinstance(features, list) and features and isinstance(features[0], dict)):
        return False
    first = _table(features[0].get("properties"))
    kind = _table(features[0].get("geometry")).get("type")
    return kind == "Point" and "depth" in {str(k).lower() for k in first}


def read_b12(path: Path, document: dict[str, Any]) -> Log:
    """Read crowdsourced bathymetry after IHO B-12: depth positive metres, time UTC.

    ``verticalReferenceOfDepth`` decides what depth was measured from; a draft that the platform's
    sounder states is taken as the log's own offset when depths are below the transducer.
    """
    properties = _table(document.get("properties"))
    properties = {
        **properties,
        **_table(properties.get("trustedNode")),
    }  # edition 3 moved the node's own facts down
    said = str(properties.get("verticalReferenceOfDepth", "transducer")).lower()
    reference = (
        "surface"
        if any(w in said for w in ("water", "surface"))
        else "keel"
        if "keel" in said
        else "transducer"
    )
    lon, lat, depth, when = [], [], [], []
    for feature in document["features"]:
        place = _table(_table(feature).get("geometry")).get("coordinates")
        values = {str(k).lower(): v for k, v in _table(_table(feature).get("properties")).items()}
        place = place if isinstance(place, list) and len(place) >= 2 else [None, None]
        lon.append(_number(place[0]))
        lat.append(_number(place[1]))
        depth.append(_number(values.get("depth")))
        when.append(values.get("time"))
    offset = np.full(len(lon), np.nan)
    sensors = _table(properties.get("platform")).get("sensors")
    listed = [_table(s) for s in sensors] if isinstance(sensors, list) else []
    drafts = [_number(s.get("draft")) for s in listed if "ound" in str(s.get("type", "")).lower()]
    drafts = [d for d in drafts if 0 < d < np.inf]
    notes = [f"IHO B-12, depths from {reference}"]
    if reference == "transducer" and drafts:
        offset[:] = drafts[0]
        notes.append(f"the file states the sounder's draft: {drafts[0]:g} m")
    return _log(
        path.name, np.array(lon), np.array(lat), np.array(depth), _times(when),
        reference=reference, to_surface=offset, notes=notes,
    )  # fmt: skip


def read_vector(path: Path, options: TextOptions) -> Log:
    """Read points of any vector file GDAL knows: 3D points, or points with a depth attribute.

    Raises
    ------
    UnreadableError
        No driver reads it, or it has no points.
    AmbiguousError
        It is not clear which attribute is the depth, or its unit is not stated.
    """
    from reefscan.io.vectors import layer_table

    if path.suffix.lower() in PACKED and path.suffix.lower() != ".zip":
        with tempfile.TemporaryDirectory() as folder:
            inside = Path(folder) / f"{path.stem}{inner_suffix(path)}"
            inside.write_bytes(read_all(path))
            frame = layer_table(inside)
    else:
        frame = layer_table(path)
    if "geometry" not in frame:
        raise UnreadableError(f"{path.name}: a table without places; wanted soundings as points")
    frame = frame[frame.geometry.notna() & ~frame.geometry.is_empty]
    points = frame.explode(index_parts=False) if len(frame) else frame
    points = points[points.geom_type == "Point"] if len(points) else points
    if len(points) == 0:
        raise UnreadableError(f"{path.name}: no points in it; wanted soundings as points")
    crs = points.crs or options.crs
    if crs is None:
        bounds = points.total_bounds
        raise AmbiguousError(
            f"{path.name}: no coordinate system; say --crs", asks=which_crs(bounds[[0, 2]], bounds[[1, 3]])
        )
    points = points.set_crs(crs, allow_override=True).to_crs(4326)
    names = [str(c) for c in points.columns if c != "geometry"]
    columns = (
        parse_columns(options.columns, names) if options.columns else find_columns(["lon", "lat", *names])
    )
    index = columns.index if columns else {}
    shift = 0 if options.columns else 2
    depth = _depths(points, columns, names, shift, path.name, options.depth_unit)
    when = np.full(len(points), np.nan)
    if "time" in index:
        when = _times([None if pd.isna(v) else str(v) for v in points[names[index["time"] - shift]]])
    lon, lat = points.geometry.x.to_numpy(float), points.geometry.y.to_numpy(float)
    check_place(lon, lat, path.name)
    return _log(path.name, lon, lat, depth, when)


def _depths(
    points: Any, columns: Columns | None, names: list[str], shift: int, name: str, said: float | None
) -> Floats:
    """Depths (m, positive down) of the points: of an attribute, else of their third coordinate.

    Raises
    ------
    AmbiguousError
        It is not clear which attribute is the depth, or its unit is not stated.
    """
    index = columns.index if columns else {}
    field = index.get("depth", index.get("elev"))
    if field is not None and columns is not None:
        attribute = names[field - shift]
        values = pd.to_numeric(points[attribute], errors="coerce").to_numpy(float)
        unit = columns.depth_factor if columns.unit_said else said
        if unit is None:
            raise AmbiguousError(
                f"{name}: {attribute!r} states no unit; say --depth-unit m, ft or fathom",
                asks=which_unit(np.abs(values), "--depth-unit", "depths"),
            )
        return np.asarray((1.0 if "depth" in index else -1.0) * unit * values)
    if points.geometry.has_z.any():
        depth = np.asarray(shapely.get_z(points.geometry.to_numpy()))
        return -depth if np.nanmedian(depth) < 0 else depth
    raise AmbiguousError(
        f"{name}: no depth among {names}; say --columns depth_m=NAME",
        asks=Question(
            "--columns",
            f"Which of them holds the depths? {', '.join(names[:20])}. Write depth_m=NAME, or depth_ft=NAME.",
            free=True,
        ),
    )


def read_geojson(path: Path, options: TextOptions) -> Log:
    """Read a GeoJSON file: as B-12 if it is one, otherwise as any vector file."""
    document = parse_json(path)[0]
    return read_b12(path, document) if is_b12(document) else read_vector(path, options)
