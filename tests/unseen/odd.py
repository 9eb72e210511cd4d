"""Ground at the edge of what a finder is made for. Each grid says what may be listed on it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from unseen.bed import axes
from unseen.fields import fractal, patches, smoothstep, soft

Grid = NDArray[np.float64]


@dataclass(frozen=True)
class Odd:
    """A grid; ``rock`` (n, 2) are places that should be near some site, ``empty`` says that nothing may be listed."""

    elev: Grid
    cell_m: float
    empty: bool = False
    rock: tuple[tuple[float, float], ...] = ()


def tiny_cells(rng: np.random.Generator) -> Odd:
    """Cells of 0.2 m: a ledge of 1.6 m, a boulder of 1.5 m, small stuff all over."""
    x, y = axes(600, 600, 0.2)
    z = (
        -8
        - 0.01 * x
        + 0.06 * fractal(rng, x.shape, power=3, outer_cells=30)
        + 0.02 * rng.standard_normal(x.shape)
    )
    z += 1.6 * smoothstep((x - 92) / 2.0) * (1 - smoothstep((x - 98) / 34))
    z += 1.5 * (1 - smoothstep((np.hypot(x - 20, y + 60) - 1) / 2.2))
    return Odd(z, 0.2, rock=((92.0, -60.0), (20.0, -60.0)))


def huge_cells(rng: np.random.Generator) -> Odd:
    """Cells of 100 m: banks and basins, nothing that such cells could show."""
    x, _ = axes(160, 160, 100)
    return Odd(
        -9 - 0.0002 * x + 1.5 * soft(rng, x.shape, 12) + 0.05 * rng.standard_normal(x.shape),
        100.0,
        empty=True,
    )


def even_slope(rng: np.random.Generator) -> Odd:
    """One slope of 10 degrees and its noise."""
    x, y = axes(320, 320, 2.0)
    down = (x * 0.8 - y * 0.6) * np.tan(np.radians(10))
    return Odd(-(down - down.min()) - 2 + 0.05 * rng.standard_normal(x.shape), 2.0, empty=True)


def canyon_wall(rng: np.random.Generator) -> Odd:
    """A wall of 40 degrees from a shelf at 8 m to 70 m."""
    x, y = axes(320, 320, 2.0)
    off = x + 0.3 * y - 260 + 12 * soft(rng, x.shape, 30)
    z = (
        -8
        - 0.008 * np.clip(off, None, 0) * -1
        - np.clip(off, 0, 74) * np.tan(np.radians(40))
        - 0.02 * np.clip(off, 0, None)
    )
    return Odd(
        z + 0.15 * fractal(rng, x.shape, power=3, outer_cells=20) + 0.05 * rng.standard_normal(x.shape), 2.0
    )


def ending(depth_m: float, *, at_edge: bool, last: float = 0.45) -> Odd:
    """A slope that steepens evenly seaward, from 1 in 50 to ``last``, and data that end on its deep side: no foot is seen, so nothing
    may be made of the end."""
    rng = np.random.default_rng([55, int(depth_m), at_edge])
    x, y = axes(320, 320, 2.0)
    off = np.clip(x - 120 if at_edge else x + 0.35 * y, 0, None)
    first = 0.4 * depth_m
    length = (depth_m - first) / (0.02 + (last - 0.02) / 2)
    z = -first - 0.02 * off - (last - 0.02) / (2 * length) * off**2
    z[z < -depth_m] = np.nan
    if at_edge:
        z = z[:, : int(np.isfinite(z).any(0).sum())]
    return Odd(z + 0.04 * rng.standard_normal(z.shape), 2.0, empty=True)


def long_face(rng: np.random.Generator) -> Odd:
    """A face 190 m long at 1 in 7, from a shelf at 3 m: longer than any face one would call a ledge."""
    x, y = axes(320, 320, 2.0)
    off = x - 200 + 6 * soft(rng, x.shape, 30)
    z = -3 - 26 * smoothstep(off / 190) - 0.005 * x
    return Odd(z + 0.05 * rng.standard_normal(x.shape), 2.0)


def reef_front(rng: np.random.Generator) -> Odd:
    """A front of 10.5 m in 85 m, between flats at 3.5 m and 14 m: one face, its foot in the band."""
    x, y = axes(320, 320, 2.0)
    off = x - 250 + 6 * soft(rng, x.shape, 30)
    z = -3.4 - 10.4 * np.clip(off / 85, 0, 1) - 0.0004 * x
    z += 0.08 * fractal(rng, x.shape, power=3, outer_cells=15) + 0.05 * rng.standard_normal(x.shape)
    return Odd(z, 2.0, rock=tuple((335.0, -float(v)) for v in range(80, 600, 80)))


def full_of_holes(elev: Grid, rng: np.random.Generator) -> Grid:
    """A grid with a third of its cells unknown: clumps, stripes and single ones."""
    lost = (patches(rng, elev.shape, 6, 0.3, 0.05) > 0.5) | (rng.random(elev.shape) < 0.01)
    lost[:, ::61] = True
    return np.where(lost, np.nan, elev)


def grids(seed: int) -> dict[str, Odd]:
    """All but the grid of holes, by name."""
    makers = {
        "cells of 0.2 m": tiny_cells, "cells of 100 m": huge_cells, "slope of 10 degrees": even_slope,
        "canyon wall": canyon_wall, "face of 190 m": long_face,
        "front of 10 m in 85 m": reef_front,
    }  # fmt: skip
    out = {name: make(np.random.default_rng([54, i, seed])) for i, (name, make) in enumerate(makers.items())}
    for depth in (4.0, 8.0, 20.0):
        for at_edge in (False, True):
            for last in (0.15, 0.45):
                how = f"{'edge' if at_edge else 'unknown'}, 1 in {1 / last:.0f}"
                out[f"data end at {depth:g} m, {how}"] = ending(depth, at_edge=at_edge, last=last)
    return out
