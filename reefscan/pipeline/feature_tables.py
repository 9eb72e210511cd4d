"""Features as geographic tables: from sheet metres to GeoDataFrames with stated, rounded columns."""

from __future__ import annotations

from collections.abc import Sequence

import geopandas
import numpy as np
import shapely
from numpy.typing import NDArray

from reefscan.base.doubts import DOUBTS
from reefscan.base.model import Sheet
from reefscan.join.merge import Features

LAYERS = {"trough": "troughs", "ledge": "ledges", "rise": "rises"}

DECIMALS = {
    "length_m": 1, "height_m": 2, "height_typical_m": 2, "width_m": 1, "depth_min_m": 2, "depth_max_m": 2,
    "sinuosity": 2, **{doubt.column: 2 for doubt in DOUBTS},
    "axis_deg": 1, "facing_deg": 1,
}  # fmt: skip


def feature_tables(
    sheets: Sequence[tuple[Sheet, Sequence[Features]]],
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


def _frame(sheet: Sheet, kind: str, features: Sequence[Features]) -> geopandas.GeoDataFrame:
    mine = next((each for each in features if each.kind == kind), None)
    if mine is None:
        names = ("feature_id", *DECIMALS, "branches", "stations")
        empty = {name: np.zeros(0, dtype=object if name == "feature_id" else float) for name in names}
        return geopandas.GeoDataFrame(empty, geometry=geopandas.GeoSeries([], crs=sheet.crs), crs=sheet.crs)
    facts, turn = mine.facts.drop(columns=["turn", "axis", "facing"]), mine.facts["turn"]
    facts["axis_deg"] = (mine.facts["axis"] + turn) % 180.0
    facts["facing_deg"] = (mine.facts["facing"] + turn) % 360.0
    facts = facts.round(DECIMALS)
    frame = geopandas.GeoDataFrame(facts, geometry=_shapes(mine), crs=sheet.crs)
    return frame.sort_values("feature_id", kind="stable", ignore_index=True)


def _shapes(features: Features) -> NDArray[np.object_]:
    """Lines with their branches; of rises the outlines of their feet."""
    lines, facts = features.lines, features.facts
    width, axis = facts["width_m"].to_numpy(), np.radians(facts["axis"].to_numpy())
    xy, size = features.xy[lines.way], np.diff(lines.start)
    if features.kind == "rise":
        made = shapely.buffer(shapely.points(xy), np.maximum(1.0, 0.5 * width), quad_segs=6)
    else:
        # a feature of one station: a dash along its axis, as long as it is wide, 10 m at the most
        of = np.repeat(np.arange(len(facts)), np.diff(lines.first))
        half = np.clip(0.5 * width, 1.0, 5.0)[of]
        step = np.column_stack([np.sin(axis[of]), np.cos(axis[of])]) * half[:, None]
        xy = np.repeat(xy, np.repeat(np.where(size > 1, 1, 2), size), axis=0)
        path = np.repeat(np.arange(len(size)), np.maximum(size, 2))
        first = np.searchsorted(path, np.flatnonzero(size == 1))
        xy[first] -= step[size == 1]
        xy[first + 1] += step[size == 1]
        made = shapely.multilinestrings(shapely.linestrings(xy, indices=path), indices=of)
    return np.asarray(made, dtype=object)
