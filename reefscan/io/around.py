"""Files of shapes that a person hands over (closed ground, hard structure, ...): read, checked, brought to one form."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from reefscan.base.errors import InputError, MissingInputError, UnreadableError
from reefscan.base.recipe import Around
from reefscan.surroundings.dates import SIDES, in_force
from reefscan.surroundings.known import Surroundings
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
    widened,
)

NAMES = ("name", "objnam", "title", "label", "site_name", "nom", "nombre")
KINDS = ("kind", "type", "category", "class", "desig")
MARGIN = "buffer_m"
"""Columns, in lower case, that hold what a shape is called, what it is, and its own margin in metres."""


def read_around(around: Around, box: Box) -> Surroundings:
    """Read all files of shapes that a recipe names.

    Parameters
    ----------
    around : Around
    box : Box
        What lies near the grid, as `reefscan.surroundings.shapes.box_of` and `Box.grown` give it.

    Raises
    ------
    MissingInputError, UnreadableError, NoCrsError, InputError
        For a file that is not there, is none of shapes, does not say where they lie, or holds none near the grid; the message names the
        option.
    """
    parts: dict[str, list[Shapes]] = {}
    given: dict[str, list[str]] = {}
    notes: list[str] = []
    for role, path in around.files:
        shapes, said = _read_file(Path(path), role, around, box)
        parts.setdefault(role, []).append(shapes)
        given.setdefault(role, []).append(spoken(Path(path).name))
        notes += said
    return Surroundings(
        box,
        {role: joined(shapes) for role, shapes in parts.items()},
        {role: tuple(names) for role, names in given.items()},
        tuple(notes),
    )


def _read_file(path: Path, role: str, around: Around, box: Box) -> tuple[Shapes, list[str]]:
    from reefscan.io.vectors import layer_names

    flag = f"--{role}"
    if not path.exists():
        raise MissingInputError(
            f"{path}: no such file; {flag} wants a file of shapes (GeoJSON, GPKG, KML, shapefile)"
        )
    try:
        layers = layer_names(path)
    except UnreadableError as error:
        raise UnreadableError(f"{error}; {flag} wants a file of shapes") from error
    name = spoken(path.name)
    found: list[Shapes] = []
    far: list[Any] = []
    notes: list[str] = []
    for layer in layers:
        kind = spoken(layer) if len(layers) > 1 else ""
        shapes, others, said = _read_layer(path, layer, name, kind, role, around, box)
        notes += [f"{name}: {words}" for words in said]
        found += shapes
        far += others
    if not found and not far:
        raise InputError(f"{path}: holds no shape; {flag} wants points, lines or areas")
    near_by = joined(found)
    if not len(near_by) and not any("in force" in words for words in notes):
        raise InputError(_missed(path, np.concatenate(far), box))
    return near_by, notes


def _read_layer(
    path: Path, layer: str, name: str, kind: str, role: str, around: Around, box: Box
) -> tuple[list[Shapes], list[Any], list[str]]:
    """Shapes of one layer near the grid, those of all its rows in degrees, and what to say about them."""
    from reefscan.io.vectors import layer_table

    frame = layer_table(path, layer)
    if "geometry" not in frame:
        return [], [], []
    raw = np.asarray(frame.geometry.to_numpy(), dtype=object)
    rows = np.flatnonzero([shape is not None and not shape.is_empty for shape in raw])
    notes: list[str] = []
    if len(rows) < len(raw):
        notes.append(f"{len(raw) - len(rows)} rows without a shape are left out")
    if not len(rows):
        return [], [], notes
    parts, at = single_parts(shapely.force_2d(raw[rows]))
    rows = rows[at]
    areas = shapely.get_type_id(parts) == 3
    parts[areas], mended = whole_areas(parts[areas])
    parts, at = single_parts(parts)
    rows = rows[at]
    if mended:
        notes.append(f"{mended} areas whose rings cross themselves are taken to hold all that they go round")
    parts = to_lonlat(parts, frame.crs, file=str(path))
    everywhere = [parts]
    if role == "closed":
        closed, said = _closed_on(frame, around.date)
        notes += said
        parts, rows = parts[closed[rows]], rows[closed[rows]]
    parts, at = near(parts, box)
    rows = rows[at]
    shapes = Shapes(
        parts,
        _words(frame, NAMES, rows),
        _words(frame, KINDS, rows, kind or _usual_kind(role)),
        (name,) * len(parts),
    )
    if role == "closed" and len(shapes):
        own = _numbers(frame, MARGIN)[rows]
        shapes = widened(shapes, np.maximum(around.closed_buffer_m, np.nan_to_num(own)), box)
        bare = int((shapely.get_type_id(shapes.shapes) != 3).sum())
        if bare:
            # a margin may give an area in several parts, which is one shape still
            shapes = _parted(shapes)
            bare = int((shapely.get_type_id(shapes.shapes) != 3).sum())
        if bare:
            raise InputError(
                f"{path}: {bare} of its shapes near the grid are points or lines, which close no ground of themselves; "
                f"say how far around them it is closed with --closed-buffer, or in a column {MARGIN}"
            )
    return [shapes] if len(shapes) else [], everywhere, notes


def _usual_kind(role: str) -> str:
    return {"closed": "closed ground", "caution": "caution ground", "hard": "hard structure", "land": "land"}[
        role
    ]


def _parted(shapes: Shapes) -> Shapes:
    parts, rows = single_parts(shapes.shapes)
    return Shapes(
        parts, *(tuple(words[i] for i in rows) for words in (shapes.name, shapes.kind, shapes.file))
    )  # fmt: skip


def _column(frame: Any, wanted: Sequence[str]) -> str | None:
    """The first column of those names, in any case of letters."""
    there = {str(column).lower(): str(column) for column in frame.columns if str(column) != "geometry"}
    return next((there[name] for name in wanted if name in there), None)


def _words(frame: Any, wanted: Sequence[str], rows: Iterable[int], usual: str = "") -> tuple[str, ...]:
    column = _column(frame, wanted)
    if column is None:
        return tuple(usual for _ in rows)
    values = frame[column].tolist()
    return tuple(spoken(values[i]) or usual for i in rows)


def _numbers(frame: Any, name: str) -> Any:
    import pandas as pd

    column = _column(frame, (name,))
    if column is None:
        return np.full(len(frame), np.nan)
    values = pd.to_numeric(frame[column], errors="coerce").to_numpy(dtype=np.float64)
    return np.where(np.isfinite(values), values, np.nan)


def _closed_on(frame: Any, day: str) -> tuple[Any, list[str]]:
    """Which rows are closed on a day, and what to say; a date that cannot be read closes."""
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
        for i, (low, high) in enumerate(zip(*sides, strict=True)):
            try:
                closed[i] &= in_force(low, high, when)
                dated[i] |= any(v is not None and v == v and str(v).strip() != "" for v in (low, high))
            except ValueError as error:
                odd.append(str(error))
                closed[i] = closed[i] if when is None else True
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
