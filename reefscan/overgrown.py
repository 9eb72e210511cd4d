"""Ground that changes from cell to cell: weed, fish, a false bottom, or soundings gone wild.

Rock hangs together: the farther apart two cells, the more they differ, at least over some cells. Where every cell, or every
blob of a few cells, has a height of its own, neighbours differ nearly as much as cells that are far apart.
Such heights are told by nothing but one ping each, and no net can be laid by them.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.kernels import variogram_columns as column
from reefscan.ramp import ramp

Floats = NDArray[np.float64]

JUMBLED = (0.36, 0.44)
"""Semivariance at one cell over that at four, from which on ground is taken for jumbled a little, and wholly. Steps and slopes have no more
than a quarter however sharp they are; cells of their own have all of it and blobs of two half. Blobs of three have a third and so do fields of boulders
three to five cells wide, which are what is looked for: those are left."""

TALL = (0.15, 0.25)
"""Standard deviation of the cells' own heights, in parts of a structure's height, from which on they may have made it, in the quieter
five of nine parts of the ground around. A single pile stands on quiet ground (0.02 at the most); on a breakwater of rubble, or on
rock with boulders, single blocks jump as well, but the whole stands higher than they do (0.09 to 0.18); single cells that cover a third of the
ground and more have 0.2 to 0.4 of their 3 m, pairs 0.15 to 0.3."""

FLOOR = (0.3, 0.5)
"""How even the floor is: standard deviation of the lowest cells of nine parts about their plane, over the root of the semivariance at one
cell, up to which it lies even under what stands on it, and from which on it does not. Growth leaves its floor in view (0 to 0.16 for nineteen windows of twenty, pairs without
a gap 0.46), rock however spiky is as uneven below as above (2-D power 2.2 to 3.2: 0.46 and more), and so is any structure."""

EVERY_WAY = (0.25, 0.45)
"""The lesser of the two directions' semivariance at one cell, as a share of the greater, up to which it is a wall or a ridge two or three cells wide along the
grid, however much it jumps across (0.01; 0.2 at 22 degrees to it), and from which on the ground jumps every way (single cells and pairs: 0.58 and more, 49 windows of 50)."""

SINGLE = (0.7, 0.8)
"""The ratio from which on cells go each their own way whatever the floor: the spikiest rock has 0.56."""

SURVEY_M = (0.25, 0.5)
"""Noise (m) that is all put down to the survey, and from which on none is: that much is the jumble itself, where it is so wide that
it was taken for noise."""


def jumbled(semivariance: Floats, noise_m: Floats, alike: Floats) -> tuple[Floats, Floats]:
    """How far ground is jumbled, 0 to 1, and by how much its cells stray from their neighbours (m), the survey's own noise taken out.

    Parameters
    ----------
    semivariance : ndarray, shape (n, len(variogram_columns.FIELDS))
        Of `reefscan.kernels.variogram`, square metres.
    noise_m : ndarray, shape (n,)
        Noise of one cell, metres.
    alike : ndarray, shape (n, 2)
        Correlation of the noise of two cells at the variogram's two distances.

    Returns
    -------
    like : ndarray, shape (n,)
        0 to 1; 0 where the semivariance is not known.
    strays : ndarray, shape (n,)
        Metres; 0 where it is not known.
    """
    near, far, quiet = (np.nan_to_num(semivariance[:, at]) for at in (column.NEAR, column.FAR, column.QUIET))
    floor = np.nan_to_num(semivariance[:, column.FLOOR], nan=np.inf)
    survey = (noise_m * (1.0 - ramp(noise_m, SURVEY_M))) ** 2
    survey_near, survey_far = survey * (1.0 - alike[:, 0]), survey * (1.0 - alike[:, 1])
    # white noise makes ground look jumbled until it is taken out, noise that goes together once it is
    ratio = np.minimum(
        near / np.maximum(far, 1e-9), _left(near, survey_near) / np.maximum(_left(far, survey_far), 1e-9)
    )
    even = 1.0 - ramp(np.sqrt(floor / np.maximum(near, 1e-9)), FLOOR)
    every_way = ramp(np.nan_to_num(semivariance[:, column.LESSER]), EVERY_WAY)
    like = np.maximum(even * ramp(ratio, JUMBLED), ramp(ratio, SINGLE)) * every_way
    return like, np.sqrt(_left(quiet, survey_near))


def _left(variance: Floats, survey: Floats) -> Floats:
    """What the survey's own noise leaves of a variance."""
    return np.maximum(variance - survey, 0.0)


def weed_like(like: Floats, strays_m: Floats, height_m: Floats) -> Floats:
    """How far a structure may be made of cells that each have a height of their own, 0 to 1.

    Parameters
    ----------
    like, strays_m : ndarray, shape (n,)
        Of `jumbled`.
    height_m : ndarray, shape (n,)
    """
    share = strays_m / np.maximum(height_m, 0.1)
    return like * ramp(share, TALL)


NEAR_SQUARES = 4.0
"""Station squares around a station over which its neighbours are asked."""

MOST_OF = (0.4, 0.65)
"""Mean of the likenesses near by from which on a station has some of it, and all: at the rim of a patch, and by chance, one window says less."""


def of_patch(x: Floats, y: Floats, like: Floats, side_m: float) -> Floats:
    """The likeness of each station or, where most of those near by have more, theirs: growth comes in patches.

    Parameters
    ----------
    x, y : ndarray, shape (n,)
        Stations of all kinds, metres.
    like : ndarray, shape (n,)
        0 to 1.
    side_m : float
        Side of a station square.
    """
    told = np.flatnonzero(like > 0.0)
    if not len(told):
        return like
    reach = NEAR_SQUARES * side_m
    xy = np.column_stack([x, y])
    # a station's mean is asked for within reach of a told one, so what lies beyond twice that is in no mean that counts
    far, _ = cKDTree(xy[told]).query(xy, distance_upper_bound=2.0 * reach)
    some = np.flatnonzero(np.isfinite(far))
    pairs = cKDTree(xy[some]).query_pairs(reach, output_type="ndarray")
    one, two = pairs.T
    own, n = like[some], len(some)
    total = own + np.bincount(one, own[two], n) + np.bincount(two, own[one], n)
    mean = total / (1 + np.bincount(one, minlength=n) + np.bincount(two, minlength=n))
    out = like.copy()
    out[some] = np.maximum(own, ramp(mean, MOST_OF))
    return out
