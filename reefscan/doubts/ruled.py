"""Ruled by people: a course that is straight, even in height and even in gradient, all three together."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reefscan.base.ramp import ramp
from reefscan.doubts.courses import Floats, courses, of_feature

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
    c, slack = courses(stations), STRAIGHT_CELLS * cell_m
    straight = ramp(c.off, (STRAIGHT_M[0] + slack, STRAIGHT_M[1] + slack))
    return of_feature(np.asarray(ramp(c.length, LONG_M) * straight * ramp(c.uneven, EVEN)), stations)
