"""Trough, ledge and rise straight from their definitions, by naive rays: slow, plain, and nobody else's code.

Bilinear samples one cell apart on 16 axes (32 headings). Used on the noise-free surface, to say whether a listed place really holds a
structure that nobody planted, and by a plain baseline finder.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

Grid = NDArray[np.float64]
HEADINGS = np.arange(32) * (2 * np.pi / 32)


def _rays(elev: Grid, rows: Grid, cols: Grid, cell_m: float, reach: Grid) -> Grid:
    """Elevations at distances ``reach`` along every heading from each point: (headings, steps, points); NaN off the grid."""
    steps = reach / cell_m
    r = rows[None, None, :] - np.cos(HEADINGS)[:, None, None] * steps[None, :, None]
    c = cols[None, None, :] + np.sin(HEADINGS)[:, None, None] * steps[None, :, None]
    out: Grid = map_coordinates(elev, [r, c], order=1, mode="constant", cval=np.nan)
    return out


def trough_at(elev: Grid, rows: Grid, cols: Grid, *, cell_m: float, radius_m: float = 50.0) -> Grid:
    """Climb on the lower flank in the best direction, within ``radius_m``."""
    z = _rays(elev, rows, cols, cell_m, np.arange(0, radius_m + 1e-9, cell_m))
    up = np.nanmax(z, axis=1) - z[:, 0]
    return np.asarray(np.nanmax(np.minimum(up[:16], up[16:]), axis=0))


def rise_at(elev: Grid, rows: Grid, cols: Grid, *, cell_m: float, radius_m: float = 25.0) -> Grid:
    """Drop in the worst direction, within ``radius_m``."""
    z = _rays(elev, rows, cols, cell_m, np.arange(0, radius_m + 1e-9, cell_m))
    return np.asarray(np.nanmin(z[:, 0] - np.nanmin(z, axis=1), axis=0))


def standing_at(elev: Grid, rows: Grid, cols: Grid, *, cell_m: float, radius_m: float = 25.0) -> Grid:
    """The same with the slope of the ground taken out: the drop to both sides at one distance, on the worst axis."""
    z = _rays(elev, rows, cols, cell_m, np.arange(0, radius_m + 1e-9, cell_m))
    both = z[:16, 0] - np.nanmin(0.5 * (z[:16] + z[16:]), axis=1)
    return np.asarray(np.nanmin(both, axis=0))


def ledge_at(
    elev: Grid, rows: Grid, cols: Grid, *, cell_m: float, run_m: float = 8.0, ground_m: float = 8.0
) -> Grid:
    """Step over ``run_m`` in the best heading, less the run times the steeper ground beyond its ends."""
    half = run_m / 2
    z = _rays(elev, rows, cols, cell_m, np.array([half, half + ground_m]))
    below, above = z, np.roll(z, 16, axis=0)
    ground = np.maximum((above[:, 1] - above[:, 0]) / ground_m, (below[:, 0] - below[:, 1]) / ground_m)
    step = above[:, 0] - below[:, 0] - run_m * np.maximum(ground, 0)
    return np.asarray(np.nan_to_num(np.nanmax(step, axis=0), nan=0.0).clip(0))


def tallest_near(
    elev: Grid, row: float, col: float, *, cell_m: float, within_m: float, floor_m: float
) -> tuple[float, str]:
    """Greatest of the three heights at any cell within a distance of a place, and which it was."""
    n = int(within_m / cell_m)
    dr, dc = np.mgrid[-n : n + 1, -n : n + 1]
    near = np.hypot(dr, dc) * cell_m <= within_m
    rows, cols = (round(row) + dr[near]).astype(float), (round(col) + dc[near]).astype(float)
    inside = (rows >= 0) & (cols >= 0) & (rows < elev.shape[0]) & (cols < elev.shape[1])
    rows, cols = rows[inside], cols[inside]
    best = (0.0, "none")
    for kind, measure in (("ledge", ledge_at), ("rise", rise_at), ("trough", trough_at)):
        height = float(np.nanmax(measure(elev, rows, cols, cell_m=cell_m)))
        if height > best[0]:
            best = (height, kind)
        if best[0] >= floor_m:
            break
    return best


def floor_slope_deg(elev: Grid, row: float, col: float, *, cell_m: float, radius_m: float = 3.0) -> float:
    """Slope of the plane of best fit within ``radius_m`` of a place (at least the 3 x 3 cells about it)."""
    reach = max(radius_m, 1.5 * cell_m)
    n = int(reach / cell_m)
    dr, dc = np.mgrid[-n : n + 1, -n : n + 1]
    keep = np.hypot(dr, dc) * cell_m <= reach
    z = map_coordinates(elev, [row + dr[keep], col + dc[keep]], order=1, mode="nearest")
    a = np.column_stack([dr[keep] * cell_m, dc[keep] * cell_m, np.ones(keep.sum())])
    gr, gc, _ = np.linalg.lstsq(a, z, rcond=None)[0]
    return float(np.degrees(np.arctan(np.hypot(gr, gc))))
