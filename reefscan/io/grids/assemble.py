"""From looked-at files to sheets: what lies on one lattice, in what order, on which sheet."""

from __future__ import annotations

import fnmatch
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from reefscan.base.errors import InputError
from reefscan.base.model import Sheet, Window
from reefscan.io.georef import (
    cell_metres,
    crs_facts,
    lonlat_box,
    transformer,
    usable_as_is,
)
from reefscan.io.grids.lattice import Zone, catalogue_sheet, geographic_cell, zone_at, zones_over
from reefscan.io.grids.layer import Layer
from reefscan.io.grids.piece import Piece, outline
from reefscan.io.grids.rawgrid import Lattice, RawGrid, lattice_of
from reefscan.io.grids.source import SheetSource

MARGIN_M = 2000.0
"""A zone's sheet reaches this far past its core, so that ground at the border has its surroundings;
twice what the widest default window needs."""

MARGIN_CELLS = 64

CONTEXT_M = 400.0
"""Cells are read this far outside the area asked for: the widest default window looks 250 m out."""

ORDER = "finer cells, then smaller stated uncertainty, then later date, then name"

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Asked:
    """The part of the world that is wanted; None for all."""

    box: Box | None = None
    outline: bytes = b""


Rank = tuple[int, float, tuple[int, ...], str, str]


def order_key(prefer: Sequence[str]) -> Callable[[Layer], Rank]:
    """Sort key of layers of one cell size: preferred names first, then `ORDER`."""

    def key(layer: Layer) -> Rank:
        rank = next(
            (i for i, p in enumerate(prefer) if _named(layer, p)),
            len(prefer),
        )
        sigma = layer.sigma_m if math.isfinite(layer.sigma_m) else math.inf
        newest_first = tuple(-ord(ch) for ch in layer.date) or (1,)
        return rank, round(sigma, 3), newest_first, layer.name, layer.file

    return key


def _named(layer: Layer, pattern: str) -> bool:
    return fnmatch.fnmatch(layer.name, pattern) or pattern in layer.file


def assemble(layers: Sequence[Layer], asked: Asked, prefer: Sequence[str]) -> list[SheetSource]:
    """Put layers on sheets, finest first.

    Raises
    ------
    InputError
        If no layer reaches into the area asked for, or one that is to go first is not among them.
    """
    for pattern in prefer:
        if not any(_named(layer, pattern) for layer in layers):
            names = sorted({layer.name for layer in layers})
            shown = ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
            raise InputError(f"--prefer {pattern}: none of the grids is called so; there are {shown}")
    ordered = sorted(layers, key=order_key(prefer))
    boxes = {}
    inside: list[Layer] = []
    for layer in ordered:
        box = lonlat_box(crs_facts(layer.crs), layer.transform, layer.width, layer.height)
        boxes[layer] = box
        if asked.box is None or _meet(box, asked.box):
            inside.append(layer)
    if not inside:
        covered = ", ".join(f"{v:.4f}" for v in _join(list(boxes.values())))
        wanted = ", ".join(f"{v:.4f}" for v in asked.box or ())
        raise InputError(
            f"the area asked for ({wanted}) meets no file; the files cover {covered} (west, south, east, north)"
        )
    groups: dict[tuple[Sheet, Zone | None], list[Piece]] = {}
    for lattice, members in _lattices(inside):
        _place(lattice, members, [boxes[m] for m in members], asked, groups)
    sheets = [_sheet(sheet, zone, pieces, asked, prefer) for (sheet, zone), pieces in groups.items()]
    sheets = [s for s in sheets if not s.extent.empty]
    if not sheets:
        raise InputError("the area asked for meets no cell of the files")
    return _ranked(sheets, prefer)


def _meet(box: Box, other: Box) -> bool:
    if box[1] > other[3] or box[3] < other[1]:
        return False
    return any(box[0] + turn <= other[2] and box[2] + turn >= other[0] for turn in (-360.0, 0.0, 360.0))


def _join(boxes: list[Box]) -> Box:
    west, south, east, north = zip(*boxes, strict=True)
    return min(west), min(south), max(east), max(north)


def _lattices(layers: list[Layer]) -> list[tuple[Lattice, list[Layer]]]:
    """Group layers by lattice, keeping their order."""
    out: list[tuple[Lattice, list[Layer]]] = []
    by_step: dict[tuple[str, float, float], list[int]] = {}
    for layer in layers:
        mine = lattice_of(layer, layer.crs)
        key = (mine.crs, mine.a, mine.e)
        for i in by_step.get(key, []):
            if out[i][0].fits(layer, layer.crs):
                out[i][1].append(layer)
                break
        else:
            by_step.setdefault(key, []).append(len(out))
            out.append((mine, [layer]))
    return out


def _place(
    lattice: Lattice,
    members: list[Layer],
    boxes: list[Box],
    asked: Asked,
    groups: dict[tuple[Sheet, Zone | None], list[Piece]],
) -> None:
    facts = crs_facts(lattice.crs)
    as_is, _ = usable_as_is(facts, members[0].transform, members[0].width, members[0].height)
    as_is = as_is and all(usable_as_is(facts, m.transform, m.width, m.height)[0] for m in members[1:])
    if as_is:
        cell = lattice.a
        sheet = Sheet(lattice.crs, cell, round(lattice.c, 9), round(lattice.f, 9))
        grid = RawGrid(lattice, tuple(members))
        groups.setdefault((sheet, None), []).append(Piece(grid, sheet, grid.extent))
        return
    for sheet_cell, some in _by_cell(facts.geographic, members, boxes):
        grid = RawGrid(lattice, tuple(some))
        zones: dict[Zone, list[Layer]] = {}
        for member in some:
            box = boxes[members.index(member)]
            half = 0.5 * abs(lattice.a) if facts.geographic else 0.0
            for zone in zones_over(*_shave(_clip(box, asked.box), half)):
                zones.setdefault(zone, []).append(member)
        for zone in zones:
            sheet = catalogue_sheet(zone, sheet_cell)
            extent = _zone_extent(grid, zone, sheet)
            if not extent.empty:
                piece = Piece(grid, sheet, extent, warped=True)
                groups.setdefault((sheet, zone), []).append(piece)


def _by_cell(geographic: bool, members: list[Layer], boxes: list[Box]) -> list[tuple[float, list[Layer]]]:
    """Stored cell size in metres, by which the catalogue's is chosen."""
    out: dict[float, list[Layer]] = {}
    for member, box in zip(members, boxes, strict=True):
        facts = crs_facts(member.crs)
        if geographic and not member.transform[1] and not member.transform[3]:
            lat = (box[1] + box[3]) / 2
            cell = geographic_cell(member.transform[0], member.transform[4], lat)
        else:
            across, down = cell_metres(facts, member.transform, member.width, member.height)
            # much longer than wide: by the longer side, and the other is averaged
            cell = (
                max(across, down) if max(across, down) > 2 * min(across, down) else math.sqrt(across * down)
            )
        out.setdefault(catalogue_sheet(zone_at(0.0, 0.0), cell).cell_m, []).append(member)
    return list(out.items())


def _clip(box: Box, asked: Box | None) -> Box:
    if asked is None:
        return box
    for turn in (-360.0, 0.0, 360.0):
        west, east = max(box[0], asked[0] + turn), min(box[2], asked[2] + turn)
        if west < east:
            return west, max(box[1], asked[1]), east, min(box[3], asked[3])
    return box


def _shave(box: Box, half: float) -> Box:
    """Take half a cell off, so that a file that ends on a zone's border does not open the next zone.

    Grids whose cell centres stand on whole degrees reach half a cell past them.
    """
    hair = 1e-7 + min(half, 0.25 * (box[2] - box[0]), 0.25 * (box[3] - box[1]))
    return box[0] + hair, box[1] + hair, box[2] - hair, max(box[3] - hair, box[1] + 2 * hair)


def _zone_extent(grid: RawGrid, zone: Zone, sheet: Sheet) -> Window:
    """Window of the sheet that holds the part of the grid in the zone's core and margin."""
    margin = max(MARGIN_M, MARGIN_CELLS * sheet.cell_m)
    to_zone = transformer(grid.lattice.crs, zone.crs)
    boxes = []
    core = _core_bounds(zone, margin)
    for i in range(len(grid.layers)):
        x, y = to_zone.transform(*outline(grid, i))
        good = np.isfinite(x) & np.isfinite(y)
        if not good.any():
            continue
        west, east = max(float(x[good].min()), core[0]), min(float(x[good].max()), core[2])
        south, north = max(float(y[good].min()), core[1]), min(float(y[good].max()), core[3])
        if west < east and south < north:
            boxes.append((west, south, east, north))
    if not boxes:
        return Window(0, 0, 0, 0)
    return sheet.window_of(*_join(boxes)).grow(1)


def _core_bounds(zone: Zone, margin: float) -> Box:
    """Bounds of a zone's core in its own metres, grown by the margin."""
    if zone.east - zone.west >= 360.0:
        radius = 111_700.0 * (90.0 - min(abs(zone.south), abs(zone.north))) * 1.001 + margin
        return -radius, -radius, radius, radius
    lats = np.linspace(zone.south, zone.north, 45)
    lon = np.concatenate([np.full(45, zone.west), np.full(45, zone.east), np.full(2, zone.west + 3.0)])
    lat = np.concatenate([lats, lats, [zone.south, zone.north]])
    x, y = transformer("EPSG:4326", zone.crs).transform(lon, lat)
    return (
        float(x.min()) - margin,
        float(y.min()) - margin,
        float(x.max()) + margin,
        float(y.max()) + margin,
    )


def _sheet(
    sheet: Sheet, zone: Zone | None, pieces: list[Piece], asked: Asked, prefer: Sequence[str]
) -> SheetSource:
    extent = pieces[0].extent
    for piece in pieces[1:]:
        extent = extent.union(piece.extent)
    if asked.box is not None:
        extent = extent.intersect(_area_window(sheet, asked.box))
    notes = gathered([layer for piece in pieces for layer in piece.grid.layers])
    order = ORDER if not prefer else f"{', '.join(prefer)} first; then {ORDER}"
    return SheetSource(
        sheet,
        tuple(pieces),
        extent,
        zone=zone,
        area=asked.box,
        outline=asked.outline,
        notes=tuple(notes),
        order=order,
    )


def _area_window(sheet: Sheet, box: Box) -> Window:
    west, south, east, north = box
    lon, lat = np.meshgrid(np.linspace(west, east, 21), np.linspace(south, north, 21))
    found = sheet.window_over(*transformer("EPSG:4326", sheet.crs).transform(lon.ravel(), lat.ravel()))
    return found if found.empty else found.grow(math.ceil(max(CONTEXT_M / sheet.cell_m, 4)))


def gathered(layers: Sequence[Layer]) -> list[str]:
    """Notes of many layers, each sentence once, with the files it is about."""
    about: dict[str, list[str]] = {}
    for layer in layers:
        for note in layer.notes:
            names = about.setdefault(note, [])
            if layer.name not in names:
                names.append(layer.name)
    out = []
    for note, names in about.items():
        more = f" and {len(names) - 1} more" if len(names) > 1 else ""
        out.append(f"{names[0]}{more}: {note}")
    return out


def _ranked(sheets: list[SheetSource], prefer: Sequence[str]) -> list[SheetSource]:
    """Order sheets and tell each which go before it: preferred names, then finer cells, then the zone."""

    def key(source: SheetSource) -> tuple[int, float, float, str, float, float]:
        best = min(source.layers, key=order_key(prefer))
        first = order_key(prefer)(best)
        return (
            first[0],
            source.sheet.cell_m,
            first[1],
            source.sheet.crs,
            source.sheet.x_phase_m,
            source.sheet.y_phase_m,
        )

    ranked = sorted(sheets, key=key)
    out: list[SheetSource] = []
    for source in ranked:
        # sheets of one lattice cut by zones share their border by the cores, not by rank
        better = tuple(
            other
            for other in out
            if not (source.zone and other.zone and source.sheet.cell_m == other.sheet.cell_m)
        )
        out.append(replace(source, better=better))
    return out
