"""Robust block reduction: many soundings along a track become one point a block.

Soundings lie dense along a track and sparse across. Without reduction a surface chases the noise
along the track; the block's robust mean, kept at the soundings' mean place, does not shave a slope.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import Sheet, Window
from reefscan.base.spread import robust_sd

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Blocks:
    """One row a block that holds soundings.

    Parameters
    ----------
    x, y : ndarray of float
        Mean place of its soundings (m).
    elev : ndarray of float
        Robust mean elevation (m, positive up).
    count : ndarray of int
        Soundings in the block.
    """

    x: Floats
    y: Floats
    elev: Floats
    count: NDArray[np.int64]

    def take(self, rows: NDArray[np.bool_] | NDArray[np.int64]) -> Blocks:
        """Some of the blocks."""
        return Blocks(self.x[rows], self.y[rows], self.elev[rows], self.count[rows])


def block_keys(x: Floats, y: Floats, side_m: float) -> NDArray[np.int64]:
    """One number a block of a world-aligned lattice of squares with the given side."""
    col = np.floor(x / side_m).astype(np.int64)
    row = np.floor(-y / side_m).astype(np.int64)
    return row * np.int64(1 << 31) + col


def reduce_blocks(x: Floats, y: Floats, elev: Floats, *, side_m: float) -> Blocks:
    """Robust mean per block: soundings far from their block's median have no say.

    Parameters
    ----------
    x, y, elev : ndarray of float, shape (n,)
        Kept soundings, reduced; no NaN.
    side_m : float
        Side of a block (m); blocks are aligned to whole multiples of it.

    Returns
    -------
    Blocks
    """
    if x.size == 0:
        return Blocks(x, y, elev, np.zeros(0, np.int64))
    key = block_keys(x, y, side_m)
    order = np.lexsort((elev, key))
    key, z = key[order], elev[order]
    first = np.flatnonzero(np.r_[True, key[1:] != key[:-1]])
    count = np.diff(np.r_[first, key.size])
    median = 0.5 * (z[first + (count - 1) // 2] + z[first + count // 2])
    quarter = z[first + count // 4], z[first + (3 * (count - 1)) // 4]
    spread = np.maximum(0.2, 2.0 * np.abs(quarter[1] - quarter[0]))
    group = np.repeat(np.arange(first.size), count)
    weight = (np.abs(z - median[group]) <= spread[group]).astype(float)
    total = np.maximum(np.bincount(group, weight), 1e-9)
    empty = total < 0.5  # two soundings far apart: the mean of both
    weight[empty[group]] = 1.0
    total = np.bincount(group, weight)
    x0, y0 = float(x.mean()), float(y.mean())
    means = [np.bincount(group, weight * v) / total for v in (x[order] - x0, y[order] - y0, z)]
    return Blocks(means[0] + x0, means[1] + y0, means[2], count)


def count_cells(x: Floats, y: Floats, sheet: Sheet, window: Window) -> NDArray[np.int32]:
    """Number of soundings in each cell of a window."""
    col = np.floor((x - sheet.x_phase_m) / sheet.cell_m).astype(np.int64) - window.col
    row = np.floor((sheet.y_phase_m - y) / sheet.cell_m).astype(np.int64) - window.row
    inside = (row >= 0) & (row < window.height) & (col >= 0) & (col < window.width)
    flat = np.bincount(row[inside] * window.width + col[inside], minlength=window.height * window.width)
    return flat.reshape(window.height, window.width).astype(np.int32)


def sounding_noise(depth: Floats, breaks: NDArray[np.bool_]) -> float:
    """Noise of one sounding (m, 1 sigma) from second differences along the track.

    Robust, so that ledges do not count; roughness shorter than two soundings does: it looks
    the same as noise.
    """
    if depth.size < 8:
        return 0.1
    second = depth[:-2] - 2.0 * depth[1:-1] + depth[2:]
    second = second[~(breaks[1:-1] | breaks[2:])]
    if second.size < 5:
        return 0.1
    mad = robust_sd(second) / np.sqrt(6.0)
    # Readings in whole decimetres or feet can leave a median of zero: the step's own noise remains.
    steps = np.abs(np.diff(depth))
    steps = steps[steps > 1e-6]
    grain = float(np.percentile(steps, 5)) / np.sqrt(12.0) if steps.size else 0.0
    return float(max(mad, min(grain, 0.3), 0.01))
