"""The shaded ground alone, without paper around it: for viewers that place pictures themselves."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.render.shade import Floats, choose_stretch, deepest_tint_m, shaded_relief


def plain_map(elev: Floats, cell_m: float, *, band_max_m: float) -> NDArray[np.uint8]:
    """Shaded relief as RGBA, clear where the ground is unknown.

    Returns
    -------
    ndarray of uint8, shape (4, rows, cols)
        Bands first, as raster writers want them.
    """
    known = np.isfinite(elev)
    deepest = deepest_tint_m(elev, band_max_m)
    stretch = choose_stretch(elev, cell_m)
    rgb = shaded_relief(elev, cell_m, band_max_m=band_max_m, deepest_m=deepest, stretch=stretch)
    return np.concatenate([np.moveaxis(rgb, -1, 0), np.where(known, 255, 0).astype(np.uint8)[None]])
