"""One raw grid as seen on a sheet: as it lies, or warped in canonical blocks."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import BLOCK, NODATA_MM, Sheet, Window
from reefscan.io import handles
from reefscan.io.georef import crs_facts, transformer
from reefscan.io.grids.layer import Layer
from reefscan.io.grids.rawgrid import Pair, RawGrid

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
        """True if any layer states how good its depths are."""
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

    def spikes_in(self, window: Window) -> int:
        """Bad cells of a warped grid that were set aside, by the cell of the sheet in which their middle lies."""
        count = 0
        to_sheet = transformer(self.grid.lattice.crs, self.sheet.crs)
        k = self.grid.lattice
        for part in _blocks(window.intersect(self.extent)):
            for src, _, _ in self._source_windows(part):
                wide, _, _, spikes = self._read_judged(src)
                r, c = spikes[:, 0] + wide.row + 0.5, spikes[:, 1] + wide.col + 0.5
                x, y = to_sheet.transform(k.a * c + k.b * r + k.c, k.d * c + k.e * r + k.f)
                rows, cols = np.rint(self.sheet.row_of(y)), np.rint(self.sheet.col_of(x))
                inside = (
                    (rows >= part.row) & (rows < part.row_end) & (cols >= part.col) & (cols < part.col_end)
                )
                count += int(np.count_nonzero(inside))
        return count

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

    def places(
        self, rows: NDArray[np.int64], cols: NDArray[np.int64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Fractional row and column of the raw lattice under single cells of the sheet; NaN off the map."""
        if not self.warped:
            return (rows - self.row_shift).astype(np.float64), (cols - self.col_shift).astype(np.float64)
        x = np.asarray(self.sheet.x_of(cols.astype(np.float64)))
        y = np.asarray(self.sheet.y_of(rows.astype(np.float64)))
        x, y = transformer(self.sheet.crs, self.grid.lattice.crs).transform(x, y)
        if crs_facts(self.grid.lattice.crs).geographic:
            extent = self.grid.extent
            middle = self.grid.lattice.c + self.grid.lattice.a * (extent.col + extent.width / 2)
            x = (x - middle + 180.0) % 360.0 - 180.0 + middle
        r, c = self._raw_of(x, y)
        bad = ~(np.isfinite(r) & np.isfinite(c))
        r[bad] = np.nan
        c[bad] = np.nan
        return r, c

    def _raw_of(
        self, x: NDArray[np.float64], y: NDArray[np.float64]
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        lattice = self.grid.lattice
        det = lattice.a * lattice.e - lattice.b * lattice.d
        dx, dy = x - lattice.c, y - lattice.f
        cols = (lattice.e * dx - lattice.b * dy) / det - 0.5
        rows = (lattice.a * dy - lattice.d * dx) / det - 0.5
        return rows, cols

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
        # compiled code, whose library wants half a second to be imported
        from reefscan.kernels.find.spikes import set_aside
        from reefscan.kernels.sampling import sample, spread_of

        for src, nodes, (first_row, first_col, step) in self._source_windows(part):
            src, mm, s, spikes = self._read_judged(src)
            if (mm == NODATA_MM).all():
                return
            set_aside(mm, spikes)
            spread = spread_of(*nodes, step)
            out = np.empty((part.height, part.width), dtype=np.int32)
            sample(mm, src.row, src.col, *nodes, first_row, first_col, step, *spread, out)
            np.copyto(elev, out)
            if sigma is not None and s is not None:
                sample(s, src.row, src.col, *nodes, first_row, first_col, step, *spread, out)
                out[elev == NODATA_MM] = 0
                np.copyto(sigma, out)

    def _read_judged(
        self, src: Window
    ) -> tuple[Window, NDArray[np.int32], NDArray[np.int32] | None, NDArray[np.int32]]:
        """Read a window of the raw grid, as much wider as its spikes must be judged by, and find those.

        They are set aside before cells are sampled: a bad one would be two to four afterwards, which bear one another out.
        """
        from reefscan.kernels.find.spikes import SPIKE_HALO, spikes_on

        wide = self._on_grid(src.grow(SPIKE_HALO))
        mm, sigma = self._read_turned(wide)
        return wide, mm, sigma, spikes_on(mm, self.sheet.cell_m)

    def _on_grid(self, src: Window) -> Window:
        """The part of a window of the raw grid that lies on it; around the Earth its columns go on."""
        extent = self.grid.extent
        return src.intersect(
            Window(extent.row, src.col, extent.height, src.width) if self._turn() else extent
        )

    def _source_windows(
        self, part: Window
    ) -> list[tuple[Window, tuple[NDArray[np.float64], NDArray[np.float64]], tuple[int, int, int]]]:
        """Window of the raw grid under ``part`` (of one block), with its nodes; none if it is off the grid."""
        from reefscan.kernels.sampling import NODE_STEP, spread_of

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
        tall, wide = (math.ceil(0.5 * float(side.max())) + 1 for side in spread_of(rows, cols, step))
        top = math.floor(rows[good].min()) - tall
        left = math.floor(cols[good].min()) - wide
        src = Window(
            top,
            left,
            math.ceil(rows[good].max()) + tall + 1 - top,
            math.ceil(cols[good].max()) + wide + 1 - left,
        )
        src = self._on_grid(src)
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
        rows, cols = self._raw_of(x, y)
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


def grid_extent(grid: RawGrid, sheet: Sheet) -> Window:
    """Window of a sheet that holds the first layer of a raw grid, wherever it lies."""
    found = sheet.window_over(*transformer(grid.lattice.crs, sheet.crs).transform(*outline(grid, 0)))
    return found if found.empty else found.grow(1)


def outline(grid: RawGrid, i: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Points over the area of one layer, dense enough for its bounds, in its CRS."""
    row, col, row_end, col_end = (float(v) for v in grid.boxes[i])
    across, down = np.meshgrid(np.linspace(col, col_end, 25), np.linspace(row, row_end, 25))
    c, r = across.ravel(), down.ravel()
    k = grid.lattice
    return k.a * c + k.b * r + k.c, k.d * c + k.e * r + k.f
