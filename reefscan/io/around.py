"""Files of shapes that a person hands over (closed ground, hard structure, ...): read, checked, brought to one form."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from reefscan.base.errors import InputError
from reefscan.base.recipe import ROLES, Around
from reefscan.io.charts import CHECK, CODE, GREATEST, LEAST, ChartClasses, numbers, read_classes
from reefscan.surroundings.dates import SIDES, in_force
from reefscan.surroundings.known import Charted, Surroundings
from reefscan.surroundings.shapes import (
    Box,
    Shapes,
    joined,
    near,
    off_by_km,
    single_parts,
    spoken,
    to_lonlat,
    whole_areas,
    whole_parts,
    widened,
)

NAMES = ("name", "objnam", "title", "label", "site_name", "nom", "nombre")
KINDS = ("kind", "type", "category", "class", "desig")
MARGIN = "buffer_m"
"""Columns, in lower case, that hold what a shape is called, what it is, and its own margin in metres."""

CELL = ".000"
"""How the name of a chart cell ends (IHO S-57 Appendix B.1; updates end in .001 and so on and are read with it)."""

_USUAL = {"closed": "closed ground", "caution": "caution ground", "hard": "hard structure", "land": "land"}


def read_around(around: Around, box: Box) -> Surroundings:
    """Read all files of shapes that a recipe names.

    Parameters
    ----------
    around : Around
    box : Box
        What lies near the grid, as `reefscan.surroundings.shapes.box_of` and `Box.grown` give it.

    Raises
    ------
    MissingInputError, UnreadableError, NoCrsError, InputError, RecipeError
        For a file that is not there, is none of shapes, does not say where they lie, or holds none near the grid; the message names the
        option.
    """
    parts: dict[str, list[Shapes]] = {}
    given: dict[str, list[str]] = {}
    notes: list[str] = []
    unused: dict[str, dict[str, int]] = {}
    charted: list[Charted] = []
    classes = read_classes(around.classes)
    for role, path in around.files:
        name = spoken(Path(path).name)
        read = _read_file(Path(path), role, around, box, classes)
        # a chart speaks of all roles, whatever it was given as
        for mine in ROLES if read.chart else (role,):
            parts.setdefault(mine, []).extend(shapes for other, shapes in read.near if other == mine)
            given.setdefault(mine, []).append(name)
        notes += [f"{name}: {words}" for words in read.notes]
        charted += read.charted
        if read.unused:
            unused[name] = dict(sorted(read.unused.items()))
            most = ", ".join(f"{what} {n}" for what, n in read.unused.most_common(4))
            notes.append(
                f"{name}: {sum(read.unused.values())} objects of {len(read.unused)} classes are not used ({most}, ...; all in run.json)"
            )
    return Surroundings(
        box,
        {role: joined(shapes) for role, shapes in parts.items()},
        {role: tuple(names) for role, names in given.items()},
        tuple(notes),
        unused,
        around.wind_deg,
        Charted.joined(charted),
    )


@dataclass
class _Read:
    """What one file gave so far: shapes near the grid by role, those of all its rows, and what to say."""

    near: list[tuple[str, Shapes]] = field(default_factory=list)
    everywhere: list[Any] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    unused: Counter[str] = field(default_factory=Counter)
    open_today: int = 0
    chart: bool = False
    charted: list[Charted] = field(default_factory=list)


def _read_file(path: Path, role: str, around: Around, box: Box, classes: ChartClasses) -> _Read:
    from reefscan.io.vectors import handed_over

    flag, read = f"--{role}", _Read()
    layers = list(handed_over(path, flag))
    for layer, frame in layers:
        _read_layer(read, path, frame, layer if len(layers) > 1 else "", role, around, box, classes)
    if not read.everywhere:
        raise InputError(f"{path}: holds no shape; {flag} wants points, lines or areas")
    whole = np.concatenate(read.everywhere)
    if not read.open_today and not len(near(whole, box)[0]):
        raise InputError(_missed(path, whole, box))
    return read


def _read_layer(read: _Read, path: Path, frame: Any, layer: str, flag: str, around: Around, box: Box, classes: ChartClasses) -> None:  # fmt: skip
    """Add the shapes of one layer; ``layer`` is its name, empty where it is the file's only one."""
    if "geometry" not in frame:
        return
    raw = np.asarray(frame.geometry.to_numpy(), dtype=object)
    rows = np.flatnonzero([shape is not None and not shape.is_empty for shape in raw])
    if len(rows) < len(raw):
        read.notes.append(f"{len(raw) - len(rows)} rows without a shape are left out")
    if not len(rows):
        return
    # what a person hands over as closed is closed; only a cell itself, which holds the whole chart, is sorted even then
    if _column(frame, (CODE,)) and (flag != "closed" or path.suffix == CELL):
        read.chart = True
        roles, kinds, margins = _of_chart(frame, layer, around, classes, read.unused)
    else:
        usual = spoken(layer) or _USUAL[flag]
        roles = np.full(len(frame), flag, dtype=object)
        kinds = column_words(frame, KINDS, usual)
        margins = _numbers(frame, MARGIN)
    checks = rows[roles[rows] == CHECK]
    if len(checks):
        read.charted.append(_charted(frame, checks, path, box))
    parts, rows = _whole(read, raw, rows)
    parts = to_lonlat(parts, frame.crs, file=str(path))
    read.everywhere.append(parts)
    shut = roles == "closed"
    if shut.any():
        on, said = _closed_on(frame, shut, around.date)
        read.notes += said
        read.open_today += int((shut & ~on).sum())
        kept = ~shut[rows] | on[rows]
        parts, rows = parts[kept], rows[kept]
    parts, at = near(parts, box)
    rows = rows[at]
    names = column_words(frame, NAMES)
    for role in ROLES:
        mine = np.flatnonzero(roles[rows] == role)
        of = rows[mine]
        shapes = Shapes(
            parts[mine],
            tuple(names[i] for i in of),
            tuple(kinds[i] for i in of),
            (spoken(path.name),) * len(mine),
        )
        if role == "closed":
            wide = np.maximum(around.closed_buffer_m, np.nan_to_num(margins[of]))
            shapes = _areas(widened(shapes, wide, box), path)
        if len(mine):
            read.near.append((role, shapes))


def _whole(read: _Read, raw: Any, rows: Any) -> tuple[Any, Any]:
    """Single parts of the shapes of some rows, areas mended, and the row of each."""
    parts, at, mended = whole_parts(raw[rows])
    if mended:
        read.notes.append(
            f"{mended} areas whose rings cross themselves are taken to hold all that they go round"
        )
    return parts, rows[at]


def _charted(frame: Any, rows: Any, path: Path, box: Box) -> Charted:
    """The depths in rows of a chart: soundings are points with a height, areas state their least and greatest depth."""
    shapes = np.asarray(frame.geometry.to_numpy(), dtype=object)[rows]
    points = shapely.get_parts(shapes)
    points = points[shapely.has_z(points) & (shapely.get_type_id(points) == 0)]
    depth = shapely.get_z(points)
    at = shapely.get_coordinates(to_lonlat(shapely.force_2d(points), frame.crs, file=str(path)))
    near_by = box.holds(at[:, 0], at[:, 1])
    soundings = np.column_stack((box.unwrap(at[:, 0]), at[:, 1], depth))[near_by]
    stated = np.column_stack([_numbers(frame, name.lower())[rows] for name in (LEAST, GREATEST)])
    parts, of = single_parts(shapely.force_2d(shapes))
    kept = (shapely.get_type_id(parts) == 3) & np.isfinite(stated[of]).any(axis=1)
    areas, at_row = near(to_lonlat(whole_areas(parts[kept])[0], frame.crs, file=str(path)), box)
    between = stated[of[kept][at_row]]
    return Charted(soundings, areas, np.where(np.isnan(between), (-np.inf, np.inf), between))


def _of_chart(
    frame: Any, layer: str, around: Around, classes: ChartClasses, unused: Counter[str]
) -> tuple[Any, list[str], Any]:
    """Role, kind and margin of every object of a chart's layer; what is not used is counted by its class."""
    there = {
        str(column).upper(): frame[column].tolist() for column in frame.columns if str(column) != "geometry"
    }
    blank = [None] * len(frame)
    roles, kinds = np.full(len(frame), "", dtype=object), [""] * len(frame)
    margins = np.full(len(frame), np.nan)
    stated = there.get(classes.attribute, blank)
    extent = np.nan_to_num(shapely.area(np.asarray(frame.geometry.to_numpy(), dtype=object)))
    for i, code in enumerate(there[CODE.upper()]):
        found = numbers(code)
        kind = classes.by_code.get(found[0]) if found else None
        if kind is None or not kind.role:
            name = kind.acronym if kind else f"class {found[0] if found else '?'}"
            unused[(spoken(layer) if not kind else "") or name] += 1
            continue
        restrictions = numbers(stated[i])
        roles[i] = classes.role_of(kind, restrictions, allow_fairways=around.allow_fairways)
        kinds[i] = classes.called(kind, there.get(kind.attribute, blank)[i], restrictions)
        margins[i] = kind.margin_m if extent[i] == 0 else np.nan
    return roles, kinds, margins


def _areas(shapes: Shapes, path: Path) -> Shapes:
    """Closed ground as single polygons.

    Raises
    ------
    InputError
        If a point or a line is left, which closes nothing of itself.
    """
    parts, rows = single_parts(shapes.shapes)  # a margin may give an area in several parts
    bare = int((shapely.get_type_id(parts) != 3).sum())
    if bare:
        raise InputError(
            f"{path}: {bare} of its shapes near the grid are points or lines, which close no ground of themselves; "
            f"say how far around them it is closed with --closed-buffer, or in a column {MARGIN}"
        )
    return Shapes(
        parts, *(tuple(words[i] for i in rows) for words in (shapes.name, shapes.kind, shapes.file))
    )


def _column(frame: Any, wanted: Sequence[str]) -> str | None:
    """The first column of those names, in any case of letters."""
    there = {str(column).lower(): str(column) for column in frame.columns if str(column) != "geometry"}
    return next((there[name] for name in wanted if name in there), None)


def column_words(frame: Any, wanted: Sequence[str], usual: str = "") -> list[str]:
    """What the first column of those names says in each row; ``usual`` where there is none or it is silent."""
    column = _column(frame, wanted)
    if column is None:
        return [usual] * len(frame)
    return [spoken(value) or usual for value in frame[column].tolist()]


def _numbers(frame: Any, name: str) -> Any:
    import pandas as pd

    column = _column(frame, (name,))
    if column is None:
        return np.full(len(frame), np.nan)
    values = pd.to_numeric(frame[column], errors="coerce").to_numpy(dtype=np.float64)
    return np.where(np.isfinite(values), values, np.nan)


def _closed_on(frame: Any, shut: Any, day: str) -> tuple[Any, list[str]]:
    """Which of the rows that are closed ground are so on a day, and what to say; a date that cannot be read closes."""
    closed = np.ones(len(frame), dtype=bool)
    when = dt.date.fromisoformat(day) if day else None
    notes: list[str] = []
    dated = np.zeros(len(frame), dtype=bool)
    odd: list[str] = []
    for start, end in SIDES:
        a, b = _column(frame, (start,)), _column(frame, (end,))
        if a is None and b is None:
            continue
        blank = [None] * len(frame)
        sides = (frame[a].tolist() if a else blank, frame[b].tolist() if b else blank)
        for i in np.flatnonzero(shut):
            low, high = sides[0][i], sides[1][i]
            try:
                closed[i] &= in_force(low, high, when)
                dated[i] |= any(v is not None and v == v and str(v).strip() != "" for v in (low, high))
            except ValueError as error:
                odd.append(str(error))
    if odd:
        notes.append(f"{len(odd)} dates cannot be read ({spoken(odd[0])}): those areas are taken as closed")
    if when is None and dated.any():
        notes.append(
            f"{int(dated.sum())} closures with dates are taken as closed all the time, since no --date is given"
        )
    if not closed.all():
        notes.append(f"{int((~closed).sum())} closures are not in force on {day}, by their dates")
    return closed, notes


def _missed(path: Path, shapes: Any, box: Box) -> str:
    """What to say of a file that lies somewhere else."""
    grid = f"the grid lies at {(box.south + box.north) / 2:.4f}, {float((box.west + box.east) / 2 + 180) % 360 - 180:.4f}"
    turned = shapely.transform(shapes, lambda xy: xy[:, ::-1])
    lats = shapely.get_coordinates(turned)[:, 1]
    if np.abs(lats).max() <= 90 and len(near(turned, box)[0]):
        return f"{path}: lies {off_by_km(shapes, box):.0f} km off, and with its axes swapped it would lie on the grid; save it with longitude first"
    return (
        f"{path}: nothing in it lies near the grid; the nearest is {off_by_km(shapes, box):.0f} km beyond the 50 km around it ({grid}); "
        "is its coordinate system the right one?"
    )
