"""Does a feature look dug, or moving? Shape is not yet shelter.

Judged on whole features and what lies around them, after the merge: straight even cuts (`reefscan.cuts`), round pits, smooth heaps, trains of sand
waves and the hollows between ridges (`reefscan.waves`). Every measure runs from 0 to 1 and only lowers a score. What is found inside a cut, on a
heap or among waves belongs to it. Smoothness says nothing on ground that was filled in.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.cuts import Cut, cuts
from reefscan.features import Line, shared
from reefscan.waves import among, among_swales, between, smooth, swales, waves

Floats = NDArray[np.float64]

LOOKS = ("cut", "pit", "heap", "waves", "swale")
"""What a station may look like: the first three were dug or dumped, the others move."""

SAID = 0.1
"""Below this a likeness is not worth a word."""

CLOSED = (0.6, 0.25)
"""Share of its height that one must climb out of a low on the easiest side: a pit has all of it, a gully (with its fall) next to nothing."""

SMALL_M = 60.0
"""Pits and heaps are no longer than this; what is longer is judged by its length."""

LOOSE = (1 / 7, 1 / 6)
"""Mean slope of a mound's sides: loose material dropped through water lies flatter than 1 in 7, a pile of rock stands steeper than 1 in 6 on a grid that
resolves it (guesses of ours: rock rests at 30 degrees and more, and is rounded off by the cells)."""

LOADS = (1 / 5, 1 / 4)
"""The same where another smooth mound as high stands within `LOADS_M`: spoil comes in loads, side by side."""

FILLED_CELLS = 4.0
"""Cells from one sounding to the next where the ground was filled in (a guess: the farthest at which its roughness is compared)."""

LOADS_M = 75.0


def characters(
    table: pd.DataFrame, lines: Mapping[str, Line], side_m: float, cell_m: float
) -> tuple[Floats, Floats, NDArray[np.object_]]:
    """How much every station of a sheet looks dug, how much moving, and like what: one judgement a feature, then its surroundings.

    Parameters
    ----------
    table : DataFrame
        Stations of all kinds that were joined to features: ``kind``, ``feature_id``, ``x``, ``y`` (m) and their measures.
    lines : mapping of str to Line
        The line of each feature: places among its own stations, in the table's order.
    side_m, cell_m : float
        Station square and cell, metres.

    Returns
    -------
    dug_like, moving_like : ndarray, shape (n,)
        0 to 1, row for row with the table.
    looks_like : ndarray of str, shape (n,)
        One of `LOOKS`, the likeliest; empty where neither of the two reaches `SAID`.
    """
    features = list(table.groupby("feature_id", sort=False).indices.values())
    train = waves(table)
    train = np.maximum(shared(train, features), _of_features(train, features))
    train = _beside(table, train, features)
    swale = _of_features(among_swales(table, _of_features(swales(table), features)), features)
    small = table["length_m"].to_numpy() <= SMALL_M
    pit = shared(_of_features(np.where(small, _pits(table), 0.0), features), features)
    heap = _of_features(np.where(small, _heaps(table, cell_m), 0.0), features)
    heap = shared(np.maximum(heap, _on_heaps(table, heap)), features)
    cut = shared(
        _in_cuts(table, cuts(table, lines, np.maximum(train, swale), side_m, cell_m), side_m), features
    )
    dug = np.max([cut, pit, heap], axis=0)
    # what waves explain was not dug; a gentle hollow says less than a pit, a heap or a cut
    swale = _beside(table, swale, features) * (1.0 - dug * (1.0 - train))
    signs = np.array([cut * (1.0 - train), pit * (1.0 - train), heap * (1.0 - train), train, swale])
    looks = np.array(LOOKS, dtype=object)[np.argmax(signs, axis=0)]
    looks[signs.max(axis=0) < SAID] = ""
    return dug * (1.0 - train), np.maximum(train, swale), looks


def _beside(table: pd.DataFrame, moving: Floats, features: list[NDArray[np.intp]]) -> Floats:
    """Ledges and rises beside troughs of moving ground have its character."""
    kinds = table["kind"].to_numpy()
    troughs, others = np.flatnonzero(kinds == "trough"), np.flatnonzero(kinds != "trough")
    if not len(troughs) or not len(others):
        return moving
    out = moving.copy()
    beside = among(table.iloc[others], table.iloc[troughs], moving[troughs])
    out[others] = np.maximum(out[others], beside)
    return shared(out, features)


def _of_features(values: Floats, features: list[NDArray[np.intp]]) -> Floats:
    """The mean over each feature: one judgement for all its stations."""
    out = np.empty_like(values)
    for rows in features:
        out[rows] = float(np.mean(values[rows]))
    return out


def _in_cuts(table: pd.DataFrame, found: list[Cut], side_m: float) -> Floats:
    """Stations inside straight cuts: the cut itself, its walls, its ends."""
    x, y = table["x"].to_numpy(), table["y"].to_numpy()
    like = np.zeros(len(table))
    for cut in found:
        like = np.where(cut.holds(x, y, 0.8 * side_m), np.maximum(like, cut.like), like)
    return like


def _share(part: pd.Series, height: pd.Series) -> Floats:
    return between(part.to_numpy() / np.maximum(0.1, height.to_numpy()), *CLOSED)


def _pits(table: pd.DataFrame) -> Floats:
    """Smooth hollows closed all round, read as a trough or as the ledge of their side: scour, anchor pits."""
    closed = _share(table["closed_m"], table["height_m"])
    return closed * smooth(table, "rough_around_m")


def _heaps(table: pd.DataFrame, cell_m: float) -> Floats:
    """Smooth mounds with gentle sides, read as a rise or as the ledge of their side: spoil."""
    kinds = table["kind"].to_numpy()
    width = table["width_m"].to_numpy()
    # a grid widens every side by about half a cell, of filled-in ground by half of what lay between two soundings
    between_m = cell_m * (1.0 + (FILLED_CELLS - 1.0) * table["interpolated"].to_numpy())
    run = np.where(kinds == "rise", 0.5 * width, width) - 0.5 * between_m
    height = table["height_m"].to_numpy()
    slope = height / np.maximum(0.5 * cell_m, run)
    sand = smooth(table)
    loose = between(slope, *LOOSE)
    mounds = np.flatnonzero((kinds == "rise") & (sand >= 0.5) & (slope < LOADS[1]))
    if len(mounds) > 1:
        pairs = cKDTree(table[["x", "y"]].to_numpy()[mounds]).query_pairs(LOADS_M, output_type="ndarray")
        i, j = mounds[pairs[:, 0]], mounds[pairs[:, 1]]
        alike = np.abs(height[i] - height[j]) < 0.5 * np.maximum(height[i], height[j])
        both = np.concatenate([i[alike], j[alike]])
        loose[both] = np.maximum(loose[both], between(slope[both], *LOADS))
    stands = _share(table["stands_m"], table["height_m"])
    return np.where(kinds == "trough", 0.0, loose * stands * sand)


def _on_heaps(table: pd.DataFrame, dug: Floats) -> Floats:
    """Short ledges and hollows on and between heaps."""
    kinds = table["kind"].to_numpy()
    heaps = np.flatnonzero((kinds == "rise") & (dug >= 0.5))
    if not len(heaps):
        return np.zeros(len(table))
    xy = table[["x", "y"]].to_numpy()
    far, near = cKDTree(xy[heaps]).query(xy)
    near = heaps[near]
    width = table["width_m"].to_numpy()
    # the hollow between two heaps is as wide as they are apart
    reach = np.maximum(0.8 * width[near], np.where(kinds == "trough", 0.6 * width, 0.0))
    within = (far < reach) & (table["length_m"].to_numpy() < SMALL_M)
    return np.where(within, dug[near] * smooth(table), 0.0)


def troughs_beside(ledges: pd.DataFrame, troughs: pd.DataFrame, side_m: float) -> list[NDArray[np.intp]]:
    """For each ledge the troughs whose wall it is: rows of ``troughs``."""
    if not len(ledges):
        return []
    width = troughs["width_m"].to_numpy()
    at, places = troughs[["x", "y"]].to_numpy(), ledges[["x", "y"]].to_numpy()
    axis = np.radians(troughs["axis"].to_numpy())
    along_x, along_y = np.sin(axis), np.cos(axis)
    reach = float(np.hypot(0.6 * width.max() + 0.5 * side_m, 1.2 * side_m))
    out = []
    for place, near in zip(places, cKDTree(at).query_ball_point(places, reach), strict=True):
        j = np.asarray(near, dtype=np.intp)
        dx, dy = place[0] - at[j, 0], place[1] - at[j, 1]
        along = np.abs(dx * along_x[j] + dy * along_y[j])
        across = np.abs(dx * along_y[j] - dy * along_x[j])
        out.append(j[(along < 1.2 * side_m) & (across < 0.6 * width[j] + 0.3 * side_m)])
    return out
