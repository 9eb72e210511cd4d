"""The shoreline and the contours of a map, the longest of them with their depths."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.contour import ContourSet

from reefscan.render import furniture
from reefscan.render.marks import INK, UNIT_METRES, Box, contour_depths
from reefscan.render.shade import Floats, smoothed

MOST_NAMED = 48
LEAST_NAMED = 0.04
"""Contours with their depth written on them: the most of them, and the least length of one as a part of the map's longer side."""


def draw_contours(ax: Axes, small: Floats, step: float, *, deepest_m: float, unit: str, box: Box) -> None:
    """Draw the contours of a picture's heights down to a depth, and its shoreline.

    Parameters
    ----------
    ax : Axes
    small : ndarray, shape (rows, cols)
        Metres, positive up, NaN unknown; three cells each way at least.
    step : float
        Side of its cells, metres.
    deepest_m : float
    unit : {"m", "ft", "fathom"}
    box : tuple of float
        West, south, east, north of the map; the picture begins in its north-west corner.
    """
    x = box[0] + (np.arange(small.shape[1]) + 0.5) * step
    y = box[3] - (np.arange(small.shape[0]) + 0.5) * step
    calm = smoothed(small)
    wet = bool((small < 0).any())
    low, high = (float(np.nanmin(calm)), float(np.nanmax(calm))) if wet else (0.0, 0.0)
    levels = [-d for d in reversed(contour_depths(deepest_m, unit)) if low < -d < high]
    if levels:
        lines = ax.contour(
            x,
            y,
            np.ma.masked_invalid(calm),
            levels=levels,
            colors=INK,
            linewidths=0.35,
            linestyles="solid",
            alpha=0.55,
            zorder=3,
        )
        _name_contours(ax, lines, {v: f"{-v / UNIT_METRES[unit]:g}" for v in levels}, box)
    if low < 0 < high:
        ax.contour(x, y, np.ma.masked_invalid(small), levels=[0.0], colors=INK, linewidths=0.9, zorder=4)


def _name_contours(ax: Axes, lines: ContourSet, names: dict[float, str], box: Box) -> None:
    """Depths on the longest contours, well apart.

    On rough ground every hump has a contour: hundreds of numbers would hide it, and take half the time of the map.
    """
    size = max(box[2] - box[0], box[3] - box[1])
    pieces: list[tuple[float, float, Floats, Floats]] = []
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        for points in path.to_polygons(closed_only=False):
            piece = np.asarray(points, dtype=np.float64)
            along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(piece, axis=0).T))])
            if along[-1] > LEAST_NAMED * size:
                pieces.append((float(along[-1]), float(level), piece, along))
    pieces.sort(key=lambda piece: (-piece[0], piece[1], *piece[2][0]))
    taken: list[tuple[float, float]] = []
    for length, level, piece, along in pieces:
        if len(taken) >= MOST_NAMED:
            break
        for part in (0.5, 0.25, 0.75):
            ends = np.array([part * length - 0.01 * size, part * length + 0.01 * size])
            x, y = np.interp(ends, along, piece[:, 0]), np.interp(ends, along, piece[:, 1])
            at = (float(x.mean()), float(y.mean()))
            if _under_furniture(at, box) or any(
                math.hypot(at[0] - p[0], at[1] - p[1]) < 0.08 * size for p in taken
            ):
                continue
            taken.append(at)
            turn = math.degrees(math.atan2(y[1] - y[0], x[1] - x[0]))
            ax.text(
                *at,
                names[level],
                fontsize=6,
                color=INK,
                rotation=(turn + 90.0) % 180.0 - 90.0,
                rotation_mode="anchor",
                ha="center",
                va="center",
                path_effects=furniture.HALO,
                clip_on=True,
                zorder=3.5,
            )
            break


def _under_furniture(at: tuple[float, float], box: Box) -> bool:
    """True in the corners that hold the scale bar (either of the lower ones) and the north arrow."""
    x, y = (at[0] - box[0]) / (box[2] - box[0]), (at[1] - box[1]) / (box[3] - box[1])
    return (y < 0.1 and not 0.3 < x < 0.7) or (y > 0.88 and x > 0.9)
