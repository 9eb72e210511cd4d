"""From the stations of all tiles of a sheet to candidates and features: once, on tables.

Nothing here knows how the grid was cut: rows are put into one order first, and every rule after that
looks at the whole table.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.alongline import steadied, told_along, told_at_drop
from reefscan.bothsides import no_joint
from reefscan.candidates import KINDS, station_side
from reefscan.character import characters, troughs_beside
from reefscan.coarse_edges import tell_coarse_cells
from reefscan.features import Line, distinct, join, line_shape, trace
from reefscan.model import Sheet
from reefscan.overgrown import of_patch
from reefscan.recipe import Find
from reefscan.resolved import unresolved
from reefscan.ruled import WORTH, ruled_like
from reefscan.seams import seam_like

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
    lines: dict[str, Line] = {}
    kept: list[pd.DataFrame] = []
    table["turn"], table["lat"] = _convergence(table, sheet, lonlat)
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
        if kind == "ledge" and kept:
            part = part[~_flanks(part, kept[0], side_m)].reset_index(drop=True)
        if not len(part):
            continue
        part, traced = _features_of(part, kind, sheet_name, side_m)
        lines |= traced
        kept.append(part)
    if not kept:
        return Merged(_candidates(table.iloc[:0], sheet, sheet_name, lonlat), ())
    every = pd.concat(kept, ignore_index=True)
    every["dug_like"], every["moving_like"], every["looks_like"] = characters(
        every, lines, side_m, sheet.cell_m
    )
    every["seam_like"] = np.maximum(
        seam_like(every, lines, sheet.cell_m), WORTH * ruled_like(every, lines, sheet.cell_m)
    )
    every.loc[no_joint(every, (every["seam_like"] > 0.0).to_numpy()), "seam_like"] = 0.0
    every["weed_like"] = of_patch(
        every["x"].to_numpy(), every["y"].to_numpy(), every["weed_like"].to_numpy(), side_m
    )
    tell_coarse_cells(every, sheet.cell_m)
    features = tuple(_drawn(every, lines))
    usable = every[~every["row"].isna()].reset_index(drop=True)
    usable = _at_drops(usable, sheet)
    usable["unresolved"] = unresolved(usable)
    chosen = _along(usable, find.station_m)
    return Merged(_candidates(usable[chosen].reset_index(drop=True), sheet, sheet_name, lonlat), features)


def _flanks(ledges: pd.DataFrame, troughs: pd.DataFrame, side_m: float) -> NDArray[np.bool_]:
    """Ledges that are the flank of a trough as high: one piece of ground, told once."""
    flank = np.zeros(len(ledges), dtype=bool)
    width, height = troughs["width_m"].to_numpy(), troughs["height_m"].to_numpy()
    tall = ledges["height_m"].to_numpy()
    for i, j in enumerate(troughs_beside(ledges, troughs, side_m)):
        # a wall between two falling grounds reads up to twice its height as a ledge
        flank[i] = bool(((width[j] <= TOLD_ONCE_M) & (height[j] >= 0.5 * tall[i])).any())
    return flank


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


def _features_of(
    part: pd.DataFrame, kind: str, sheet_name: str, side_m: float
) -> tuple[pd.DataFrame, dict[str, Line]]:
    """Stations of one kind with the name, length and sinuosity of their feature, and each feature's line."""
    label = join(part, kind, side_m)
    part = part.copy() if kind == "rise" else steadied(part, label, side_m)
    lines: dict[str, Line] = {}
    order = np.argsort(label, kind="stable")
    bounds = np.flatnonzero(np.diff(label[order])) + 1
    x, y, height, width = (part[name].to_numpy() for name in ("x", "y", "height_m", "width_m"))
    seed_row, seed_col = part["seed_row"].to_numpy(), part["seed_col"].to_numpy()
    names = np.empty(len(part), dtype=object)
    length, sinuosity = np.zeros(len(part)), np.ones(len(part))
    for rows in np.split(order, bounds):
        typical, first = float(np.median(width[rows])), rows[int(np.argmax(height[rows]))]
        name = f"{LETTER[kind]}F-{sheet_name}-{int(seed_col[first])}-{-int(seed_row[first])}"
        if kind == "rise":
            line = Line((int(np.argmax(height[rows])),))
            length[rows] = typical
        else:
            line = trace(x[rows], y[rows], height[rows], typical, side_m)
            main = rows[list(line.main)]
            length[rows], sinuosity[rows] = line_shape(x[main], y[main])
        names[rows] = name
        lines[name] = line
    part["feature_id"], part["length_m"], part["sinuosity"] = names, length, sinuosity
    return part, lines


def _drawn(table: pd.DataFrame, lines: dict[str, Line]) -> Iterator[Feature]:
    """Each feature with what was measured along it, in the order of ``lines``."""
    code = pd.Index(lines).get_indexer(pd.Index(table["feature_id"]))
    told = told_along(table, np.asarray(code, dtype=np.intp), len(lines))
    kind, x, y = table["kind"].to_numpy(), table["x"].to_numpy(), table["y"].to_numpy()
    for i, ((name, line), rows) in enumerate(zip(lines.items(), told.rows, strict=True)):
        of = str(kind[rows[0]])
        facts: dict[str, Any] = {key: float(values[i]) for key, values in told.facts.items()}
        if of == "rise":
            facts["axis"] = np.nan
        if of != "ledge":
            facts["facing"] = np.nan
        facts |= {"feature_id": name, "branches": len(line.branches), "stations": len(rows)}
        paths = [rows[list(path)] for path in (line.main, *line.branches)]
        yield Feature(of, tuple(np.column_stack([x[path], y[path]]) for path in paths), facts)


def _along(table: pd.DataFrame, spacing_m: float) -> NDArray[np.bool_]:
    """Of the nets of one feature, those at its highest places, no nearer to each other than the spacing."""
    keep = np.zeros(len(table), dtype=bool)
    x, y, height = (table[name].to_numpy() for name in ("drop_x", "drop_y", "height_m"))
    for rows in table.groupby("feature_id", sort=False).indices.values():
        keep[rows] = distinct(x[rows], y[rows], height[rows], spacing_m)
    return keep


def _at_drops(table: pd.DataFrame, sheet: Sheet) -> pd.DataFrame:
    """Stations with a drop point, told as they are where the net lies."""
    table["drop_x"] = np.asarray(sheet.x_of(table["col"].to_numpy()))
    table["drop_y"] = np.asarray(sheet.y_of(table["row"].to_numpy()))
    parts = []
    for _, part in table.groupby("order", sort=True):
        if part["kind"].iloc[0] != "rise":
            label = np.asarray(pd.factorize(part["feature_id"])[0], dtype=np.intp)
            part, elsewhere = told_at_drop(part, label, part["drop_x"].to_numpy(), part["drop_y"].to_numpy())
            part = part[~elsewhere]
        parts.append(part)
    return pd.concat(parts, ignore_index=True) if parts else table


def _convergence(table: pd.DataFrame, sheet: Sheet, lonlat: LonLat) -> tuple[Floats, Floats]:
    """True azimuth of grid north at each station, degrees: added to grid azimuths on output; and latitude, degrees."""
    if not len(table):
        return np.zeros(0), np.zeros(0)
    row, col = table["at_row"].to_numpy(), table["at_col"].to_numpy()
    step = 100.0 / sheet.cell_m
    lon0, lat0 = lonlat(row + step, col)
    lon1, lat1 = lonlat(row - step, col)
    east = ((lon1 - lon0 + 180.0) % 360.0 - 180.0) * np.cos(np.radians(0.5 * (lat0 + lat1)))
    return np.asarray(np.degrees(np.arctan2(east, lat1 - lat0))), np.asarray(0.5 * (lat0 + lat1))


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
            "looks_like": table.get("looks_like", pd.Series(dtype=object)),
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
    "interval_m", "unresolved", "shore", "seam_like", "weed_like",
    "length_m", "sinuosity",
)  # fmt: skip
