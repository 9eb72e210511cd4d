"""Ruled by people: a course that is straight, even in height and even in gradient, all three together."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.base.ramp import ramp
from reefscan.kernels.near import pairs_within

Floats = NDArray[np.float64]

WINDOW_M = 80.0
"""Stations of one feature within this distance to either side are compared."""

LONG_M = (70.0, 130.0)
STRAIGHT_M = (1.1, 0.6)
EVEN = (0.09, 0.05)
"""Length of the course; distance of its stations from one straight line (root mean square; and so many parts of a cell besides); spread of
their heights and of their gradients over the mean, added up: where a course begins to look ruled, and from where on it does. Planted
seabeds, tuning seeds: trenches and channels have spreads of .03 to .05, nine in ten pieces of gullies and ledges more than .08."""

STRAIGHT_CELLS = 0.1


def likeness(stations: pd.DataFrame, cell_m: float) -> Floats:
    """How far the course of a feature is straight, even in height and gradient, and long enough that chance does not make it so.

    Dredged cuts, trenches and survey seams are ruled; rock is straight or even, seldom both.
    """
    east, north = stations["x"].to_numpy(), stations["y"].to_numpy()
    n, label = len(stations), pd.factorize(stations["feature_id"])[0]
    i, j = pairs_within(east, north, WINDOW_M)
    same = label[i] == label[j]
    i, j = i[same], j[same]
    i, j = np.concatenate([i, j, np.arange(n)]), np.concatenate([j, i, np.arange(n)])
    count = np.bincount(i, minlength=n)

    def mean(values: Floats) -> Floats:
        return np.asarray(np.bincount(i, values, n) / count)

    x, y = east[j] - east[i], north[j] - north[i]
    mx, my = mean(x), mean(y)
    angle = 0.5 * np.arctan2(2.0 * (mean(x * y) - mx * my), mean(x * x) - mx**2 - mean(y * y) + my**2)
    cos, sin = np.cos(angle)[i], np.sin(angle)[i]
    along, across = x * cos + y * sin, y * cos - x * sin
    off = np.sqrt(np.maximum(0.0, mean(across**2) - mean(across) ** 2))
    first, last = np.zeros(n), np.zeros(n)
    np.minimum.at(first, i, along)
    np.maximum.at(last, i, along)
    length, uneven = last - first, np.zeros(n)
    for name in ("height_m", "steep_deg"):
        value = stations[name].to_numpy(dtype=np.float64)
        middle = mean(value[j])
        uneven += np.sqrt(np.maximum(0.0, mean((value[j] - middle[i]) ** 2))) / middle
    slack = STRAIGHT_CELLS * cell_m
    like = (
        ramp(length, LONG_M) * ramp(off, (STRAIGHT_M[0] + slack, STRAIGHT_M[1] + slack)) * ramp(uneven, EVEN)
    )
    like[stations["kind"].to_numpy() == "rise"] = 0.0
    # the ends of a course see half of it: all of a feature is what its middle is
    table = pd.Series(like).groupby(label)
    return np.asarray(np.maximum(like, table.transform("median").to_numpy()))
