"""The edge of a patch of other data: one cell wide, and straight along the rows or columns of the grid itself."""

from __future__ import annotations

import numpy as np
import pandas as pd

from reefscan.base.ramp import ramp
from reefscan.doubts.ruled import Floats, courses, of_feature

LONG_M = (70.0, 130.0)
LONG_CELLS = 16.0
"""Length of the course from which it may be one, and is; so many cells at the least: of few stations three lie on a line by chance."""

STRAIGHT_CELLS = (0.05, 0.02)
ALONG_DEG = (0.3, 0.15)
WIDE_CELLS = (3.0, 2.5)
"""Distance of its stations from one straight line (root mean square), angle to the rows or columns, and run of its face: where a course begins to be
one, and from where on it is. Patches put over ground read .01 cells, .03 degrees and 2 cells; of structure by four generators (tuning seeds, 2 700
stations on long courses) none is straighter than .06 cells, and rock does not know which way the rows run."""


def likeness(stations: pd.DataFrame, cell_m: float) -> Floats:
    """How far a feature is an edge in the data and none of the ground."""
    c = courses(stations)
    turn = np.degrees(np.abs((c.angle + np.pi / 4) % (np.pi / 2) - np.pi / 4))
    least = max(0.0, LONG_CELLS * cell_m - LONG_M[1])
    like = ramp(c.length, (LONG_M[0] + least, LONG_M[1] + least)) * ramp(c.off / cell_m, STRAIGHT_CELLS)
    like = like * ramp(turn, ALONG_DEG) * ramp(stations["run_m"].to_numpy() / cell_m, WIDE_CELLS)
    return of_feature(np.asarray(like), stations)
