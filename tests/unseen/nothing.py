"""Ground with nothing on it to set a net beside: soft, moving, dug, or an artefact of how the grid was made.

Each gives a grid on 2 m cells within the depth band. What is dug or moving has the shape of structure and may be listed low; nothing may be
listed on what is smooth, and an artefact is no place at all.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from unseen.bed import axes
from unseen.fields import smoothstep, soft

Grid = NDArray[np.float64]
Rng = np.random.Generator
CELLS, CELL_M = 400, 2.0


def _shelf(rng: Rng, depth: tuple[float, float] = (7.0, 11.0)) -> tuple[Grid, Grid, Grid]:
    x, y = axes(CELLS, CELLS, CELL_M)
    s = (x + 0.4 * y - (x + 0.4 * y).min()) / np.ptp(x + 0.4 * y)
    z = -(depth[0] + (depth[1] - depth[0]) * s) + 0.05 * soft(rng, x.shape, 25)
    return x, y, z + 0.04 * rng.standard_normal(x.shape)


def shelf_with_seams(rng: Rng) -> Grid:
    """A flat shelf in swaths whose heights differ by some decimetres."""
    x, y, z = _shelf(rng)
    swath = np.floor((x + 0.3 * y) / 45).astype(int)
    return np.asarray(z + rng.normal(0, 0.12, 2000)[swath - swath.min()])


def tidal_flat(rng: Rng) -> Grid:
    """A flat cut by broad shallow swales, none steeper than 1 in 20."""
    x, y, z = _shelf(rng, (4.5, 6.5))
    return np.asarray(z + 0.45 * soft(rng, x.shape, 28))


def waves(length_m: float, height_m: float) -> Callable[[Rng], Grid]:
    """Sand waves with steeper lee sides and crests that wander."""

    def ground(rng: Rng) -> Grid:
        x, y, z = _shelf(rng)
        b = rng.uniform(0, np.pi)
        s = (x * np.sin(b) + y * np.cos(b) + 0.12 * length_m * soft(rng, x.shape, length_m)) / length_m % 1
        form = np.where(s < 0.68, smoothstep(s / 0.68), smoothstep((1 - s) / 0.32))
        return np.asarray(z + height_m * (1 + 0.25 * soft(rng, x.shape, length_m)) * (form - 0.5))

    return ground


def pasted(rng: Rng) -> Grid:
    """A rectangle of one constant value put over the ground."""
    _, _, z = _shelf(rng)
    z[120:220, 90:260] = -8.0
    return z


def clipped(rng: Rng) -> Grid:
    """Heights cut off flat at one depth, and a margin that repeats the last row."""
    x, _, z = _shelf(rng, (6.0, 16.0))
    z = np.maximum(z + 2.0 * soft(rng, x.shape, 50), -12.0)
    z[-20:] = z[-21]
    z[:, -20:] = z[:, [-21]]
    return z


def dredged_trench(rng: Rng) -> Grid:
    """A straight even channel with sides of 1 in 3."""
    x, y, z = _shelf(rng)
    off = np.abs((x - 400) * np.cos(0.5) + (y + 400) * np.sin(0.5))
    return np.asarray(z - 2.5 * np.clip((18 - off) / 7.5, 0, 1))


def dredge_pits(rng: Rng) -> Grid:
    """Pits side by side as a dredger leaves them."""
    x, y, z = _shelf(rng)
    for i in range(5):
        for j in range(4):
            r = np.hypot(x - 180 - 95 * i, y + 200 + 100 * j)
            z -= 2.0 * (1 - smoothstep((r - 14) / 12))
    return z


def spoil_heaps(rng: Rng) -> Grid:
    """Smooth cones dropped from a barge in a row."""
    x, y, z = _shelf(rng)
    for i in range(14):
        r = np.hypot(x - rng.uniform(80, 720), y + 300 + 12 * (i % 3) + rng.uniform(-60, 60))
        z += rng.uniform(1.2, 2.2) * np.exp(-0.5 * (r / rng.uniform(14, 20)) ** 2)
    return z


def pockmarks(rng: Rng) -> Grid:
    """Round hollows where gas came up through mud."""
    x, y, z = _shelf(rng)
    for _ in range(40):
        r = np.hypot(x - rng.uniform(40, 760), y + rng.uniform(40, 760))
        z -= rng.uniform(0.5, 1.5) * np.exp(-0.5 * (r / rng.uniform(9, 16)) ** 2)
    return z


SMOOTH = {"flat shelf with seams": shelf_with_seams, "tidal flat": tidal_flat}
MOVING = {
    "sand waves 25 m": waves(25, 0.6), "sand waves 60 m": waves(60, 1.4), "dunes 120 m": waves(120, 3.0),
    "dunes 200 m": waves(200, 4.0),
}  # fmt: skip
ARTEFACT = {"pasted rectangle": pasted, "clipped edge": clipped}
DUG = {
    "dredged trench": dredged_trench, "dredge pits": dredge_pits, "spoil heaps": spoil_heaps,
    "pockmarks": pockmarks,
}  # fmt: skip


def grids(seed: int) -> dict[str, Grid]:
    """All of them by name."""
    makers = SMOOTH | MOVING | ARTEFACT | DUG
    return {name: make(np.random.default_rng([53, i, seed])) for i, (name, make) in enumerate(makers.items())}
