"""Open water in one direction for every cell of a mask of land.

The mask is swept once, line by line along the direction, so the work is one visit a cell whatever the reach. A line follows whole
cells: it strays half a cell from the true one at the most. Misleads where land is narrower than a cell.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray


def open_water_m(
    land: NDArray[np.bool_], cell_m: float, azimuth_deg: float, reach_m: float
) -> NDArray[np.float32]:
    """Distance from the centre of each cell to the edge of the first land in a direction (fetch).

    Parameters
    ----------
    land : ndarray of bool, shape (rows, cols)
        True on land; rows run north to south.
    cell_m : float
        Side of a cell, metres.
    azimuth_deg : float
        Direction looked in, degrees clockwise from grid north.
    reach_m : float
        Beyond this nothing is known: the most that is given, also where a line leaves the mask.

    Returns
    -------
    ndarray of float32, shape (rows, cols)
        Metres; NaN on land.

    Notes
    -----
    The definition (distance over open water along a bearing) is common practice, no source.

    Examples
    --------
    >>> open_water_m(np.array([[True, False, False, False]]), 10.0, 270.0, 500.0).tolist()
    [[nan, 5.0, 15.0, 25.0]]
    """
    east, south = math.sin(math.radians(azimuth_deg)), -math.cos(math.radians(azimuth_deg))
    if abs(east) > abs(south):  # of a mask on its side columns are rows, and east is south
        return np.ascontiguousarray(_swept(land.T, cell_m, south, east, reach_m).T)
    return _swept(land, cell_m, east, south, reach_m)


def _swept(
    land: NDArray[np.bool_], cell_m: float, east: float, south: float, reach_m: float
) -> NDArray[np.float32]:
    """The same for a direction in which rows change faster than columns."""
    rows, cols = land.shape
    step = cell_m / abs(south)
    out = np.empty((rows, cols), np.float32)
    # the row farthest ahead comes first; each row behind it lies aside by so many columns
    aside = np.rint(-np.arange(rows) * east / abs(south)).astype(np.intp)
    base = int(max(0, aside.max()))
    lines = np.full(cols + base - int(min(0, aside.min())), reach_m, np.float32)
    for i in range(rows):
        row = i if south < 0 else rows - 1 - i
        part = lines[base - aside[i] : base - aside[i] + cols]
        np.minimum(part + np.float32(step), np.float32(reach_m), out=part)
        part[land[row]] = -0.5 * step
        out[row] = np.where(land[row], np.nan, part)
    return out
