"""Lines on the seabed, and how far every cell is from them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Grid = NDArray[np.float64]
STEP = 0.5
"""Metres between the points of a line."""


def winding(
    rng: np.random.Generator, length_m: float, *, swing_rad: float, wave_m: float, turn_rad: float
) -> Grid:
    """A line of given length whose heading swings by ``swing_rad`` over ``wave_m`` and turns ``turn_rad`` in all; any bearing."""
    s = np.arange(0, length_m, STEP)
    heading = rng.uniform(0, 2 * np.pi) + turn_rad * s / length_m
    heading = heading + swing_rad * np.sin(2 * np.pi * s / wave_m + rng.uniform(0, 2 * np.pi))
    xy = np.stack([np.cumsum(np.sin(heading)), np.cumsum(np.cos(heading))], -1) * STEP
    return np.asarray(xy - xy.mean(0))


def frame(line: Grid, x: Grid, y: Grid) -> tuple[Grid, Grid, NDArray[np.intp]]:
    """Distance to a line, the same with a sign (positive right of its heading), and the index of the nearest point."""
    dist, index = cKDTree(line).query(np.stack([x.ravel(), y.ravel()], -1))
    tangent = np.gradient(line, axis=0) if len(line) > 1 else np.array([[0.0, 1.0]])
    off = np.stack([x.ravel(), y.ravel()], -1) - line[index]
    sign = np.sign(off[:, 0] * tangent[index, 1] - off[:, 1] * tangent[index, 0])
    return dist.reshape(x.shape), (dist * sign).reshape(x.shape), index.reshape(x.shape)


def smooth(t: Grid) -> Grid:
    """Half a cosine from 0 at t <= 0 to 1 at t >= 1."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(t, 0, 1)))


def taper(n: int, fade_m: float) -> Grid:
    """1 along a line, falling to 0 at both ends over ``fade_m``."""
    s = np.arange(n) * STEP
    return smooth(np.minimum(s, s[-1] - s) / fade_m)
