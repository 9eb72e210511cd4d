"""Which file, and which survey in it, a cell of a sheet comes from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM, Window
from reefscan.io.grids.layer import Layer
from reefscan.io.grids.piece import Piece, grid_extent
from reefscan.io.grids.rawgrid import RawGrid
from reefscan.io.grids.surveys import Survey, numbers_at

Cells = NDArray[np.int64]


def singles_of(pieces: Sequence[Piece]) -> list[Piece]:
    """Each layer as a piece of its own, best first."""
    out = []
    for piece in pieces:
        for i, layer in enumerate(piece.grid.layers):
            grid = RawGrid(piece.grid.lattice, (layer,))
            extent = piece.extent
            if not piece.warped:
                row, col, row_end, col_end = (int(v) for v in piece.grid.boxes[i])
                extent = Window(row + piece.row_shift, col + piece.col_shift, row_end - row, col_end - col)
            elif len(piece.grid.layers) > 1:
                extent = grid_extent(grid, piece.sheet).intersect(piece.extent)
            out.append(replace(piece, grid=grid, extent=extent))
    return out


def names_at(pieces: Sequence[Piece], singles: Sequence[Piece], rows: Cells, cols: Cells) -> list[str]:
    """Name of the file of each cell, with its survey in brackets where the file names it; empty where unknown.

    ``singles`` are `singles_of` the pieces.
    """
    found = _singles_at(pieces, singles, rows, cols)
    out = ["" if single is None else _layer(single).name for single in found]
    for i, survey in _surveys_at(found, rows, cols):
        if survey.name:
            out[i] = f"{out[i]} ({survey.name})"
    return out


def filled_at(
    pieces: Sequence[Piece], singles: Sequence[Piece], rows: Cells, cols: Cells
) -> NDArray[np.bool_]:
    """Tell which cells their file says were filled in between soundings."""
    out = np.zeros(rows.size, dtype=bool)
    if any(survey.measured == 0 for single in singles for survey in _layer(single).surveys):
        for i, survey in _surveys_at(_singles_at(pieces, singles, rows, cols), rows, cols):
            out[i] = survey.measured == 0
    return out


def _layer(single: Piece) -> Layer:
    return single.grid.layers[0]


def _singles_at(
    pieces: Sequence[Piece], singles: Sequence[Piece], rows: Cells, cols: Cells
) -> list[Piece | None]:
    """The one layer, as a piece of its own, that each cell is read from."""
    if len(singles) == 1:
        return [singles[0]] * rows.size
    # Where one outline alone holds the cell it is that file's; cells are read only where several do.
    count = np.zeros(rows.size, dtype=np.int64)
    only = np.full(rows.size, -1, dtype=np.int64)
    for i, single in enumerate(singles):
        e = single.extent
        hit = (rows >= e.row) & (rows < e.row_end) & (cols >= e.col) & (cols < e.col_end)
        count += hit
        only[hit] = i
    out: list[Piece | None] = []
    for row, col, n, i in zip(rows.tolist(), cols.tolist(), count.tolist(), only.tolist(), strict=True):
        if n == 1:
            out.append(singles[i])
        else:
            out.append(_single_of(pieces, Window(int(row), int(col), 1, 1)) if n else None)
    return out


def _single_of(pieces: Sequence[Piece], window: Window) -> Piece | None:
    for piece in pieces:
        if window.intersect(piece.extent).empty:
            continue
        layers = piece.layers_at(window)
        if len(layers) == 1 and len(pieces) == 1:
            return replace(piece, grid=RawGrid(piece.grid.lattice, (layers[0],)))
        elev, _ = piece.read(window)
        if elev[0, 0] == NODATA_MM:
            continue
        for layer in layers:
            alone = replace(piece, grid=RawGrid(piece.grid.lattice, (layer,)))
            if alone.read(window)[0][0, 0] != NODATA_MM:
                return alone
    return None


def _surveys_at(found: list[Piece | None], rows: Cells, cols: Cells) -> list[tuple[int, Survey]]:
    """Index of a cell, and its survey: the contributor's number nearest to the cell's centre."""
    groups: dict[tuple[str, int], list[int]] = {}
    for i, single in enumerate(found):
        if single is not None and _layer(single).surveys:
            groups.setdefault((_layer(single).path, _layer(single).band), []).append(i)
    out: list[tuple[int, Survey]] = []
    for members in groups.values():
        single = found[members[0]]
        assert single is not None
        layer = _layer(single)
        r, c = single.places(rows[members], cols[members])
        row0, col0, flipped = single.grid.lattice.place(layer)
        off = ~(np.isfinite(r) & np.isfinite(c))
        # half way between two cells the one to the south-east is read, in every cut alike
        stored_r = np.floor(np.where(off, -1e9, r) + 0.5).astype(np.int64) - row0
        stored_c = np.floor(np.where(off, -1e9, c) + 0.5).astype(np.int64) - col0
        if flipped:
            stored_r = layer.height - 1 - stored_r
        options = () if layer.quality_path else layer.options
        numbers = numbers_at(
            layer.quality_path or layer.path, layer.quality_band, options, stored_r, stored_c
        )
        table = {survey.number: survey for survey in layer.surveys}
        out += [
            (i, table[number]) for i, number in zip(members, numbers.tolist(), strict=True) if number in table
        ]
    return out
