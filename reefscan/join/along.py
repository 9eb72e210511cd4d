"""What the stations along a feature tell of it as a whole."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.base.doubts import DOUBTS

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]


def measured_along(table: pd.DataFrame, code: Whole, count: int) -> dict[str, Floats]:
    """Gather what the stations of each feature say together: one value a feature of every fact.

    Parameters
    ----------
    table : DataFrame
        Stations.
    code : ndarray of int
        Number of the feature of each station, 0 to ``count`` - 1; none is empty.
    count : int
    """
    order = np.argsort(code, kind="stable")
    start = np.searchsorted(code[order], np.arange(count))
    size = np.diff(np.append(start, len(code)))

    def column(name: str) -> Floats:
        return np.asarray(table[name].to_numpy(dtype=np.float64)[order])

    def mean(values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, start) / size)

    def median(values: Floats) -> Floats:
        ranked = values[np.lexsort((values, code[order]))]
        return np.asarray(0.5 * (ranked[start + (size - 1) // 2] + ranked[start + size // 2]))

    def direction(angle: Floats, turn: float) -> Floats:
        full = np.radians(angle * (360.0 / turn))
        mean_full = np.degrees(np.arctan2(mean(np.sin(full)), mean(np.cos(full))))
        return np.asarray(mean_full * (turn / 360.0) % turn)

    height, level = column("height_m"), column("level_m")
    return {
        "length_m": column("length_m")[start],
        "height_m": np.maximum.reduceat(height, start),
        "height_typical_m": median(height),
        "width_m": median(column("width_m")),
        "axis": direction(column("axis"), 180.0),
        "facing": direction(column("facing"), 360.0),
        "turn": mean(column("turn")),
        "depth_min_m": -np.fmax.reduceat(level, start),
        "depth_max_m": -np.fmin.reduceat(level, start),
        "sinuosity": column("sinuosity")[start],
        **{doubt.column: mean(column(doubt.column)) for doubt in DOUBTS},
    }
