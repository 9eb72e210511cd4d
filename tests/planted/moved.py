"""Ground that was dug or that moves: the shape of structure, and nothing that lives in it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from planted.forms import Ground
from planted.lines import STEP, frame, smooth, taper
from planted.truth import Planted

Grid = NDArray[np.float64]


def _straight(rng: np.random.Generator, at: Grid, length_m: float) -> Grid:
    s = np.arange(-length_m / 2, length_m / 2, STEP)
    bearing = rng.uniform(0, np.pi)
    return np.asarray(at + s[:, None] * np.array([np.sin(bearing), np.cos(bearing)]))


def channel(rng: np.random.Generator, g: Ground, at: Grid) -> Planted:
    """A dredged channel: a level floor at one elevation, even sides of 1 in 3 to 1 in 5, straight for hundreds of metres."""
    half, depth, batter = rng.uniform(12, 30), rng.uniform(1.8, 4), rng.uniform(3, 5)
    line = _straight(rng, at, rng.uniform(350, 600))
    w = g.window(line, half + depth * batter + 10)
    dist, _, index = frame(line, g.x[w], g.y[w])
    t = taper(len(line), 30)[index]
    cut = depth * t * (1 - np.clip((dist - half) / (depth * batter), 0, 1))
    g.add[w] -= cut
    g.rock[w] *= 1 - np.clip(cut / 0.4, 0, 1)
    wide = 2 * (half + depth * batter)
    return Planted("channel", "dug", line, wide / 2, depth, wide, taper(len(line), 30) > 0.97)


def trench(rng: np.random.Generator, g: Ground, at: Grid) -> Planted:
    """A pipe or cable trench: straight, narrow, the same section all along."""
    half = max(rng.uniform(4, 7), 2.5 * g.cell_m)
    depth = rng.uniform(1.2, 2.2)
    line = _straight(rng, at, rng.uniform(250, 500))
    w = g.window(line, half + 10)
    dist, _, index = frame(line, g.x[w], g.y[w])
    t = taper(len(line), 15)[index]
    g.add[w] -= depth * t * (1 - smooth((dist - 0.2 * half) / (0.8 * half)))
    g.rock[w] *= 1 - t * (dist < half)
    return Planted("trench", "dug", line, half, depth, 2 * half, taper(len(line), 15) > 0.97)


def scour(rng: np.random.Generator, g: Ground, at: Grid) -> Planted:
    """A round or oval scour pit with smooth sides: a low in every direction, without an axis."""
    radius, depth = max(rng.uniform(9, 18), 4 * g.cell_m), rng.uniform(1.2, 2.5)
    w = g.window(at, radius * 1.5)
    r = np.hypot((g.x[w] - at[0, 0]) / rng.uniform(1, 1.25), g.y[w] - at[0, 1]) / radius
    g.add[w] -= depth * (1 - smooth(r))
    return Planted("scour", "dug", at, radius * 1.25, depth, 2 * radius, np.array([True]))


def anchor_pits(rng: np.random.Generator, g: Ground, at: Grid) -> Planted:
    """A cluster of small smooth pits."""
    reach, depth = 30.0, rng.uniform(1.1, 1.8)
    w = g.window(at, reach + 20)
    cut = np.zeros_like(g.add[w])
    for i in range(int(rng.integers(4, 9))):
        p = at[0] + (0 if i == 0 else rng.uniform(-reach, reach, 2))
        r = np.hypot(g.x[w] - p[0], g.y[w] - p[1]) / max(rng.uniform(4, 8), 3 * g.cell_m)
        cut = np.maximum(cut, depth * rng.uniform(0.6, 1) * (1 - smooth(r)))
    g.add[w] -= cut
    return Planted("anchor pits", "dug", at, reach + 8, depth, 10, np.array([True]))


def spoil(rng: np.random.Generator, g: Ground, at: Grid) -> Planted:
    """Dumped spoil: smooth round heaps in a loose row."""
    height, n = rng.uniform(1.2, 2.5), int(rng.integers(2, 5))
    row = _straight(rng, at, 45.0 * (n - 1) + 1)
    tops = row[np.linspace(0, len(row) - 1, n).astype(int)] + rng.uniform(-6, 6, (n, 2))
    w = g.window(tops, 45)
    heap = np.zeros_like(g.add[w])
    for top in tops:
        r = np.hypot(g.x[w] - top[0], g.y[w] - top[1]) / rng.uniform(14, 24)
        heap = np.maximum(heap, height * rng.uniform(0.7, 1) * (1 - smooth(r)))
    g.add[w] += heap
    return Planted("spoil", "dug", row, 28, height, 40, np.ones(len(row), bool))


def waves(rng: np.random.Generator, g: Ground, at: Grid) -> Planted:
    """A field of sand waves: long-crested, evenly spaced, steeper on the lee."""
    reach, length = rng.uniform(90, 150), max(rng.uniform(24, 60), 8 * g.cell_m)
    height = min(rng.uniform(0.8, 1.8), length / 15)
    w = g.window(at, reach + 60)
    dx, dy = g.x[w] - at[0, 0], g.y[w] - at[0, 1]
    b = rng.uniform(0, 2 * np.pi)
    across = dx * np.cos(b) - dy * np.sin(b)
    along = dx * np.sin(b) + dy * np.cos(b)
    across = across + 4 * np.sin(2 * np.pi * along / rng.uniform(150, 250))
    k = 2 * np.pi * across / length
    fade = 1 - smooth((np.hypot(dx, dy) - reach) / 50)
    g.add[w] += fade * 0.5 * height * (np.sin(k) + 0.25 * np.sin(2 * k)) / 1.08
    g.rock[w] *= 1 - fade
    return Planted("sand waves", "moving", at, reach + 45, height, length, np.array([True]))


def sand_ridge(rng: np.random.Generator, g: Ground, at: Grid) -> Planted:
    """Two or three long low sand ridges side by side, smooth, with hollows between them."""
    line = _straight(rng, at, rng.uniform(250, 400))
    apart, height = rng.uniform(55, 90), rng.uniform(1.2, 2.2)
    w = g.window(line, 2.2 * apart)
    dist, signed, index = frame(line, g.x[w], g.y[w])
    t = taper(len(line), 60)[index]
    n = rng.choice([2, 3])
    wave = np.cos(2 * np.pi * signed / apart) * (1 if n == 3 else -1)
    g.add[w] += t * height * (0.5 + 0.5 * wave) * (dist < n / 2 * apart)
    g.rock[w] *= 1 - t * (dist < 1.6 * apart)
    return Planted("sand ridges", "moving", line, 1.6 * apart, height, apart, taper(len(line), 60) > 0.97)


def bank(rng: np.random.Generator, g: Ground, at: Grid) -> Planted:
    """A smooth bank: high, but nowhere steep."""
    radius, height = rng.uniform(90, 140), rng.uniform(1.5, 3)
    w = g.window(at, 2.6 * radius)
    r = np.hypot(g.x[w] - at[0, 0], g.y[w] - at[0, 1]) / radius
    g.add[w] += height * np.exp(-(r**2)) * (1 - smooth((r - 2) / 0.6))
    return Planted("bank", "decoy", at, radius, height, 2 * radius, np.array([True]))


def even_ramp(rng: np.random.Generator, g: Ground, at: Grid) -> Planted:
    """An even slope of 3-6 degrees between two levels, much longer than a ledge's run."""
    line = _straight(rng, at, rng.uniform(160, 260))
    run, height = rng.uniform(35, 60), rng.uniform(2, 4)
    w = g.window(line, 160)
    _, signed, index = frame(line, g.x[w], g.y[w])
    t = taper(len(line), 50)[index]
    g.add[w] += t * height * smooth(0.5 - signed / run) * (1 - smooth((-signed - run / 2) / 120))
    return Planted("ramp", "decoy", line, run / 2, height, run, taper(len(line), 50) > 0.97)
