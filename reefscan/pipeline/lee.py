"""Open water as layers: how far it is to land toward the wind, or in eight directions, from every part of a grid."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import Proj

from reefscan.base.model import GridSource, Sheet, Window
from reefscan.base.recipe import Recipe
from reefscan.io.georef import transformer
from reefscan.kernels.layers.fetch import open_water_m
from reefscan.pipeline.around import open_around
from reefscan.surroundings.fetch import AZIMUTHS, EITHER_SIDE, REACH_M
from reefscan.surroundings.onsheet import areas_on, covered

CELLS = 25_000_000
"""Cells of land and water at the most, with all that lies within reach: ten directions of so many take some 3 s."""

EIGHT = tuple(range(0, 360, 45))


@dataclass(frozen=True)
class Lee:
    """Layers on a lattice of their own, whose cells are whole cells of the grid.

    Attributes
    ----------
    sheet, window : Sheet, Window
        Where they lie.
    layers : dict of str to ndarray of float32
        Metres, NaN on land: ``fetch_m`` toward the stated wind, else ``fetch_000_m`` (toward true north) to ``fetch_315_m``.
    """

    sheet: Sheet
    window: Window
    layers: dict[str, NDArray[np.float32]]


def fetch_layers(source: GridSource, land: Sequence[str], wind_from: str | None = None) -> Lee:
    """Measure open water from the land that a person hands over.

    Parameters
    ----------
    source : GridSource
    land : sequence of str
        Files of land; lines of a shore close nothing here, areas do.
    wind_from : str, optional
        Where the wind comes from (``SW`` or degrees): the longest open water within 15 degrees of it is given.

    Raises
    ------
    ReefscanError
        See `reefscan.io.around.read_around`.
    """
    recipe = Recipe.default().with_around(land=list(land), wind_from=wind_from)
    known = open_around([source], recipe)
    areas = known.of("land").shapes if known is not None else np.zeros(0, dtype=object)
    sheet, extent = _lattice(source)
    margin = math.ceil(REACH_M / sheet.cell_m)
    land_areas = areas[shapely.get_type_id(areas) == 3]
    mask = covered(extent.grow(margin), sheet, areas_on(sheet, land_areas))
    turn = _convergence(sheet, extent)

    def toward(azimuth: float) -> NDArray[np.float32]:
        metres = open_water_m(mask, sheet.cell_m, azimuth - turn, REACH_M)
        return metres[margin : margin + extent.height, margin : margin + extent.width]

    wind = recipe.around.wind_deg
    if wind_from is None:
        return Lee(sheet, extent, {f"fetch_{azimuth:03d}_m": toward(azimuth) for azimuth in EIGHT})
    near = AZIMUTHS[np.abs((AZIMUTHS - wind + 180.0) % 360.0 - 180.0) <= EITHER_SIDE]
    return Lee(sheet, extent, {"fetch_m": np.max([toward(float(azimuth)) for azimuth in near], axis=0)})


def _lattice(source: GridSource) -> tuple[Sheet, Window]:
    """Cells so large that all within reach of the grid are few enough, each of whole cells of the grid."""
    sheet, extent = source.sheet, source.extent
    around = 2.0 * REACH_M / sheet.cell_m
    times = max(1, math.ceil(math.sqrt((extent.height + around) * (extent.width + around) / CELLS)))
    row, col = extent.row // times, extent.col // times
    window = Window(row, col, -(-extent.row_end // times) - row, -(-extent.col_end // times) - col)
    return Sheet(sheet.crs, sheet.cell_m * times, sheet.x_phase_m, sheet.y_phase_m), window


def _convergence(sheet: Sheet, window: Window) -> float:
    """Azimuth of true north from grid north in the middle of a window, degrees, with its sign turned: true = grid + this."""
    x = float(sheet.x_of(window.col + window.width / 2.0))
    y = float(sheet.y_of(window.row + window.height / 2.0))
    lon, lat = transformer(sheet.crs, "EPSG:4326").transform(x, y)
    turn = float(Proj(sheet.crs).get_factors(lon, lat).meridian_convergence)
    return turn if math.isfinite(turn) else 0.0
