"""A grid thinned to the size of a picture: each tile hands over the few cells that the picture shows.

If the picture read them itself, a large grid would be decoded twice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM, GridSource, Window

SIDE = 1600
"""Most cells on a side of the picture: enough for its paper."""


@dataclass(frozen=True)
class MapGround:
    """The ground of one picture: elevations, and where they lie.

    Parameters
    ----------
    elev : ndarray, shape (rows, cols)
        Metres, positive up, rows north to south, NaN unknown.
    west_m, north_m, cell_m : float
        Outer west and north edge and side of a (thinned) cell, metres in ``crs``.
    crs : str
        Projected CRS.
    """

    elev: NDArray[np.float64]
    west_m: float
    north_m: float
    cell_m: float
    crs: str

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """West, south, east, north (m)."""
        rows, cols = self.elev.shape
        return (
            self.west_m,
            self.north_m - rows * self.cell_m,
            self.west_m + cols * self.cell_m,
            self.north_m,
        )

    def cut(self, rows: slice, cols: slice) -> MapGround:
        """Return the part of these rows and columns; the slices start at 0 or later and have no step."""
        return MapGround(
            self.elev[rows, cols],
            self.west_m + cols.start * self.cell_m,
            self.north_m - rows.start * self.cell_m,
            self.cell_m,
            self.crs,
        )


def block_means(elev: NDArray[np.float64], factor: int) -> NDArray[np.float64]:
    """Means over the known cells of blocks of ``factor`` cells a side; both sides are whole blocks.

    A block is unknown only if every cell in it is, so that narrow known strips stay visible.
    """
    rows, cols = (n // factor for n in elev.shape)
    blocks = elev.reshape(rows, factor, cols, factor)
    known = np.isfinite(blocks)
    count = known.sum(axis=(1, 3))
    total = np.where(known, blocks, 0.0).sum(axis=(1, 3))
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


@dataclass(frozen=True)
class Thinning:
    """Which cells of an extent a picture shows: every ``step``-th, from the middle of the first step.

    Attributes
    ----------
    extent : Window
    step : int
        Cells from one picked cell to the next.
    """

    extent: Window
    step: int

    @classmethod
    def of(cls, extent: Window, side: int = SIDE) -> Thinning:
        """Return the thinning that leaves at most ``side`` cells on the longer side."""
        return cls(extent, max(1, -(-max(extent.height, extent.width) // side)))

    @property
    def window(self) -> Window:
        """Window that the picture covers: whole steps, so it may reach past the extent."""
        e, step = self.extent, self.step
        return Window(e.row, e.col, -(-e.height // step) * step, -(-e.width // step) * step)

    @property
    def name(self) -> str:
        """Tells the thinning from any that would pick other cells."""
        half = self.step // 2
        return f"every {self.step}: {(self.extent.row + half) % self.step} {(self.extent.col + half) % self.step}"

    def blank(self) -> NDArray[np.int32]:
        """Return the picture before anything is in it."""
        window = self.window
        return np.full((window.height // self.step, window.width // self.step), NODATA_MM, np.int32)

    def pick(self, elev_mm: NDArray[np.int32], window: Window) -> NDArray[np.int32]:
        """Return the cells of ``window`` that are in the picture; ``elev_mm`` covers the window."""
        first_row, first_col = self._first(window)
        return np.ascontiguousarray(elev_mm[first_row :: self.step, first_col :: self.step])

    def put(self, picture: NDArray[np.int32], window: Window, picked: NDArray[np.int32]) -> None:
        """Put what `pick` gave for a window in its place; what lies past the picture is cut off."""
        first_row, first_col = self._first(window)
        row = (window.row + first_row - self.extent.row) // self.step
        col = (window.col + first_col - self.extent.col) // self.step
        top, left = max(0, -row), max(0, -col)
        part = picked[top : picture.shape[0] - row, left : picture.shape[1] - col]
        picture[row + top : row + top + part.shape[0], col + left : col + left + part.shape[1]] = part

    def _first(self, window: Window) -> tuple[int, int]:
        """Row and column, within a window, of its first picked cell."""
        half = self.step // 2
        return (
            (self.extent.row + half - window.row) % self.step,
            (self.extent.col + half - window.col) % self.step,
        )


def overview(source: GridSource, side: int = SIDE) -> tuple[NDArray[np.int32], Thinning]:
    """Read a source anew as a picture of at most ``side`` cells on the longer side.

    Returns
    -------
    elev_mm : ndarray of int32
        Millimetres, `NODATA_MM` unknown.
    thinning : Thinning
        What it covers.
    """
    thinning = Thinning.of(source.extent, side)
    picture, whole, step = thinning.blank(), thinning.window, thinning.step
    strip = max(1, 1024 // step) * step
    for row in range(whole.row, whole.row_end, strip):
        for col in range(whole.col, whole.col_end, strip):
            window = Window(row, col, strip, strip).intersect(whole)
            thinning.put(picture, window, thinning.pick(source.read(window).elev_mm, window))
    return picture, thinning
