"""From the stations of all tiles of a sheet to candidates and features: once, on tables.

Nothing here knows how the grid was cut: rows are put into one order first, and every rule after that looks at the whole
table. Nothing that was measured of a station is changed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

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
Whole = NDArray[np.intp]
LonLat = Callable[[Floats, Floats], tuple[Floats, Floats]]

LETTER = {"trough": "T", "ledge": "L", "rise": "R"}


@dataclass(frozen=True)
class Features:
    """The ledges, the troughs or the rises of a sheet.

    Attributes
    ----------
    kind : str
    lines : Lines
    xy : ndarray, shape (stations, 2)
        What the lines are drawn through (m on the sheet).
    facts : DataFrame
        One row a feature, in the order of the lines: what was measured along it.
    """

    kind: str
    lines: Lines
    xy: Floats
    facts: pd.DataFrame


@dataclass(frozen=True)
class Merged:
    """Candidates (all raw measures, not yet rounded) and features of one sheet, of the kinds that it has."""

    candidates: pd.DataFrame
    features: tuple[Features, ...]


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
    parts = _apart(stations, sheet, side_m)
    # the whole table is copied once, and of it what is used: it is the most that a scan of a coast holds
    table = stations.take(np.concatenate(parts))
    table.index = pd.RangeIndex(len(table))
    table["x"] = sheet.x_of(table["at_col"].to_numpy())
    table["y"] = sheet.y_of(table["at_row"].to_numpy())
    table["turn"] = _convergence(table, sheet, lonlat)
    if not len(table):
        return Merged(_candidates(table, sheet, sheet_name, lonlat), ())
    begin = np.concatenate([[0], np.cumsum([len(part) for part in parts])])
    joined = {
        kind: _joined(table.iloc[first:last], kind, sheet_name, side_m)
        for kind, first, last in zip(KINDS, begin[:-1], begin[1:], strict=True)
        if first < last
    }
    of = _numbered(table, joined)
    strength = _strength(table)
    table["contrast"] = contrast(table, strength, side_m)
    table["extent"] = extent(table, strength, side_m)
    for doubt in DOUBTS:
        table[doubt.column] = likeness(doubt, table, sheet.cell_m)
    features = tuple(_measured(table[table["kind"] == kind], kind, one) for kind, one in joined.items())
    chosen = _along(table, of, strength * table["extent"].to_numpy(), sheet, find.station_m)
    return Merged(_candidates(table[chosen], sheet, sheet_name, lonlat), features)


def _apart(stations: pd.DataFrame, sheet: Sheet, side_m: float) -> list[Whole]:
    """Rows of the stations of each kind, in the order of their seeds; of those on one spot only the highest."""
    kind, height = stations["kind"].to_numpy(), stations["height_m"].to_numpy()
    x = np.asarray(sheet.x_of(stations["at_col"].to_numpy()))
    y = np.asarray(sheet.y_of(stations["at_row"].to_numpy()))
    order = np.lexsort((stations["seed_col"].to_numpy(), stations["seed_row"].to_numpy()))
    parts = []
    for name in KINDS:
        rows = order[kind[order] == name]
        parts.append(rows[distinct(x[rows], y[rows], height[rows], 0.55 * side_m)])
    return parts


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
    of = pd.factorize(stations["feature_id"])[0]
    i, j = pairs_within(x, y, ALONG_M)
    same = of[i] == of[j]
    i, j = i[same], j[same]
    near = 1.0 - (np.hypot(x[i] - x[j], y[i] - y[j]) / ALONG_M) ** 2
    total = strength + np.bincount(i, near * strength[j], n) + np.bincount(j, near * strength[i], n)
    most = strength.copy()
    np.maximum.at(most, i, strength[j])
    np.maximum.at(most, j, strength[i])
    endless = 4.0 / 3.0 * ALONG_M / side_m  # the integral of the weight over both sides, a station a side
    out = np.minimum(1.0, total / np.maximum(most * max(1.0, endless), 1e-9))
    return np.asarray(np.where(stations["kind"].to_numpy() == "rise", 1.0, out))


@dataclass(frozen=True)
class _Joined:
    """Features of one kind: which one each station is of, their lines, and their names, lengths (m) and sinuosities."""

    label: Whole
    lines: Lines
    names: list[str]
    length: Floats
    sinuosity: Floats


def _joined(part: pd.DataFrame, kind: str, sheet_name: str, side_m: float) -> _Joined:
    """Join stations of one kind."""
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
    return _Joined(label, lines, names, length, sinuosity)


def _numbered(table: pd.DataFrame, joined: dict[str, _Joined]) -> Whole:
    """Tell every station the name, length and sinuosity of its feature; returns the feature's number on the sheet."""
    first = np.concatenate([[0], np.cumsum([len(one.names) for one in joined.values()])])
    of = np.concatenate([at + one.label for at, one in zip(first[:-1], joined.values(), strict=True)])
    names = np.asarray([name for one in joined.values() for name in one.names], dtype=object)
    table["feature_id"] = names[of]
    table["length_m"] = np.concatenate([one.length for one in joined.values()])[of]
    table["sinuosity"] = np.concatenate([one.sinuosity for one in joined.values()])[of]
    return of


def _measured(part: pd.DataFrame, kind: str, joined: _Joined) -> Features:
    """The features of one kind with what was measured along each."""
    facts = pd.DataFrame(measured_along(part, joined.label, len(joined.names)))
    if kind == "rise":
        facts["axis"] = np.nan
    if kind != "ledge":
        facts["facing"] = np.nan
    facts["feature_id"] = joined.names
    facts["branches"] = np.diff(joined.lines.first) - 1
    facts["stations"] = np.bincount(joined.label)
    return Features(kind, joined.lines, part[["x", "y"]].to_numpy(), facts)


def _along(
    table: pd.DataFrame, of: Whole, worth: Floats, sheet: Sheet, spacing_m: float
) -> NDArray[np.bool_]:
    """Of the nets of one feature, those where the most of it lies, no nearer to each other than the spacing."""
    x, y = np.asarray(sheet.x_of(table["col"].to_numpy())), np.asarray(sheet.y_of(table["row"].to_numpy()))
    return distinct(x, y, worth, spacing_m, of=of)


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
