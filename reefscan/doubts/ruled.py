"""Ruled by people: a course that is straight, even in height and even in gradient, all three together.

What is read of a course here, other judges of courses use too.
"""

from __future__ import annotations

from dataclasses import dataclass

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


@dataclass(frozen=True)
class Courses:
    """Of each station: length of its course (m), distance of its stations from one straight line (root mean square, m), angle of that line
    (radians, counter-clockwise from east), and spread of heights and of gradients over their mean, added up."""

    length: Floats
    off: Floats
    angle: Floats
    uneven: Floats


def courses(stations: pd.DataFrame) -> Courses:
    """The course about each of the joined stations of a sheet."""
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
    uneven = np.zeros(n)
    for name in ("height_m", "steep_deg"):
        value = stations[name].to_numpy(dtype=np.float64)
        middle = mean(value[j])
        uneven += np.sqrt(np.maximum(0.0, mean((value[j] - middle[i]) ** 2))) / middle
    return Courses(last - first, off, angle, uneven)


def of_feature(like: Floats, stations: pd.DataFrame) -> Floats:
    """Likeness by station, no less than the middle of its feature: the ends of a course see half of it. A rise has no course."""
    like = np.where(stations["kind"].to_numpy() == "rise", 0.0, like)
    middle = pd.Series(like).groupby(stations["feature_id"].to_numpy()).transform("median").to_numpy()
    return np.asarray(np.maximum(like, middle))


def likeness(stations: pd.DataFrame, cell_m: float) -> Floats:
    """How far the course of a feature is straight, even in height and gradient, and long enough that chance does not make it so.

    Dredged cuts, trenches and survey seams are ruled; rock is straight or even, seldom both.
    """
    c, slack = courses(stations), STRAIGHT_CELLS * cell_m
    straight = ramp(c.off, (STRAIGHT_M[0] + slack, STRAIGHT_M[1] + slack))
    return of_feature(np.asarray(ramp(c.length, LONG_M) * straight * ramp(c.uneven, EVEN)), stations)
