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
    from reefscan.base.recipe import Recipe, dump_recipe, load_recipe
    from reefscan.io.grids.rasters import open_grids
    from reefscan.pipeline.derive import derive
    from reefscan.pipeline.rescore import rescore_run
    from reefscan.pipeline.run import Run
    from reefscan.pipeline.scan import scan

_HOME = {
    "Recipe": "reefscan.base.recipe",
    "load_recipe": "reefscan.base.recipe",
    "dump_recipe": "reefscan.base.recipe",
    "Run": "reefscan.pipeline.run",
    "scan": "reefscan.pipeline.scan",
    "open_grids": "reefscan.io.grids.rasters",
    "rescore_run": "reefscan.pipeline.rescore",
    "derive": "reefscan.pipeline.derive",
}

__all__ = ["Recipe", "Run", "derive", "dump_recipe", "load_recipe", "open_grids", "rescore_run", "scan"]


def __dir__() -> list[str]:
    """The public names."""
    return __all__


def __getattr__(name: str) -> Any:
    """Import a public name where it is first used, so that ``import reefscan`` is instant."""
    if name not in _HOME:
        raise AttributeError(f"module 'reefscan' has no attribute {name!r}")
    import importlib

    return getattr(importlib.import_module(_HOME[name]), name)
