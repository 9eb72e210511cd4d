"""Features as geographic tables: from sheet metres to GeoDataFrames with stated, rounded columns."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas
import numpy as np
from shapely.geometry import LineString, MultiLineString, Point
from shapely.geometry.base import BaseGeometry

from reefscan.base.doubts import DOUBTS
from reefscan.base.model import Sheet
from reefscan.join.merge import Feature

LAYERS = {"trough": "troughs", "ledge": "ledges", "rise": "rises"}

DECIMALS = {
    "length_m": 1, "height_m": 2, "height_typical_m": 2, "width_m": 1, "depth_min_m": 2, "depth_max_m": 2,
    "sinuosity": 2, **{doubt.column: 2 for doubt in DOUBTS},
    "axis_deg": 1, "facing_deg": 1,
}  # fmt: skip


def feature_tables(
    sheets: Sequence[tuple[Sheet, Sequence[Feature]]],
) -> dict[str, geopandas.GeoDataFrame]:
    """Make the layers ``troughs``, ``ledges`` and ``rises``.

    Troughs and ledges are lines (with branches: multilines), rises outlines of their foot. One sheet keeps its
    own CRS, several come in WGS 84. Azimuths are true.
    """
    out = {}
    for kind, layer in LAYERS.items():
        frames = [_frame(sheet, kind, features) for sheet, features in sheets]
        if len(frames) == 1:
            out[layer] = frames[0]
            continue
        import pandas as pd

        frames = [frame.to_crs("EPSG:4326") for frame in frames]
        filled = [frame for frame in frames if len(frame)]
        out[layer] = pd.concat(filled, ignore_index=True) if filled else frames[0]
    return out


def _frame(sheet: Sheet, kind: str, features: Sequence[Feature]) -> geopandas.GeoDataFrame:
    mine = sorted((f for f in features if f.kind == kind), key=lambda f: str(f.facts["feature_id"]))
    records, shapes = [], []
    for feature in mine:
        facts = dict(feature.facts)
        turn = facts.pop("turn")
        axis, facing = facts.pop("axis"), facts.pop("facing")
        facts["axis_deg"] = (axis + turn) % 180.0
        facts["facing_deg"] = (facing + turn) % 360.0
        records.append(
            {
                name: round(value, DECIMALS[name]) if name in DECIMALS else value
                for name, value in facts.items()
            }
        )
        shapes.append(_shape(feature))
    if not records:
        names = ("feature_id", *DECIMALS, "branches", "stations")
        empty = {name: np.zeros(0, dtype=object if name == "feature_id" else float) for name in names}
        return geopandas.GeoDataFrame(empty, geometry=geopandas.GeoSeries([], crs=sheet.crs), crs=sheet.crs)
    return geopandas.GeoDataFrame(records, geometry=shapes, crs=sheet.crs)


def _shape(feature: Feature) -> BaseGeometry:
    if feature.kind == "rise":
        x, y = feature.lines[0][0]
        return Point(x, y).buffer(max(1.0, 0.5 * float(feature.facts["width_m"])), quad_segs=6)
    lines = [LineString(line) if len(line) > 1 else _dash(line[0], feature) for line in feature.lines]
    return MultiLineString(lines)


def _dash(point: np.ndarray, feature: Feature) -> LineString:
    """A feature of one station: a dash along its axis, as long as it is wide, 10 m at the most."""
    angle = np.radians(float(feature.facts["axis"]))
    half = max(1.0, min(5.0, 0.5 * float(feature.facts["width_m"])))
    step = np.array([np.sin(angle), np.cos(angle)]) * half
    return LineString([point - step, point + step])
