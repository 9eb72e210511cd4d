"""Profiles read from a grid in plain numpy: bilinear, the mean of a few parallel lines; a face, a low or a top read off them.

Distances ``s`` run along a bearing, 0 at the place that was asked for. Unknown stays unknown: a sample beside an unknown cell is NaN, and a
mean wants at least half of its lines.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Grid = NDArray[np.float64]
SIGHT = 0.05
ALONG_M = 10.0
"""Length along a face over which its mean is taken: on coarse cells five lines a cell apart would reach beyond its ends."""


def bilinear(elev: Grid, x: Grid, y: Grid, cell_m: float) -> Grid:
    """Heights between cell centres; NaN beyond the grid or beside an unknown cell that has a share."""
    row, col = -np.asarray(y, float) / cell_m - 0.5, np.asarray(x, float) / cell_m - 0.5
    inside = (row >= 0) & (col >= 0) & (row <= elev.shape[0] - 1) & (col <= elev.shape[1] - 1)
    row, col = np.where(inside, row, 0), np.where(inside, col, 0)
    r, c = np.minimum(row.astype(int), elev.shape[0] - 2), np.minimum(col.astype(int), elev.shape[1] - 2)
    fr, fc = row - r, col - c
    out = np.zeros(row.shape)
    for dr, wr in ((0, 1 - fr), (1, fr)):
        for dc, wc in ((0, 1 - fc), (1, fc)):
            w = wr * wc
            out += np.where(w > 1e-9, w * elev[r + dr, c + dc], 0)
    return np.where(inside, out, np.nan)


def profile(
    elev: Grid,
    cell_m: float,
    x: float,
    y: float,
    bearing_deg: float,
    s: Grid,
    *,
    lines: int = 5,
    apart_m: float | None = None,
) -> Grid:
    """Mean height along a bearing through a place, over parallel lines (by default one cell apart, and ten metres of a face at the most)."""
    b = np.radians(bearing_deg)
    apart = apart_m or min(cell_m, ALONG_M / (lines - 1) if lines > 1 else cell_m)
    shift = (np.arange(lines) - lines // 2)[:, None] * apart
    px = x + s * np.sin(b) - shift * np.cos(b)
    py = y + s * np.cos(b) + shift * np.sin(b)
    z = bilinear(elev, px, py, cell_m)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        mean = np.nanmean(z, axis=0)
    return np.where(np.isfinite(z).sum(0) * 2 >= lines, mean, np.nan)


@dataclass(frozen=True)
class Face:
    """A face on a profile: its plain drop, its drop beyond the ground's own slope, and where it lies (distances along the profile)."""

    drop_m: float
    height_m: float
    top: float
    foot: float
    foot_10: float
    """Where nine tenths of the drop are done: a rounded side leaves the floor with no slope that could be seen."""
    length_m: float


def land_fall(p: Grid, s: Grid, *, reach_m: float = 120.0) -> float:
    """How fast the land falls along a profile: the median over steps of some 4 m within a reach, 0 where it climbs."""
    k = max(1, round(4.0 / float(s[1] - s[0])))
    use = np.abs(s) <= reach_m
    fall = (p[use][:-k] - p[use][k:]) / (k * float(s[1] - s[0]))
    return max(0.0, float(np.median(fall[np.isfinite(fall)]))) if np.isfinite(fall).any() else 0.0


def read_face(p: Grid, s: Grid, *, near_m: float, sight: float = SIGHT, land: float = 0.0) -> Face | None:
    """The face that falls toward positive ``s`` and is steepest within ``near_m`` of 0; None if nothing falls there.

    Its ends are sought above a sight line that leans with the land (``land``, a downhill gradient).
    """
    sight = sight + land
    step = float(s[1] - s[0])
    k = max(1, round(2.0 / step))
    fall = np.full(len(s), np.nan)
    fall[k:-k] = p[: -2 * k] - p[2 * k :]
    fall[np.abs(s) > near_m] = np.nan
    if not np.isfinite(fall).any() or np.nanmax(fall) <= 0:
        return None
    at = int(np.nanargmax(fall))
    top = at - _end(p[at::-1] - sight * step * np.arange(at + 1))
    foot = at + _end(-(p[at:] + sight * step * np.arange(len(s) - at)))
    drop = float(p[top] - p[foot])
    if not drop > 0:
        return None
    done = (p[top] - p[top : foot + 1]) / drop
    lo = int(np.argmax(done >= 0.1))
    hi = int(np.argmax(done >= 0.9))
    length = max((hi - lo) * step / 0.8, step)
    side = float(np.clip(length, 10, 60))
    above = _fall(p, s, s[top] - side, s[top])
    below = _fall(p, s, s[foot], s[foot] + side)
    ground = max(0.0, 0.5 * (above + below))
    return Face(drop, drop - ground * length, float(s[top]), float(s[foot]), float(s[top + hi]), length)


def _end(climb: Grid) -> int:
    """Where a climb is most, before it gives back 0.25 m or 30 % of itself or the data end."""
    known = np.isfinite(climb)
    climb = climb[: int(np.argmin(known))] if not known.all() else climb
    if len(climb) < 2:
        return 0
    climb = climb - climb[0]
    most = np.maximum.accumulate(climb)
    lost = most - climb > np.maximum(0.25, 0.3 * most)
    return int(np.argmax(climb[: int(np.argmax(lost))])) if lost.any() else int(np.argmax(climb))


def _fall(p: Grid, s: Grid, lo: float, hi: float) -> float:
    """Downhill slope of a line fitted between two distances; 0 where fewer than three points are known."""
    use = (s >= lo) & (s <= hi) & np.isfinite(p)
    return float(-np.polyfit(s[use], p[use], 1)[0]) if use.sum() >= 3 else 0.0


@dataclass(frozen=True)
class Low:
    """A low between two highs on a profile: lesser climb (plain, and beyond the sight line), its place, and where its walls are half
    climbed."""

    height_m: float
    sighted_m: float
    place: float
    left: float
    right: float

    @property
    def middle(self) -> float:
        """Half way between the walls."""
        return 0.5 * (self.left + self.right)


def read_low(p: Grid, s: Grid, *, near_m: float, reach_m: float, sight: float = SIGHT) -> Low | None:
    """The low within ``near_m`` of 0 whose lesser side climbs most, each side sought over ``reach_m`` above a sight line."""
    best: Low | None = None
    for at in np.flatnonzero((np.abs(s) <= near_m) & np.isfinite(p)):
        far = np.abs(s - s[at])
        up = p - p[at] - sight * far
        sides = [np.where((far <= reach_m) & side, up, np.nan) for side in (s < s[at], s > s[at])]
        if not all(np.isfinite(v).any() for v in sides):
            continue
        tops = [int(np.nanargmax(v)) for v in sides]
        height = min(p[t] for t in tops) - p[at]
        if best is None or height > best.height_m + 1e-9:
            half = p[at] + height / 2
            left = [i for i in range(tops[0], at + 1) if p[i] >= half]
            right = [i for i in range(at, tops[1] + 1) if p[i] >= half]
            if left and right:
                best = Low(
                    float(height),
                    float(min(up[t] for t in tops)),
                    float(s[at]),
                    float(s[max(left)]),
                    float(s[min(right)]),
                )
    return best


def drops_around(
    elev: Grid, cell_m: float, x: float, y: float, *, reach_m: float = 60.0, sight: float = SIGHT
) -> Grid:
    """Drops (sorted) from the highest ground within 12 m (or two cells) of a place, in 16 directions, each less the sight line."""
    n = np.arange(-12.0, 12.1, 2.0) if cell_m < 6 else np.arange(-2 * cell_m, 2.01 * cell_m, cell_m / 2)
    dx, dy = np.meshgrid(n, n)
    near = bilinear(elev, x + dx, y + dy, cell_m)
    if not np.isfinite(near).any():
        return np.zeros(16)
    i = int(np.nanargmax(near))
    tx, ty = x + dx.flat[i], y + dy.flat[i]
    r = np.arange(0, max(reach_m, 8 * cell_m), max(1.0, cell_m / 2))
    b = np.arange(16)[:, None] * np.pi / 8
    z = bilinear(elev, tx + r * np.sin(b), ty + r * np.cos(b), cell_m)
    fall = np.where(np.isfinite(z), np.nanmax(near) - z - sight * r, -np.inf)
    at = fall.argmax(1)
    plain = np.nanmax(near) - z[np.arange(16), at]
    return np.sort(np.where(np.isfinite(plain), plain, 0))


def floor_slope(elev: Grid, cell_m: float, x: float, y: float) -> tuple[float, float]:
    """Slope (degrees) and downhill bearing of the plane through what lies within 3 m (or 1.6 cells) of a place."""
    return plane(elev, cell_m, x, y, max(3.0, 1.6 * cell_m))


def plane(elev: Grid, cell_m: float, x: float, y: float, radius_m: float) -> tuple[float, float]:
    """Slope (degrees) and downhill bearing of the plane through the cells within a radius; NaN if fewer than five are known."""
    row, col = -y / cell_m - 0.5, x / cell_m - 0.5
    n = int(radius_m / cell_m) + 1
    r0, c0 = max(0, round(row) - n), max(0, round(col) - n)
    cut = elev[r0 : round(row) + n + 1, c0 : round(col) + n + 1]
    rr, cc = np.mgrid[r0 : r0 + cut.shape[0], c0 : c0 + cut.shape[1]]
    use = (np.hypot(rr - row, cc - col) * cell_m <= radius_m) & np.isfinite(cut)
    if use.sum() < 5:
        return float("nan"), float("nan")
    a = np.stack([cc[use] * cell_m, -rr[use] * cell_m, np.ones(use.sum())], 1)
    gx, gy, _ = np.linalg.lstsq(a, cut[use], rcond=None)[0]
    return float(np.degrees(np.arctan(np.hypot(gx, gy)))), float(np.degrees(np.arctan2(-gx, -gy)) % 360)
