"""The ranked list as GeoJSON (RFC 7946): WGS 84, longitude first, equal lists as equal bytes.

Written here rather than through GDAL: nested terms and flags, fixed order of keys, no timestamps.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping
from typing import Any

from reefscan.base.caution import SHORT
from reefscan.base.columns import CANDIDATE
from reefscan.base.datum import NOT_STATED, Datum

SCHEMA_VERSION = 1
SCHEMA = "reefscan-candidates"

_PLACE = frozenset({"lon", "lat", "row", "col"})

PROPERTIES = (
    "rank", "second_to", "score", "confidence", "terms", "flags", "why", "depth_ft", "datum", "lands_within_m",
    *(column.name for column in CANDIDATE if column.name not in _PLACE), "caution",
)  # fmt: skip
"""Order of the properties; other columns of the table follow by name."""


def to_text(sites: Iterable[Mapping[str, Any]], *, caution: str = "", datum: Datum = NOT_STATED) -> str:
    """Write ranked sites as a FeatureCollection.

    Parameters
    ----------
    sites : iterable of mappings
        In rank order; ``lon`` and ``lat`` in degrees (7 decimals), the rest become properties.
        NaN and missing values become null.
    caution : str
        Carried as a member of the collection; each feature has the short one.
    datum : Datum
        What depths are counted from: a member of the collection, and in short of each feature.

    Returns
    -------
    str
        GeoJSON, one feature a line.
    """
    lines = [json.dumps(_feature(site, datum), ensure_ascii=False, allow_nan=False) for site in sites]
    head = json.dumps(
        {
            "type": "FeatureCollection",
            "schema": SCHEMA,
            "schema_version": SCHEMA_VERSION,
            "caution": caution,
            "datum": datum.top,
        },
        ensure_ascii=False,
    )
    body = ",\n".join(lines)
    return f'{head[:-1]}, "features": [\n{body}\n]}}\n' if lines else f'{head[:-1]}, "features": []}}\n'


def _feature(site: Mapping[str, Any], datum: Datum) -> dict[str, Any]:
    depth = _plain(site.get("depth_m"))
    feet = None if depth is None else round(depth / 0.3048, 1)
    values = {**site, "depth_ft": feet, "datum": datum.short, "caution": SHORT}
    others = sorted(str(name) for name in site if name not in PROPERTIES and name not in _PLACE)
    return {
        "type": "Feature",
        "id": str(site["id"]),
        "geometry": {"type": "Point", "coordinates": [_degrees(site["lon"]), _degrees(site["lat"])]},
        "properties": {name: _plain(values.get(name)) for name in (*PROPERTIES, *others)},
    }


def _degrees(value: Any) -> float:
    return round(float(value), 7)


def _plain(value: Any) -> Any:
    """numpy and pandas values as JSON has them; NaN, NaT and NA become null."""
    if value is None or isinstance(value, (str, bool)):
        return value
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float):
        # -0.0 and 0.0 are equal values and must be equal bytes.
        return None if not math.isfinite(value) else value + 0.0
    return value if isinstance(value, (int, str, bool)) else None
