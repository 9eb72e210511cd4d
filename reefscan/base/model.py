"""The few data types that every stage shares: where cells are, and what they hold.

A *sheet* is one CRS with one cell size: an endless lattice of square cells. A *window* is a
rectangle of lattice cells. Row and column numbers are absolute on the lattice (rows grow southward
and may be negative), so the same place has the same number in every run, file and tile.

Elevation travels as whole millimetres (int32, positive up): integer sums are exact, so nothing
depends on how the grid was cut. A millimetre is far finer than any survey.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

NODATA_MM = -(2**31)
"""Elevation of an unknown cell, in the int32 millimetre arrays."""

MM_LIMIT = 12_000_000
"""Largest believable height or depth in millimetres; beyond it a value is nodata or wrongly scaled."""

BLOCK = 512
"""Side of a canonical block in cells; tiles are unions of blocks, warps run block by block."""


@dataclass(frozen=True, order=True)
class Window:
    """A rectangle of lattice cells: rows ``row`` to ``row + height - 1``, columns likewise."""

    row: int
    col: int
    height: int
    width: int

    @property
    def row_end(self) -> int:
        """One past the last row."""
        return self.row + self.height

    @property
    def col_end(self) -> int:
        """One past the last column."""
        return self.col + self.width

    @property
    def empty(self) -> bool:
        """True if it holds no cell."""
        return self.height <= 0 or self.width <= 0

    def grow(self, cells: int) -> Window:
        """Return the window with ``cells`` more on every side."""
        return Window(self.row - cells, self.col - cells, self.height + 2 * cells, self.width + 2 * cells)

    def intersect(self, other: Window) -> Window:
        """Return the shared rectangle (``empty`` if there is none)."""
        row, col = max(self.row, other.row), max(self.col, other.col)
        return Window(
            row,
            col,
            max(0, min(self.row_end, other.row_end) - row),
            max(0, min(self.col_end, other.col_end) - col),
        )

    def union(self, other: Window) -> Window:
        """Return the smallest window that holds both."""
        row, col = min(self.row, other.row), min(self.col, other.col)
        return Window(
            row, col, max(self.row_end, other.row_end) - row, max(self.col_end, other.col_end) - col
        )

    def slices_in(self, outer: Window) -> tuple[slice, slice]:
        """Index of this window inside an array that covers ``outer``."""
        return (
            slice(self.row - outer.row, self.row_end - outer.row),
            slice(self.col - outer.col, self.col_end - outer.col),
        )


@dataclass(frozen=True)
class Sheet:
    """One CRS and one cell size: the lattice on which cells are numbered.

    Parameters
    ----------
    crs : str
        ``EPSG:n`` where there is one, else WKT. Projected, metres.
    cell_m : float
        Side of a square cell.
    x_phase_m, y_phase_m : float
        Offset of the lattice from whole multiples of ``cell_m`` (0 for catalogue sheets):
        the west edge of column c is ``c * cell_m + x_phase_m``, the north edge of row r is
        ``-r * cell_m + y_phase_m``.
    """

    crs: str
    cell_m: float
    x_phase_m: float = 0.0
    y_phase_m: float = 0.0

    def x_of(self, col: NDArray[np.float64] | float) -> NDArray[np.float64] | float:
        """Easting (m) of the centre of column ``col`` (a fraction is allowed)."""
        return (col + 0.5) * self.cell_m + self.x_phase_m

    def y_of(self, row: NDArray[np.float64] | float) -> NDArray[np.float64] | float:
        """Northing (m) of the centre of row ``row``."""
        return -(row + 0.5) * self.cell_m + self.y_phase_m

    def col_of(self, x: NDArray[np.float64] | float) -> NDArray[np.float64] | float:
        """Fractional column whose centre-based position is easting ``x``; inverse of `x_of`."""
        return (x - self.x_phase_m) / self.cell_m - 0.5

    def row_of(self, y: NDArray[np.float64] | float) -> NDArray[np.float64] | float:
        """Fractional row of northing ``y``; inverse of `y_of`."""
        return -(y - self.y_phase_m) / self.cell_m - 0.5

    def transform(self, window: Window) -> tuple[float, float, float, float, float, float]:
        """Affine coefficients (a, b, c, d, e, f) of an array that covers ``window``."""
        return (
            self.cell_m,
            0.0,
            window.col * self.cell_m + self.x_phase_m,
            0.0,
            -self.cell_m,
            -window.row * self.cell_m + self.y_phase_m,
        )

    def bounds(self, window: Window) -> tuple[float, float, float, float]:
        """West, south, east, north of ``window`` in metres."""
        a, _, c, _, e, f = self.transform(window)
        return (c, f + e * window.height, c + a * window.width, f)

    def window_of(self, west: float, south: float, east: float, north: float) -> Window:
        """Smallest window whose cells cover the given bounds (metres)."""
        tiny = 1e-6
        col = math.floor((west - self.x_phase_m) / self.cell_m + tiny)
        col_end = math.ceil((east - self.x_phase_m) / self.cell_m - tiny)
        row = math.floor((self.y_phase_m - north) / self.cell_m + tiny)
        row_end = math.ceil((self.y_phase_m - south) / self.cell_m - tiny)
        return Window(row, col, row_end - row, col_end - col)

    def window_over(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> Window:
        """Smallest window whose cells cover places (metres), those that are not finite left out; ``empty`` if there is none."""
        good = np.isfinite(x) & np.isfinite(y)
        if not good.any():
            return Window(0, 0, 0, 0)
        x, y = x[good], y[good]
        return self.window_of(float(x.min()), float(y.min()), float(x.max()), float(y.max()))


@dataclass(frozen=True)
class GridBlock:
    """The cells of one window.

    Parameters
    ----------
    window : Window
    elev_mm : ndarray of int32, shape (height, width)
        Elevation, millimetres, positive up, rows north to south; `NODATA_MM` where unknown.
    sigma_mm : ndarray of int32 or None
        Standard uncertainty (1 sigma) of the elevation, millimetres; 0 where unknown.
        None when the source has no uncertainty at all.
    """

    window: Window
    elev_mm: NDArray[np.int32]
    sigma_mm: NDArray[np.int32] | None = None


class GridSource(Protocol):
    """Where cells come from. Implementations live in ``io`` and must survive pickling."""

    @property
    def sheet(self) -> Sheet:
        """The lattice of the cells."""

    @property
    def extent(self) -> Window:
        """The window that holds every known cell."""

    @property
    def name(self) -> str:
        """Short name of the source, as written beside each candidate."""

    @property
    def has_uncertainty(self) -> bool:
        """True if `read` gives ``sigma_mm``."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What was assumed, repaired, skipped or looks wrong, one sentence each."""

    @property
    def files(self) -> tuple[str, ...]:
        """Names of the files that the cells come from, best first."""

    @property
    def between_m(self) -> float:
        """Distance between the tracks of the soundings that the grid was made of, metres; 0 where nothing says it."""

    def read(self, window: Window) -> GridBlock:
        """Read any window; cells outside `extent` are unknown. Same bits for any cut; the arrays are the caller's own."""

    def first_look(self, window: Window) -> NDArray[np.int32] | None:
        """Read ``elev_mm`` of a window without its uncertainty, where reading more of it later costs little; else None.

        The bits are those of `read`.
        """

    def spikes_in(self, window: Window) -> int:
        """Bad cells of the stored grid under a window that were set aside before it was sampled; 0 where cells come as stored."""

    def fingerprint(self) -> dict[str, object]:
        """What identifies the input: files with size, time and header; JSON-ready."""

    def fingerprint_of(self, window: Window) -> str:
        """What identifies the cells of one window, without reading them. Equal values read equal cells."""

    def lattice_key(self) -> dict[str, object]:
        """What tells the lattice from that of every other source of a run; JSON-ready."""

    def depth_range(self, window: Window) -> tuple[float, float] | None:
        """Cheap outer bounds of depth (m, positive down) in the window, None if it has no cell.

        May be wider than the truth, never narrower. ``(-inf, inf)`` when nothing cheap is known.
        """

    def changed(self) -> list[str]:
        """Names of files that are no longer what they were when they were opened."""

    def owns(self, rows: NDArray[Any], cols: NDArray[Any]) -> NDArray[np.bool_]:
        """Tell which cells' candidates belong to this source, where several of one run see the same ground."""

    def source_at(self, rows: NDArray[Any], cols: NDArray[Any]) -> list[str]:
        """Name of the file that each cell comes from, empty where the cell is unknown."""

    def filled_at(self, rows: NDArray[Any], cols: NDArray[Any]) -> NDArray[np.bool_]:
        """Tell which cells were filled in between soundings, as the input itself states."""


def to_mm(elev: NDArray[np.floating]) -> NDArray[np.int32]:
    """Metres (NaN or infinite = unknown) to whole millimetres with `NODATA_MM`, half to even."""
    scaled = np.rint(np.asarray(elev, dtype=np.float64) * 1000.0)
    bad = ~(np.abs(scaled) <= MM_LIMIT)
    scaled[bad] = NODATA_MM
    return scaled.astype(np.int32)


def to_metres(elev_mm: NDArray[np.int32]) -> NDArray[np.float64]:
    """Whole millimetres to metres with NaN for unknown cells."""
    out = elev_mm / 1000.0
    out[elev_mm == NODATA_MM] = np.nan
    return out
