"""From the stations of all tiles of a sheet to candidates and features: once, on tables.

Nothing here knows how the grid was cut: rows are put into one order first, and every rule after that
looks at the whole table.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.alongline import steadied, turned_to_drop
from reefscan.candidates import KINDS, station_side
from reefscan.character import dug_like, moving_like
from reefscan.features import Line, distinct, join, station_shape, trace
from reefscan.model import Sheet
from reefscan.recipe import Find

Floats = NDArray[np.float64]
LonLat = Callable[[Floats, Floats], tuple[Floats, Floats]]

LETTER = {"trough": "T", "ledge": "L", "rise": "R"}


@dataclass(frozen=True)
class Feature:
    """One ledge, trough or rise: its lines in sheet metres and what was measured along it."""

    kind: str
    lines: tuple[Floats, ...]
    facts: dict[str, Any]


@dataclass(frozen=True)
class Merged:
    """Candidates (all raw measures, not yet rounded) and features of one sheet."""

    candidates: pd.DataFrame
    features: tuple[Feature, ...]


def merge(stations: pd.DataFrame, sheet: Sheet, find: Find, *, sheet_name: str, lonlat: LonLat) -> Merged:
    """Join stations into features and choose candidates along them.

    Parameters
    ----------
    stations : DataFrame
        Rows of all tiles, any order.
    sheet : Sheet
    find : Find
    sheet_name : str
        Short name of the sheet, part of every id.
    lonlat : callable
        ``lonlat(rows, cols)`` of fractional lattice positions, degrees.
    """
    side_m = station_side(find, sheet.cell_m) * sheet.cell_m
    table = stations.copy()
    table["order"] = table["kind"].map({kind: i for i, kind in enumerate(KINDS)})
    table = table.sort_values(["order", "seed_row", "seed_col"], kind="stable").reset_index(drop=True)
    table["x"] = sheet.x_of(table["at_col"].to_numpy())
    table["y"] = sheet.y_of(table["at_row"].to_numpy())
    features: list[Feature] = []
    kept: list[pd.DataFrame] = []
    turn = _convergence(table, sheet, lonlat)
    table["turn"] = turn
    for kind in KINDS:
        part = table[table["kind"] == kind]
        if not len(part):
            continue
        alone = distinct(
            part["x"].to_numpy(), part["y"].to_numpy(), part["height_m"].to_numpy(), 0.55 * side_m
        )
        part = part[alone].reset_index(drop=True)
        if kind == "trough":
            part = part[~_misread(part, side_m)].reset_index(drop=True)
        inherited: tuple[Floats, Floats] | None = None
        if kind == "ledge" and kept:
            flank, dug, moving = _flanks(part, kept[0], side_m)
            part = part[~flank].reset_index(drop=True)
            inherited = dug[~flank], moving[~flank]
        if not len(part):
            continue
        part["moving_like"] = moving_like(part, kind, side_m) if kind != "rise" else 0.0
        part, drawn = _features_of(part, kind, sheet_name, side_m)
        if inherited is not None:
            part["dug_like"] = np.maximum(part["dug_like"], inherited[0])
            part["moving_like"] = np.maximum(part["moving_like"], inherited[1])
        if kind != "trough" and kept:
            part["moving_like"] = np.maximum(part["moving_like"], _among_waves(part, kept[0]))
        features += drawn
        kept.append(part)
    if not kept:
        return Merged(_candidates(table.iloc[:0], sheet, sheet_name, lonlat), ())
    every = pd.concat(kept, ignore_index=True)
    usable = every[~every["row"].isna()].reset_index(drop=True)
    usable = _at_drops(usable, sheet)
    chosen = _along(usable, find.station_m)
    return Merged(
        _candidates(usable[chosen].reset_index(drop=True), sheet, sheet_name, lonlat), tuple(features)
    )


def _flanks(
    ledges: pd.DataFrame, troughs: pd.DataFrame, side_m: float
) -> tuple[NDArray[np.bool_], Floats, Floats]:
    """Ledges that are the flank of a trough as high: one piece of ground, told once.

    Returns
    -------
    flank : ndarray of bool
        True for a ledge to leave out.
    dug, moving : ndarray
        The flank of a wide trough stays in the list, but looks as dug, or as moving, as the trough does.
    """
    n = len(ledges)
    flank, dug, moving = np.zeros(n, dtype=bool), np.zeros(n), np.zeros(n)
    width, height = troughs["width_m"].to_numpy(), troughs["height_m"].to_numpy()
    trough_dug, trough_moving = troughs["dug_like"].to_numpy(), troughs["moving_like"].to_numpy()
    at = troughs[["x", "y"]].to_numpy()
    tree = cKDTree(at)
    places, tall = ledges[["x", "y"]].to_numpy(), ledges["height_m"].to_numpy()
    axis = np.radians(troughs["axis"].to_numpy())
    along_x, along_y = np.sin(axis), np.cos(axis)
    around = tree.query_ball_point(places, float(np.hypot(0.6 * width.max() + 0.5 * side_m, 1.2 * side_m)))
    for i, near in enumerate(around):
        if not near:
            continue
        j = np.asarray(near, dtype=np.intp)
        dx, dy = places[i, 0] - at[j, 0], places[i, 1] - at[j, 1]
        along = np.abs(dx * along_x[j] + dy * along_y[j])
        across = np.abs(dx * along_y[j] - dy * along_x[j])
        j = j[(along < 1.2 * side_m) & (across < 0.6 * width[j] + 0.3 * side_m)]
        if not len(j):
            continue
        # a wall between two falling grounds reads up to twice its height as a ledge
        flank[i] = bool(((width[j] <= TOLD_ONCE_M) & (height[j] >= 0.5 * tall[i])).any())
        dug[i], moving[i] = trough_dug[j].max(), trough_moving[j].max()
    return flank, dug, moving


TOLD_ONCE_M = 45.0
"""Up to this width a net set for the trough fishes its flanks too (a guess: the stand-off either side)."""


def _misread(troughs: pd.DataFrame, side_m: float) -> NDArray[np.bool_]:
    """Stations that lie inside a deeper trough and say it runs another way: its rough floor or its end, not a
    second trough."""
    xy = troughs[["x", "y"]].to_numpy()
    width, height = troughs["width_m"].to_numpy(), troughs["height_m"].to_numpy()
    axis = troughs["axis"].to_numpy()
    reach = np.maximum(0.5 * width, 1.2 * side_m)
    pairs = cKDTree(xy).query_pairs(float(reach.max()), output_type="ndarray")
    out = np.zeros(len(troughs), dtype=bool)
    for one, two in ((0, 1), (1, 0)) if len(pairs) else ():
        i, j = pairs[:, one], pairs[:, two]
        inside = np.hypot(*(xy[i] - xy[j]).T) < reach[j]
        odd = np.abs((axis[i] - axis[j] + 90.0) % 180.0 - 90.0) > 35.0
        out[i[inside & odd & (height[i] < height[j])]] = True
    return out


def _among_waves(part: pd.DataFrame, troughs: pd.DataFrame) -> Floats:
    """Ledges and rises in the middle of moving ground are part of it: the lee face, the end of a crest."""
    waves = troughs[(troughs["kind"] == "trough") & (troughs["moving_like"] >= 0.3)]
    out = np.zeros(len(part))
    if len(waves):
        far, near = cKDTree(waves[["x", "y"]].to_numpy()).query(part[["x", "y"]].to_numpy())
        within = far < 1.2 * waves["width_m"].to_numpy()[near]
        out = np.where(within, waves["moving_like"].to_numpy()[near], 0.0)
    return out


def _features_of(
    part: pd.DataFrame, kind: str, sheet_name: str, side_m: float
) -> tuple[pd.DataFrame, list[Feature]]:
    label = join(part, kind, side_m)
    part = part.copy() if kind == "rise" else steadied(part, label, side_m)
    part["feature_id"], part["length_m"], part["sinuosity"], part["dug_like"] = "", 0.0, 1.0, 0.0
    drawn: list[Feature] = []
    order = np.argsort(label, kind="stable")
    bounds = np.flatnonzero(np.diff(label[order])) + 1
    x, y, height = part["x"].to_numpy(), part["y"].to_numpy(), part["height_m"].to_numpy()
    width = part["width_m"].to_numpy()
    columns: dict[str, Any] = {
        name: part[name].to_numpy(dtype=object if name == "feature_id" else None).copy()
        for name in ("feature_id", "length_m", "sinuosity", "dug_like", "moving_like")
    }
    moving = part["moving_like"].to_numpy()
    for rows in np.split(order, bounds):
        members = part.iloc[rows]
        line = (
            trace(x[rows], y[rows], height[rows], float(np.median(width[rows])), side_m)
            if kind != "rise"
            else (Line((int(np.argmax(height[rows])),)))
        )
        length, sinuosity = station_shape(members, kind, line)
        first = members.iloc[int(np.argmax(height[rows]))]
        name = f"{LETTER[kind]}F-{sheet_name}-{int(first['seed_col'])}-{-int(first['seed_row'])}"
        dug = dug_like(members, line, kind, side_m)
        columns["feature_id"][rows] = name
        columns["length_m"][rows] = length
        columns["sinuosity"][rows] = sinuosity
        columns["dug_like"][rows] = dug
        # a wave's trough is one of many along its whole length
        columns["moving_like"][rows] = float(np.mean(moving[rows]))
        drawn.append(_drawn(members, line, kind, name, length, sinuosity, dug, float(np.mean(moving[rows]))))
    for name, values in columns.items():
        part[name] = values
    return part, drawn


def _drawn(
    members: pd.DataFrame,
    line: Line,
    kind: str,
    name: str,
    length: float,
    sinuosity: float,
    dug: float,
    moving: float,
) -> Feature:
    xy = members[["x", "y"]].to_numpy()
    lines = tuple(xy[list(path)] for path in (line.main, *line.branches))
    axis = np.radians(2.0 * members["axis"].to_numpy())
    mean_axis = np.degrees(np.arctan2(np.sin(axis).mean(), np.cos(axis).mean()) / 2.0) % 180.0
    facing = np.radians(members["facing"].to_numpy())
    mean_facing = (
        float(np.degrees(np.arctan2(np.sin(facing).mean(), np.cos(facing).mean())) % 360.0)
        if kind == "ledge"
        else np.nan
    )
    facts = {
        "feature_id": name,
        "length_m": length,
        "height_m": float(members["height_m"].max()),
        "height_typical_m": float(members["height_m"].median()),
        "width_m": float(members["width_m"].median()),
        "axis": float(mean_axis) if kind != "rise" else np.nan,
        "facing": mean_facing,
        "turn": float(members["turn"].mean()),
        "depth_min_m": float(-members["level_m"].max()),
        "depth_max_m": float(-members["level_m"].min()),
        "sinuosity": sinuosity,
        "branches": len(line.branches),
        "dug_like": dug,
        "moving_like": moving,
        "stations": len(members),
    }
    return Feature(kind, lines, facts)


def _along(table: pd.DataFrame, spacing_m: float) -> NDArray[np.bool_]:
    """Of the stations of one feature, the best ones no nearer than the spacing."""
    keep = np.zeros(len(table), dtype=bool)
    for _, rows in table.groupby("feature_id", sort=False).indices.items():
        part = table.iloc[rows]
        keep[rows] = distinct(
            part["x"].to_numpy(), part["y"].to_numpy(), part["height_m"].to_numpy(), spacing_m
        )
    return keep


def _at_drops(table: pd.DataFrame, sheet: Sheet) -> pd.DataFrame:
    """Each site's axis and facing where its net lies, not at the station beside it."""
    parts = []
    for _, part in table.groupby("order", sort=True):
        label = np.asarray(pd.factorize(part["feature_id"])[0], dtype=np.intp)
        drop_x, drop_y = sheet.x_of(part["col"].to_numpy()), sheet.y_of(part["row"].to_numpy())
        lines = part["kind"].iloc[0] != "rise"
        parts.append(turned_to_drop(part, label, drop_x, drop_y) if lines else part)
    return pd.concat(parts, ignore_index=True)


def _convergence(table: pd.DataFrame, sheet: Sheet, lonlat: LonLat) -> Floats:
    """True azimuth of grid north at each station, degrees: added to grid azimuths on output."""
    if not len(table):
        return np.zeros(0)
    row, col = table["at_row"].to_numpy(), table["at_col"].to_numpy()
    step = 100.0 / sheet.cell_m
    lon0, lat0 = lonlat(row + step, col)
    lon1, lat1 = lonlat(row - step, col)
    east = ((lon1 - lon0 + 180.0) % 360.0 - 180.0) * np.cos(np.radians(0.5 * (lat0 + lat1)))
    return np.asarray(np.degrees(np.arctan2(east, lat1 - lat0)))


def _candidates(table: pd.DataFrame, sheet: Sheet, sheet_name: str, lonlat: LonLat) -> pd.DataFrame:
    lon, lat = lonlat(table["row"].to_numpy(), table["col"].to_numpy())
    rock_lon, rock_lat = lonlat(table["rock_row"].to_numpy(), table["rock_col"].to_numpy())
    kind = table["kind"].to_numpy(dtype=object)
    turn = table["turn"].to_numpy()
    axis = np.where(kind == "rise", np.nan, (table["axis"].to_numpy() + turn) % 180.0)
    facing = (table["facing"].to_numpy() + turn) % 360.0
    letters = [LETTER[k] for k in kind]
    ids = [
        f"{letter}-{sheet_name}-{int(col)}-{-int(row)}"
        for letter, row, col in zip(letters, table["seed_row"], table["seed_col"], strict=True)
    ]
    out = pd.DataFrame(
        {
            "id": np.asarray(ids, dtype=object),
            "kind": kind,
            "feature_id": table.get("feature_id", pd.Series(dtype=object)),
            "sheet": sheet_name,
            "row": table["row"].to_numpy().astype(np.int64),
            "col": table["col"].to_numpy().astype(np.int64),
            "lon": lon,
            "lat": lat,
            "axis_deg": axis,
            "cross_deg": np.where(kind == "ledge", facing % 180.0, (axis + 90.0) % 180.0),
            "facing_deg": np.where(kind == "ledge", facing, np.nan),
            "structure_lon": rock_lon,
            "structure_lat": rock_lat,
            "cell_m": sheet.cell_m,
        }
    )
    for name in PASSED_ON:
        out[name] = table[name].to_numpy() if name in table else np.zeros(0)
    return out


PASSED_ON = (
    "depth_m", "height_m", "relief_m", "width_m", "off_m", "slope_deg", "vrm", "bpi_fine_m", "bpi_broad_m",
    "uncertainty_m", "height_sigma_m", "noise_m", "position_m", "dug_like", "moving_like", "interpolated",
    "length_m", "sinuosity",
)  # fmt: skip
