"""What can be no joint of two surveys: ground that falls away to both sides, as from a wall, a breakwater or a ridge, or is the shore's edge.

Where two surveys disagree there is one step, and the ground goes on at its new level behind it. What stands up has a second
step behind the first, falling the other way: however straight it runs, along a row or a column too, it is no joint. Nor is what has dry ground behind it: surveys join in the water.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Floats = NDArray[np.float64]

CREST_M = 20.0
"""Level ground between the two faces at most: a breakwater's crest is some metres broad (common practice, no source), a strip
of a survey that lies too high is three times the depth and more."""

ALIKE = 0.5
"""Least height of the lower face, as a share of the higher one: what stands up falls away to both sides by about as much."""

ABREAST_M = 25.0
"""How far along the other face may be told from: stations stand half the spacing of nets apart."""

DRY = 0.5
"""From this much shore on its top a face is a quay's, a sea wall's or a beach's edge."""

OPPOSITE_DEG = 30.0
"""How far from opposite the two may face."""


def no_joint(table: pd.DataFrame, asked: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """True for all stations of a ledge of which at least half of those asked have an opposite face, or dry ground, close behind them.

    Parameters
    ----------
    table : DataFrame
        Stations: ``kind``, ``feature_id``, ``x``, ``y``, ``width_m`` (of the face), ``height_m`` (m), ``facing`` (degrees from
        grid north, downhill), ``shore`` (0 to 1).
    asked : ndarray of bool, shape (n,)
        Stations by which a feature is told; features without any are answered False.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    out = np.zeros(len(table), np.bool_)
    ledge = (table["kind"] == "ledge").to_numpy()
    rows, all_of = np.flatnonzero(asked & ledge), np.flatnonzero(ledge)
    if not len(rows):
        return out
    xy = table[["x", "y"]].to_numpy(dtype=np.float64)
    facing = np.radians(table["facing"].to_numpy(dtype=np.float64))
    width, height = table["width_m"].to_numpy(dtype=np.float64), table["height_m"].to_numpy(dtype=np.float64)
    farthest = CREST_M + float(width[all_of].max())
    near = cKDTree(xy[all_of]).query_ball_point(xy[rows], float(np.hypot(farthest, ABREAST_M)))
    one = np.repeat(rows, [len(found) for found in near])
    two = all_of[np.concatenate([np.asarray(found, dtype=np.intp) for found in near])]
    east, north = np.sin(facing[one]), np.cos(facing[one])
    dx, dy = (xy[two] - xy[one]).T
    behind, along = -(dx * east + dy * north), dx * north - dy * east
    opposite = np.cos(facing[one] - facing[two]) <= -np.cos(np.radians(OPPOSITE_DEG))
    close = (
        (behind > 0.0) & (behind <= CREST_M + 0.5 * (width[one] + width[two])) & (np.abs(along) <= ABREAST_M)
    )
    lower, higher = np.minimum(height[one], height[two]), np.maximum(height[one], height[two])
    pair = opposite & close & (lower >= ALIKE * higher)
    out[one[pair]] = True
    out[rows] |= table["shore"].to_numpy()[rows] >= DRY
    for on in table.groupby("feature_id", sort=False).indices.values():
        told = on[asked[on]]
        if len(told) and 2 * int(out[told].sum()) >= len(told):
            out[on] = ledge[on]
        else:
            out[on] = False
    return out
