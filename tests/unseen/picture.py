"""A picture of a seabed and of a list on it, to be judged by eye."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from unseen.found import Found
from unseen.standing import Natural

COLOURS = {"trough": "cyan", "ledge": "yellow", "rise": "red"}


def draw(
    elev: NDArray[np.float64], cell_m: float, path: Path, *, sites: Sequence[Found] = (), natural: Sequence[Natural] = (),
    feet: Sequence[NDArray[np.float64]] = (), title: str = "",
) -> None:  # fmt: skip
    """Shaded heights with feet (white), natural structures (green) and sites (rank beside the drop point)."""
    from matplotlib.colors import LightSource
    from matplotlib.figure import Figure

    filled = np.where(np.isfinite(elev), elev, np.nanmin(elev))
    fig = Figure(figsize=(13, 13 * elev.shape[0] / elev.shape[1]))
    ax = fig.add_axes((0, 0, 1, 0.97))
    import matplotlib as mpl

    rgb = LightSource(315, 40).shade(
        filled, cmap=mpl.colormaps["viridis"], vert_exag=3, dx=cell_m, dy=cell_m, blend_mode="soft"
    )
    rgb[~np.isfinite(elev)] = (0.6, 0.6, 0.6, 1)
    ax.imshow(rgb, extent=(0, elev.shape[1] * cell_m, -elev.shape[0] * cell_m, 0))
    for foot in feet:
        ax.plot(*foot.T, ".", ms=1.2, color="white")
    for n in natural:
        ax.plot(n.x, n.y, "o", ms=8, mfc="none", mec="lime")
    for s in sites:
        ax.plot(s.x, s.y, "o", ms=4, color=COLOURS.get(s.kind, "white"), mec="k")
        ax.annotate(str(s.rank), (s.x, s.y), fontsize=7, color="white")
    ax.set_axis_off()
    fig.suptitle(title)
    fig.savefig(path, dpi=80)
