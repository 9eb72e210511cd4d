"""Ground under weed, fish or a false bottom: cells or small blobs of them that each stand metres over the bottom, in patches.

Not one of the sets of `planted.sets`: those are what the finder's figures are told on. Here real structures stand on plain sand, at least
100 m from any patch; a site on a patch is wrong.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from planted import sets
from planted.truth import Planted, Seabed

Grid = NDArray[np.float64]

CELLS_M = (1.0, 2.0, 4.0, 8.0)


@dataclass(frozen=True)
class Growth:
    """How a patch is overgrown: share of blobs that hold something, cells across a blob, law of the heights, up only or both ways."""

    density: float
    blob: int
    law: str
    both_ways: bool


def drawn(rng: np.random.Generator) -> Growth:
    """One of the kinds, each as likely."""
    return Growth(
        float(rng.choice([0.1, 0.3, 0.6, 1.0])),
        int(rng.integers(1, 4)),
        str(rng.choice(["exponential", "uniform"])),
        bool(rng.random() < 0.25),
    )


def overgrown(rng: np.random.Generator, shape: tuple[int, int], growth: Growth) -> Grid:
    """Heights over the bottom (m): 0.5 to 4 where something stands, 0 elsewhere; each blob its own."""
    b = growth.blob
    tiles = (shape[0] // b + 2, shape[1] // b + 2)
    high = rng.uniform(0.5, 4.0, tiles)
    if growth.law == "exponential":
        high = np.minimum(0.5 + rng.exponential(0.9, tiles), 4.0)
    high *= rng.random(tiles) < growth.density
    if growth.both_ways:
        high *= rng.choice([-1.0, 1.0], tiles)
    r, c = rng.integers(0, b, 2)
    return np.asarray(np.kron(high, np.ones((b, b)))[r : r + shape[0], c : c + shape[1]])


def canopy(seed: int, cell_m: float | None = None, growth: Growth | None = None) -> Seabed:
    """Plain sand with real structures, and apart from them patches 50 to 400 m across under one kind of growth."""
    rng = np.random.default_rng([5, seed])
    cell = float(rng.choice(CELLS_M)) if cell_m is None else cell_m
    growth = drawn(rng) if growth is None else growth
    g = sets._ground(rng, cell)
    taken: list[Planted] = []
    for _ in range(3):
        across = rng.uniform(50, 400)
        at = sets._place(rng, g, np.zeros((1, 2)), taken, 0.5 * across, 4.5, 14.0)
        if at is not None:
            ones = np.array([True])
            taken.append(Planted("canopy", "decoy", at, 0.5 * across, 0.0, across, ones))
    patches = list(taken)
    for kind in ["trough", "ledge", "pile", "field"] * 2:
        sets._structure(rng, g, taken, kind, rough=False, zone="band")
    bed = sets._finish(rng, "canopy", seed, g, 0.0, taken, white=0.05, soft=0.05)
    elev = bed.elev.astype(np.float64)
    ragged = gaussian_filter(rng.standard_normal(g.x.shape), 8 / cell + 0.5)
    ragged /= ragged.std()
    for patch in patches:
        far = np.hypot(g.x - patch.line[0, 0], g.y - patch.line[0, 1])
        inside = far < patch.half_width_m * np.clip(1 + 0.1 * ragged, 0.7, 1.0)
        elev += np.where(inside, overgrown(rng, g.x.shape, growth), 0.0)
    elev = np.where(g.base < 0, np.minimum(elev, np.maximum(-0.5, bed.elev)), elev)
    facts = {"density": growth.density, "blob": float(growth.blob), "both_ways": float(growth.both_ways)}
    return replace(bed, elev=elev.astype(np.float32), facts={**bed.facts, **facts})
