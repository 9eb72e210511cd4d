"""A map of what changed between two runs: signs by shape first, shade second."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke
from pyproj import Transformer

from reefscan.base.caution import CAUTION
from reefscan.render.furniture import degree_ticks, plain, scale_bar
from reefscan.render.marks import INK, PAPER
from reefscan.render.shade import Floats, choose_stretch, shaded_relief, thin

SIGNS = {
    "same": ("o", 4.0, "#9aa4ab"),
    "fell": ("v", 7.0, "#fdd678"),
    "rose": ("^", 7.0, "#c43c18"),
    "went": ("x", 8.0, INK),
    "came": ("P", 9.0, "#ffffff"),
}
"""Marker, size in points, face; drawn in this order, so that news lies on top."""


def draw_changes(
    elev: Floats,
    changes: Sequence[Mapping[str, Any]],
    *,
    west_m: float,
    north_m: float,
    cell_m: float,
    crs: str,
    band_max_m: float,
    title: str,
    fmt: str = "png",
    dpi: int = 150,
) -> bytes:
    """Draw changes (``what``, ``lon``, ``lat``) over pale shaded ground; deterministic bytes."""
    import matplotlib

    small, factor = thin(elev, most=1400)
    step = cell_m * factor
    wet = -small[np.isfinite(small) & (small < 0)]
    deepest = max(float(np.quantile(wet, 0.995)) if wet.size else band_max_m, 0.5)
    picture = shaded_relief(
        small,
        step,
        band_max_m=band_max_m,
        deepest_m=deepest,
        stretch=choose_stretch(small, step),
        strength=0.8,
    )
    picture = (picture * 0.6 + 255 * 0.4).astype(np.uint8)
    width, height = small.shape[1] * step, small.shape[0] * step
    ratio = min(max(width / height, 0.35), 3.0)
    map_w, map_h = (9.0, 9.0 / ratio) if ratio >= 1 else (9.0 * ratio, 9.0)
    figure = Figure(figsize=(map_w + 0.9, map_h + 1.5), facecolor=PAPER)
    FigureCanvasAgg(figure)
    fw, fh = map_w + 0.9, map_h + 1.5
    ax = figure.add_axes((0.5 / fw, 0.85 / fh, map_w / fw, map_h / fh))
    ax.imshow(picture, extent=(west_m, west_m + width, north_m - height, north_m), aspect="auto")
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
            path_effects=[withStroke(linewidth=3, foreground=PAPER)],
        )
    ax.set_xlim(west_m, west_m + width)
    ax.set_ylim(north_m - height, north_m)
    scale_bar(ax, west=west_m, south=north_m - height, width=width, height=height)
    to_lonlat = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
    degree_ticks(ax, to_lonlat, west=west_m, south=north_m - height, east=west_m + width, north=north_m)
    ax.set_title(plain(title), fontsize=11, weight="bold", color=INK, loc="left", parse_math=False)
    figure.legend(loc="lower left", bbox_to_anchor=(0.4 / fw, 0.2 / fh), ncols=5, frameon=False, fontsize=8.5)
    figure.text(0.5 / fw, 0.08 / fh, CAUTION, fontsize=5.6, color=INK)
    out = io.BytesIO()
    marks: dict[str, dict[str, Any]] = {
        "png": {"Software": "reefscan"},
        "svg": {"Date": None, "Creator": "reefscan"},
        "pdf": {"CreationDate": None, "ModDate": None, "Producer": None, "Creator": "reefscan"},
    }
    with matplotlib.rc_context({"svg.hashsalt": "reefscan", "pdf.fonttype": 42}):
        figure.savefig(out, format=fmt, dpi=dpi, facecolor=PAPER, metadata=marks[fmt])
    return out.getvalue()
