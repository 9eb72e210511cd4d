"""Ground that changes from cell to cell: weed, fish, a false bottom, or soundings gone wild.

Rock hangs together: the farther apart two cells, the more they differ, at least over some cells. Where every cell, or every
blob of a few cells, has a height of its own, neighbours differ nearly as much as cells that are far apart.
Such heights are told by nothing but one ping each, and no net can be laid by them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

JUMBLED = (0.26, 0.30)
"""Semivariance at one cell over that at four, from which on ground is taken for jumbled a little, and wholly. Steps and slopes have no more
than a quarter however sharp they are; blobs of three cells have a third, cells of their own all of it."""

TALL = (0.05, 0.09)
"""Standard deviation that the cells themselves would have, in parts of a structure's height, from which on they may have made it."""

SURVEY_M = (0.25, 0.5)
"""Noise (m) that is all put down to the survey, and from which on none is: that much is the jumble itself, where it is so wide that
it was taken for noise."""


def jumbled(semivariance: Floats, noise_m: Floats, alike: Floats) -> tuple[Floats, Floats]:
    """How far ground is jumbled, 0 to 1, and by how much its cells stray (m), the survey's own noise taken out.

    Parameters
    ----------
    semivariance : ndarray, shape (n, 4)
        Of `reefscan.kernels.variogram`, square metres.
    noise_m : ndarray, shape (n,)
        Noise of one cell, metres.
    alike : ndarray, shape (n, 4)
        Correlation of the noise at the same lags.
    """
    low, high = SURVEY_M
    survey = (noise_m * np.clip((high - noise_m) / (high - low), 0.0, 1.0))[:, None] ** 2 * (1.0 - alike)
    own = np.maximum(np.nan_to_num(semivariance - survey), 0.0)
    ratio = own[:, 0] / np.maximum(own[:, 2], 1e-9)
    like = np.clip((ratio - JUMBLED[0]) / (JUMBLED[1] - JUMBLED[0]), 0.0, 1.0)
    return np.where(own[:, 2] > 1e-6, like, 0.0), np.sqrt(own[:, 0])


def canopy_like(like: Floats, strays_m: Floats, height_m: Floats) -> Floats:
    """How far a structure may be made of cells that each have a height of their own, 0 to 1."""
    share = strays_m / np.maximum(height_m, 0.1)
    return np.asarray(like * np.clip((share - TALL[0]) / (TALL[1] - TALL[0]), 0.0, 1.0))
