"""The shaded ground on the paper: fitted to its pixels once, or handed whole to a format that scales pictures itself."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.transforms import Affine2D
from numpy.typing import NDArray
from PIL import Image

from reefscan.render.marks import Box

FINE = 3.0
"""Paper's pixels to one of the picture from which those of the picture stay squares."""


class Picture(Artist):
    """A picture in the place that it has on a map, below all else.

    The library's own drawing of pictures turns every pixel to floats and back: .27 s of a map, this .05.

    Parameters
    ----------
    rgb : ndarray of uint8, shape (rows, cols, 3)
        Rows north to south.
    bounds : tuple of float
        West, south, east, north (m in the map's system).
    """

    def __init__(self, rgb: NDArray[np.uint8], bounds: Box) -> None:
        super().__init__()
        self.set_zorder(1)
        self._picture = Image.fromarray(rgb)
        self._bounds = bounds

    def draw(self, renderer: Any) -> None:
        """Put it on the paper; called by the library."""
        assert self.axes is not None
        (left, low), (right, top) = self.axes.transData.transform(np.reshape(self._bounds, (2, 2)))
        gc = renderer.new_gc()
        self._set_gc_clip(gc)  # type: ignore[attr-defined]
        if renderer.option_scale_image():
            cells = np.asarray(self._picture.convert("RGBA"))[::-1]
            renderer.draw_image(gc, left, low, cells, Affine2D().scale(right - left, top - low))
        else:
            x, y = round(left), round(low)
            size = max(1, round(right) - x), max(1, round(top) - y)
            fine = size[0] < FINE * self._picture.width
            how = Image.Resampling.HAMMING if fine else Image.Resampling.NEAREST
            cells = np.asarray(self._picture.resize(size, how).convert("RGBA"))[::-1]
            renderer.draw_image(gc, x, y, np.ascontiguousarray(cells))
        gc.restore()
