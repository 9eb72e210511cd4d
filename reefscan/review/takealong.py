"""From ranked or picked sites to waypoints with names a person can tell apart on a plotter."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from reefscan.io.out.waypoints import Waypoint
from reefscan.score.reasons import length_words

FIELDS = ("rank", "score", "confidence", "height_m", "width_m", "off_m", "cross_deg", "facing_deg", "position_m",
          "cell_m", "id", "feature_id", "source", "note")  # fmt: skip
"""What goes along besides name, place, depth and words, in this order."""


def waypoints_of(table: pd.DataFrame, unit: str = "m") -> list[Waypoint]:
    """Name each site by its pick, else by rank and kind: the rank first, so that a cut name still differs.

    Depths in words are in ``unit``, as in the reasons.
    """
    digits = len(str(len(table)))
    return [_point(site, digits, unit) for site in table.to_dict("records")]


def _point(site: dict[Any, Any], digits: int, unit: str) -> Waypoint:
    rank = site.get("rank")
    kind = str(site.get("kind") or "site")
    known = isinstance(rank, (int, float)) and math.isfinite(rank)
    name = str(site.get("name") or "") or (
        f"{int(rank):0{digits}d} {kind}" if known and rank is not None else kind
    )
    depth = site.get("depth_m")
    flags = site.get("flags")
    words = [str(site.get("note") or ""), _text(site.get("why"))]
    if isinstance(flags, (list, tuple)) and flags:
        words.append("mind: " + ", ".join(str(f) for f in flags))
    fields = {key: int(site[key]) if key == "rank" and known else site[key] for key in FIELDS if key in site}
    depth_m = None if depth is None or not math.isfinite(depth) else float(depth)
    return Waypoint(
        name=name,
        lon=float(site["lon"]),
        lat=float(site["lat"]),
        depth_m=depth_m,
        depth_words="" if depth_m is None else length_words(depth_m, unit),
        text="; ".join(w for w in words if w),
        kind=kind,
        fields={k: _text(v) if isinstance(v, str) or v is None else v for k, v in fields.items()},
    )


def _text(value: Any) -> str:
    """Text of a cell, empty where pandas holds a blank."""
    return value if isinstance(value, str) else ""
