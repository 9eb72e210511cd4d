"""Terrain layers of a grid, for looking at and for further work."""

from __future__ import annotations

import logging
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, cast

from reefscan.base.errors import InputError
from reefscan.base.model import GridSource, Window
from reefscan.base.recipe import Find, Recipe
from reefscan.layers.terrain import LAYERS, attributes, chosen, wider_than, window_layers
from reefscan.pipeline.labelled import labelled

if TYPE_CHECKING:
    import xarray

log = logging.getLogger(__name__)


def derive(
    grid: str | Path | xarray.DataArray | GridSource,
    recipe: Recipe | Find | None = None,
    *,
    only: Iterable[str] | None = None,
    window: Window | None = None,
    positive: str | None = None,
    crs: str | None = None,
) -> xarray.Dataset:
    """Terrain layers of a grid as labelled arrays.

    It holds the window in memory: for a whole coast use ``reefscan layers``, which goes by windows.

    Parameters
    ----------
    grid : path, DataArray or GridSource
        A grid of one sheet. What needs more options, or lies on several sheets, is opened by
        `reefscan.open_grids` first.
    recipe : Recipe or Find, optional
        Its ``[find]`` gives the radii, in metres; the default if not given.
    only : iterable of str, optional
        Names of layers (see `reefscan.layers.terrain.LAYERS`); all by default.
    window : Window, optional
        Part of the grid; all of it by default.
    positive, crs : str, optional
        As in `reefscan.scan`, where the grid does not say.

    Returns
    -------
    xarray.Dataset
        One float32 variable a layer on ``y`` (north to south) and ``x``, cell centres in metres, each with
        its own ``units``, ``long_name`` and ``reference``; NaN where undefined.

    Raises
    ------
    InputError
        If a layer's name is unknown, or the grid lies on several sheets or cannot be read.

    Examples
    --------
    >>> import reefscan
    >>> layers = reefscan.derive("data_samples/demo_coast.tif", only=["slope_deg", "bpi_fine_m"])
    >>> layers.slope_deg.attrs["units"]
    'degree'
    """
    only = [row.name for row in chosen(only)]  # a wrong name is refused before anything is read
    find = recipe.find if isinstance(recipe, Recipe) else recipe or Find()
    if not isinstance(grid, (str, Path)) and hasattr(grid, "sheet"):
        return _derive(cast(GridSource, grid), find, only, window)
    from reefscan.io.grids.array import as_files
    from reefscan.io.grids.rasters import open_grids

    with as_files(grid) as (paths, _):
        sources = open_grids(paths, positive=positive, crs=crs)
        if len(sources) > 1:
            raise InputError(
                f"{sources[0].name}: lies on {len(sources)} sheets; take one of them, as derive(open_grids(path)[0])"
            )
        return _derive(sources[0], find, only, window)


def _derive(source: GridSource, find: Find, only: list[str], window: Window | None) -> xarray.Dataset:
    window = source.extent if window is None else window
    for sentence in wider_than(source.extent, source.sheet.cell_m, find, only=only):
        log.warning("%s: %s", source.name, sentence)
    values = window_layers(source, window, find, only=only)
    variables = {name: (cells, attributes(LAYERS[name])) for name, cells in values.items()}
    return labelled(source.sheet, window, variables, source=source.name)
