"""Two manners of survey, and weed: each turns a noise-free surface into the grid one would get.

``lidar``: dense, 0.07 to 0.12 m of noise, strips whose heights differ by some centimetres, dropouts that come more often with depth.
``multibeam``: 0.04 m of noise that grows to the swath's edges, seams between swaths, and a ripple along the track from heave.
``kelp``: on a fifth of the area, in clumps, soundings that stop in the canopy: heights of metres that jump from cell to cell.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from unseen.bed import Bed
from unseen.fields import patches, soft
from unseen.process_grounds import PROCESSES, ground

Grid = NDArray[np.float64]
Rng = np.random.Generator


def _track(rng: Rng, shape: tuple[int, int], cell_m: float) -> tuple[Grid, Grid]:
    """Distance across and along the survey lines of every cell."""
    b = rng.uniform(0, np.pi)
    rows, cols = np.mgrid[: shape[0], : shape[1]] * cell_m
    return cols * np.cos(b) + rows * np.sin(b), cols * np.sin(b) - rows * np.cos(b)


def lidar(rng: Rng, true: Grid, cell_m: float) -> Grid:
    """Airborne: noisy, with dropouts."""
    across, _ = _track(rng, true.shape, cell_m)
    strip = np.floor(across / rng.uniform(110, 180)).astype(int)
    offset = rng.normal(0, 0.03, np.ptp(strip) + 1)
    out = true + offset[strip - strip.min()] + rng.uniform(0.07, 0.12) * rng.standard_normal(true.shape)
    lost = patches(rng, true.shape, 7 / cell_m, 0.05, 0.3) * np.clip(-true / 12, 0.2, 1.5)
    out[(lost > 0.5) | (rng.random(true.shape) < 0.01)] = np.nan
    return np.asarray(out)


def multibeam(rng: Rng, true: Grid, cell_m: float) -> Grid:
    """Swaths side by side."""
    across, along = _track(rng, true.shape, cell_m)
    width = rng.uniform(35, 60)
    swath = np.floor(across / width).astype(int)
    swath -= swath.min()
    beam = np.abs(across / width - np.floor(across / width) - 0.5) * 2
    offset, tilt = rng.normal(0, 0.05, swath.max() + 1), rng.normal(0, 0.06, swath.max() + 1)
    phase = rng.uniform(0, 6, swath.max() + 1)
    heave = rng.uniform(0.02, 0.06) * np.sin(2 * np.pi * along / rng.uniform(9, 22) + phase[swath])
    side = across / width - np.floor(across / width) - 0.5
    noise = (0.03 + 0.05 * beam**2) * rng.standard_normal(true.shape)
    return np.asarray(true + offset[swath] + 2 * tilt[swath] * side + heave + noise)


MANNERS: dict[str, Callable[[Rng, Grid, float], Grid]] = {"lidar": lidar, "multibeam": multibeam}


def kelp(rng: Rng, elev: Grid, cell_m: float) -> tuple[Grid, NDArray[np.bool_]]:
    """Soundings that stop in a canopy; also where it stands."""
    cover = patches(rng, elev.shape, 14 / cell_m, 0.2, 0.5)
    stand = cover > 0.5
    dense = cover * np.clip(rng.uniform(0.08, 0.33) + 0.1 * soft(rng, elev.shape, 5 / cell_m), 0.03, 0.8)
    tall = rng.gamma(2.0, 0.8, elev.shape) * np.clip(1 + 0.4 * soft(rng, elev.shape, 3 / cell_m), 0.2, 2)
    hit = rng.random(elev.shape) < dense
    return np.where(hit, np.minimum(elev + tall, np.maximum(elev, -0.3)), elev), stand


def process(
    seed: int,
    *,
    name: str | None = None,
    manner: str | None = None,
    weed: bool = False,
    cell_m: float = 2.0,
    cells: int = 512,
) -> Bed:
    """A surveyed seabed made by a process; by default processes and manners take turns with the seed."""
    name = name or list(PROCESSES)[seed % 4]
    manner = manner or list(MANNERS)[(seed // 4 + seed) % 2]
    true = ground(name, seed, cell_m=cell_m, cells=cells)
    rng = np.random.default_rng([44, seed, list(MANNERS).index(manner)])
    elev = MANNERS[manner](rng, true, cell_m)
    stand = None
    if weed:
        elev, stand = kelp(rng, elev, cell_m)
    return Bed(f"{name}/{manner}{'/kelp' if weed else ''}", seed, cell_m, elev, true, true, canopy=stand)
