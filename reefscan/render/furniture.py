"""What stands around a map: scale bar, north arrow, degree ticks, legend panel, caution."""

from __future__ import annotations

import math
import textwrap
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import PolyCollection
from matplotlib.patches import Polygon, Rectangle
from matplotlib.patheffects import AbstractPathEffect, withStroke
from numpy.typing import NDArray
from pyproj import Transformer

from reefscan.base.caution import CAUTION
from reefscan.base.datum import NOT_STATED, Datum
from reefscan.render.marks import (
    CLOSED,
    INK,
    PAPER,
    QUIET,
    SYMBOLS,
    UNIT_METRES,
    Kind,
    rule_length,
    score_rgb,
)
from reefscan.render.shade import WATER, depth_share, ramp

HALO: list[AbstractPathEffect] = [withStroke(linewidth=2.4, foreground="white")]
"""Around what is drawn over ground, so that it can be read on light and on dark; white, which prints as nothing."""


def plain(text: object) -> str:
    """Text that cannot upset a font: control characters become spaces."""
    return "".join(c if c.isprintable() else " " for c in str(text))


def scale_bar(
    ax: Axes, *, west: float, south: float, width: float, height: float, unit: str, right: bool = False
) -> None:
    """Two-part bar at a lower corner, with its length in words of the unit."""
    length, words = rule_length(width * 0.22, unit)
    x = west + width * 0.97 - length if right else west + width * 0.03
    y, tall = south + height * 0.035, height * 0.009
    ax.add_patch(
        Rectangle(
            (x - width * 0.012, y - tall * 1.6),
            length + width * 0.024,
            tall * 2.6 + height * 0.036,
            facecolor=PAPER,
            alpha=0.85,
            linewidth=0,
            zorder=29,
        )
    )
    for part, colour in ((0, INK), (1, PAPER)):
        ax.add_patch(
            Rectangle(
                (x + part * length / 2, y),
                length / 2,
                tall,
                facecolor=colour,
                edgecolor=INK,
                linewidth=0.8,
                zorder=30,
            )
        )
    ax.text(
        x + length,
        y + tall * 1.6,
        words,
        ha="right",
        va="bottom",
        fontsize=7.5,
        color=INK,
        path_effects=HALO,
        zorder=30,
    )
    ax.text(
        x, y + tall * 1.6, "0", ha="left", va="bottom", fontsize=7.5, color=INK, path_effects=HALO, zorder=30
    )


def north_arrow(ax: Axes, *, convergence_deg: float) -> None:
    """A needle to true north, turned by the grid's convergence, at the upper right."""
    centre, half = (0.955, 0.945), 0.034
    bbox = ax.get_window_extent()
    aspect = bbox.width / bbox.height
    turn = math.radians(-convergence_deg)

    def place(x: float, y: float) -> tuple[float, float]:
        xr, yr = x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)
        scale = half * max(1.0, 1.0 / aspect) if aspect < 1 else half
        return (centre[0] + xr * scale / max(aspect, 1.0), centre[1] + yr * scale * min(aspect, 1.0))

    left = [place(*p) for p in ((0, 1), (-0.42, -0.75), (0, -0.4))]
    right = [place(*p) for p in ((0, 1), (0.42, -0.75), (0, -0.4))]
    for points, face in ((left, INK), (right, PAPER)):
        ax.add_patch(
            Polygon(
                points,
                closed=True,
                transform=ax.transAxes,
                facecolor=face,
                edgecolor=INK,
                linewidth=0.8,
                zorder=30,
            )
        )
    ax.text(
        *place(0, -1.35),
        "N",
        transform=ax.transAxes,
        ha="center",
        va="center",
        fontsize=8.5,
        weight="bold",
        color=INK,
        path_effects=HALO,
        zorder=30,
    )


def degree_words(value: float, *, lat: bool, step: float) -> str:
    """Degrees and decimal minutes, as a chart's border has them."""
    hemi = ("N" if value >= 0 else "S") if lat else ("E" if value >= 0 else "W")
    digits = max(0, min(3, math.ceil(-math.log10(step * 60.0) - 1e-9)))
    minutes = round(abs(value) * 60.0, digits)
    degrees, rest = divmod(minutes, 60.0)
    return f"{int(degrees)}°{rest:0{2 + (digits + 1 if digits else 0)}.{digits}f}'{hemi}"


STEPS_MIN = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300)
MOST_STEPS = 5


def degree_ticks(
    ax: Axes, to_lonlat: Transformer, *, west: float, south: float, east: float, north: float
) -> None:
    """Round minutes of longitude along the bottom and latitude up the side, where the edge crosses them."""

    def side(fixed: float, low: float, high: float, *, lat: bool) -> tuple[list[float], list[str]]:
        along = np.linspace(low, high, 200)
        other = np.full_like(along, fixed)
        lon, lats = to_lonlat.transform(*((other, along) if lat else (along, other)))
        degrees = np.asarray(lats) if lat else np.degrees(np.unwrap(np.radians(np.asarray(lon))))
        if not np.all(np.isfinite(degrees)):
            return [], []
        span = abs(degrees[-1] - degrees[0]) * 60.0
        step = next((s for s in STEPS_MIN if span / s <= MOST_STEPS), STEPS_MIN[-1]) / 60.0
        lowest, highest = sorted((degrees[0], degrees[-1]))
        rounds = [
            k * step for k in range(math.ceil(lowest / step - 1e-9), math.floor(highest / step + 1e-9) + 1)
        ]
        order = np.argsort(degrees)
        places = [float(np.interp(r, degrees[order], along[order])) for r in rounds]
        wrapped = [r if lat else (r + 180.0) % 360.0 - 180.0 for r in rounds]
        return places, [degree_words(r, lat=lat, step=step) for r in wrapped]

    xs, x_words = side(south, west, east, lat=False)
    ys, y_words = side(west, south, north, lat=True)
    ax.set_xticks(xs, x_words, fontsize=7.5, color=INK)
    ax.set_yticks(ys, y_words, fontsize=7.5, color=INK, rotation=90, va="center")
    ax.tick_params(length=3, color=INK, top=True, right=True)
    ax.grid(True, color=INK, linewidth=0.3, alpha=0.22)


def symbol(
    ax: Axes, kind: Kind, *, x: float, y: float, size_x: float, size_y: float, face: Any, **style: Any
) -> None:
    """One kind's outline as a patch, in the axes' data units."""
    points = [(x + px * size_x, y + py * size_y) for px, py in kind.outline]
    ax.add_patch(
        Polygon(points, closed=True, facecolor=face, edgecolor=INK, linewidth=0.9, joinstyle="round", **style)
    )


@dataclass(frozen=True)
class Legend:
    """What stands beside a map.

    Parameters
    ----------
    title : str
    lines : list of str
        What the grid can and cannot show.
    kinds : list of str
        Names of the kinds that are explained.
    band_m : tuple of float
        Searched depths, metres, positive down.
    deepest_m : float
        Depth at which the tint ends.
    unit : {"m", "ft", "fathom"}
    thinned : str
        What the map leaves out.
    datum : Datum
    closed : bool
        True if closed ground is on the map.
    """

    title: str
    lines: list[str]
    kinds: list[str]
    band_m: tuple[float, float]
    deepest_m: float
    unit: str
    thinned: str
    datum: Datum = NOT_STATED
    closed: bool = False


@dataclass
class _Column:
    """A column of words, written from the top down in inches, so that type keeps its size whatever the map's."""

    ax: Axes
    width_in: float
    y: float = 0.0

    @property
    def letters(self) -> int:
        """Letters of plain size in a line."""
        return max(24, int(self.width_in * 16.5))

    def say(
        self,
        text: str,
        *,
        size: float = 7.6,
        weight: str = "normal",
        colour: str = INK,
        gap: float = 0.0,
        most: int = 99,
    ) -> None:
        """Write a paragraph of at most ``most`` lines, ``gap`` inches below the last."""
        self.y -= gap
        wrapped = textwrap.wrap(plain(text), max(8, int(self.letters * 7.6 / size))) or [""]
        if len(wrapped) > most:
            wrapped = [*wrapped[: most - 1], wrapped[most - 1][:-1] + "…"]
        for line in wrapped:
            self.y -= size / 72.0 * 1.32
            self.ax.text(
                0.0, self.y, line, fontsize=size, weight=weight, color=colour, va="baseline", parse_math=False
            )

    def scores(self) -> None:
        """Draw the bar of scores with its numbers."""
        self.y -= 0.1
        colours = score_rgb(np.linspace(0, 100, 60))
        _colour_bar(self.ax, colours, y=self.y, width_in=self.width_in, height_in=0.13)
        self.y -= 0.13
        for share in (0, 50, 100):
            ha = {0: "left", 50: "center", 100: "right"}[share]
            self.ax.text(
                self.width_in * share / 100,
                self.y - 0.13,
                f"{share}" + (" score" if share == 100 else ""),
                fontsize=7,
                ha=ha,
                color=INK,
            )
        self.y -= 0.22

    def kind(self, kind: Kind) -> None:
        """Draw a kind's symbol and line, with its words."""
        self.y -= 0.2
        face = score_rgb(np.array([75.0]))[0]
        symbol(self.ax, kind, x=0.11, y=self.y + 0.05, size_x=0.085, size_y=0.085, face=face)
        self.ax.plot(
            [0.27, 0.6],
            [self.y + 0.05, self.y + 0.05],
            color=INK,
            linewidth=1.3,
            linestyle=(0, kind.line) if kind.line else "-",
            solid_capstyle="butt",
        )
        self.ax.text(0.68, self.y, kind.words, fontsize=7.2, color=INK)

    def closed(self) -> None:
        """Draw how closed ground is drawn, with its words."""
        self.y -= 0.2
        corner, wide, high = (0.02, self.y - 0.02), 0.58, 0.14
        self.ax.add_patch(
            Rectangle(corner, wide, high, fill=False, edgecolor=CLOSED, linewidth=0, hatch="////")
        )
        self.ax.add_patch(Rectangle(corner, wide, high, fill=False, edgecolor=CLOSED, linewidth=1.2))
        self.ax.text(0.68, self.y, "closed ground", fontsize=7.2, color=INK)


def panel(ax: Axes, legend: Legend, *, width_in: float, height_in: float) -> None:
    """The legend beside the map: title, scores, kinds, depths, what the grid shows, caution."""
    ax.set_xlim(0, width_in)
    ax.set_ylim(-height_in, 0)
    ax.set_axis_off()
    column = _Column(ax, width_in)
    # a file's name is one long word: it gets smaller type, so that it is not broken in two
    longest = max(map(len, plain(legend.title).split()), default=1)
    size = 12.5 * min(1.0, max(0.6, 0.92 * column.letters * 7.6 / 12.5 / longest))
    column.say(legend.title, size=size, weight="bold", most=3)
    for line in legend.lines:
        column.say(line, colour=QUIET, gap=0.03, most=8)

    column.say("Sites, numbered by rank", size=8.4, weight="bold", gap=0.16)
    column.scores()
    for name in legend.kinds:
        column.kind(SYMBOLS[name])
    if legend.closed:
        column.closed()
    column.y -= 0.04
    if legend.thinned:
        column.say(legend.thinned, size=7.2, colour=QUIET, gap=0.06)

    column.say("Depth", size=8.4, weight="bold", gap=0.14)
    column.say(legend.datum.top, size=7.2, colour=QUIET)
    column.y -= 0.08
    depth_key(
        ax, y=column.y, width_in=width_in, band_m=legend.band_m, deepest_m=legend.deepest_m, unit=legend.unit
    )
    column.y -= 0.5
    column.say(CAUTION, size=7.0, gap=0.1)


def _colour_bar(
    ax: Axes, colours: NDArray[np.float64], *, y: float, width_in: float, height_in: float
) -> None:
    """Colours side by side below ``y``, framed; each reaches a hair under the next, so that no seam shows.

    One collection: a patch for each colour would cost the map a third of a second.
    """
    left = np.arange(len(colours)) * width_in / len(colours)
    right = left + width_in / len(colours) + 0.004
    top, low = np.full(len(colours), y), np.full(len(colours), y - height_in)
    corners = np.stack([np.stack([left, right, right, left], 1), np.stack([low, low, top, top], 1)], 2)
    ax.add_collection(PolyCollection(list(corners), facecolors=colours, linewidths=0), autolim=False)
    ax.add_patch(Rectangle((0, y - height_in), width_in, height_in, fill=False, edgecolor=INK, linewidth=0.7))


def depth_key(
    ax: Axes, *, y: float, width_in: float, band_m: tuple[float, float], deepest_m: float, unit: str
) -> None:
    """The tint as a bar of even steps of depth, with the searched band bracketed."""
    deepest = max(deepest_m, band_m[1], 0.1)
    depths = np.linspace(0.0, deepest, 120)
    colours = ramp(depth_share(depths, band_max_m=band_m[1], deepest_m=deepest), WATER) / 255.0
    _colour_bar(ax, colours, y=y, width_in=width_in, height_in=0.15)
    low, high = (width_in * b / deepest for b in band_m)
    ax.plot([low, low, high, high], [y - 0.17, y - 0.22, y - 0.22, y - 0.17], color=INK, linewidth=1.1)
    per = UNIT_METRES[unit]
    middle = min((low + high) / 2, width_in * 0.62)
    at_left = middle < width_in * 0.3
    words = f"searched {band_m[0] / per:.4g} to {band_m[1] / per:.4g} {unit}"
    ax.text(
        0.0 if at_left else middle, y - 0.34, words, fontsize=7, ha="left" if at_left else "center", color=INK
    )
    if deepest > band_m[1]:  # else the band's own words have said it
        ax.text(width_in, y - 0.34, f"{deepest / per:.0f} {unit}", fontsize=7, ha="right", color=INK)
