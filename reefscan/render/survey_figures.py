"""Pictures of a survey: arrays in, PNG bytes out."""

from __future__ import annotations

import io
from dataclasses import dataclass

import matplotlib

matplotlib.use("Agg", force=False)
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LightSource, LinearSegmentedColormap
from matplotlib.figure import Figure
from numpy.typing import NDArray

from reefscan.base.units import METRES_PER

Floats = NDArray[np.float64]
MOST_POINTS = 40_000
MARKS = (
    "#c1272d",
    "#e58b0a",
    "#7b3294",
    "#0571b0",
    "#1b7837",
    "#b35806",
    "#542788",
    "#666666",
    "#d6604d",
    "#2166ac",
)

DEPTHS = LinearSegmentedColormap.from_list(
    "depths", ["#f6f2c8", "#9fd3a8", "#4f9fa6", "#3d679b", "#35376e", "#221b33"]
)
"""Shoal to deep: light to dark all the way, so that it reads in grey as well."""


@dataclass(frozen=True)
class Plan:
    """Rasters on one north-up lattice for the pictures.

    Parameters
    ----------
    elev, sigma : ndarray of float
        Metres, NaN unknown.
    extent : tuple
        West, east, south, north (m).
    """

    elev: Floats
    sigma: Floats
    extent: tuple[float, float, float, float]


def _png(figure: Figure) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format="png", dpi=110, bbox_inches="tight", metadata={"Software": None})
    return out.getvalue()


def _figure(extent: tuple[float, float, float, float]) -> tuple[Figure, Axes]:
    tall = (extent[3] - extent[2]) / max(extent[1] - extent[0], 1e-9)
    figure = Figure(figsize=(8.0, float(np.clip(7.0 * tall, 2.6, 10.0)) + 0.6))
    axes = figure.subplots()
    axes.set_xlim(extent[0], extent[1])
    axes.set_ylim(extent[2], extent[3])
    axes.set_aspect("equal")
    span = extent[1] - extent[0]
    step = next(
        s for s in (10, 20, 50, 100, 200, 500, 1e3, 2e3, 5e3, 1e4, 2e4, 5e4, 1e5, 2e5, 1e6) if span / s <= 6
    )
    axes.xaxis.set_major_locator(matplotlib.ticker.MultipleLocator(step))
    axes.yaxis.set_major_locator(matplotlib.ticker.MultipleLocator(step))
    axes.ticklabel_format(style="plain", useOffset=False)
    axes.tick_params(labelsize=7)
    axes.set_xlabel("easting (m)", fontsize=8)
    axes.set_ylabel("northing (m)", fontsize=8)
    return figure, axes


def _thin(size: int) -> NDArray[np.int64]:
    return np.arange(size) if size <= MOST_POINTS else np.linspace(0, size - 1, MOST_POINTS).astype(np.int64)


def depth_map(plan: Plan, unit: str) -> bytes:
    """Depth tinted and shaded from the north-west; its scale is in the unit."""
    figure, axes = _figure(plan.extent)
    known = np.isfinite(plan.elev)
    depth = -plan.elev
    low, high = np.percentile(depth[known], [1, 99]) if known.any() else (0.0, 1.0)
    high = max(high, low + 0.5)
    tint = DEPTHS((np.clip(depth, low, high) - low) / (high - low))
    cell = (plan.extent[1] - plan.extent[0]) / plan.elev.shape[1]
    if known.sum() > 50 and min(plan.elev.shape) > 3:
        filled = np.where(known, plan.elev, float(np.median(plan.elev[known])))
        relief = LightSource(315, 45).hillshade(filled, vert_exag=max(1.0, min(8.0, cell)), dx=cell, dy=cell)
        tint[..., :3] *= (0.55 + 0.45 * relief)[..., None]
    tint[~known] = (0.93, 0.93, 0.92, 1.0)
    axes.imshow(tint, extent=plan.extent, interpolation="nearest", aspect="equal")
    scale = matplotlib.cm.ScalarMappable(
        matplotlib.colors.Normalize(low / METRES_PER[unit], high / METRES_PER[unit]), DEPTHS
    )
    bar = figure.colorbar(scale, ax=axes, fraction=0.035, pad=0.02)
    bar.set_label(f"depth below the datum ({unit})", fontsize=8)
    bar.ax.invert_yaxis()
    bar.ax.tick_params(labelsize=7)
    return _png(figure)


def uncertainty_map(
    plan: Plan,
    lines: list[tuple[float, float, float, float]],
    view: tuple[float, float, float, float],
    unit: str,
) -> bytes:
    """Uncertainty within a view, with the lines to run next numbered in order."""
    figure, axes = _figure(view)
    axes.set_facecolor("#eeeeec")
    sigma = plan.sigma / METRES_PER[unit]
    known = np.isfinite(sigma)
    top = float(np.percentile(sigma[known], 98)) if known.any() else 1.0
    image = axes.imshow(
        np.ma.masked_invalid(sigma), extent=plan.extent, cmap="magma_r", vmin=0.0, vmax=max(top, 0.1),
        interpolation="nearest", aspect="equal",
    )  # fmt: skip
    bar = figure.colorbar(image, ax=axes, fraction=0.035, pad=0.02)
    axes.set_xlim(view[0], view[1])
    axes.set_ylim(view[2], view[3])
    bar.set_label(f"uncertainty, 1 sigma ({unit})", fontsize=8)
    bar.ax.tick_params(labelsize=7)
    for number, (x0, y0, x1, y1) in enumerate(lines, start=1):
        axes.annotate("", (x1, y1), (x0, y0), arrowprops={"arrowstyle": "->", "color": "#00817a", "lw": 1.8})
        axes.text(x0, y0, str(number), fontsize=8, ha="center", va="center", color="white",
                  bbox={"boxstyle": "circle,pad=0.25", "fc": "#00817a", "ec": "white", "lw": 0.6})  # fmt: skip
    return _png(figure)


def aside_map(
    x: Floats,
    y: Floats,
    reason: NDArray[np.uint8],
    names: list[str],
    extent: tuple[float, float, float, float],
) -> bytes:
    """Where soundings were set aside, a colour a rule; kept ones grey."""
    figure, axes = _figure(extent)
    kept = np.flatnonzero(reason == 0)
    kept = kept[_thin(kept.size)]
    axes.plot(x[kept], y[kept], ".", ms=1.0, color="#b8bcc0", rasterized=True)
    for code in np.unique(reason[reason > 0]):
        rows = np.flatnonzero((reason == code) & np.isfinite(x))
        if rows.size == 0:
            continue
        rows = rows[_thin(rows.size)]
        axes.plot(x[rows], y[rows], ".", ms=5, color=MARKS[(code - 1) % len(MARKS)],
                  label=f"{names[code]} ({int((reason == code).sum())})")  # fmt: skip
    if axes.get_legend_handles_labels()[0]:
        axes.legend(fontsize=7, loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False)
    return _png(figure)


def track_profile(depth: Floats, reason: NDArray[np.uint8], names: list[str], unit: str) -> bytes:
    """Depths in the order logged, with those set aside marked."""
    depth = depth / METRES_PER[unit]
    figure = Figure(figsize=(8.0, 2.6))
    axes = figure.subplots()
    kept = np.flatnonzero(reason == 0)
    line = kept[_thin(kept.size)]
    axes.plot(line, depth[line], "-", lw=0.5, color="#27556c")
    for code in np.unique(reason[reason > 0]):
        rows = np.flatnonzero((reason == code) & np.isfinite(depth))
        rows = rows[_thin(rows.size)]
        axes.plot(rows, depth[rows], ".", ms=4, color=MARKS[(code - 1) % len(MARKS)], label=names[code])
    deepest = float(np.max(depth[kept])) if kept.size else 1.0
    axes.set_ylim(min(2.3 * deepest, float(np.nanmax(depth[np.isfinite(depth)]))) * 1.03 + 0.2, 0.0)
    axes.set_xlabel("sounding, in the order logged", fontsize=8)
    axes.set_ylabel(f"depth ({unit})", fontsize=8)
    axes.tick_params(labelsize=7)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(fontsize=7, ncols=3, frameon=False, loc="lower left")
    return _png(figure)


def crossing_histogram(before: Floats, after: Floats, unit: str) -> bytes:
    """Differences at crossings, as read and at the end."""
    figure = Figure(figsize=(5.4, 2.6))
    axes = figure.subplots()
    before, after = before / METRES_PER[unit], after / METRES_PER[unit]
    reach = float(np.percentile(np.abs(np.r_[before, after]), 98)) * 1.2 + 0.05
    bins = np.linspace(-reach, reach, 41).tolist()
    axes.hist(np.clip(before, -reach, reach), bins, color="#c9b48c", label="as read, cleaned")
    axes.hist(np.clip(after, -reach, reach), bins, histtype="step", lw=1.6, color="#27556c", label="reduced")
    axes.set_xlabel(f"later minus earlier depth at a crossing ({unit})", fontsize=8)
    axes.set_ylabel("crossings", fontsize=8)
    axes.tick_params(labelsize=7)
    axes.legend(fontsize=7, frameon=False)
    return _png(figure)


def residual_histogram(standard: Floats) -> bytes:
    """Left-out soundings: the error of the grid divided by its stated uncertainty, with the normal curve."""
    figure = Figure(figsize=(5.4, 2.6))
    axes = figure.subplots()
    bins = np.linspace(-5, 5, 51)
    axes.hist(np.clip(standard, -5, 5), bins.tolist(), density=True, color="#9fc0c9")
    axes.plot(bins, np.exp(-0.5 * bins**2) / np.sqrt(2 * np.pi), color="#27556c", lw=1.4)
    axes.set_xlabel("miss divided by the stated uncertainty", fontsize=8)
    axes.set_ylabel("share", fontsize=8)
    axes.tick_params(labelsize=7)
    return _png(figure)
