"""Which feature lines are worth ink: a rough shore has thousands of short ones, and all of them hide the rest."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Set

import numpy as np
import shapely
from geopandas import GeoDataFrame
from numpy.typing import NDArray

from reefscan.render.marks import SYMBOLS, Kind


def drawn_features(
    features: Mapping[str, GeoDataFrame], *, listed: Set[str], band_m: tuple[float, float], most: int
) -> tuple[dict[str, GeoDataFrame], int]:
    """Keep the features of listed sites and the longest others that reach into the depth band.

    Parameters
    ----------
    features : mapping of GeoDataFrame
        With ``feature_id``, ``length_m``, ``depth_min_m``, ``depth_max_m`` where known.
    listed : set of str
        Feature ids of the listed sites: always drawn.
    band_m : tuple of float
        Depths, metres, positive down.
    most : int
        How many others are drawn.

    Returns
    -------
    dict of GeoDataFrame
    int
        How many were left out.
    """
    wanted: dict[str, np.ndarray] = {}
    lengths: list[np.ndarray] = []
    for name, frame in features.items():
        own = (
            frame["feature_id"].astype(str).isin(listed).to_numpy()
            if "feature_id" in frame
            else np.zeros(len(frame), bool)
        )
        wet = np.ones(len(frame), dtype=bool)
        if "depth_min_m" in frame and "depth_max_m" in frame:
            low, high = frame["depth_min_m"].to_numpy(float), frame["depth_max_m"].to_numpy(float)
            wet = ~((high < band_m[0]) | (low > band_m[1]))
        # computed only where it is needed: geopandas warns of lengths in degrees
        measured = "length_m" in frame
        length = (frame["length_m"] if measured else frame.geometry.length).to_numpy(float)
        length = np.where(wet & np.isfinite(length) & ~own, length, -1.0)
        wanted[name] = own
        lengths.append(length)
    every = np.concatenate(lengths) if lengths else np.zeros(0)
    shortest = np.sort(every)[-most] if len(every) > most else 0.0
    out: dict[str, GeoDataFrame] = {}
    left = 0
    for (name, frame), length in zip(features.items(), lengths, strict=True):
        keep = wanted[name] | (length >= max(shortest, 0.0)) & (length >= 0.0)
        left += int((~keep).sum())
        out[name] = frame[keep]
    return out, left


def lines_by_kind(
    features: Mapping[str, GeoDataFrame], crs: str, *, simplify_m: float = 0.0
) -> Iterator[tuple[Kind, list[NDArray[np.float64]]]]:
    """Lines and outer rings of the features of each kind: x and y in ``crs``, off by at most ``simplify_m``."""
    for kind in SYMBOLS.values():
        frame = features.get(kind.layer)
        if frame is None or len(frame) == 0:
            continue
        shapes = frame.geometry if frame.crs is None else frame.geometry.to_crs(crs)
        parts = shapely.get_parts(shapes.simplify(simplify_m).to_numpy() if simplify_m else shapes.to_numpy())
        rings = np.where(shapely.get_type_id(parts) == 3, shapely.get_exterior_ring(parts), parts)
        drawn = rings[np.isin(shapely.get_type_id(rings), (1, 2))]  # lines and rings
        yield kind, [shapely.get_coordinates(line) for line in drawn]
