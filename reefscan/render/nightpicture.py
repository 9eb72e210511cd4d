"""Two small pictures of a night: the tide with the soaks on it, and the ground with the nets and the ways."""

from __future__ import annotations

import io
import math
from datetime import datetime, tzinfo
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Circle
from pyproj import Transformer

from reefscan.plan.legs import Ground
from reefscan.plan.model import Plan
from reefscan.plan.rope import LATE_S
from reefscan.plan.tide import clock
from reefscan.render.card import grey_relief, scale_and_north
from reefscan.render.furniture import HALO
from reefscan.render.marks import UNIT_METRES

ROOM = 1.6
"""Free along each edge of the map, in heights of its type: a number of two figures beside a net on the very edge of what is shown."""

LEAST_HALF_M = 150.0

FULL = 8
"""From so many nets on their bars share the room of so many: the tide above them stays as high."""

SMALLEST = 0.6
"""Smallest number beside a bar, of the picture's type; where the bars are closer, not every bar has one."""


def draw_tide(ax: Axes, plan: Plan, *, font: float) -> None:
    """Height of the tide through the night, each net's soaks as bars below it."""
    zone, unit = plan.asked.zone, plan.asked.unit
    per = UNIT_METRES[unit]
    when = plan.tide.moments(plan.schedule.depart, plan.schedule.last_pull + LATE_S)
    height = plan.tide.at(when) / per
    span = max(float(np.ptp(height)), 0.5 / per)
    ax.plot(when, height, color="black", linewidth=2.2)
    step = 0.16 * span * min(1.0, FULL / len(plan.nets))
    high_pt, words_pt = (
        ax.bbox.height / ax.figure.dpi * 72,
        2.2 * font + 5,
    )  # two lines stand over a high water
    bottom, most = float(height.min()) - (len(plan.nets) + 1) * step, float(height.max())
    top = most + (most - bottom) * words_pt / max(high_pt - words_pt, words_pt)
    row_pt = step / (top - bottom) * high_pt
    size = min(font, max(row_pt, SMALLEST * font))
    every = math.ceil(size / row_pt - 1e-9)
    for row, net in enumerate(plan.nets, 1):
        level = float(height.min()) - row * step
        for one in net.rounds:
            ends = [one.set_time, one.pull_time]
            ax.plot(
                ends,
                [level, level],
                color="black",
                linewidth=min(3.4, 0.6 * row_pt),
                solid_capstyle="butt",
            )
        if (row - 1) % every:
            continue
        ax.annotate(
            f"{net.number}", (net.rounds[0].set_time, level), (-3, 0), textcoords="offset points", ha="right", va="center",
            fontsize=size, weight="bold",
        )  # fmt: skip
    for turn in plan.tide.turns(float(when[0]), float(when[-1])):
        share = (turn.time - float(when[0])) / max(float(when[-1] - when[0]), 1.0)
        side = "left" if share < 0.12 else "right" if share > 0.88 else "center"  # words stay in the picture
        words = f"{'high' if turn.high else 'low'} {clock(turn.time, zone)[11:16]}\n{turn.height_m / per:.1f} {unit}"
        ax.annotate(
            words, (turn.time, turn.height_m / per), (0, 5 if turn.high else 7), textcoords="offset points", ha=side,
            va="bottom", fontsize=font * 0.85, path_effects=HALO,
        )  # fmt: skip
    ax.set_ylim(bottom, top)
    wide_pt = ax.bbox.width / ax.figure.dpi * 72
    hours = _whole_hours(float(when[0]), float(when[-1]), zone, most=int(wide_pt / (2.2 * font)))
    ax.set_xticks(hours, [clock(t, zone)[11:13] for t in hours])
    ax.grid(axis="x", color="0.75", linewidth=0.6)
    ax.set_yticks([tick for tick in ax.get_yticks() if height.min() - step / 2 <= tick <= height.max()])
    ax.tick_params(labelsize=font * 0.9)
    ax.set_title(f"tide, {unit} over the grid's zero", fontsize=font, loc="left", pad=3)


def _whole_hours(start: float, end: float, zone: tzinfo, *, most: int) -> list[float]:
    """Moments of whole hours of the clock, so many apart that at most ``most`` of them stand beside each other."""
    first = datetime.fromtimestamp(start, zone).replace(minute=0, second=0, microsecond=0).timestamp()
    step = next(step for step in (3600.0, 7200.0, 10_800.0, 14_400.0, 21_600.0, 86_400.0) if (end - start) / step < most or step > 30_000)  # fmt: skip
    return [t for k in range(int((end - first) / step) + 1) if start <= (t := first + k * step) <= end]


def draw_ground(ax: Axes, plan: Plan, ground: Ground, *, font: float) -> None:
    """Grey relief, north up, with launch, nets, watch circles, reserves and ways."""
    to_grid = Transformer.from_crs("EPSG:4326", ground.crs, always_xy=True)
    ways = [np.array([to_grid.transform(*place) for place in way.places]) for way in plan.ways]
    reserves = [to_grid.transform(site.lon, site.lat) for site in plan.reserves]
    shown = np.concatenate([*ways, *([np.array(reserves)] if reserves else [])])
    middle = (shown.max(axis=0) + shown.min(axis=0)) / 2
    side_pt = min(ax.bbox.width, ax.bbox.height) / ax.figure.dpi * 72
    half = float(np.ptp(shown, axis=0).max()) / 2 / (1 - 2 * ROOM * font / side_pt)
    half = max(half, LEAST_HALF_M)
    _relief(ax, ground, middle, half)
    for way in ways:
        x, y = (way - middle).T
        ax.plot(x, y, color="black", linewidth=1.2, linestyle=(0, (4, 2)), path_effects=HALO)
    for number, (x, y) in enumerate(np.array(reserves).reshape(-1, 2) - middle, 1):
        ax.text(x, y, f"r{number}", fontsize=font * 0.9, ha="center", va="center", path_effects=HALO)
    ax.plot(*(ways[0][0] - middle), marker="s", markersize=8, color="black", markeredgecolor="white")
    for net in plan.nets:
        x, y = np.array(to_grid.transform(net.site.lon, net.site.lat)) - middle
        ax.add_patch(Circle((x, y), net.circle_m, fill=False, edgecolor="black", linewidth=1.0))
        ax.plot(
            x,
            y,
            marker="o",
            markersize=4,
            color="black",
            markeredgecolor="white",
            markeredgewidth=0.6,
            zorder=5,
        )
        side = 1 if net.number % 2 else -1  # neighbours in the order of the visits lie close together
        ax.annotate(
            f"{net.number}", (x, y), (side * font * 0.8, 0), textcoords="offset points", fontsize=font * 1.1, weight="bold",
            ha="center", va="center", zorder=6, path_effects=HALO,
        )  # fmt: skip
    scale_and_north(ax, half, half, plan.asked.unit)
    ax.set_xlim(-half, half)
    ax.set_ylim(-half, half)
    ax.set_aspect("equal")
    ax.set_xticks([])
    ax.set_yticks([])


def _relief(ax: Axes, ground: Ground, middle: Any, half: float) -> None:
    rows, cols = ground.elev.shape
    left = max(0, int((middle[0] - half - ground.west_m) / ground.cell_m))
    right = min(cols, int((middle[0] + half - ground.west_m) / ground.cell_m) + 1)
    top = max(0, int((ground.north_m - middle[1] - half) / ground.cell_m))
    bottom = min(rows, int((ground.north_m - middle[1] + half) / ground.cell_m) + 1)
    elev = ground.elev[top:bottom, left:right]
    if min(elev.shape) < 3 or not np.isfinite(elev).any():
        return
    west, north = (
        ground.west_m + left * ground.cell_m - middle[0],
        ground.north_m - top * ground.cell_m - middle[1],
    )
    east, south = west + elev.shape[1] * ground.cell_m, north - elev.shape[0] * ground.cell_m
    ax.imshow(grey_relief(elev, ground.cell_m), cmap="gray", vmin=0, vmax=1, origin="upper",
              extent=(west, east, south, north), interpolation="nearest")  # fmt: skip


def pictures(plan: Plan, ground: Ground) -> tuple[bytes, bytes]:
    """The tide and the map as PNG, for the page on a phone."""
    out = []
    for draw, size in (("tide", (6.0, 3.4)), ("map", (6.0, 6.0))):
        figure = Figure(figsize=size, facecolor="white", layout="constrained")
        FigureCanvasAgg(figure)
        ax = figure.add_subplot()
        if draw == "tide":
            draw_tide(ax, plan, font=13)
        else:
            draw_ground(ax, plan, ground, font=14)
        buffer = io.BytesIO()
        figure.savefig(buffer, format="png", dpi=110, metadata={"Software": "reefscan"})
        out.append(buffer.getvalue())
    return out[0], out[1]
