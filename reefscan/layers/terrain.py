"""The one table of terrain layers, and the functions that fill it from a grid.

A layer is one row of `LAYERS`: how it is computed, how far it looks, its unit, name, reference and
colours. The tile engine's halo, ``derive``, the GeoTIFF tags and the documentation all read this table;
a new layer is one row here, one kernel and one test.

Distances come from the recipe's ``[find]`` in metres and are turned into cells here and nowhere else.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import InputError
from reefscan.base.model import NODATA_MM, GridBlock, GridSource, Window
from reefscan.kernels.layers import gradient, position, relief, rugosity, structure

if TYPE_CHECKING:
    from reefscan.base.recipe import Find

Values = NDArray[np.float32] | NDArray[np.float64]


@dataclass(frozen=True)
class Ground:
    """The cells of one window with what a layer needs to know about them.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Elevation, millimetres, positive up, `NODATA_MM` unknown, halo included.
    cell_m : float
        Side of a cell, metres.
    row, col : int
        Lattice row and column of the first cell.
    find : Find
        The recipe's ``[find]``.
    """

    elev_mm: NDArray[np.int32]
    cell_m: float
    row: int
    col: int
    find: Find

    def cells(self, metres: float) -> float:
        """Turn a distance of the recipe into cells."""
        return metres / self.cell_m

    def bpi(self, inner_m: float, outer_m: float) -> Values:
        """Position index over an annulus given in metres (on coarse cells never under three)."""
        inner, outer = _annulus(inner_m, outer_m, self.cell_m)
        return position.bpi(self.elev_mm, inner, outer, self.row, self.col)

    @cached_property
    def heights(self) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
        """Trough, ledge and rise in millimetres: one pass gives all three."""
        find = self.find
        return structure.heights(
            self.elev_mm,
            trough_cells=self.cells(find.trough_radius_m),
            rise_cells=self.cells(find.rise_radius_m),
            run_cells=self.cells(LEDGE_RUN_M),
            ground_cells=self.cells(LEDGE_RUN_M),
        )

    def height(self, which: int) -> Values:
        """One of `heights` in metres, NaN where the cell is unknown."""
        metres = (self.heights[which] * 0.001).astype(np.float32)
        metres[self.elev_mm == NODATA_MM] = np.nan
        return metres


@dataclass(frozen=True)
class Layer:
    """One row of the table.

    Parameters
    ----------
    name : str
        Name in files and options; ends in its unit where it has one.
    long_name : str
        What a reader of a map legend wants to see.
    units : str
        Unit of the values, ``1`` for a pure number (CF convention).
    reference : str
        Where the formula is published.
    compute : callable
        From `Ground` to an array of the same shape, NaN where undefined.
    halo : callable
        From ``[find]`` and the cell size (m) to the cells needed beyond a window.
    colours : str
        ``ramp`` (from zero up), ``split`` (either side of zero) or ``wheel`` (a direction).
    beyond : bool
        True if the kernel must be given the unknown cells beyond the grid's edge; the position index
        takes them for granted, and its radius may be a hundred times the grid (25 m on cells of 1 mm).
    """

    name: str
    long_name: str
    units: str
    reference: str
    compute: Callable[[Ground], Values]
    halo: Callable[[Find, float], int]
    colours: str = "ramp"
    beyond: bool = True
    fits: tuple[tuple[str, float], ...] = ()


def _annulus(inner_m: float, outer_m: float, cell_m: float) -> tuple[float, float]:
    # On cells coarser than the recipe a ring thinner than a cell would hold none. The same floor as at the
    # candidates: at least from the next cell to the third.
    outer = max(outer_m / cell_m, 3.0)
    return min(max(inner_m / cell_m, 1.0), outer), outer


def _one(find: Find, cell_m: float) -> int:
    del find, cell_m
    return 1


def _structure_halo(find: Find, cell_m: float) -> int:
    return structure.structure_halo(
        find.trough_radius_m / cell_m,
        find.rise_radius_m / cell_m,
        LEDGE_RUN_M / cell_m,
        LEDGE_RUN_M / cell_m,
    )


LEDGE_RUN_M = 8.0
"""Run of the layer ``ledge_m``, and of the ground beyond either end of it. (Sites measure a face to its own ends.)"""

_HORN = "Horn 1981, Proc. IEEE 69(1):14-47, doi:10.1109/PROC.1981.11918"
_JENNESS = "Jenness 2004, Wildl. Soc. Bull. 32(3):829-839"
_BPI = "Weiss 2001 (poster); Lundblad et al. 2006, Marine Geodesy 29(2):89-111"
_OWN = "reefscan's own definition; see DEVELOPERS.md"

_ROWS = (
    Layer("slope_deg", "slope", "degree", _HORN, lambda g: gradient.slope_deg(g.elev_mm, g.cell_m), _one),
    Layer(
        "aspect_deg",
        "downslope direction, clockwise from grid north",
        "degree",
        _HORN,
        lambda g: gradient.aspect_deg(g.elev_mm, g.cell_m),
        _one,
        "wheel",
    ),
    Layer(
        "vrm",
        "vector ruggedness",
        "1",
        "Sappington, Longshore & Thompson 2007, J. Wildl. Manage. 71(5):1419-1426, doi:10.2193/2005-723",
        lambda g: rugosity.vrm(g.elev_mm, g.cell_m, rugosity.window_cells(g.find.vrm_window_m, g.cell_m)),
        lambda find, cell_m: rugosity.window_cells(find.vrm_window_m, cell_m) // 2 + 1,
        fits=(("vrm_window_m", 1.0),),
    ),
    Layer(
        "tri_riley_m",
        "terrain ruggedness index",
        "m",
        "Riley, DeGloria & Elliot 1999, Intermountain J. Sci. 5(1-4):23-27",
        lambda g: gradient.tri_riley_m(g.elev_mm, g.cell_m),
        _one,
    ),
    Layer(
        "surface_ratio",
        "surface area over map area",
        "1",
        _JENNESS,
        lambda g: rugosity.surface_ratio(g.elev_mm, g.cell_m),
        _one,
    ),
    Layer(
        "surface_ratio_even",
        "surface area over that of an even slope",
        "1",
        f"{_JENNESS}; {_HORN}",
        lambda g: rugosity.surface_ratio_even(g.elev_mm, g.cell_m),
        _one,
    ),
    Layer(
        "relief_m",
        "local relief",
        "m",
        "highest minus lowest in a disc (common practice, no source)",
        lambda g: relief.relief(g.elev_mm, max(1.0, g.cells(g.find.relief_radius_m))),
        lambda find, cell_m: relief.relief_halo(max(1.0, find.relief_radius_m / cell_m)),
        fits=(("relief_radius_m", 2.0),),
    ),
    Layer(
        "bpi_fine_m",
        "position index, fine",
        "m",
        _BPI,
        lambda g: g.bpi(g.find.bpi_fine_inner_m, g.find.bpi_fine_outer_m),
        lambda find, cell_m: position.bpi_halo(
            _annulus(find.bpi_fine_inner_m, find.bpi_fine_outer_m, cell_m)[1]
        ),
        "split",
        beyond=False,
        fits=(("bpi_fine_outer_m", 2.0),),
    ),
    Layer(
        "bpi_broad_m",
        "position index, broad",
        "m",
        _BPI,
        lambda g: g.bpi(g.find.bpi_broad_inner_m, g.find.bpi_broad_outer_m),
        lambda find, cell_m: position.bpi_halo(
            _annulus(find.bpi_broad_inner_m, find.bpi_broad_outer_m, cell_m)[1]
        ),
        "split",
        beyond=False,
        fits=(("bpi_broad_outer_m", 2.0),),
    ),
    Layer("trough_m", "depth of a low between two highs", "m", _OWN, lambda g: g.height(0), _structure_halo),
    Layer(
        "ledge_m",
        "height of a step",
        "m",
        _OWN,
        lambda g: g.height(1),
        _structure_halo,
    ),
    Layer("rise_m", "height of an isolated high", "m", _OWN, lambda g: g.height(2), _structure_halo),
)

LAYERS: dict[str, Layer] = {row.name: row for row in _ROWS}
"""Every layer by name, in the order in which they are listed to people."""


def chosen(only: Iterable[str] | None) -> tuple[Layer, ...]:
    """Rows of the table by name, all of them for None, in the order asked for and each once.

    Raises
    ------
    InputError
        If a name is unknown; the message has the nearest known one.
    """
    if only is None:
        return tuple(LAYERS.values())
    names = list(dict.fromkeys(only))
    for name in names:
        if name not in LAYERS:
            near = difflib.get_close_matches(name, LAYERS, n=1)
            hint = f"did you mean {near[0]}?" if near else f"known: {', '.join(LAYERS)}"
            raise InputError(f"{name!r} is not a terrain layer; {hint}")
    if not names:
        raise InputError(f"no terrain layer was named; known: {', '.join(LAYERS)}")
    return tuple(LAYERS[name] for name in names)


def halo_cells(find: Find, cell_m: float, only: Iterable[str] | None = None) -> int:
    """Cells around a window that the chosen layers need to be the same for any cut."""
    return max(layer.halo(find, cell_m) for layer in chosen(only))


def wider_than(
    extent: Window, cell_m: float, find: Find, *, only: Iterable[str] | None = None
) -> tuple[str, ...]:
    """Say which of the chosen layers stand on more ground than a grid is wide, one sentence each.

    Such a layer is unknown, 0 or computed from a part of that ground in most of the grid, if not in all of it.
    """
    high, wide = extent.height * cell_m, extent.width * cell_m
    side = min(high, wide)
    notes = []
    for row in chosen(only):
        across = sum(getattr(find, key) * times for key, times in row.fits)
        if across <= side:
            continue
        now = ", ".join(f"{key} = {getattr(find, key):g}" for key, _ in row.fits)
        most = side / sum(times for _, times in row.fits)
        smaller = " and ".join(key for key, _ in row.fits)
        inner = ", and its inner radius under that," if "outer" in smaller else ""
        notes.append(
            f"{row.name}: stands on {across:.3g} m of ground ({now}), and this grid is {wide:.3g} x {high:.3g} m: most or all of "
            f"it will be unknown, 0 or computed from a part of that; set {smaller} under {most:.2g}{inner} in the recipe's [find]"
        )
    return tuple(notes)


def _ground(block: GridBlock, cell_m: float, find: Find) -> Ground:
    elev_mm = np.ascontiguousarray(block.elev_mm, dtype=np.int32)
    return Ground(elev_mm, cell_m, block.window.row, block.window.col, find)


def window_layers(
    source: GridSource, window: Window, find: Find, *, only: Iterable[str] | None = None
) -> dict[str, NDArray[np.float32]]:
    """Read a window with its halo and return the chosen layers over the window itself (float32)."""
    rows = chosen(only)
    cell_m = source.sheet.cell_m
    halo = max(row.halo(find, cell_m) for row in rows)
    pad = max((row.halo(find, cell_m) for row in rows if row.beyond), default=1)
    outer = window.grow(halo).intersect(source.extent.union(window).grow(pad))
    inside = window.slices_in(outer)
    ground = _ground(source.read(outer), cell_m, find)
    # One layer at a time is cut to the window, so that memory holds one halo's worth and not all.
    return {row.name: np.ascontiguousarray(row.compute(ground)[inside], dtype=np.float32) for row in rows}


def attributes(layer: Layer) -> dict[str, str]:
    """Labels of a layer as written into arrays and files."""
    return {"units": layer.units, "long_name": layer.long_name, "reference": layer.reference}
