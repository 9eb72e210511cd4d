"""What the neighbours along a line tell about one of its stations: steadier measures, what is where the net lies."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.features import between, turned

Floats = NDArray[np.float64]
Whole = NDArray[np.intp]

ODD_DEG = 25.0
"""An axis this far off its neighbours' is taken for a misreading; less is the bend of the line itself."""

COURSE_REACH = 4.0
"""Squares to either side over which stations that lie on one straight line tell its course."""

THIN = 0.02
"""Root mean square distance of those stations from their line, as a share of its length. An arc that keeps so near to its chord
(theta / 26.8) turns by 31 degrees in all, by 15 to either end."""

OFF_COURSE_DEG = 20.0
"""On so straight a course an axis this far off is a misreading: beside a gap in the survey profiles are cut short on one side."""

CROWD = 48
"""More stations than this are not asked: within 1.7 squares no more can lie, since none lie nearer to each other than .55."""


def steadied(part: pd.DataFrame, label: Whole, side_m: float) -> pd.DataFrame:
    """Height, width and axis of stations on a line: the middle value of a station and its next neighbours.

    A station is the highest of its square, so its own reading is biased up by what is left of the noise,
    and one odd reading tells little: the neighbours along the line measure the same structure.

    Parameters
    ----------
    part : DataFrame
        Stations of one kind: ``x``, ``y``, ``height_m``, ``width_m``, ``axis``.
    label : ndarray of int
        Number of the feature of each station.
    side_m : float
        Side of a station square.
    """
    xy = part[["x", "y"]].to_numpy()
    near = _near(xy, label, 1.7 * side_m)
    enough = (near >= 0).sum(axis=1) >= 3
    height, width = part["height_m"].to_numpy(), part["width_m"].to_numpy()
    out = part.copy()
    out["height_m"] = np.where(enough, np.minimum(height, _median(height, near)), height)
    out["width_m"] = np.where(enough, _median(width, near), width)
    if part["kind"].iloc[0] == "trough":
        axis = part["axis"].to_numpy()
        common = mean_axis(axis[near], (near >= 0).astype(np.float64), 180.0)
        axis = np.where(enough & (between(axis, common) > ODD_DEG), common, axis)
        course, straight = _course(xy, _near(xy, label, COURSE_REACH * side_m), side_m)
        axis = np.where(straight & (between(axis, course) > OFF_COURSE_DEG), course, axis)
        out["axis"], out["facing"] = axis, (axis + 90.0) % 180.0
    return out


def told_at_drop(
    part: pd.DataFrame, label: Whole, drop_x: Floats, drop_y: Floats
) -> tuple[pd.DataFrame, NDArray[np.bool_]]:
    """Height, width, axis and facing where the net lies: a line bends and swells between the station and the drop.

    The mean of the five nearest stations of the same feature, each by the inverse of its squared distance
    from the drop point (and 2 m); a trough's axis is followed through its bend (`_bent`).

    Parameters
    ----------
    part : DataFrame
        Stations of one kind: ``x``, ``y``, ``height_m``, ``width_m``, ``axis``, ``facing``.
    label : ndarray of int
        Number of the feature of each station.
    drop_x, drop_y : ndarray
        Drop points in sheet metres.

    Returns
    -------
    DataFrame
        The stations as told.
    elsewhere : ndarray of bool
        True where the net would lie beside another, taller feature of the kind, which lists it itself.
    """
    tree = cKDTree(part[["x", "y"]].to_numpy())
    k = min(5, len(part))
    far, near = (v.reshape(len(part), k) for v in tree.query(np.column_stack([drop_x, drop_y]), k=k))
    height = part["height_m"].to_numpy()
    own = np.hypot(drop_x - part["x"].to_numpy(), drop_y - part["y"].to_numpy())
    first = near[:, 0]
    elsewhere = (label[first] != label) & (far[:, 0] < 0.7 * own) & (height[first] > height)
    weight = np.where(label[near] == label[:, None], 1.0 / (far**2 + 4.0), 0.0)
    total = weight.sum(axis=1)
    alone = total == 0.0
    weight[alone, 0], near[alone, 0], total[alone] = 1.0, np.flatnonzero(alone), 1.0
    out = part.copy()
    for name in ("height_m", "width_m"):
        out[name] = (weight * part[name].to_numpy()[near]).sum(axis=1) / total
    axis = part["axis"].to_numpy()[near]
    if part["kind"].iloc[0] == "trough":
        east = part["x"].to_numpy()[near] - drop_x[:, None]
        north = part["y"].to_numpy()[near] - drop_y[:, None]
        out["axis"] = _bent(axis, weight, east, north)
        out["facing"] = (out["axis"] + 90.0) % 180.0
    else:
        out["axis"] = mean_axis(axis, weight, 180.0)
        out["facing"] = mean_axis(part["facing"].to_numpy()[near], weight, 360.0)
    return out, np.asarray(elsewhere)


def _bent(axis: Floats, weight: Floats, east: Floats, north: Floats) -> Floats:
    """Axis (deg) of a bending line at a place with stations on both sides of it: the weighted line of best fit through their
    axes, at the place itself.

    A mean would lean to the side on which more or nearer stations happen to lie. With all of them on one side the bend is not
    carried on: there the mean is told. (A ledge's way of facing strays too much from station to station to gain by it.)

    Parameters
    ----------
    axis, weight : ndarray, shape (n, k)
        Of k stations around each of n places.
    east, north : ndarray, shape (n, k)
        Where they lie from the place, metres.
    """
    common = mean_axis(axis, weight, 180.0)
    along = east * np.sin(np.radians(common))[:, None] + north * np.cos(np.radians(common))[:, None]
    off = (axis - common[:, None] + 90.0) % 180.0 - 90.0
    total = weight.sum(axis=1)
    middle, level = (weight * along).sum(axis=1) / total, (weight * off).sum(axis=1) / total
    spread = (weight * (along - middle[:, None]) ** 2).sum(axis=1)
    slope = (weight * (along - middle[:, None]) * (off - level[:, None])).sum(axis=1) / np.maximum(
        spread, 1e-9
    )
    both = ((weight > 0.0) & (along > 0.0)).any(axis=1) & ((weight > 0.0) & (along < 0.0)).any(axis=1)
    here = np.where(both, level - slope * middle, level)
    # one stray axis does not carry it past what the stations themselves tell
    here = np.clip(here, off.min(axis=1), off.max(axis=1))
    return np.asarray((common + here) % 180.0)


@dataclass(frozen=True)
class Along:
    """What was measured along features: the rows of each, and one value a feature of every fact."""

    rows: list[Whole]
    facts: dict[str, Floats]


def told_along(table: pd.DataFrame, code: Whole, count: int) -> Along:
    """Gather what the stations of each feature say together.

    Parameters
    ----------
    table : DataFrame
        Stations.
    code : ndarray of int
        Number of the feature of each station, 0 to ``count`` - 1; none is empty.
    count : int
    """
    order = np.argsort(code, kind="stable")
    start = np.searchsorted(code[order], np.arange(count))
    size = np.diff(np.append(start, len(code)))

    def column(name: str) -> Floats:
        return np.asarray(table[name].to_numpy(dtype=np.float64)[order])

    def mean(values: Floats) -> Floats:
        return np.asarray(np.add.reduceat(values, start) / size)

    def median(values: Floats) -> Floats:
        ranked = values[np.lexsort((values, code[order]))]
        return np.asarray(0.5 * (ranked[start + (size - 1) // 2] + ranked[start + size // 2]))

    def direction(angle: Floats, turn: float) -> Floats:
        full = np.radians(angle * (360.0 / turn))
        mean_full = np.degrees(np.arctan2(mean(np.sin(full)), mean(np.cos(full))))
        return np.asarray(mean_full * (turn / 360.0) % turn)

    height, level = column("height_m"), column("level_m")
    facts = {
        "length_m": column("length_m")[start],
        "height_m": np.maximum.reduceat(height, start),
        "height_typical_m": median(height),
        "width_m": median(column("width_m")),
        "axis": direction(column("axis"), 180.0),
        "facing": direction(column("facing"), 360.0),
        "turn": mean(column("turn")),
        "depth_min_m": -np.fmax.reduceat(level, start),
        "depth_max_m": -np.fmin.reduceat(level, start),
        "sinuosity": column("sinuosity")[start],
        "dug_like": mean(column("dug_like")),
        "moving_like": mean(column("moving_like")),
        "seam_like": mean(column("seam_like")),
        "weed_like": mean(column("weed_like")),
    }
    return Along(np.split(order, start[1:]), facts)


def mean_axis(angle: Floats, weight: Floats, turn: float) -> Floats:
    """Weighted mean of angles (deg, rows of a matrix) that repeat after ``turn`` degrees."""
    full = np.radians(angle * (360.0 / turn))
    east, north = (weight * np.sin(full)).sum(axis=1), (weight * np.cos(full)).sum(axis=1)
    return np.asarray(np.degrees(np.arctan2(east, north)) * (turn / 360.0) % turn)


def _near(xy: Floats, label: Whole, radius_m: float) -> Whole:
    """Stations of the same feature within a radius, itself first; -1 fills the rows."""
    k = min(CROWD, len(xy))
    _, near = cKDTree(xy).query(xy, k=k, distance_upper_bound=radius_m)
    near = near.reshape(len(xy), k)
    missing = near >= len(xy)
    near[missing] = 0
    near[missing | (label[near] != label[:, None])] = -1
    return np.asarray(near)


def _course(xy: Floats, near: Whole, side_m: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Axis (deg) of the line through the stations around each, and where it is straight and long enough to be told."""
    held = (near >= 0).astype(np.float64)
    count = held.sum(axis=1)
    x, y = (xy[near, k] - (held * xy[near, k]).sum(axis=1, keepdims=True) / count[:, None] for k in (0, 1))
    xx, yy, xy_ = ((held * a * b).sum(axis=1) / count for a, b in ((x, x), (y, y), (x, y)))
    axis = 0.5 * np.arctan2(2.0 * xy_, yy - xx)
    along, across = turned(x, y, axis[:, None])
    length = np.where(held > 0, along, -np.inf).max(axis=1) - np.where(held > 0, along, np.inf).min(axis=1)
    off = np.sqrt((held * across**2).sum(axis=1) / count)
    return np.degrees(axis) % 180.0, (count >= 4) & (length >= 3.0 * side_m) & (off <= THIN * length)


def _median(values: Floats, near: Whole) -> Floats:
    """Median over the given rows of each row, -1 left out."""
    table = np.sort(np.where(near >= 0, values[near], np.inf), axis=1)
    count = (near >= 0).sum(axis=1)
    row = np.arange(len(near))
    return np.asarray(0.5 * (table[row, (count - 1) // 2] + table[row, count // 2]))
