"""Does a feature look dug, or moving? Shape is not yet shelter.

Measured along whole features after the merge: what was dredged or trenched runs straight between even,
smooth sides; what moves (sand waves, ridges) repeats at a regular spacing. Both measures run from 0 to 1
and only lower a score; a single station says too little, so short features get 0.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.features import Line

Floats = NDArray[np.float64]


def _ramp(x: float, full: float, none: float) -> float:
    """1 up to ``full``, 0 from ``none`` on."""
    return float(np.clip((none - x) / (none - full), 0.0, 1.0))


def characters(table: pd.DataFrame, lines: Mapping[str, Line], side_m: float) -> tuple[Floats, Floats]:
    """How much every station of a sheet looks dug, and how much moving: one judgement a feature, then its surroundings.

    Parameters
    ----------
    table : DataFrame
        Stations of all kinds that were joined to features: ``kind``, ``feature_id``, ``x``, ``y`` (m) and their measures.
    lines : mapping of str to Line
        The line of each feature: places among its own stations, in the table's order.
    side_m : float
        Station square, metres.

    Returns
    -------
    dug_like, moving_like : ndarray, shape (n,)
        0 to 1, row for row with the table.
    """
    dug, moving = np.zeros(len(table)), np.zeros(len(table))
    kinds = table["kind"].to_numpy()
    for kind in ("trough", "ledge"):
        rows = np.flatnonzero(kinds == kind)
        if len(rows):
            moving[rows] = moving_like(table.iloc[rows], kind, side_m)
    for name, rows in table.groupby("feature_id", sort=False).indices.items():
        dug[rows] = dug_like(table.iloc[rows], lines[name], str(kinds[rows[0]]), side_m)
        # a wave's trough is one of many along its whole length
        moving[rows] = float(np.mean(moving[rows]))
    troughs, others = np.flatnonzero(kinds == "trough"), np.flatnonzero(kinds != "trough")
    if len(troughs) and len(others):
        moving[others] = np.maximum(
            moving[others], _among_waves(table.iloc[others], table.iloc[troughs], moving[troughs])
        )
        ledges = np.flatnonzero(kinds == "ledge")
        for i, near in zip(
            ledges, troughs_beside(table.iloc[ledges], table.iloc[troughs], side_m), strict=True
        ):
            # the wall of a wide trough looks as dug, or as moving, as the trough does
            dug[i] = max(dug[i], dug[troughs[near]].max(initial=0.0))
            moving[i] = max(moving[i], moving[troughs[near]].max(initial=0.0))
    return dug, moving


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


def _among_waves(part: pd.DataFrame, troughs: pd.DataFrame, moving: Floats) -> Floats:
    """Ledges and rises in the middle of moving ground are part of it: the lee face, the end of a crest."""
    waves = moving >= 0.3
    out = np.zeros(len(part))
    if waves.any():
        far, near = cKDTree(troughs.loc[waves, ["x", "y"]].to_numpy()).query(part[["x", "y"]].to_numpy())
        within = far < 1.2 * troughs["width_m"].to_numpy()[waves][near]
        out = np.where(within, moving[waves][near], 0.0)
    return out


def dug_like(part: pd.DataFrame, line: Line, kind: str, side_m: float) -> float:
    """How much a feature looks dug, 0 to 1.

    The product of four: its axis hardly turns, its width and height hardly change, its sides are smooth.
    All four hold for a dredged cut; a gully fails at least one. The corners are guesses of ours from what
    each takes on sinuous ground (turns of 10 degrees and more, a fifth in width) - no source.

    Parameters
    ----------
    part : DataFrame
        Stations of the feature.
    line : Line
        Their order along it.
    kind : str
    side_m : float
        Station square, metres: the least spacing at which a turn can be told.
    """
    if kind == "rise":
        return 0.0
    rows = list(line.main)
    if kind == "trough" and len(rows) <= 3:
        return _pit_like(part)
    if len(rows) < 5:
        return 0.0
    along = part.iloc[rows]
    axis = np.unwrap(np.radians(2.0 * along["axis"].to_numpy())) / 2.0
    x, y = along["x"].to_numpy(), along["y"].to_numpy()
    s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    turn = float(np.degrees(np.std(axis - np.polyval(np.polyfit(s, axis, 1), s))))
    # how far the middle wanders off a smooth curve, against the width
    chord = np.column_stack([x - x[0], y - y[0]])
    end = chord[-1] / max(1.0, float(np.hypot(*chord[-1])))
    off = chord[:, 0] * end[1] - chord[:, 1] * end[0]
    bow = np.polyval(np.polyfit(s, off, 2), s)
    height = along["height_m"].to_numpy()
    width = along["width_m"].to_numpy()
    inner = slice(1, -1)
    scale = max(4.0, float(np.median(width)))
    wander = float(np.std((off - bow)[inner])) / scale
    uneven = float(np.std(width[inner]) / max(1.0, float(np.mean(width[inner]))))
    heave = float(np.std(height[inner]) / max(0.1, float(np.mean(height[inner]))))
    rough = float(np.median(along["rough_m"]) / max(0.1, float(np.median(height))))
    sinuous = s[-1] / max(1.0, float(np.hypot(*chord[-1]))) - 1.0
    straight = _ramp(turn, 4.0, 12.0) * _ramp(wander, 0.05, 0.25) * _ramp(sinuous, 0.02, 0.12)
    even = _ramp(uneven, 0.12, 0.35) * _ramp(heave, 0.10, 0.30)
    if kind == "ledge":
        # a straight natural ledge is common: only the evenness of a wall, over a length, gives it away
        return straight * even * _ramp(rough, 0.03, 0.10) * (1.0 - _ramp(s[-1], 8.0 * side_m, 20.0 * side_m))
    alike = _ramp(float(np.median(along["asymmetry"])), 0.15, 0.45)
    return float(np.sqrt(straight * even * _ramp(rough, 0.05, 0.20) * alike))


def _pit_like(part: pd.DataFrame) -> float:
    """A round smooth hollow: scour or anchor pit. A real gully has an axis."""
    best = part.iloc[int(np.argmax(part["height_m"].to_numpy()))]
    round_ = _ramp(float(best["strength"]), 0.15, 0.4)
    # a round hollow's own curve counts as roughness of its sides, up to half its depth
    smooth = _ramp(float(best["rough_m"]) / max(0.1, float(best["height_m"])), 0.6, 0.9)
    return 0.9 * round_ * smooth


def moving_like(table: pd.DataFrame, kind: str, side_m: float) -> Floats:
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
    """
    n = len(table)
    out = np.zeros(n)
    if n < 3:
        return out
    x, y = table["x"].to_numpy(), table["y"].to_numpy()
    axis, height = table["axis"].to_numpy(), table["height_m"].to_numpy()
    width, rough = table["width_m"].to_numpy(), table["rough_m"].to_numpy()
    tree = cKDTree(np.column_stack([x, y]))
    facing = table["facing"].to_numpy()
    # a trough's width tells the spacing to expect; a face says nothing of it
    least = 0.5 * width if kind == "trough" else np.maximum(width, 1.2 * side_m)
    reach = np.minimum(2.8 * width + 2.0 * side_m, 260.0) if kind == "trough" else np.full(n, 12.0 * side_m)
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
            (along < 1.5 * side_m)
            & (np.abs(across) > least[i])
            & (turn < 20.0)
            & (np.abs(height[j] - height[i]) < 0.45 * np.maximum(height[i], height[j]))
        )
        if kind == "ledge":
            like &= np.abs((facing[j] - facing[i] + 180.0) % 360.0 - 180.0) < 30.0
        smooth = _ramp(rough[i] / max(0.1, height[i]), 0.10, 0.30)
        out[i] = _regular(across[like], least[i]) * smooth
    return out


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
        best = _ramp(abs(first[0] - first[1]) / (first[0] + first[1]), 0.12, 0.30)
    for gap, two in zip(first, second, strict=True):
        if np.isfinite(two):
            best = max(best, _ramp(abs(two - 2.0 * gap) / two, 0.08, 0.20))
    return best
