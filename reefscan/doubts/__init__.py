"""The judges of doubts, one a file: how far each station looks like something else (rows in `reefscan.base.doubts`)."""

from __future__ import annotations

import importlib
from collections.abc import Callable

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.base.doubts import Doubt


def likeness(doubt: Doubt, stations: pd.DataFrame, cell_m: float) -> NDArray[np.float64]:
    """Judge the joined stations of a sheet (`reefscan.join.merge.merge`).

    Parameters
    ----------
    doubt : Doubt
    stations : DataFrame
    cell_m : float
        Side of a cell, metres.

    Returns
    -------
    ndarray
        0 (nothing of it) to 1 for each station.
    """
    judge: Callable[[pd.DataFrame, float], NDArray[np.float64]]
    judge = importlib.import_module(f"reefscan.doubts.{doubt.judge}").likeness
    return judge(stations, cell_m)
