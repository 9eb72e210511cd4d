"""A deliberately plain finder, so that the bench has a yardstick; no doubts, no features, no recipe.

Where the smoothed ground is steepest along its own gradient, a profile (the mean of five lines) is laid down the gradient and 20 degrees to
either side. Its top and foot are what a sight line of a small gradient leaves of the climb; its height is the drop beyond the ground's own
slope on both sides; the gradient is judged on the length less the cell's own share. Score: root of the height times a ramp of the gradient,
less what stands around it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import (
    distance_transform_edt,
    gaussian_filter,
    map_coordinates,
    maximum_filter,
    minimum_filter,
)
from scipy.spatial import cKDTree

from unseen.bed import BAND, rowcol
from unseen.found import Found
from unseen.section import floor_slope, profile

Grid = NDArray[np.float64]
ASKED_M, REACH_M, APART_M, SIGHT = 1.0, 80.0, 60.0, 0.05
CAP_M, RAMP, CONTRAST = 3.0, (0.05, 0.4), 2.5
WEIGHT = {"trough": 1.6, "ledge": 1.0, "rise": 1.3}


@dataclass(frozen=True)
class Faces:
    """Faces of one heading each: rows of equal length, distances from the candidate positive downhill."""

    height: Grid
    drop: Grid
    gradient: Grid
    top: Grid
    foot: Grid
    climb_behind: Grid


def find(
    elev: Grid, cell_m: float, *, top: int = 500, depth: tuple[float, float] = BAND, **georef: object
) -> list[Found]:
    """The ranked list; see the module's words."""
    elev = np.where(np.asarray(elev) > 3, np.nan, elev).astype(float)
    known = np.isfinite(elev)
    if known.sum() < 100 or min(elev.shape) < 12:
        return []
    sight = min(SIGHT, ASKED_M / (2.5 * cell_m))
    z = (
        elev
        if known.all()
        else elev[tuple(distance_transform_edt(~known, return_distances=False, return_indices=True))]
    )
    rows, cols, down = _candidates(z, known, cell_m)
    if not len(rows):
        return []
    x, y = (cols + 0.5) * cell_m, -(rows + 0.5) * cell_m
    noise = _noise(elev)
    best: Faces | None = None
    facing = down.copy()
    for turn in (0.0, -20.0, 20.0):
        f = _faces(elev, x, y, down + np.radians(turn), cell_m, sight, noise)
        if best is None:
            best = f
            continue
        better = (f.gradient > 1.05 * best.gradient) & (f.height > 0.9 * best.height)
        facing[better] = (down + np.radians(turn))[better]
        best = Faces(*(np.where(better, getattr(f, n), getattr(best, n)) for n in Faces.__dataclass_fields__))
    assert best is not None
    deep = -map_coordinates(
        z, rowcol(x + best.foot * np.sin(facing), y + best.foot * np.cos(facing), cell_m), order=1
    )
    keep = (best.height >= 0.8 * ASKED_M) & (deep > depth[0]) & (deep < depth[1])
    x, y, facing = x[keep], y[keep], facing[keep]
    best = Faces(*(getattr(best, n)[keep] for n in Faces.__dataclass_fields__))
    if not len(x):
        return []
    height, gradient = best.height, best.gradient
    drops = _drops(z, x + best.top * np.sin(facing), y + best.top * np.cos(facing), cell_m, sight)
    trough = np.minimum(best.climb_behind, height)
    is_trough = (trough >= 0.5 * height) & (trough >= 0.8 * ASKED_M)
    is_rise = ~is_trough & (drops >= 0.6 * height)
    kind = np.where(is_trough, "trough", np.where(is_rise, "rise", "ledge"))
    height = np.where(is_trough, np.minimum(best.climb_behind, best.drop), height)
    weight = np.array([WEIGHT[k] for k in kind])
    ramp = np.clip((gradient - RAMP[0]) / (RAMP[1] - RAMP[0]), 0, 1)
    raw = weight * np.sqrt(np.minimum(height, CAP_M)) * ramp
    score = raw - CONTRAST * _around(x, y, np.minimum(raw, 1.2))
    off = np.where(is_trough, 2.0, 5.0)
    dx, dy = np.sin(facing), np.cos(facing)
    px, py = x + (best.foot + off) * dx, y + (best.foot + off) * dy
    pr, pc = (np.round(v).astype(int) for v in rowcol(px, py, cell_m))
    inside = (pr >= 0) & (pr < z.shape[0]) & (pc >= 0) & (pc < z.shape[1])
    inside &= known[np.clip(pr, 0, z.shape[0] - 1), np.clip(pc, 0, z.shape[1] - 1)] & (
        height >= 0.8 * ASKED_M
    )
    out: list[Found] = []
    taken = np.zeros(len(x), bool)
    tree = cKDTree(np.stack([px, py], 1))
    for i in np.argsort(-score, kind="stable"):
        if taken[i] or not inside[i]:
            continue
        taken[tree.query_ball_point([px[i], py[i]], APART_M)] = True
        bearing = _heading(
            elev, cell_m, float(x[i]), float(y[i]), float(np.degrees(facing[i])), best.top[i], best.foot[i]
        )
        site = Found(
            len(out) + 1, str(kind[i]), float(px[i]), float(py[i]),
            score=float(100 * np.clip(score[i] / np.sqrt(CAP_M), 0, 1)), height_m=float(height[i]),
            off_m=float(off[i]), axis_deg=(bearing + 90) % 180, facing_deg=bearing,
            steep_deg=float(np.degrees(np.arctan(gradient[i]))), depth_m=float(-z[pr[i], pc[i]]),
            structure_x=float(x[i]), structure_y=float(y[i]),
        )  # fmt: skip
        out.append(replace(site, slope_deg=floor_slope(elev, cell_m, site.x, site.y)[0]))
        if len(out) == top:
            break
    return out


def _candidates(z: Grid, known: NDArray[np.bool_], cell_m: float) -> tuple[Grid, Grid, Grid]:
    """Cells where the smoothed slope passes .06 and is greatest along its gradient, and the downhill bearing (radians)."""
    smooth = gaussian_filter(z, max(1.0, 2.0 / cell_m))
    gr, gc = np.gradient(smooth, cell_m)
    steep = np.hypot(gr, gc)
    n = 2 * int(max(12, 2 * cell_m) / cell_m) + 1
    relief = maximum_filter(smooth, n) - minimum_filter(smooth, n)
    rows, cols = np.nonzero(
        (steep > (0.06 if cell_m < 5 else 0.03)) & known & (relief > 0.5 * ASKED_M) & (z < 2)
    )
    ur, uc = gr[rows, cols] / steep[rows, cols], gc[rows, cols] / steep[rows, cols]
    peak = np.ones(len(rows), bool)
    for sign in (-1, 1):
        peak &= steep[rows, cols] >= map_coordinates(
            steep, [rows + sign * ur, cols + sign * uc], order=1, mode="nearest"
        )
    rows, cols = rows[peak], cols[peak]
    return rows.astype(float), cols.astype(float), np.arctan2(-gc[rows, cols], gr[rows, cols])


def _noise(elev: Grid) -> float:
    """White noise of a grid: the median size of second differences along rows."""
    second = np.abs(elev[:, 2:] - 2 * elev[:, 1:-1] + elev[:, :-2])
    return float(np.nanmedian(second) / 0.6745 / np.sqrt(6))


def _faces(elev: Grid, x: Grid, y: Grid, facing: Grid, cell_m: float, sight: float, noise: float) -> Faces:
    """Read every candidate's face on the mean of five lines one cell apart."""
    step = max(1.0, cell_m / 2)
    n = int(max(REACH_M, 15 * cell_m if cell_m >= 10 else 0.0) / step)
    s = np.arange(-n, n + 1) * step
    dx, dy = np.sin(facing)[:, None], np.cos(facing)[:, None]
    total = np.zeros((len(x), len(s)))
    for k in range(-2, 3):
        shift = k * cell_m
        at = rowcol(x[:, None] + s * dx - shift * dy, y[:, None] + s * dy + shift * dx, cell_m)
        total += map_coordinates(elev, at, order=1, mode="constant", cval=np.nan)
    p = total / 5
    mid = len(s) // 2
    top = mid - _ends(p[:, mid::-1] - sight * s[mid:])
    foot = mid + _ends(-(p[:, mid:] + sight * s[mid:]))
    row = np.arange(len(x))
    past = p - p[row, foot][:, None] - sight * (s - s[foot][:, None])
    past = np.where(np.isfinite(past) & (s >= s[foot][:, None]), past, -np.inf)
    far = past.argmax(1)
    behind = np.where(np.isfinite(past[row, far]), p[row, far] - p[row, foot], 0.0)
    drop = p[row, top] - p[row, foot]
    frac = (p[row, top][:, None] - p) / np.maximum(drop, 1e-6)[:, None]
    where = np.arange(len(s))
    on = (where >= top[:, None]) & (where <= foot[:, None]) & (frac >= 0.1) & (frac <= 0.9)
    length = np.maximum(on.sum(1) * step / 0.8, step)
    side = np.clip(length, 10, 60)
    ground = 0.5 * (_slope_of(p, s, s[top] - side, s[top]) + _slope_of(p, s, s[foot], s[foot] + side))
    height = drop - np.clip(ground, 0, None) * length - 1.6 * noise / np.sqrt(5)
    own = np.sqrt(np.maximum(length**2 - (3 * cell_m) ** 2, 36.0))
    height = np.where(np.isfinite(height), height, 0)
    return Faces(height, drop, height / own, s[top], s[foot], behind)


def _ends(climb: Grid) -> Grid:
    """Index along each row of the most of a climb, left off where it gives back 0.25 m or 30 % of itself, or where the data end."""
    climb = climb - climb[:, :1]
    known = np.logical_and.accumulate(np.isfinite(climb), axis=1)
    climb = np.where(known, climb, -1e9)
    most = np.maximum.accumulate(climb, axis=1)
    going = np.logical_and.accumulate(most - climb <= np.maximum(0.25, 0.3 * most), axis=1) & known
    return np.asarray(np.where(going, climb, -1e9).argmax(1))


def _slope_of(p: Grid, s: Grid, lo: Grid, hi: Grid) -> Grid:
    """Downhill gradient of a straight line fitted to each row between two distances; 0 where less than three points are known."""
    w = ((s >= lo[:, None]) & (s <= hi[:, None]) & np.isfinite(p)).astype(float)
    n = w.sum(1)
    q = np.where(w > 0, p, 0)
    ms = (w * s).sum(1) / np.maximum(n, 1)
    d = w * (s - ms[:, None])
    return np.where(n >= 3, -(d * q).sum(1) / np.maximum((d * s).sum(1), 1e-9), 0)


def _drops(z: Grid, x: Grid, y: Grid, cell_m: float, sight: float) -> Grid:
    """Third lowest of sixteen drops from a top, each less the sight line."""
    r = np.arange(0, 50 + cell_m, max(2.0, cell_m))
    top = map_coordinates(z, rowcol(x, y, cell_m), order=1, mode="nearest")
    out = []
    for b in np.arange(16) * np.pi / 8:
        at = rowcol(x[:, None] + r * np.sin(b), y[:, None] + r * np.cos(b), cell_m)
        out.append((top[:, None] - map_coordinates(z, at, order=1, mode="nearest") - sight * r).max(1))
    return np.asarray(np.sort(out, axis=0)[2])


def _heading(elev: Grid, cell_m: float, x: float, y: float, bearing: float, top: float, foot: float) -> float:
    """The bearing, of thirteen about a first one, on which the mean of eleven lines falls most between top and foot."""
    s = np.array([min(top, -cell_m), max(foot, cell_m)])
    turns = np.arange(-30.0, 31.0, 5.0)
    falls = [
        np.subtract(*profile(elev, cell_m, x, y, bearing + t, s, lines=11, apart_m=cell_m)) for t in turns
    ]
    falls = np.nan_to_num(falls)
    tied = turns[falls >= falls.max() - 0.02]
    return float((bearing + np.median(tied)) % 360)


def _around(x: Grid, y: Grid, raw: Grid) -> Grid:
    """Mean of the scores within 60 m, as if every 6 m cell of that disc held one."""
    cells = np.stack([np.round(x / 6), np.round(y / 6)], 1)
    _, inverse = np.unique(cells, axis=0, return_inverse=True)
    inverse = np.ravel(inverse)
    most = np.zeros(inverse.max() + 1)
    np.maximum.at(most, inverse, raw)
    first = (
        np.array([np.flatnonzero(inverse == i)[0] for i in range(len(most))]) if len(most) < 2000 else None
    )
    if first is None:
        order = np.argsort(inverse, kind="stable")
        first = order[np.searchsorted(inverse[order], np.arange(len(most)))]
    tree = cKDTree(np.stack([x[first], y[first]], 1))
    near = tree.query_ball_point(np.stack([x, y], 1), 60.0)
    return np.array([most[n].sum() for n in near]) / (np.pi * 10**2)
