"""From public bathymetry or your own soundings to ranked, explained drop points for nets and pots.

    >>> import reefscan
    >>> recipe = reefscan.Recipe.default().with_depth(4, 15)
    >>> recipe.depth_band
    (4.0, 15.0)

Results are for planning, not for navigation.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reefscan.io.rasters import open_grids
    from reefscan.pipeline import Run, scan, scan_elevation
    from reefscan.recipe import Recipe, dump_recipe, load_recipe
    from reefscan.rerun import rescore_run
    from reefscan.terrain import derive

_HOME = {
    "Recipe": "reefscan.recipe",
    "load_recipe": "reefscan.recipe",
    "dump_recipe": "reefscan.recipe",
    "Run": "reefscan.pipeline",
    "scan": "reefscan.pipeline",
    "scan_elevation": "reefscan.pipeline",
    "open_grids": "reefscan.io.rasters",
    "rescore_run": "reefscan.rerun",
    "derive": "reefscan.terrain",
}

__all__ = [
    "Recipe", "Run", "derive", "dump_recipe", "load_recipe", "open_grids", "rescore_run", "scan",
    "scan_elevation",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Import a public name where it is first used, so that ``import reefscan`` is instant."""
    if name not in _HOME:
        raise AttributeError(f"module 'reefscan' has no attribute {name!r}")
    import importlib

    return getattr(importlib.import_module(_HOME[name]), name)
