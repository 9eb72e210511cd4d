"""Every kernel used once with the types a scan uses, so that it is compiled before workers start together."""

from __future__ import annotations

import numpy as np

from reefscan.arraysource import ArraySource
from reefscan.model import Window
from reefscan.recipe import Recipe
from reefscan.tilework import TileWork


def warm_up() -> None:
    """Compile every kernel once (or load it from the cache) before workers start together."""
    z = np.full((256, 256), -10.0)
    z[100:140, 60:200] -= 2.0
    source = ArraySource.from_metres(z, cell_m=2.0)
    TileWork(source, Recipe.default().find, Recipe.default().score)(
        Window(source.extent.row, source.extent.col, 256, 256)
    )
