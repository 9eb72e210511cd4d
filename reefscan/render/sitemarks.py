"""The sites of a map: symbols by kind and score, and their numbers where they fit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.collections import PathCollection
from matplotlib.path import Path as MarkPath
from matplotlib.transforms import IdentityTransform
from pyproj import Transformer

from reefscan.render import furniture
from reefscan.render.marks import INK, Box, kind_of, score_rgb
from reefscan.render.shade import Floats

MOST_MARKS = 1500
"""More marks than this are a smear at any print size; the best-ranked are drawn."""


def draw_sites(ax: Axes, candidates: pd.DataFrame, *, box: Box, crs: str, inches: float) -> int:
    """Symbols by kind and score, worst first so that the best lie on top; returns how many."""
    if len(candidates) == 0:
        return 0
    table = candidates
    if "rank" in table:
        table = table.sort_values("rank", kind="stable")
    elif "score" in table:
        table = table.sort_values("score", ascending=False, kind="stable")
    x, y = sites_xy(table, crs).T
    inside = np.flatnonzero((x >= box[0]) & (x <= box[2]) & (y >= box[1]) & (y <= box[3]))[:MOST_MARKS]
    score = table["score"].to_numpy(dtype=float) if "score" in table else np.full(len(table), np.nan)
    rank = table["rank"].to_numpy() if "rank" in table else np.arange(1, len(table) + 1)
    kind = table["kind"].astype(str).to_numpy()
    points = 8.5 if inside.size <= 80 else 6.5 if inside.size <= 300 else 4.5
    colours = score_rgb(score)
    worst_first = inside[::-1]
    # one collection of all: a line for each mark would cost the map of a rough coast two seconds
    marks = PathCollection(
        [_outline(kind[i]) for i in worst_first],
        sizes=(points * np.where(rank[worst_first] <= 10, 1.2, 1.0)) ** 2,
        offsets=np.column_stack([x[worst_first], y[worst_first]]),
        offset_transform=ax.transData,
        transform=IdentityTransform(),
        facecolors=colours[worst_first],
        edgecolors=INK,
        linewidths=0.9 if points > 5 else 0.5,
        zorder=10,
        path_effects=furniture.HALO,
    )
    ax.add_collection(marks, autolim=False)
    _numbers(ax, x[inside], y[inside], rank[inside], box=box, inches=inches, mark_pt=points)
    return int(inside.size)


def _outline(kind: str) -> MarkPath:
    """Outline of a kind's mark, a point across."""
    corners = np.array([*kind_of(kind).outline, kind_of(kind).outline[0]])
    return MarkPath(0.5 * corners / np.abs(corners).max(), closed=True)


def _numbers(ax: Axes, x: Floats, y: Floats, rank: Any, *, box: Box, inches: float, mark_pt: float) -> None:
    """Ranks beside their marks, best first, each only where it covers no mark and no better number."""
    per_pt = (box[2] - box[0]) / (inches * 72.0)
    size = 8.0
    taken: list[Box] = []
    half = mark_pt * 0.55
    marks = np.column_stack([x, y]) / per_pt
    for i in range(len(x)):
        words = str(int(rank[i]))
        wide, tall = len(words) * size * 0.62, size * 0.78
        cx, cy = marks[i]
        for dx, dy in (
            (half + 1, -tall / 2),
            (-half - 1 - wide, -tall / 2),
            (-wide / 2, half + 1),
            (-wide / 2, -half - 1 - tall),
            (half, half),
            (half, -half - tall),
        ):
            place = (cx + dx, cy + dy, cx + dx + wide, cy + dy + tall)
            if not (box[0] / per_pt < place[0] and place[2] < box[2] / per_pt):
                continue
            if not (box[1] / per_pt < place[1] and place[3] < box[3] / per_pt):
                continue
            near = (np.abs(marks[:, 0] - (place[0] + place[2]) / 2) < wide / 2 + half) & (
                np.abs(marks[:, 1] - (place[1] + place[3]) / 2) < tall / 2 + half
            )
            near[i] = False
            if near.any() or any(
                a[0] < place[2] and place[0] < a[2] and a[1] < place[3] and place[1] < a[3] for a in taken
            ):
                continue
            taken.append(place)
            ax.text(
                place[0] * per_pt,
                place[1] * per_pt,
                words,
                fontsize=size,
                weight="bold",
                color=INK,
                va="bottom",
                ha="left",
                path_effects=furniture.HALO,
                zorder=20,
            )
            break


def sites_xy(candidates: pd.DataFrame, crs: str) -> Floats:
    """Easting and northing of the sites, one row each."""
    if len(candidates) == 0:
        return np.zeros((0, 2))
    to_xy = Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    x, y = to_xy.transform(candidates["lon"].to_numpy(dtype=float), candidates["lat"].to_numpy(dtype=float))
    return np.column_stack([x, y])
