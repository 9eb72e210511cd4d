"""Forms to plant: each takes the ground and a place and returns what to add, with the truth about it.

A form works in a window of the grid around its line. `Ground` gathers the parts: ``add`` is the sum of the forms, ``rock`` (0-1) where
the fractal rock texture shows, so that a form can bare rock on its flanks and keep sand on its floor.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from planted.lines import STEP, frame, smooth, taper, winding
from planted.truth import Planted

Grid = NDArray[np.float64]


@dataclass
class Ground:
    """The seabed under construction."""

    x: Grid
    y: Grid
    cell_m: float
    base: Grid
    add: Grid
    rock: Grid

    def window(self, line: Grid, margin_m: float) -> tuple[slice, slice]:
        """Index of the cells within a box around a line."""
        c0, c1 = (line[:, 0].min() - margin_m) / self.cell_m, (line[:, 0].max() + margin_m) / self.cell_m
        r0, r1 = (-line[:, 1].max() - margin_m) / self.cell_m, (-line[:, 1].min() + margin_m) / self.cell_m
        return slice(max(0, int(r0)), max(0, int(r1) + 1)), slice(max(0, int(c0)), max(0, int(c1) + 1))

    def bare(self, window: tuple[slice, slice], amount: Grid) -> None:
        """Show rock where ``amount`` says so, beside what shows already."""
        self.rock[window] = np.maximum(self.rock[window], amount)


Make = Callable[[np.random.Generator, Ground, Grid, bool], Planted]


def trough(
    rng: np.random.Generator, g: Ground, line: Grid, rough: bool, *, width_m: float, depth_m: float
) -> Planted:
    """A gully: a floor, two flanks to crests of unequal height, low levees that fall back to the ground outside.

    ``depth_m`` is floor to lower crest, ``width_m`` crest to crest. With ``rough``, rock is bared on the flanks, sand kept on the floor.
    """
    half, floor = width_m / 2, rng.uniform(0.25, 0.5) * width_m / 2
    low, extra = rng.uniform(0.15, 0.3), rng.uniform(0.0, 1.0) * min(1.5, 0.6 * depth_m)
    right, left = (low, low + extra) if rng.random() < 0.5 else (low + extra, low)
    outer = rng.uniform(25, 40)
    w = g.window(line, half + outer + 20)
    dist, signed, index = frame(line, g.x[w], g.y[w])
    fade = taper(len(line), 25.0)
    t = fade[index]
    crest = np.where(signed >= 0, right, left)
    bottom = low - depth_m
    inside = bottom + (crest - bottom) * smooth((dist - floor) / (half - floor))
    outside = crest * (1 - smooth((dist - half) / outer))
    g.add[w] += t * np.where(dist < half, inside, outside)
    if rough:
        bared = smooth((dist - floor - 0.15 * half) / (0.5 * (half - floor))) * (
            1 - smooth((dist - half - 6) / 12)
        )
        g.rock[w] *= 1 - t * (1 - smooth((dist - floor) / (0.3 * half)))
        g.bare(w, t * bared)
    return Planted("trough", "real", line, half, depth_m, width_m, fade > 0.97, floor_half_m=floor)


def ledge(
    rng: np.random.Generator, g: Ground, line: Grid, rough: bool, *, height_m: float, run_m: float
) -> Planted:
    """A curved step: a block that rises gently from behind and drops ``height_m`` over ``run_m`` to sand on one side."""
    side, back = rng.choice([-1, 1]), rng.uniform(40, 70)
    w = g.window(line, back + 20)
    _, signed, index = frame(line, g.x[w], g.y[w])
    u = signed * side
    fade = taper(len(line), 25.0)
    t = fade[index]
    face = smooth(0.5 - u / run_m)
    block = 1 - smooth((-u - run_m / 2) / back)
    g.add[w] += t * height_m * face * block
    if rough:
        g.rock[w] *= 1 - t * smooth((u - run_m / 2) / 2.0) * (1 - smooth((u - 25) / 10))
        g.bare(w, t * smooth(0.5 - u / run_m) * (1 - smooth((-u - 8) / 15)))
    return Planted("ledge", "real", line, run_m / 2, height_m, np.nan, fade > 0.97, down_sign=int(side))


def pile(
    rng: np.random.Generator, g: Ground, at: Grid, rough: bool, *, height_m: float, radius_m: float
) -> Planted:
    """A rock pile with a rounded top; with ``rough``, knobbly."""
    w = g.window(at, radius_m * 1.6)
    dx, dy = g.x[w] - at[0, 0], g.y[w] - at[0, 1]
    stretch, turn = rng.uniform(1, 1.35), rng.uniform(0, np.pi)
    a, b = dx * np.cos(turn) + dy * np.sin(turn), -dx * np.sin(turn) + dy * np.cos(turn)
    r = np.hypot(a / stretch, b) / radius_m
    g.add[w] += height_m * (1 - smooth(r)) ** 0.8
    if rough:
        g.bare(w, 1 - smooth((r - 0.5) / 0.4))
    return Planted("rise", "real", at, radius_m * stretch, height_m, 2 * radius_m, np.array([True]))


def boulder_field(rng: np.random.Generator, g: Ground, at: Grid, rough: bool, *, top_m: float) -> Planted:
    """Boulders close together, the tallest ``top_m``: one place, though it has many tops."""
    reach = rng.uniform(12, 18)
    least = 2.2 * g.cell_m
    w = g.window(at, reach + 12)
    field = np.zeros_like(g.add[w])
    spots: list[Grid] = [np.zeros(2)]
    for _ in range(200):
        p = rng.uniform(-reach, reach, 2)
        if np.hypot(*p) < reach and min(np.hypot(*(p - q)) for q in spots) > 2.6 * least:
            spots.append(p)
    for i, p in enumerate(spots[:14]):
        height = top_m if i == 0 else rng.uniform(0.4, 1.0) * top_m
        r = np.hypot(g.x[w] - at[0, 0] - p[0], g.y[w] - at[0, 1] - p[1]) / max(least, rng.uniform(2, 5))
        field = np.maximum(field, height * np.sqrt(np.clip(1 - r**2, 0, None)))
    g.add[w] += field
    return Planted("rise", "real", at, reach + least, top_m, 2 * reach, np.array([True]))


def rubble(rng: np.random.Generator, g: Ground, line: Grid, rough: bool, *, height_m: float) -> Planted:
    """A rubble ridge that runs out from shallow water: a narrow crest, faces of about 45 degrees, knobs on them."""
    top, face = rng.uniform(1.5, 3), height_m * rng.uniform(0.8, 1.1)
    w = g.window(line, 20)
    dist, _, index = frame(line, g.x[w], g.y[w])
    fade = np.minimum(1, (len(line) - 1 - np.arange(len(line))) * STEP / 12)
    t = smooth(fade)[index]
    body = t * height_m * (1 - np.clip((dist - top) / face, 0, 1))
    g.add[w] += body * (1 + 0.12 * rng.standard_normal(body.shape))
    g.bare(w, t * (dist < top + face))
    return Planted("rubble", "real", line, top + face, height_m, 2 * (top + face), fade > 0.97)


def gully_line(rng: np.random.Generator, width_m: float, *, sinuous: bool) -> Grid:
    """A centre line no bend of which is tighter than the gully is wide."""
    length = max(rng.uniform(110, 220), 5 * width_m)
    swing = rng.uniform(0.35, 0.8) if sinuous else rng.uniform(0, 0.04)
    wave = max(rng.uniform(80, 170), 2 * np.pi * swing * 1.1 * width_m)
    return winding(
        rng, length, swing_rad=swing, wave_m=wave, turn_rad=rng.uniform(-0.3, 0.3) if sinuous else 0.0
    )


def ledge_line(rng: np.random.Generator, *, curved: bool) -> Grid:
    """An arc, or nearly a straight line."""
    length = rng.uniform(110, 200)
    turn = rng.uniform(0.4, 1.3) * rng.choice([-1, 1]) if curved else rng.uniform(-0.05, 0.05)
    return winding(rng, length, swing_rad=0.08 if curved else 0.0, wave_m=70, turn_rad=turn)
