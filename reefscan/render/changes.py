"""A map of what changed between two runs: signs by shape first, shade second."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import NDArray
from pyproj import Transformer

from reefscan.base.caution import CAUTION
from reefscan.base.overview import MapGround
from reefscan.render.furniture import HALO, degree_ticks, plain, scale_bar
from reefscan.render.map import Paper, as_file
from reefscan.render.marks import INK, PAPER
from reefscan.render.shade import choose_stretch, deepest_tint_m, shaded_relief, thin

SIGNS = {
    "same": ("o", 4.0, "#9aa4ab"),
    "fell": ("v", 7.0, "#fdd678"),
    "rose": ("^", 7.0, "#c43c18"),
    "went": ("x", 8.0, INK),
    "came": ("P", 9.0, "#ffffff"),
}
"""Marker, size in points, face; drawn in this order, so that news lies on top."""


def draw_changes(
    ground: MapGround,
    changes: Sequence[Mapping[str, Any]],
    *,
    band_max_m: float,
    title: str,
    closed_text: str = "",
    unit: str = "m",
    fmt: str = "png",
) -> bytes:
    """Draw changes (``what``, ``lon``, ``lat``) over pale shaded ground; deterministic bytes.

    ``closed_text`` is what the later run knows of closed ground; it stands above the caution.
    """
    elev, factor = thin(ground.elev, most=1400)
    small = MapGround(elev, ground.west_m, ground.north_m, ground.cell_m * factor, ground.crs)
    west, south, east, north = small.bounds
    height, width = (n * small.cell_m for n in elev.shape)
    ratio = min(max(width / height, 0.35), 3.0)
    map_w, map_h = (9.0, 9.0 / ratio) if ratio >= 1 else (9.0 * ratio, 9.0)
    fw = map_w + 0.9
    words = [line for text in (plain(closed_text), CAUTION) for line in textwrap.wrap(text, int(22.0 * fw))]
    below = 0.08 * len(words)
    fh = map_h + 1.4 + below
    figure = Figure(figsize=(fw, fh), facecolor=PAPER)
    FigureCanvasAgg(figure)
    ax = figure.add_axes((0.5 / fw, (0.75 + below) / fh, map_w / fw, map_h / fh))
    ax.imshow(_pale(small, band_max_m), extent=(west, east, south, north), aspect="auto")
    _signs(ax, changes, ground.crs)
    ax.set_xlim(west, east)
    ax.set_ylim(south, north)
    scale_bar(ax, west=west, south=south, width=width, height=height, unit=unit)
    to_lonlat = Transformer.from_crs(ground.crs, "EPSG:4326", always_xy=True)
    degree_ticks(ax, to_lonlat, west=west, south=south, east=east, north=north)
    ax.set_title(plain(title), fontsize=11, weight="bold", color=INK, loc="left", parse_math=False)
    figure.legend(
        loc="lower left", bbox_to_anchor=(0.4 / fw, (0.1 + below) / fh), ncols=5, frameon=False, fontsize=8.5
    )
    figure.text(
        0.5 / fw,
        0.06 / fh,
        "\n".join(words),
        fontsize=5.6,
        color=INK,
        linespacing=1.0,
        va="bottom",
        parse_math=False,
    )
    return as_file(figure, Paper(fmt))


def _pale(ground: MapGround, band_max_m: float) -> NDArray[np.uint8]:
    """Shaded ground, light enough for the signs to stand out from it."""
    elev, cell_m = ground.elev, ground.cell_m
    picture = shaded_relief(
        elev,
        cell_m,
        band_max_m=band_max_m,
        deepest_m=deepest_tint_m(elev, band_max_m),
        stretch=choose_stretch(elev, cell_m),
        strength=0.8,
    )
    return (picture * 0.6 + 255 * 0.4).astype(np.uint8)


def _signs(ax: Axes, changes: Sequence[Mapping[str, Any]], crs: str) -> None:
    """One sign a site, each kind of change with its number in the legend."""
    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(
        np.array([c["lon"] for c in changes], dtype=float), np.array([c["lat"] for c in changes], dtype=float)
    )
    for what, (marker, size, face) in SIGNS.items():
        at = [i for i, c in enumerate(changes) if c["what"] == what]
        ax.plot(
            np.asarray(x)[at],
            np.asarray(y)[at],
            linestyle="none",
            marker=marker,
            markersize=size,
            markerfacecolor=face,
            markeredgecolor=INK,
            markeredgewidth=2.0 if marker == "x" else 1.0,
            label=f"{what} ({len(at)})",
            path_effects=HALO,
        )
