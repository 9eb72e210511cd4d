"""Moving ground: trains of sand waves, and the smooth hollows between sand ridges.

What moves repeats at a regular spacing, and its sides are gentle and smooth. At the edge of a train a face stands alone, with the
spacing of its neighbours on one side only: it belongs to the train all the same.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.cuts import ramp

Floats = NDArray[np.float64]

GENTLE = (0.08, 0.12)
"""Mean slope of a trough's flanks up to which it is a swale, and from which it may be a gully (4.5 and 7 degrees). The sides of sand ridges
slope by a degree or a few; a guess of ours."""

SMOOTH_M = (0.04, 0.12)
"""Roughness of the cells, beyond noise, up to which ground is sand and from which it is rock (a guess; bare rock gives 0.1 m and more
on cells of 1 to 4 m)."""

NOISELESS_M = 0.004
"""Noise of the cells up to which a grid was filled in or smoothed; twice as much is a very good survey (a guess)."""

ROUNDS = 4
"""How many crests beyond its sure middle a train is followed."""

ROUND = (0.3, 0.5)
"""Share of a trough's width that is floor: a hollow between ridges is round, a channel is flat."""


def trains(table: pd.DataFrame, kind: str, side_m: float) -> tuple[Floats, Floats]:
    """How much each station looks like one of a train of sand waves, 0 to 1.

    A like trough on either side, across, at like distances: height, axis and spacing alike. Wave troughs
    have others beside them on both sides; a lone gully has not.

    Parameters
    ----------
    table : DataFrame
        Stations of one kind on a sheet: ``x``, ``y``, ``axis``, ``facing``, ``height_m``, ``width_m``, ``rough_m``.
    kind : str
        ``trough``, or ``ledge``: the lee faces of a train, which all face the same way.
    side_m : float
        Station square, metres.

    Returns
    -------
    like : ndarray, shape (n,)
        0 to 1.
    spacing_m : ndarray, shape (n,)
        Distance to the next like station across; NaN where there is none.
    """
    n = len(table)
    out, spacing = np.zeros(n), np.full(n, np.nan)
    if n < 3:
        return out, spacing
    x, y = table["x"].to_numpy(), table["y"].to_numpy()
    axis, height = table["axis"].to_numpy(), table["height_m"].to_numpy()
    width, rough = table["width_m"].to_numpy(), table["rough_m"].to_numpy()
    tree = cKDTree(np.column_stack([x, y]))
    facing = table["facing"].to_numpy()
    # a trough's width tells the spacing to expect; a face says nothing of it
    least = 0.5 * width if kind == "trough" else np.maximum(width, 1.2 * side_m)
    reach = np.minimum(2.8 * width + 2.0 * side_m, 260.0) if kind == "trough" else np.full(n, 12.0 * side_m)
    # faces are followed with gaps, floors without
    reach_along = (1.5 if kind == "trough" else 3.0) * side_m
    around = tree.query_ball_point(np.column_stack([x, y]), reach)
    for i, near in enumerate(around):
        j = np.asarray([k for k in near if k != i], dtype=np.intp)
        if len(j) < 2:
            continue
        angle = np.radians(axis[i])
        dx, dy = x[j] - x[i], y[j] - y[i]
        along = np.abs(dx * np.sin(angle) + dy * np.cos(angle))
        across = dx * np.cos(angle) - dy * np.sin(angle)
        turn = np.abs((axis[j] - axis[i] + 90.0) % 180.0 - 90.0)
        like = (
            (along < reach_along)
            & (np.abs(across) > least[i])
            & (turn < 20.0)
            & (np.abs(height[j] - height[i]) < 0.45 * np.maximum(height[i], height[j]))
        )
        if kind == "ledge":
            like &= np.abs((facing[j] - facing[i] + 180.0) % 360.0 - 180.0) < 30.0
        smooth = ramp(rough[i] / max(0.1, height[i]), 0.10, 0.30)
        out[i] = _regular(across[like], least[i]) * smooth
        spacing[i] = np.abs(across[like]).min(initial=np.inf)
    return out, np.where(np.isfinite(spacing), spacing, np.nan)


def _regular(across: Floats, least: float) -> float:
    """How regular the next like troughs are: one on either side, or (at the edge) two on one side."""
    sides = [np.sort(across[across > 0]), np.sort(-across[across < 0])]
    first = [side[0] if len(side) else np.inf for side in sides]
    second = [
        float(side[side > gap + least].min(initial=np.inf)) if np.isfinite(gap) else np.inf
        for side, gap in zip(sides, first, strict=True)
    ]
    best = 0.0
    if np.isfinite(first[0]) and np.isfinite(first[1]):
        best = ramp(abs(first[0] - first[1]) / (first[0] + first[1]), 0.12, 0.30)
    for gap, two in zip(first, second, strict=True):
        if np.isfinite(two):
            best = max(best, ramp(abs(two - 2.0 * gap) / two, 0.08, 0.20))
    return best


def joined(table: pd.DataFrame, like: Floats, spacing_m: Floats, side_m: float) -> tuple[Floats, Floats]:
    """Stations that keep a train's time: whole numbers of its spacing away from the stations around that are sure to be of it.

    Crests are followed with gaps and fade out at the edge of a train, so many a station has no two neighbours at even distances.

    Parameters
    ----------
    table, side_m
        As for `trains`.
    like, spacing_m : ndarray, shape (n,)
        From `trains`.

    Returns
    -------
    like, spacing_m : ndarray, shape (n,)
        Raised, and filled in, where a train reaches.
    """
    like, spacing = like.copy(), spacing_m.copy()
    xy = table[["x", "y"]].to_numpy()
    axis, height = table["axis"].to_numpy(), table["height_m"].to_numpy()
    facing, sand = table["facing"].to_numpy(), smooth(table)
    ledge = bool((table["kind"] == "ledge").any())
    for _ in range(ROUNDS):
        core = np.flatnonzero((like >= 0.5) & np.isfinite(spacing))
        rest = np.flatnonzero((like < 0.5) & (sand > 0.0))
        if not len(core) or not len(rest):
            break
        tree = cKDTree(xy[core])
        _, nearest = tree.query(xy[rest])
        around = tree.query_ball_point(xy[rest], 3.5 * spacing[core[nearest]])
        raised = False
        for i, near in zip(rest, around, strict=True):
            j = core[np.asarray(near, dtype=np.intp)]
            if len(j) < 3:
                continue
            apart = float(np.quantile(spacing[j], 0.25))
            angle = 0.5 * np.arctan2(
                np.sin(np.radians(2 * axis[j])).sum(), np.cos(np.radians(2 * axis[j])).sum()
            )
            dx, dy = xy[j, 0] - xy[i, 0], xy[j, 1] - xy[i, 1]
            along, across = (
                np.abs(dx * np.sin(angle) + dy * np.cos(angle)),
                dx * np.cos(angle) - dy * np.sin(angle),
            )
            beside = along < 3.0 * side_m
            j, beat = j[beside], across[beside] / apart
            turn = np.abs((axis[i] - np.degrees(angle) + 90.0) % 180.0 - 90.0)
            if len(j) < 3 or turn > 25.0 or not 0.55 < height[i] / float(np.median(height[j])) < 1.8:
                continue
            if ledge and np.cos(np.radians(facing[j] - facing[i])).mean() < 0.8:
                continue
            if np.mean(np.abs(beat - np.rint(beat)) < 0.15) >= 0.75:
                like[i], spacing[i] = float(np.mean(like[j])) * sand[i], apart
                raised = True
        if not raised:
            break
    return like, spacing


def smooth(table: pd.DataFrame, column: str = "rough_near_m") -> Floats:
    """1 for sand, 0 for rock, by the roughness of the cells; ground that was not sounded, and unknown, say nothing (0)."""
    full, none = SMOOTH_M
    sand = np.clip((none - table[column].to_numpy()) / (none - full), 0.0, 1.0)
    return np.asarray(np.nan_to_num(sand, nan=0.0) * sounded(table))


def sounded(table: pd.DataFrame) -> Floats:
    """1 where the grid shows the noise that every survey has, 0 where it was filled in or smoothed: there smoothness is no sign of sand."""
    noisy = np.clip((table["noise_m"].to_numpy() - NOISELESS_M) / NOISELESS_M, 0.0, 1.0)
    return np.asarray(noisy * (1.0 - table["interpolated"].to_numpy()))


def swales(table: pd.DataFrame) -> Floats:
    """Troughs with sides so gentle and smooth that they lie between ridges of sand, 0 to 1; other kinds 0."""
    half = 0.5 * table["width_m"].to_numpy() * (1.0 - table["flat_share"].fillna(0.0).to_numpy())
    height = np.maximum(0.1, table["height_m"].to_numpy())
    slope = height / np.maximum(1.0, half)
    gentle = np.clip((GENTLE[1] - slope) / (GENTLE[1] - GENTLE[0]), 0.0, 1.0)
    even = np.clip((0.15 - table["rough_m"].to_numpy() / height) / 0.10, 0.0, 1.0)
    # filled-in ground is smooth and gentle whatever was there
    return np.where(table["kind"] == "trough", gentle * even * (1.0 - table["interpolated"].to_numpy()), 0.0)


def among(table: pd.DataFrame, troughs: pd.DataFrame, moving: Floats) -> Floats:
    """Ledges and rises beside the troughs of moving ground are part of it: the lee face, the end of a crest."""
    waves = moving >= 0.3
    if not waves.any():
        return np.zeros(len(table))
    far, near = cKDTree(troughs.loc[waves, ["x", "y"]].to_numpy()).query(table[["x", "y"]].to_numpy())
    within = far < 1.2 * troughs["width_m"].to_numpy()[waves][near]
    return np.where(within, moving[waves][near] * smooth(table), 0.0)


def on_crests(rises: pd.DataFrame, others: pd.DataFrame, like: Floats, spacing_m: Floats) -> Floats:
    """Rises within one and a half spacings of a train's stations, and of sand: tops of its crests."""
    core = np.flatnonzero((like >= 0.5) & np.isfinite(spacing_m))
    if not len(core):
        return np.zeros(len(rises))
    far, near = cKDTree(others[["x", "y"]].to_numpy()[core]).query(rises[["x", "y"]].to_numpy())
    near = core[near]
    within = (far < 1.5 * spacing_m[near]) & (
        rises["height_m"].to_numpy() < 1.8 * others["height_m"].to_numpy()[near]
    )
    return np.where(within, like[near] * smooth(rises), 0.0)
