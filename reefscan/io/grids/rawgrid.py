"""Layers that lie on one lattice, laid over each other in a stated order.

Tiles of one product share a lattice; joined here, before any warp, a tile's edge is no edge.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rasterio.errors import RasterioError
from rasterio.windows import Window as RasterWindow

from reefscan.base.errors import UnreadableError, one_line
from reefscan.base.model import NODATA_MM, Window
from reefscan.io import handles
from reefscan.io.grids.layer import Layer
from reefscan.io.grids.surveys import sigma_mm
from reefscan.kernels.cells import whole_mm

SAME_PHASE = 0.01
"""Two lattices are one if their cells lie within this part of a cell."""

STRIP = 512
"""Rows that are read at a time; files hold blocks of this many or a part of it."""

Pair = tuple[NDArray[np.int32], NDArray[np.int32] | None]


def _twelve(value: float) -> float:
    # Tiles of one product write 1/10800 degree with different last digits. Twelve digits leave
    # 1e-6 of a cell over a million cells, and make the lattice the same whichever tile comes first.
    return float(f"{value:.12g}")


@dataclass(frozen=True)
class Lattice:
    """Numbered cells in the input's own CRS: ``x = a col + b row + c``, ``y = d col + e row + f``.

    Axis-aligned ones are numbered from the CRS's origin (``c`` and ``f`` less than a cell), so that all
    tiles of a product agree. ``flipped`` says that stored rows run south to north.
    """

    crs: str
    a: float
    b: float
    c: float
    d: float
    e: float
    f: float

    def place(self, layer: Layer) -> tuple[int, int, bool]:
        """Row and column of the layer's north-west cell, and whether its stored rows are turned over."""
        _, _, c, _, e, f = layer.transform
        if self.b or self.d:
            return 0, 0, False
        flipped = (e > 0) != (self.e > 0)
        north = f + e * layer.height if flipped else f
        return round((north - self.f) / self.e), round((c - self.c) / self.a), flipped

    def fits(self, layer: Layer, crs: str) -> bool:
        """Tell whether a layer's cells are cells of this lattice."""
        other = lattice_of(layer, crs)
        if other.crs != self.crs or self.b or self.d or other.b or other.d:
            return False
        if other.a != self.a or other.e != self.e:
            return False
        dx = (other.c - self.c) / self.a
        dy = (other.f - self.f) / self.e
        return abs(dx - round(dx)) < SAME_PHASE and abs(dy - round(dy)) < SAME_PHASE


def lattice_of(layer: Layer, crs: str) -> Lattice:
    """Return the lattice of a layer (north-up where it is axis-aligned)."""
    a, b, c, d, e, f = layer.transform
    if b or d or a < 0:
        return Lattice(crs, a, b, c, d, e, f)
    a, e = _twelve(a), -_twelve(abs(e))
    north = layer.transform[5] + layer.transform[4] * layer.height if layer.transform[4] > 0 else f
    return Lattice(crs, a, 0.0, _phase(c, a), 0.0, e, _phase(north, -e))


def _phase(origin: float, cell: float) -> float:
    part = round((origin / cell) % 1.0, 6)
    return (0.0 if part >= 1.0 else part) * cell


@dataclass(frozen=True)
class RawGrid:
    """Layers on one lattice, best first.

    Parameters
    ----------
    lattice : Lattice
        Theirs.
    layers : tuple of Layer
        In order of preference: the first known cell wins.
    """

    lattice: Lattice
    layers: tuple[Layer, ...]

    @cached_property
    def boxes(self) -> NDArray[np.int64]:
        """Used part of each layer: row, column, end row, end column."""
        out = np.empty((len(self.layers), 4), dtype=np.int64)
        for i, layer in enumerate(self.layers):
            row, col, flipped = self.lattice.place(layer)
            top, left, bottom, right = layer.crop
            if flipped:
                top, bottom = layer.height - bottom, layer.height - top
            out[i] = row + top, col + left, row + bottom, col + right
        return out

    @cached_property
    def extent(self) -> Window:
        """Smallest window that holds all layers."""
        low, high = self.boxes[:, :2].min(axis=0), self.boxes[:, 2:].max(axis=0)
        return Window(int(low[0]), int(low[1]), int(high[0] - low[0]), int(high[1] - low[1]))

    @property
    def has_uncertainty(self) -> bool:
        """True if any layer states how good its depths are."""
        return any(layer.has_uncertainty for layer in self.layers)

    @cached_property
    def turn(self) -> int:
        """Columns in a whole turn of the Earth (for a lattice in degrees), 0 if that is no whole number."""
        if self.lattice.b or self.lattice.d or self.lattice.a <= 0:
            return 0
        columns = 360.0 / self.lattice.a
        return round(columns) if abs(columns - round(columns)) < 1e-6 else 0

    def over(self, window: Window) -> list[int]:
        """Numbers of the layers that meet a window, best first."""
        b = self.boxes
        hit = (
            (b[:, 0] < window.row_end)
            & (b[:, 2] > window.row)
            & (b[:, 1] < window.col_end)
            & (b[:, 3] > window.col)
        )
        return [int(i) for i in np.flatnonzero(hit)]

    def read(self, window: Window) -> Pair:
        """Read any window of the lattice: elevation and sigma in whole millimetres."""
        hits = self.over(window)
        if len(hits) == 1:
            box = self._box(hits[0])
            if window.intersect(box) == window:
                return self._layer(hits[0], window)
        parts = ((self._box(i), partial(self._layer, i)) for i in hits)
        return laid(window, parts, sigma=self.has_uncertainty)

    def _box(self, i: int) -> Window:
        row, col, row_end, col_end = (int(v) for v in self.boxes[i])
        return Window(row, col, row_end - row, col_end - col)

    def _layer(self, i: int, window: Window) -> Pair:
        layer = self.layers[i]
        row0, col0, flipped = self.lattice.place(layer)
        row, col = window.row - row0, window.col - col0
        if flipped:
            row = layer.height - row - window.height
        mm, sigma = read_layer(layer, row, col, window.height, window.width)
        if flipped:
            mm = np.ascontiguousarray(mm[::-1])
            sigma = None if sigma is None else np.ascontiguousarray(sigma[::-1])
        return mm, sigma


def laid(window: Window, parts: Iterable[tuple[Window, Callable[[Window], Pair]]], *, sigma: bool) -> Pair:
    """Lay readings of parts over each other: the first known cell wins, and a part that would add none is not read."""
    elev = np.full((window.height, window.width), NODATA_MM, dtype=np.int32)
    spread = np.zeros_like(elev) if sigma else None
    for extent, read in parts:
        here = window.intersect(extent)
        rows, cols = here.slices_in(window)
        view = elev[rows, cols]
        gaps = view == NODATA_MM
        if not gaps.any():
            continue
        mm, s = read(here)
        np.copyto(view, mm, where=gaps)
        if spread is not None and s is not None:
            np.copyto(spread[rows, cols], s, where=gaps & (mm != NODATA_MM))
    return elev, spread


def read_layer(layer: Layer, row: int, col: int, height: int, width: int) -> Pair:
    """Read stored rows and columns of one layer as whole millimetres, as they lie in the file.

    Raises
    ------
    UnreadableError
        Naming the file and the rows.
    """
    dataset = handles.borrow(layer.path, layer.options)
    window = RasterWindow(col, row, width, height)
    try:
        mm = _millimetres(dataset, layer.band, window, layer.factor, layer.unknown, layer.add_mm)
        if layer.masked:
            mm[dataset.read_masks(layer.band, window=window) == 0] = NODATA_MM
        for top, left, bottom, right in layer.copied:
            mm[max(0, top - row) : max(0, bottom - row), max(0, left - col) : max(0, right - col)] = NODATA_MM
        if not layer.sigma_band:
            return mm, _by_survey(layer, mm, window) if layer.has_uncertainty else None
        if layer.sigma_path:
            dataset = handles.borrow(layer.sigma_path)
        sigma = _millimetres(dataset, layer.sigma_band, window, layer.sigma_factor, layer.sigma_unknown)
    except RasterioError as error:
        cause = error.__cause__ or error
        raise UnreadableError(
            f"{layer.name}: rows {row} to {row + height - 1} cannot be read ({one_line(cause)}); "
            f"{handles.remedy(layer.driver, str(cause))}"
        ) from error
    # 0 is "unknown": a negative or missing uncertainty says nothing
    np.maximum(sigma, 0, out=sigma)
    return mm, sigma


def _by_survey(layer: Layer, mm: NDArray[np.int32], window: RasterWindow) -> NDArray[np.int32]:
    dataset = handles.borrow(layer.quality_path or layer.path, () if layer.quality_path else layer.options)
    return sigma_mm(layer.surveys, dataset.read(layer.quality_band, window=window), mm, NODATA_MM)


def _millimetres(
    dataset: Any,
    band: int,
    window: RasterWindow,
    factor: float,
    unknown: tuple[float, ...],
    add_mm: float = 0.0,
) -> NDArray[np.int32]:
    """Read a window of a band, some rows of blocks at a time: what is read stays small and in the cache."""
    mm = np.empty((window.height, window.width), dtype=np.int32)
    top = window.row_off
    while top < window.row_off + window.height:
        end = min(top // STRIP * STRIP + STRIP, window.row_off + window.height)
        part = RasterWindow(window.col_off, top, window.width, end - top)
        raw = handles.scratch(dataset.dtypes[band - 1], part.height * part.width)
        raw = raw.reshape(part.height, part.width)
        dataset.read(band, window=part, out=raw)
        rows = slice(top - window.row_off, end - window.row_off)
        whole_mm(raw, factor=factor, add_mm=add_mm, unknown=unknown, out=mm[rows])
        top = end
    return mm
