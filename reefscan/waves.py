"""Moving ground: trains of sand waves, and the smooth hollows between sand ridges.

What moves repeats at a regular spacing, and its sides are gentle and smooth. Spur-and-groove reef is regular too, but rough.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.ramp import ramp

Floats = NDArray[np.float64]

REPEATS = (0.7, 0.5)
"""How much the ground must repeat itself (`reefscan.kernels.repeats`) to be waves for sure, and to be in doubt. A train reads
0.75 and more up to its last crest; of gullies and ledges one in a thousand reads 0.6 (planted seabeds, tuning seeds)."""

EVEN = (0.10, 0.30)
"""Roughness of the sides along the crest, as a share of the height: of waves, and of rock."""

GENTLE = (0.08, 0.12)
"""Mean slope of a trough's flanks up to which it is a swale, and from which it may be a gully (4.5 and 7 degrees). The sides of sand ridges
slope by a degree or a few; a guess of ours."""

REPOSE = (0.4, 0.6)
"""Slope of a face that sand can have, and that it cannot: it rests at some 30 degrees, tan 30 = 0.58."""

TOPS = (0.15, 0.25)
"""Mean slope of a rise's sides that the top of a crest of sand has, and that it has not (a guess: crests are rounded by the current)."""

FIELD_WIDTHS = 1.5
"""What lies within so many of a trough's widths is the field that it is in."""

AT_ONCE = 2048
"""Stations whose neighbours are held at once: a wide sheet has a hundred thousand, each with some hundred around it."""

HIGHEST = 1.8
"""What belongs to a train or a hollow stands no more than so many times as high as its faces: the higher flank, two crests that meet."""

BESIDE = 0.7
"""A ledge or a rise that only lies beside moving ground is in doubt, no more: it stays listed."""

GENTLER = 2.0
"""Sides half as steep as the first of `GENTLE` count up to twice against their roughness."""

ROUGH = (0.05, 0.15)
"""Roughness of the sides along a trough, as a share of its height: of sand, and of rock (a guess)."""

BLURRED = 0.5
"""Ground that was filled in or smoothed is gentler than it was: there the slopes of `GENTLE` are worth this share."""

ROUND = (0.3, 0.5)
"""Share of a trough's width that is floor: a hollow between ridges is round, a channel is flat."""

SMOOTH_M = (0.04, 0.12)
"""Roughness of the cells, beyond noise, up to which ground is sand and from which it is rock (a guess; bare rock gives 0.1 m and more
on cells of 1 to 4 m)."""

NOISELESS_M = 0.004
"""Noise of the cells up to which a grid was filled in or smoothed; twice as much is a very good survey (a guess)."""


def between(x: Floats, full: float | Floats, none: float | Floats) -> Floats:
    """1 at ``full`` and beyond it, 0 at ``none`` and beyond that, linear between; unknown is 0."""
    return np.asarray(np.nan_to_num(ramp(x, (none, full)), nan=0.0))


def sounded(table: pd.DataFrame) -> Floats:
    """1 where the grid shows the noise that every survey has, 0 where it was filled in or smoothed: there smoothness is no sign of sand."""
    return np.asarray(_noisy(table) * (1.0 - table["interpolated"].to_numpy()))


def _noisy(table: pd.DataFrame) -> Floats:
    """1 where the grid shows the noise of a survey, be it that of soundings some cells apart."""
    return between(table["noise_m"].to_numpy(), 2.0 * NOISELESS_M, NOISELESS_M)


def smooth(table: pd.DataFrame, column: str = "rough_near_m") -> Floats:
    """1 for sand, 0 for rock, by the roughness of what was sounded (filled-in ground is compared farther apart); ground without noise, and unknown, say nothing (0)."""
    return np.asarray(between(table[column].to_numpy(), *SMOOTH_M) * _noisy(table))


def waves(table: pd.DataFrame) -> Floats:
    """How much each station is one of a train of sand waves, 0 to 1.

    Parameters
    ----------
    table : DataFrame
        Stations: ``kind``, ``x``, ``y`` (m), ``height_m``, ``rough_m``, ``rough_near_m``, ``noise_m``, ``interpolated``, ``repeats``, ``spacing_m``.

    Returns
    -------
    ndarray, shape (n,)
        A rise is one of a train if it stands within one and a half spacings of its faces and is of sand: the top of a crest.
    """
    height = np.maximum(0.1, table["height_m"].to_numpy())
    like = between(table["repeats"].to_numpy(), *REPEATS) * between(
        table["rough_m"].to_numpy() / height, *EVEN
    )
    core, rises = np.flatnonzero(like >= 0.5), np.flatnonzero(table["kind"] == "rise")
    if len(core) and len(rises):
        xy = table[["x", "y"]].to_numpy()
        far, near = cKDTree(xy[core]).query(xy[rises])
        near = core[near]
        within = (far < 1.5 * table["spacing_m"].to_numpy()[near]) & (height[rises] < HIGHEST * height[near])
        part = table.iloc[rises]
        like[rises] = np.where(within, like[near] * smooth(part) * loose(part), 0.0)
    return like


def loose(table: pd.DataFrame) -> Floats:
    """1 where a ledge's face or a rise is no steeper than sand can lie, 0 where it must be rock; 1 for troughs."""
    height, width = table["height_m"].to_numpy(), np.maximum(1.0, table["width_m"].to_numpy())
    face = np.where(table["kind"] == "ledge", between(height / width, *REPOSE), 1.0)
    return np.where(table["kind"] == "rise", between(2.0 * height / width, *TOPS), face)


def swales(table: pd.DataFrame) -> Floats:
    """Troughs with sides so gentle and smooth, and a floor so round, that they lie between ridges of sand, 0 to 1; other kinds 0.

    The gentler the sides are, the rougher they may be: small waves ride on large ones, and rock of two degrees shelters nothing.
    """
    flat = table["flat_share"].to_numpy()
    height = np.maximum(0.1, table["height_m"].to_numpy())
    slope = height / np.maximum(1.0, 0.5 * table["width_m"].to_numpy() * (1.0 - flat))
    blurred = BLURRED + (1.0 - BLURRED) * sounded(table)
    gentle = ramp(slope, (GENTLE[1] * blurred, GENTLE[0] * blurred), GENTLER)
    sides = np.minimum(1.0, gentle * between(table["rough_m"].to_numpy() / height, *ROUGH))
    return np.where(table["kind"] == "trough", sides * between(flat, *ROUND), 0.0)


def among_swales(table: pd.DataFrame, swale: Floats) -> Floats:
    """A trough of which half a likeness is seen, among troughs that are swales, is one as they are: sand ridges come in fields.

    Parameters
    ----------
    table : DataFrame
        Stations: ``kind``, ``x``, ``y``, ``width_m`` (m).
    swale : ndarray, shape (n,)
        0 to 1, of each station's feature.

    Returns
    -------
    ndarray, shape (n,)
        Never less than ``swale``, and never more than twice.
    """
    trough = (table["kind"] == "trough").to_numpy()
    troughs, asked = np.flatnonzero(trough), np.flatnonzero(trough & (swale > 0.0) & (swale < 1.0))
    out = swale.copy()
    if len(asked):
        xy = table[["x", "y"]].to_numpy()
        tree, reach = cKDTree(xy[troughs]), FIELD_WIDTHS * table["width_m"].to_numpy()
        for first in range(0, len(asked), AT_ONCE):
            some = asked[first : first + AT_ONCE]
            near = tree.query_ball_point(xy[some], reach[some], return_sorted=True)
            around = np.array([float(swale[troughs[rows]].mean()) for rows in near])
            out[some] = np.maximum(swale[some], np.minimum(1.0, 2.0 * swale[some]) * around)
    return out


def among(table: pd.DataFrame, troughs: pd.DataFrame, moving: Floats) -> Floats:
    """Ledges and rises beside the troughs of moving ground may be part of it: the lee face, the end of a crest.

    Never more than `BESIDE`, since their neighbour is all that is known against them; what stands higher than a trough's side can is not its side.
    """
    core = moving >= 0.3
    if not core.any():
        return np.zeros(len(table))
    far, near = cKDTree(troughs.loc[core, ["x", "y"]].to_numpy()).query(table[["x", "y"]].to_numpy())
    beside = troughs[core].iloc[near]
    within = (far < 1.2 * beside["width_m"].to_numpy()) & (
        table["height_m"].to_numpy() < HIGHEST * beside["height_m"].to_numpy()
    )
    return np.where(within, np.minimum(BESIDE, moving[core][near] * smooth(table) * loose(table)), 0.0)
