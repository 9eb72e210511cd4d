"""From the stations of all tiles of a sheet to candidates and features: once, on tables.

Nothing here knows how the grid was cut: rows are put into one order first, and every rule after that looks at the whole
table. Nothing that was measured of a station is changed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.base.columns import CANDIDATE, MEASURED
from reefscan.base.doubts import DOUBTS
from reefscan.base.model import Sheet
from reefscan.base.ramp import ramp
from reefscan.base.recipe import Find
from reefscan.doubts import likeness
from reefscan.find.candidates import KINDS, station_side
from reefscan.join.along import measured_along
from reefscan.join.features import Lines, distinct, join, line_shapes, trace
from reefscan.kernels.near import pairs_within

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
    table["turn"] = _convergence(table, sheet, lonlat)
    lines: list[tuple[int, Lines]] = []
    kept: list[pd.DataFrame] = []
    for kind in KINDS:
        part = table[table["kind"] == kind]
        if not len(part):
            continue
        alone = distinct(
            part["x"].to_numpy(), part["y"].to_numpy(), part["height_m"].to_numpy(), 0.55 * side_m
        )
        part, traced = _features_of(part[alone].reset_index(drop=True), kind, sheet_name, side_m)
        lines.append((sum(map(len, kept)), traced))
        kept.append(part)
    if not kept:
        return Merged(_candidates(table.iloc[:0], sheet, sheet_name, lonlat), ())
    every = pd.concat(kept, ignore_index=True)
    strength = _strength(every)
    every["contrast"] = contrast(every, strength, side_m)
    every["extent"] = extent(every, strength, side_m)
    for doubt in DOUBTS:
        every[doubt.column] = likeness(doubt, every, sheet.cell_m)
    features = tuple(_drawn(every, lines))
    chosen = _along(every, strength * every["extent"].to_numpy(), sheet, find.station_m)
    return Merged(_candidates(every[chosen].reset_index(drop=True), sheet, sheet_name, lonlat), features)


AROUND_M = 60.0
"""Structure within this distance counts against how far a station stands out: the scale of a night's foraging (common practice, no source)."""

CROWDED = 2.5
"""How much it counts (planted and natural seabeds, tuning seeds: 2 to 3 find most)."""

STANDS = (0.05, 0.4)
"""Gradients between which a face counts for none and for all of the structure around."""

TALL_M = 3.0
"""What is taller counts no more."""


def _strength(stations: pd.DataFrame) -> Floats:
    """What a station counts for as structure: root of its height by how steep it is."""
    steep = np.tan(np.radians(stations["steep_deg"].to_numpy()))
    return np.asarray(np.sqrt(np.minimum(stations["height_m"].to_numpy(), TALL_M)) * ramp(steep, STANDS))


def contrast(stations: pd.DataFrame, strength: Floats, side_m: float) -> Floats:
    """How far each station stands out from the structure within `AROUND_M`: 1 if it were alone, less the more there is.

    A station's own strength over itself and the mean strength of the ground around, to which every station gives its square of the lattice.
    """
    i, j = pairs_within(stations["x"].to_numpy(), stations["y"].to_numpy(), AROUND_M)
    counted = np.minimum(strength, 1.2)
    around = counted.copy()
    around += np.bincount(i, counted[j], len(counted))
    around += np.bincount(j, counted[i], len(counted))
    around *= CROWDED * side_m**2 / (np.pi * AROUND_M**2)
    return np.asarray(strength / np.maximum(strength + around, 1e-9))


ALONG_M = 60.0
"""Distance along a feature over which the same structure goes on: where the most of it lies is where a site stands, so that a little more
noise, or another lattice, does not move it to the other end (common practice, no source: a long edge holds more than its tip)."""


def extent(stations: pd.DataFrame, strength: Floats, side_m: float) -> Floats:
    """How much of its feature goes on to both sides of each station, 0 to 1: strength of the stations within `ALONG_M`, the nearer the more,
    over that of an endless line as strong as the strongest of them; 1 of a rise."""
    x, y, n = stations["x"].to_numpy(), stations["y"].to_numpy(), len(stations)
    label = pd.factorize(stations["feature_id"])[0]
    i, j = pairs_within(x, y, ALONG_M)
    same = label[i] == label[j]
    i, j = i[same], j[same]
    near = 1.0 - (np.hypot(x[i] - x[j], y[i] - y[j]) / ALONG_M) ** 2
    total = strength + np.bincount(i, near * strength[j], n) + np.bincount(j, near * strength[i], n)
    most = strength.copy()
    np.maximum.at(most, i, strength[j])
    np.maximum.at(most, j, strength[i])
    endless = 4.0 / 3.0 * ALONG_M / side_m  # the integral of the weight over both sides, a station a side
    out = np.minimum(1.0, total / np.maximum(most * max(1.0, endless), 1e-9))
    return np.asarray(np.where(stations["kind"].to_numpy() == "rise", 1.0, out))


def _features_of(part: pd.DataFrame, kind: str, sheet_name: str, side_m: float) -> tuple[pd.DataFrame, Lines]:
    """Stations of one kind with the name, length and sinuosity of their feature, and the features' lines."""
    label = join(part, kind, side_m)
    x, y, height, width = (part[name].to_numpy() for name in ("x", "y", "height_m", "width_m"))
    begin = np.concatenate([[0], np.cumsum(np.bincount(label))])
    size = np.diff(begin)
    ranked = width[np.lexsort((width, label))]
    typical = 0.5 * (ranked[begin[:-1] + (size - 1) // 2] + ranked[begin[:-1] + size // 2])
    highest = np.lexsort((-height, label))[begin[:-1]]
    if kind == "rise":
        every = np.arange(len(size) + 1)
        lines, length, sinuosity = Lines(highest, every, every), typical, np.ones(len(size))
    else:
        lines = trace(x, y, label, typical, side_m)
        length, sinuosity = line_shapes(x, y, lines)
    rows, cols = (part[name].to_numpy()[highest] for name in ("seed_row", "seed_col"))
    names = [f"{LETTER[kind]}F-{sheet_name}-{col}-{-row}" for row, col in zip(rows, cols, strict=True)]
    part = part.copy()
    part["feature_id"] = np.asarray(names, dtype=object)[label]
    part["length_m"], part["sinuosity"] = length[label], sinuosity[label]
    return part, lines


def _drawn(table: pd.DataFrame, lines: Sequence[tuple[int, Lines]]) -> Iterator[Feature]:
    """Each feature with what was measured along it; ``lines`` of each kind with the table's first row of that kind."""
    code, names = pd.factorize(table["feature_id"])
    measured = measured_along(table, np.asarray(code, dtype=np.intp), len(names))
    xy = table[["x", "y"]].to_numpy()
    each = zip(names, measured.rows, *(values.tolist() for values in measured.facts.values()), strict=True)
    for first, of_kind in lines:
        kind = str(table["kind"].iloc[first])
        for i in range(len(of_kind.first) - 1):
            name, rows, *values = next(each)
            facts: dict[str, Any] = dict(zip(measured.facts, values, strict=True))
            if kind == "rise":
                facts["axis"] = np.nan
            if kind != "ledge":
                facts["facing"] = np.nan
            paths = of_kind.of(i)
            facts |= {"feature_id": name, "branches": len(paths) - 1, "stations": len(rows)}
            yield Feature(kind, tuple(xy[first + path] for path in paths), facts)


def _along(table: pd.DataFrame, worth: Floats, sheet: Sheet, spacing_m: float) -> NDArray[np.bool_]:
    """Of the nets of one feature, those where the most of it lies, no nearer to each other than the spacing."""
    x, y = np.asarray(sheet.x_of(table["col"].to_numpy())), np.asarray(sheet.y_of(table["row"].to_numpy()))
    return distinct(x, y, worth, spacing_m, of=pd.factorize(table["feature_id"])[0])


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
    ids = [
        f"{LETTER[k]}-{sheet_name}-{int(col)}-{-int(row)}"
        for k, row, col in zip(kind, table["seed_row"], table["seed_col"], strict=True)
    ]
    made = {
        "id": np.asarray(ids, dtype=object),
        "kind": kind,
        "sheet": sheet_name,
        "row": np.rint(table["row"].to_numpy()).astype(np.int64),
        "col": np.rint(table["col"].to_numpy()).astype(np.int64),
        "lon": lon,
        "lat": lat,
        "axis_deg": np.where(kind == "rise", np.nan, (table["axis"].to_numpy() + turn) % 180.0),
        "cross_deg": (table["cross"].to_numpy() + turn) % 180.0,
        "facing_deg": np.where(kind == "ledge", (table["facing"].to_numpy() + turn) % 360.0, np.nan),
        "structure_lon": rock_lon,
        "structure_lat": rock_lat,
        "cell_m": sheet.cell_m,
    }
    joined = (
        "feature_id",
        "length_m",
        "sinuosity",
        "contrast",
        "extent",
        *(doubt.column for doubt in DOUBTS),
    )
    out = {}
    for column in CANDIDATE:
        if column.name in made:
            out[column.name] = made[column.name]
        elif column.name in MEASURED or column.name in joined:
            empty = pd.Series(dtype=object if column.kind == "text" else float)
            out[column.name] = table.get(column.name, empty).to_numpy()
    return pd.DataFrame(out)
