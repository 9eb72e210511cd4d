"""Planted forms: a trough, a ledge and a rise are each added to the ground along a line, and remembered with their foot."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from unseen.bed import Planted
from unseen.fields import smoothstep

Grid = NDArray[np.float64]
STEP_M = 1.0


@dataclass
class Plot:
    """Ground that forms are added to: cell centres, heights so far, and how much rock texture shows (0..1)."""

    x: Grid
    y: Grid
    z: Grid
    cell_m: float
    rock: Grid
    planted: list[Planted] = field(default_factory=list)
    spots: list[Grid] = field(default_factory=list)
    """Points of what stands already; new lines keep clear of them."""

    @property
    def side_m(self) -> float:
        """Length of the plot's side."""
        return float(self.x.shape[1] * self.cell_m)

    def window(self, line: Grid, reach: float) -> tuple[slice, slice]:
        """The part of the grid within a reach of a line."""
        lo, hi = line.min(0) - reach, line.max(0) + reach
        rows = slice(max(0, int(-hi[1] / self.cell_m)), max(1, int(-lo[1] / self.cell_m) + 1))
        cols = slice(max(0, int(lo[0] / self.cell_m)), max(1, int(hi[0] / self.cell_m) + 1))
        return rows, cols


def winding(rng: np.random.Generator, length: float, *, bend: float) -> Grid:
    """A line from the origin whose heading wanders by up to ``bend`` radians."""
    s = np.arange(0, length, STEP_M)
    wave = rng.uniform(0.6, 1.2) * length
    turn = bend * np.sin(2 * np.pi * s / wave + rng.uniform(0, 2 * np.pi))
    heading = rng.uniform(0, 2 * np.pi) + turn
    line = np.cumsum(np.stack([np.sin(heading), np.cos(heading)], 1) * STEP_M, axis=0)
    return np.asarray(line - line.mean(0))


def place(
    rng: np.random.Generator, plot: Plot, line: Grid, *, apart_m: float, depth: tuple[float, float]
) -> Grid | None:
    """Move a line to where its ground lies between two depths, clear of the edge and of all else; None if there is no room."""
    tree = cKDTree(np.concatenate(plot.spots)) if plot.spots else None
    probe = line[:: max(1, len(line) // 12)]
    for _ in range(300):
        at = np.array([rng.uniform(0, plot.side_m), -rng.uniform(0, plot.side_m)])
        p = probe + at
        if (
            p.min() < -plot.side_m + 60
            or p[:, 0].min() < 60
            or p[:, 0].max() > plot.side_m - 60
            or p[:, 1].max() > -60
        ):
            continue
        ground = -plot.z[(-p[:, 1] / plot.cell_m).astype(int), (p[:, 0] / plot.cell_m).astype(int)]
        if ground.min() < depth[0] or ground.max() > depth[1]:
            continue
        if tree is not None and tree.query(p)[0].min() < apart_m:
            continue
        return np.asarray(line + at)
    return None


def across(plot: Plot, line: Grid, w: tuple[slice, slice]) -> tuple[Grid, NDArray[np.intp], Grid]:
    """Signed distance of each cell from a line (positive to its right), nearest index, and how far beyond the line's ends."""
    cells = np.stack([plot.x[w], plot.y[w]], -1)
    _, index = cKDTree(line).query(cells)
    tangent = np.gradient(line, axis=0)
    tangent /= np.hypot(*tangent.T)[:, None]
    off = cells - line[index]
    t = tangent[index]
    signed = off[..., 0] * t[..., 1] - off[..., 1] * t[..., 0]
    along = np.abs(off[..., 0] * t[..., 0] + off[..., 1] * t[..., 1])
    beyond = np.where((index == 0) | (index == len(line) - 1), along, 0)
    return signed, index, beyond


def normals(line: Grid) -> tuple[Grid, Grid]:
    """Unit normals to the right of a line, and its bearings (degrees)."""
    t = np.gradient(line, axis=0)
    t /= np.hypot(*t.T)[:, None]
    return np.stack([t[:, 1], -t[:, 0]], 1), np.degrees(np.arctan2(t[:, 0], t[:, 1]))


def trough(plot: Plot, line: Grid, *, depth_m: float, floor_m: float, wall_m: float) -> None:
    """A gully: a flat floor between two walls, its ends running out over six times its depth."""
    half = floor_m / 2 + wall_m
    w = plot.window(line, half + 4)
    signed, index, beyond = across(plot, line, w)
    run = min(max(8.0, 6 * depth_m), 0.3 * len(line))
    fade = smoothstep(np.minimum(index, len(line) - 1 - index) * STEP_M / run) * (beyond <= 0.8)
    wall = smoothstep((half - np.abs(signed)) / wall_m)
    plot.z[w] -= depth_m * wall * fade
    plot.rock[w] *= 1 - np.clip((half - wall_m - np.abs(signed)) / 2 + 1, 0, 1) * fade
    normal, bearing = normals(line)
    n = len(line)
    full = slice(int(0.8 * run), max(n - int(0.8 * run), int(0.8 * run) + 1))
    sides = [line[full] + sign * (floor_m / 2 + 0.1 * wall_m) * normal[full] for sign in (1, -1)]
    plot.planted.append(
        Planted(
            "trough",
            depth_m,
            2 * half,
            np.concatenate(sides),
            line[full],
            bearing[full] % 180,
            bearing[full] * np.nan,
        )
    )
    plot.spots += [line + half * normal, line - half * normal]


def ledge(
    plot: Plot, line: Grid, heights: Grid, *, face_m: float, back: float = 24.0, ends: float = 14.0
) -> None:
    """A step whose ground to the left of the line is raised by ``heights`` (one for each point), and sinks back slowly behind.

    ``back`` and ``ends`` say over how many heights the raised ground sinks away behind and beside the step.
    """
    top = float(heights.max())
    reach = back * top
    w = plot.window(line, reach + face_m)
    signed, index, beyond = across(plot, line, w)
    run = ends * top
    fade = smoothstep(np.minimum(index, len(line) - 1 - index) * STEP_M / min(run, 0.3 * len(line))) * (
        beyond <= 0.8
    )
    body = smoothstep(0.5 - signed / face_m) * (1 - smoothstep((-signed - face_m / 2) / reach))
    plot.z[w] += heights[index] * body * fade
    normal, bearing = normals(line)
    n = len(line)
    cut = int(0.25 * n)
    full = slice(cut, n - cut)
    foot = line[full] + 0.4 * face_m * normal[full]
    plot.planted.append(
        Planted(
            "ledge",
            float(np.median(heights[full])),
            face_m,
            foot,
            line[full],
            bearing[full] % 180,
            (bearing[full] + 90) % 360,
        )
    )
    plot.spots += [line + face_m / 2 * normal, line - (face_m / 2 + 10) * normal]


def rise(
    plot: Plot, at: Grid, *, height_m: float, top_m: float, side_m: float, stretch: float, turn: float
) -> None:
    """A pile: a rounded top within steep sides, longer one way by ``stretch``."""
    reach = (top_m + side_m) * stretch
    w = plot.window(at, reach + 4)
    dx, dy = plot.x[w] - at[0, 0], plot.y[w] - at[0, 1]
    a, b = dx * np.cos(turn) + dy * np.sin(turn), dy * np.cos(turn) - dx * np.sin(turn)
    r = np.hypot(a / stretch, b)
    plot.z[w] += (
        height_m * (1 - smoothstep((r - top_m) / side_m)) * (1 - 0.15 * np.clip(r / max(top_m, 1), 0, 1) ** 2)
    )
    phi = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    radius = top_m + 0.8 * side_m
    u, v = radius * stretch * np.cos(phi), radius * np.sin(phi)
    ring = at + np.stack([u * np.cos(turn) - v * np.sin(turn), u * np.sin(turn) + v * np.cos(turn)], 1)
    nothing = np.full(1, np.nan)
    plot.planted.append(Planted("rise", height_m, 2 * (top_m + side_m), ring, at, nothing, nothing))
    plot.spots.append(ring)
