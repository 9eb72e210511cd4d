"""The grid beside the depths of a chart: another datum, an older survey or a wrong sign shows here before anyone sails."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely

from reefscan.base.model import GridSource
from reefscan.io.georef import transformer
from reefscan.pipeline.manmade import depths_at
from reefscan.surroundings.known import Charted
from reefscan.surroundings.shapes import Floats

FEW = 5
"""Of fewer places nothing is said."""

PLACES = 2_000
"""So many cells of a sheet are held against the depth areas, on an even lattice: reading them takes a share of a scan's time."""


def compared(charted: Charted, sources: Sequence[GridSource]) -> dict[str, Any]:
    """What ``run.json`` says of the grid beside charted soundings and depth areas; empty where the chart has neither.

    ``soundings``: how many lie on the grid (``on_grid``), the middle difference (``middle_m``: the grid's depth less the chart's) and
    the middle half of them (``half_m``). ``depth_areas``: how many cells were looked at in such areas (``on_grid``) and the shares that
    are shallower and deeper than the chart has it there, with the middle difference of those.
    """
    facts: dict[str, Any] = {}
    if len(charted.soundings):
        facts["soundings"] = _at_soundings(charted.soundings, sources)
    if len(charted.areas):
        facts["depth_areas"] = _in_areas(charted, sources)
    return facts


def _at_soundings(soundings: Floats, sources: Sequence[GridSource]) -> dict[str, Any]:
    lon, lat, depth = soundings.T
    grid = np.full(len(lon), np.nan)
    for source in sorted(sources, key=lambda source: source.sheet.cell_m):
        x, y = transformer("EPSG:4326", source.sheet.crs).transform(lon, lat)
        at = np.flatnonzero(np.isnan(grid) & np.isfinite(x) & np.isfinite(y))
        grid[at] = depths_at(source, np.asarray(x)[at], np.asarray(y)[at])
    apart = (grid - depth)[~np.isnan(grid)]
    if not len(apart):
        return {"on_grid": 0}
    low, middle, high = (round(float(v), 2) for v in np.percentile(apart, (25, 50, 75)))
    return {"on_grid": len(apart), "middle_m": middle, "half_m": [low, high]}


def _in_areas(charted: Charted, sources: Sequence[GridSource]) -> dict[str, Any]:
    tree = shapely.STRtree(charted.areas)
    beyond: list[Floats] = []
    for source in sources:
        sheet, extent = source.sheet, source.extent
        step = max(1, int(np.ceil(np.sqrt(extent.height * extent.width / PLACES))))
        row, col = (
            axis.ravel() for axis in np.mgrid[
                extent.row + step // 2 : extent.row_end : step, extent.col + step // 2 : extent.col_end : step
            ]
        )  # fmt: skip
        x, y = np.asarray(sheet.x_of(col)), np.asarray(sheet.y_of(row))
        lon, lat = transformer(sheet.crs, "EPSG:4326").transform(x, y)
        first = charted.areas[0].centroid.x
        lon = first + (np.asarray(lon) - first + 180.0) % 360.0 - 180.0
        place, area = tree.query(shapely.points(lon, lat), predicate="intersects")
        at, where = np.unique(place, return_inverse=True)
        depth = depths_at(source, x[at], y[at])[where]
        least, greatest = charted.depths_m[area].T
        over = np.where(depth < least, depth - least, np.maximum(0.0, depth - greatest))
        # on the line between two areas a cell belongs to both: it differs where it differs from both
        order = np.lexsort((np.abs(over), where))
        beyond.append(over[order[np.unique(where[order], return_index=True)[1]]])
    over = np.concatenate(beyond)
    over = over[~np.isnan(over)]
    out: dict[str, Any] = {"on_grid": len(over)}
    for name, which in (("shallower", over < 0), ("deeper", over > 0)):
        if len(over):
            out[name] = round(float(which.mean()), 3)
            out[f"{name}_by_m"] = round(float(np.median(np.abs(over[which]))), 2) if which.any() else 0.0
    return out


def compared_words(facts: Mapping[str, Any]) -> list[str]:
    """What to say of the grid beside a chart; nothing where too few places lie on both."""
    said = []
    found = facts.get("soundings", {})
    if found.get("on_grid", 0) >= FEW:
        middle, (low, high) = found["middle_m"], found["half_m"]
        way = "deeper" if middle > 0 else "shallower"
        said.append(
            f"at {found['on_grid']} charted soundings the grid is {abs(middle):g} m {way} (half of them from {low:g} to {high:g} m; "
            "positive: the grid is deeper), which may be another datum, an older survey or a wrong sign"
        )
    found = facts.get("depth_areas", {})
    if found.get("on_grid", 0) >= FEW:
        parts = [
            f"{found[way]:.0%} {way}"
            + (f" (by {found[f'{way}_by_m']:g} m, the middle one)" if found[way] else "")
            for way in ("shallower", "deeper")
        ]
        said.append(
            f"of {found['on_grid']} cells in depth areas of the chart, {' and '.join(parts)} than the chart has it there"
        )
    return said
