"""Public bathymetry read onto a lattice of one's own, such as that of a survey."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import AmbiguousError, InputError, NoCrsError
from reefscan.base.model import NODATA_MM, Sheet, Window, to_metres
from reefscan.io.grids.piece import Piece, grid_extent
from reefscan.io.grids.rasters import open_grids
from reefscan.io.grids.rawgrid import RawGrid

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PublicGround:
    """Grids in order of preference, sampled where they are wanted: stored cells go onto the lattice in one step.

    Parameters
    ----------
    grids : tuple of RawGrid
        Best first: the first known cell wins.
    name : str
        For people.
    notes : tuple of str
        What was assumed, repaired or skipped.
    """

    grids: tuple[RawGrid, ...]
    name: str
    notes: tuple[str, ...] = ()

    def on_lattice(self, sheet: Sheet, window: Window) -> tuple[Floats, Floats]:
        """Elevation (m, positive up) and its standard uncertainty (m) in a window of any sheet; NaN unknown."""
        elev = np.full((window.height, window.width), NODATA_MM, dtype=np.int32)
        sigma = np.zeros_like(elev)
        for grid in self.grids:
            mm, s = Piece(grid, sheet, window, warped=True).read(window)
            gaps = (elev == NODATA_MM) & (mm != NODATA_MM)
            np.copyto(elev, mm, where=gaps)
            if s is not None:
                np.copyto(sigma, s, where=gaps)
        return to_metres(elev), np.where(sigma > 0, sigma / 1000.0, np.nan)

    def window_on(self, sheet: Sheet) -> Window:
        """Window of a sheet that the grids cover."""
        windows = [
            grid_extent(RawGrid(grid.lattice, (layer,)), sheet)
            for grid in self.grids
            for layer in grid.layers
        ]
        out = windows[0]
        for window in windows[1:]:
            out = out.union(window)
        return out


@dataclass(frozen=True)
class Onto:
    """A public grid that soundings are set into, and what was said of how to read it (see `open_grids`)."""

    path: Path | str
    positive: str | None = None
    crs: str | None = None
    unit: str | None = None
    variable: str | None = None


def _in_words_of_onto(error: InputError) -> InputError:
    """The same with the options of this command in it, and in what it asks."""

    def said(text: str) -> str:
        text = text.replace("--value-unit", "--unit")
        for option in ("crs", "positive", "unit", "variable"):
            text = text.replace(f"--{option}", f"--onto-{option}")
        return text

    if isinstance(error, (AmbiguousError, NoCrsError)) and error.asks is not None:
        asks = replace(error.asks, flag=said(error.asks.flag))
        return type(error)(f"--onto {said(str(error))}", asks=asks)
    return type(error)(f"--onto {said(str(error))}")


def open_ground(onto: Onto) -> PublicGround:
    """Open files, folders or addresses of bathymetry by the rules of a scan.

    Raises
    ------
    InputError
        As `open_grids`, in the words of this command's options.
    """
    try:
        sheets = open_grids(
            str(onto.path), crs=onto.crs, positive=onto.positive, unit=onto.unit, variable=onto.variable
        )
    except InputError as error:
        raise _in_words_of_onto(error) from error
    grids: list[RawGrid] = []
    for sheet in sheets:  # a file over two zones is in both their sheets
        grids += [piece.grid for piece in sheet.pieces if piece.grid not in grids]
    return PublicGround(
        tuple(grids), sheets[0].name, tuple(dict.fromkeys(note for sheet in sheets for note in sheet.notes))
    )
