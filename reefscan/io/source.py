"""Sheets that can be read: the `GridSource` that the rest of the package sees."""

from __future__ import annotations

import hashlib
import json
import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.io import handles
from reefscan.io.georef import crs_facts, transformer
from reefscan.io.lattice import Zone
from reefscan.io.layer import Layer
from reefscan.io.rawgrid import Pair, RawGrid
from reefscan.kernels.cells import NODE_STEP, sample
from reefscan.model import BLOCK, NODATA_MM, GridBlock, Sheet, Window

DIAGONAL_LAT = 89.0
"""Beyond it longitude changes too fast to be interpolated between nodes; every cell is computed."""


@dataclass(frozen=True)
class Piece:
    """A raw grid as seen on a sheet: as it lies, or warped.

    Parameters
    ----------
    grid : RawGrid
        The layers.
    sheet : Sheet
        Where they are wanted.
    extent : Window
        Window of the sheet outside which the piece knows nothing.
    row_shift, col_shift : int
        Sheet cell minus lattice cell, for a piece that lies on the sheet.
    warped : bool
        True if the cells are sampled.
    """

    grid: RawGrid
    sheet: Sheet
    extent: Window
    row_shift: int = 0
    col_shift: int = 0
    warped: bool = False

    @property
    def has_uncertainty(self) -> bool:
        """True if any layer has an uncertainty band."""
        return self.grid.has_uncertainty

    def read(self, window: Window) -> Pair:
        """Read a window of the sheet."""
        if not self.warped:
            return self.grid.read(self._stored(window))
        elev = np.full((window.height, window.width), NODATA_MM, dtype=np.int32)
        sigma = np.zeros_like(elev) if self.has_uncertainty else None
        for part in _blocks(window):
            part = part.intersect(self.extent)
            if part.empty:
                continue
            rows, cols = part.slices_in(window)
            self._warp(part, elev[rows, cols], None if sigma is None else sigma[rows, cols])
        return elev, sigma

    def empty(self, window: Window) -> bool:
        """True if it is certain, without reading cells, that the window holds none."""
        if window.intersect(self.extent).empty:
            return True
        if not self.warped:
            stored = self._stored(window)
            return all(self._sparse(i, stored) for i in self.grid.over(stored))
        return False

    def layers_at(self, window: Window) -> list[Layer]:
        """Layers that may have cells in a window, best first."""
        if not self.warped:
            return [self.grid.layers[i] for i in self.grid.over(self._stored(window))]
        if window.intersect(self.extent).empty:
            return []
        found: list[int] = []
        for part in _blocks(window.intersect(self.extent)):
            for src, _, _ in self._source_windows(part):
                found += [i for i in self.grid.over(src) if i not in found]
        return [self.grid.layers[i] for i in sorted(found)]

    def _stored(self, window: Window) -> Window:
        return Window(window.row - self.row_shift, window.col - self.col_shift, window.height, window.width)

    def _sparse(self, i: int, window: Window) -> bool:
        """True if a GeoTIFF has no stored block in a window of the raw grid (an absent block is nodata)."""
        layer = self.grid.layers[i]
        if layer.driver != "GTiff" or layer.options:
            return False
        dataset = handles.borrow(layer.path, layer.options)
        if dataset.nodata is None:
            return False  # an absent block then reads as zeros
        row, col, flipped = self.grid.lattice.place(layer)
        part = window.intersect(Window(row, col, layer.height, layer.width))
        top = part.row - row
        if flipped:
            top = layer.height - top - part.height
        high, wide = dataset.block_shapes[layer.band - 1]
        for y in range(top // high, (top + part.height - 1) // high + 1):
            for x in range((part.col - col) // wide, (part.col - col + part.width - 1) // wide + 1):
                if dataset.get_tag_item(f"BLOCK_OFFSET_{x}_{y}", "TIFF", bidx=layer.band) is not None:
                    return False
        return True

    # -- warp -------------------------------------------------------------------------------------

    def _warp(self, part: Window, elev: NDArray[np.int32], sigma: NDArray[np.int32] | None) -> None:
        for src, nodes, (first_row, first_col, step) in self._source_windows(part):
            mm, s = self._read_turned(src)
            if (mm == NODATA_MM).all():
                return
            out = np.empty((part.height, part.width), dtype=np.int32)
            sample(mm, src.row, src.col, nodes[0], nodes[1], first_row, first_col, step, out)
            np.copyto(elev, out)
            if sigma is not None and s is not None:
                sample(s, src.row, src.col, nodes[0], nodes[1], first_row, first_col, step, out)
                out[elev == NODATA_MM] = 0
                np.copyto(sigma, out)

    def _source_windows(
        self, part: Window
    ) -> list[tuple[Window, tuple[NDArray[np.float64], NDArray[np.float64]], tuple[int, int, int]]]:
        """Window of the raw grid under ``part`` (of one block), with its nodes; none if it is off the grid."""
        step = NODE_STEP
        rows, cols = self._positions(part, step)
        if rows is None or cols is None:
            step = 1
            rows, cols = self._positions(part, 1, exact=True)
            assert rows is not None
            assert cols is not None
        good = np.isfinite(rows) & np.isfinite(cols)
        if not good.any():
            return []
        extent = self.grid.extent
        top = math.floor(rows[good].min()) - 1
        left = math.floor(cols[good].min()) - 1
        src = Window(top, left, math.ceil(rows[good].max()) + 2 - top, math.ceil(cols[good].max()) + 2 - left)
        if self._turn():
            src = src.intersect(Window(extent.row, src.col, extent.height, src.width))
        else:
            src = src.intersect(extent)
        if src.empty:
            return []
        first = (part.row - (part.row // step) * step, part.col - (part.col // step) * step, step)
        return [(src, (rows, cols), first)]

    def _positions(
        self, part: Window, step: int, *, exact: bool = False
    ) -> tuple[NDArray[np.float64] | None, NDArray[np.float64] | None]:
        """Position on the raw lattice of every ``step``-th cell around ``part``."""
        sheet, lattice = self.sheet, self.grid.lattice
        r0, c0 = part.row // step, part.col // step
        r1, c1 = (part.row_end - 1) // step + 1, (part.col_end - 1) // step + 1
        node_r = np.arange(r0, r1 + 1, dtype=np.float64) * step
        node_c = np.arange(c0, c1 + 1, dtype=np.float64) * step
        x, y = np.meshgrid(np.asarray(sheet.x_of(node_c)), np.asarray(sheet.y_of(node_r)))
        x, y = transformer(sheet.crs, lattice.crs).transform(x, y)
        bad = ~(np.isfinite(x) & np.isfinite(y))
        if crs_facts(lattice.crs).geographic:
            if not exact and float(np.nanmax(np.abs(np.where(bad, 0.0, y)))) > DIAGONAL_LAT:
                return None, None
            # Which turn of the Earth? The block's own centre is put within half a turn of the grid's
            # centre, and its cells within half a turn of that: the seam then lies far from both.
            centre_block = Window(part.row // BLOCK * BLOCK, part.col // BLOCK * BLOCK, BLOCK, BLOCK)
            cx = float(sheet.x_of(centre_block.col + (BLOCK - 1) / 2))
            cy = float(sheet.y_of(centre_block.row + (BLOCK - 1) / 2))
            lon = float(transformer(sheet.crs, lattice.crs).transform(cx, cy)[0])
            extent = self.grid.extent
            middle = lattice.c + lattice.a * (extent.col + extent.width / 2)
            if math.isfinite(lon):
                lon = (lon - middle + 180.0) % 360.0 - 180.0 + middle
            else:
                lon = middle
            x = (x - lon + 180.0) % 360.0 - 180.0 + lon
        det = lattice.a * lattice.e - lattice.b * lattice.d
        dx, dy = x - lattice.c, y - lattice.f
        cols = (lattice.e * dx - lattice.b * dy) / det - 0.5
        rows = (lattice.a * dy - lattice.d * dx) / det - 0.5
        rows[bad] = np.nan
        cols[bad] = np.nan
        return rows, cols

    def _turn(self) -> int:
        if not crs_facts(self.grid.lattice.crs).geographic:
            return 0
        turn = self.grid.turn
        return turn if turn and self.grid.extent.width >= turn else 0

    def _read_turned(self, src: Window) -> Pair:
        """Read a window of the raw grid; columns go on round the Earth where the grid does."""
        turn = self._turn()
        if not turn:
            return self.grid.read(src)
        west = self.grid.extent.col
        elevs, sigmas = [], []
        col = src.col
        while col < src.col_end:
            inside = (col - west) % turn
            width = min(src.col_end - col, turn - inside)
            elev, sigma = self.grid.read(Window(src.row, west + inside, src.height, width))
            elevs.append(elev)
            sigmas.append(sigma)
            col += width
        joined = None if sigmas[0] is None else np.concatenate([s for s in sigmas if s is not None], axis=1)
        return np.concatenate(elevs, axis=1), joined


def _blocks(window: Window) -> list[Window]:
    """Cut a window along the canonical blocks."""
    out = []
    for row in range(window.row // BLOCK * BLOCK, window.row_end, BLOCK):
        for col in range(window.col // BLOCK * BLOCK, window.col_end, BLOCK):
            out.append(window.intersect(Window(row, col, BLOCK, BLOCK)))
    return out


@dataclass(frozen=True)
class SheetSource:
    """Everything known on one sheet: a `reefscan.model.GridSource`.

    Parameters
    ----------
    sheet : Sheet
        The lattice.
    pieces : tuple of Piece
        Best first: the first known cell wins.
    extent : Window
        Outside it every cell is unknown.
    zone : Zone or None
        On a catalogue sheet the core whose candidates belong here; None where all do.
    better : tuple of SheetSource
        Sheets whose coverage goes before this one's.
    area : box or None
        West, south, east, north in degrees (east may exceed 180) that was asked for.
    outline : bytes
        WKB of the area in degrees, empty for none.
    notes : tuple of str
        What was assumed, repaired, skipped or looks wrong.
    order : str
        The rule by which overlapping coverage was put in order.
    seams : set of pairs of str
        Files that disagree where they meet: the cells on both sides of their border are unknown, so that
        the step between them is not taken for structure.
    """

    sheet: Sheet
    pieces: tuple[Piece, ...]
    extent: Window
    zone: Zone | None = None
    better: tuple[SheetSource, ...] = ()
    area: tuple[float, float, float, float] | None = None
    outline: bytes = b""
    notes: tuple[str, ...] = ()
    order: str = ""
    seams: frozenset[tuple[str, str]] = frozenset()

    @property
    def layers(self) -> list[Layer]:
        """All layers, best first."""
        return [layer for piece in self.pieces for layer in piece.grid.layers]

    @property
    def name(self) -> str:
        """The file's name, or how many there are."""
        names = list(dict.fromkeys(layer.name for layer in self.layers))
        return names[0] if len(names) == 1 else f"{names[0]} and {len(names) - 1} more"

    @property
    def has_uncertainty(self) -> bool:
        """True if any file has an uncertainty band."""
        return any(piece.has_uncertainty for piece in self.pieces)

    @property
    def vertical(self) -> str:
        """Vertical datum as the files name it, empty if they do not."""
        return ", ".join(dict.fromkeys(layer.vertical for layer in self.layers if layer.vertical))

    def read(self, window: Window) -> GridBlock:
        """Read any window; same bits for any cut."""
        part = window.intersect(self.extent)
        if part == window and len(self.pieces) == 1 and not self.seams:
            piece = self.pieces[0]
            if window.intersect(piece.extent) == window:
                elev, sigma = piece.read(window)
                return GridBlock(window, elev, sigma)
        elev = np.full((window.height, window.width), NODATA_MM, dtype=np.int32)
        sigma = np.zeros_like(elev) if self.has_uncertainty else None
        for piece in self.pieces:
            here = part.intersect(piece.extent)
            if here.empty:
                continue
            rows, cols = here.slices_in(window)
            view = elev[rows, cols]
            gaps = view == NODATA_MM
            if not gaps.any():
                continue
            mm, s = piece.read(here)
            np.copyto(view, mm, where=gaps)
            if sigma is not None and s is not None:
                np.copyto(sigma[rows, cols], s, where=gaps & (mm != NODATA_MM))
        if self.seams:
            border = self._borders(window)
            elev[border] = NODATA_MM
            if sigma is not None:
                sigma[border] = 0
        return GridBlock(window, elev, sigma)

    def depth_range(self, window: Window) -> tuple[float, float] | None:
        """Outer bounds of depth in the window; None only where no cell can be.

        Overviews and stored statistics are averages or lies, so nothing narrower than "anything" is
        promised where there are cells.
        """
        part = window.intersect(self.extent)
        if part.empty or all(piece.empty(part) for piece in self.pieces):
            return None
        return (-math.inf, math.inf)

    @cached_property
    def singles(self) -> list[Piece]:
        """Each layer as a piece of its own, best first."""
        out = []
        for piece in self.pieces:
            for i, layer in enumerate(piece.grid.layers):
                grid = RawGrid(piece.grid.lattice, (layer,))
                extent = piece.extent
                if not piece.warped:
                    row, col, row_end, col_end = (int(v) for v in piece.grid.boxes[i])
                    extent = Window(
                        row + piece.row_shift, col + piece.col_shift, row_end - row, col_end - col
                    )
                elif len(piece.grid.layers) > 1:
                    extent = grid_extent(grid, piece.sheet).intersect(piece.extent)
                out.append(replace(piece, grid=grid, extent=extent))
        return out

    def _borders(self, window: Window) -> NDArray[np.bool_]:
        """Cells beside a border between two files that disagree."""
        wide = window.grow(1)
        owner = np.full((wide.height, wide.width), -1, dtype=np.int32)
        files: list[str] = []
        for single in self.singles:
            here = wide.intersect(single.extent)
            if here.empty:
                continue
            view = owner[here.slices_in(wide)]
            if (view >= 0).all():
                continue
            files.append(single.grid.layers[0].file)
            view[(view < 0) & (single.read(here)[0] != NODATA_MM)] = len(files) - 1
        border = np.zeros(owner.shape, dtype=bool)
        n = len(files)
        if n < 2:
            return border[1:-1, 1:-1]
        quarrel = np.array([[(a, b) in self.seams or (b, a) in self.seams for a in files] for b in files])
        for axis in (0, 1):
            ends = [slice(None), slice(None)]
            ends[axis] = slice(0, -1)
            one = tuple(ends)
            ends[axis] = slice(1, None)
            two = tuple(ends)
            a, b = owner[one], owner[two]
            met = (a >= 0) & (b >= 0) & quarrel[a, b]  # -1 indexes the last row, and is masked out
            border[one] |= met
            border[two] |= met
        return border[1:-1, 1:-1]

    # -- who owns a place -------------------------------------------------------------------------

    def lonlat(
        self, rows: NDArray[Any], cols: NDArray[Any]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Longitude and latitude (degrees, WGS 84) of cell centres."""
        x = np.asarray(self.sheet.x_of(np.asarray(cols, dtype=np.float64)))
        y = np.asarray(self.sheet.y_of(np.asarray(rows, dtype=np.float64)))
        lon, lat = transformer(self.sheet.crs, "EPSG:4326").transform(x, y)
        return np.asarray(lon), np.asarray(lat)

    def owns(self, rows: NDArray[Any], cols: NDArray[Any]) -> NDArray[np.bool_]:
        """Tell which cells' candidates are this sheet's own.

        A cell is not, if it lies outside the area asked for, outside the zone's core, or where a better
        sheet knows the seabed. Sheets overlap by a margin, so that each sees its surroundings; asked
        here, no candidate is doubled and none is lost.

        Parameters
        ----------
        rows, cols : ndarray of int, shape (n,)
            Cells of the sheet.

        Returns
        -------
        ndarray of bool, shape (n,)
        """
        rows, cols = np.asarray(rows), np.asarray(cols)
        own = np.ones(rows.shape, dtype=bool)
        if not rows.size or (
            self.zone is None and self.area is None and not self.better and not self.outline
        ):
            return own
        lon, lat = self.lonlat(rows, cols)
        if self.area is not None:
            west, south, east, north = self.area
            own &= (lat >= south) & (lat <= north) & ((lon - west) % 360.0 <= east - west)
        if self.outline:
            import shapely

            shape = shapely.from_wkb(self.outline)
            hit = shapely.intersects_xy(shape, lon, lat)
            for turn in (-360.0, 360.0):  # an area drawn across the antimeridian may run past 180
                hit |= shapely.intersects_xy(shape, lon + turn, lat)
            own &= hit
        if self.zone is not None:
            z = self.zone
            own &= (lat >= z.south) & ((lat < z.north) | (z.north == 90.0))
            own &= (lon - z.west) % 360.0 < z.east - z.west
        for sheet in self.better:
            left = np.flatnonzero(own)
            if not left.size:
                break
            own[left[sheet.knows(lon[left], lat[left])]] = False
        return own

    def knows(self, lon: NDArray[np.float64], lat: NDArray[np.float64]) -> NDArray[np.bool_]:
        """Tell which places (degrees) have a known cell."""
        x, y = transformer("EPSG:4326", self.sheet.crs).transform(lon, lat)
        known = np.zeros(np.shape(lon), dtype=bool)
        col = np.asarray(self.sheet.col_of(np.asarray(x)))
        row = np.asarray(self.sheet.row_of(np.asarray(y)))
        e = self.extent
        near = np.isfinite(row) & np.isfinite(col)
        near &= (row > e.row - 1) & (row < e.row_end) & (col > e.col - 1) & (col < e.col_end)
        index = np.flatnonzero(near)
        if not index.size:
            return known
        r, c = np.rint(row[index]).astype(np.int64), np.rint(col[index]).astype(np.int64)
        block = np.stack([r // BLOCK, c // BLOCK], axis=1)
        for key in np.unique(block, axis=0):
            member = np.flatnonzero((block == key).all(axis=1))
            rr, cc = r[member], c[member]
            window = Window(
                int(rr.min()),
                int(cc.min()),
                int(rr.max() - rr.min()) + 1,
                int(cc.max() - cc.min()) + 1,
            )
            elev = self.read(window).elev_mm
            known[index[member]] = elev[rr - window.row, cc - window.col] != NODATA_MM
        return known

    def source_at(self, rows: NDArray[Any], cols: NDArray[Any]) -> list[str]:
        """Name of the file each cell comes from (empty where unknown)."""
        rows, cols = np.asarray(rows), np.asarray(cols)
        singles = self.singles
        if len(singles) == 1:
            return [singles[0].grid.layers[0].name] * rows.size
        # Where one outline alone holds the cell it is that file's; cells are read only where several do.
        count = np.zeros(rows.size, dtype=np.int64)
        only = np.full(rows.size, -1, dtype=np.int64)
        for i, single in enumerate(singles):
            e = single.extent
            hit = (rows >= e.row) & (rows < e.row_end) & (cols >= e.col) & (cols < e.col_end)
            count += hit
            only[hit] = i
        out = []
        for row, col, n, i in zip(rows.tolist(), cols.tolist(), count.tolist(), only.tolist(), strict=True):
            if n == 1:
                out.append(singles[i].grid.layers[0].name)
            else:
                out.append(self._source_of(Window(int(row), int(col), 1, 1)) if n else "")
        return out

    def _source_of(self, window: Window) -> str:
        for piece in self.pieces:
            if window.intersect(piece.extent).empty:
                continue
            layers = piece.layers_at(window)
            if len(layers) == 1 and len(self.pieces) == 1:
                return layers[0].name
            elev, _ = piece.read(window)
            if elev[0, 0] == NODATA_MM:
                continue
            for layer in layers:
                alone = replace(piece, grid=RawGrid(piece.grid.lattice, (layer,)))
                if alone.read(window)[0][0, 0] != NODATA_MM:
                    return layer.name
        return ""

    def seam_names(self) -> list[tuple[str, str]]:
        """Names of the files of `seams`."""
        name = {layer.file: layer.name for layer in self.layers}
        return [(name.get(a, a), name.get(b, b)) for a, b in sorted(self.seams)]

    def fingerprint(self) -> dict[str, object]:
        """What identifies the input; JSON-ready. Equal fingerprints read equal cells."""
        files = [
            {
                "name": layer.name,
                "size": layer.size,
                "mtime_ns": layer.mtime_ns,
                "form": layer.form,
                "vertical": layer.vertical,
                "header": _digest(layer),
            }
            for layer in self.layers
        ]
        return {
            "sheet": {
                "crs": self.sheet.crs,
                "cell_m": self.sheet.cell_m,
                "x_phase_m": self.sheet.x_phase_m,
                "y_phase_m": self.sheet.y_phase_m,
            },
            "files": files,
            "order": self.order,
            "area": list(self.area) if self.area else None,
            "outline": hashlib.sha256(self.outline).hexdigest()[:16] if self.outline else None,
            "seams": sorted(list(pair) for pair in self.seam_names()),
            "notes": list(self.notes),
        }


def grid_extent(grid: RawGrid, sheet: Sheet) -> Window:
    """Window of a sheet that holds the first layer of a raw grid, wherever it lies."""
    x, y = transformer(grid.lattice.crs, sheet.crs).transform(*outline(grid, 0))
    good = np.isfinite(x) & np.isfinite(y)
    if not good.any():
        return Window(0, 0, 0, 0)
    x, y = x[good], y[good]
    return sheet.window_of(float(x.min()), float(y.min()), float(x.max()), float(y.max())).grow(1)


def outline(grid: RawGrid, i: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points over the area of one layer, dense enough for its bounds, in its CRS."""
    row, col, row_end, col_end = (float(v) for v in grid.boxes[i])
    c, r = np.meshgrid(np.linspace(col, col_end, 25), np.linspace(row, row_end, 25))
    c, r = c.ravel(), r.ravel()
    k = grid.lattice
    return k.a * c + k.b * r + k.c, k.d * c + k.e * r + k.f


def _digest(layer: Layer) -> str:
    told = layer.to_json()
    for key in ("path", "file", "notes", "name"):  # where the file lies does not change what it says
        told.pop(key)
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()[:16]
