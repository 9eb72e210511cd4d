"""Ground made by other processes than planting: what a list is worth where no one drew the structures.

``platform``: a wave-cut platform whose joints bound plucked and standing blocks, gullies along some of them, sand in its lows.
``strata``: dipping beds, a scarp at each hard one, its height varying along the strike, notches across.
``reef``: patch reefs on sand and a front of spurs and grooves.
``lag``: outcrops with cliffs and scree, and boulders of all sizes about them.
Each gives the noise-free surface alone; see `unseen.manners` for how it is surveyed.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from unseen.bed import axes
from unseen.fields import fractal, patches, smoothstep, soft

Grid = NDArray[np.float64]
Rng = np.random.Generator


def _sand(rng: Rng, x: Grid, y: Grid, *, near_m: float, far_m: float) -> Grid:
    """Sand that sinks from one side to the other, undulates by a few decimetres and carries low sand waves in places."""
    b = rng.uniform(0, 2 * np.pi)
    s = x * np.sin(b) + y * np.cos(b)
    s = (s - s.min()) / (s.max() - s.min())
    cell = x[0, 1] - x[0, 0]
    sand = 0.25 * soft(rng, x.shape, 60 / cell)
    b, wave = rng.uniform(0, np.pi), rng.uniform(14, 40)
    crests = np.sin(2 * np.pi * (x * np.sin(b) + y * np.cos(b) + 3 * soft(rng, x.shape, 25 / cell)) / wave)
    sand += patches(rng, x.shape, 60 / cell, 0.3) * min(0.35, 0.012 * wave) * crests
    return np.asarray(-(near_m + (far_m - near_m) * s) + sand)


def _turned(rng: Rng, x: Grid, y: Grid, bearing: float, warp_m: float, scale_m: float) -> Grid:
    """Distance along a bearing, warped so that its lines bend."""
    cell = x[0, 1] - x[0, 0]
    return np.asarray(x * np.sin(bearing) + y * np.cos(bearing) + warp_m * soft(rng, x.shape, scale_m / cell))


def _spacing(rng: Rng, span: tuple[float, float], mean_m: float) -> Grid:
    """Places along a line, log-normally spaced."""
    gaps = mean_m * rng.lognormal(-0.12, 0.5, int(3 * (span[1] - span[0]) / mean_m) + 10)
    return np.asarray(span[0] + np.cumsum(np.clip(gaps, 0.3 * mean_m, None)) - mean_m)


def platform(rng: Rng, x: Grid, y: Grid) -> Grid:
    """Joint-bounded blocks and gullies."""
    cell = x[0, 1] - x[0, 0]
    sand = _sand(rng, x, y, near_m=rng.uniform(4, 6), far_m=rng.uniform(13, 17))
    first = rng.uniform(0, np.pi)
    u = _turned(rng, x, y, first, 4, 45)
    v = _turned(rng, x, y, first + rng.uniform(1.1, 1.7), 4, 45)
    cu, cv = (
        _spacing(rng, (u.min(), u.max()), rng.uniform(28, 50)),
        _spacing(rng, (v.min(), v.max()), rng.uniform(35, 70)),
    )
    iu, iv = np.searchsorted(cu, u), np.searchsorted(cv, v)
    shape = (len(cu) + 1, len(cv) + 1)
    block = rng.normal(0, 0.25, shape)
    kind = rng.random(shape)
    block = np.where(kind < 0.14, block - rng.uniform(0.3, 2.2, shape), block)
    block = np.where(kind > 0.9, block + rng.uniform(0.3, 1.8, shape), block)
    tilt = rng.normal(0, 0.012, (2, *shape))
    rock = sand + 0.9 * soft(rng, x.shape, 90 / cell) + 0.4 + gaussian_filter(block[iu, iv], 0.7 / cell)
    rock += tilt[0][iu, iv] * (u - cu[np.clip(iu, 0, len(cu) - 1)]) + tilt[1][iu, iv] * (
        v - cv[np.clip(iv, 0, len(cv) - 1)]
    )
    for w, c, other, share in ((u, cu, v, 0.5), (v, cv, u, 0.3)):
        for at in c:
            if rng.random() > share:
                continue
            s = (other - other.min()) / 60 + rng.uniform(0, 50)
            deep = np.exp(rng.uniform(np.log(0.4), np.log(2.8))) * np.clip(
                0.5 + 0.9 * np.sin(s * rng.uniform(0.6, 1.3)) * np.cos(0.7 * s), 0, 1
            )
            half, wall = rng.uniform(1.0, 4.5), rng.uniform(1.0, 3.5)
            rock -= deep * smoothstep((half + wall - np.abs(w - at)) / wall)
    rock += 0.16 * fractal(rng, x.shape, power=3.0, outer_cells=25 / cell)
    return np.maximum(rock, sand + 0.05 * soft(rng, x.shape, 8 / cell))


def strata(rng: Rng, x: Grid, y: Grid) -> Grid:
    """Cuestas of dipping beds."""
    cell = x[0, 1] - x[0, 0]
    sand = _sand(rng, x, y, near_m=rng.uniform(4.5, 7), far_m=rng.uniform(13, 17))
    t = _turned(rng, x, y, rng.uniform(0, 2 * np.pi), rng.uniform(10, 35), 120)
    beds = _spacing(rng, (t.min(), t.max()), rng.uniform(50, 95))
    i = np.clip(np.searchsorted(beds, t) - 1, 0, len(beds) - 2)
    width = beds[i + 1] - beds[i]
    share = np.clip((t - beds[i]) / width, 0, 1)
    tall = np.exp(rng.uniform(np.log(0.3), np.log(3.4), len(beds)))[i] * np.clip(
        0.75 + 0.5 * soft(rng, x.shape, 60 / cell), 0.05, 1.5
    )
    face = np.clip(rng.uniform(1.5, 9, len(beds))[i] / width, 0.02, 0.4)
    tall = np.minimum(tall, 0.055 * width)
    saw = np.where(share < 1 - face, share / (1 - face), smoothstep((1 - share) / face))
    rock = sand + 0.2 + tall * (saw - 0.45) + 0.5 * soft(rng, x.shape, 100 / cell)
    across = _turned(rng, x, y, rng.uniform(0, np.pi), 12, 60)
    for at in _spacing(rng, (across.min(), across.max()), 160):
        half = rng.uniform(3, 8)
        rock -= (
            rng.uniform(0.5, 2.0)
            * smoothstep((2 * half - np.abs(across - at)) / half)
            * (patches(rng, x.shape, 50 / cell, 0.4) > 0.5)
        )
    rock += 0.12 * fractal(rng, x.shape, power=3.0, outer_cells=20 / cell)
    rock = gaussian_filter(rock, 0.8 / cell)
    return np.maximum(rock, sand + 0.04 * soft(rng, x.shape, 6 / cell))


def reef(rng: Rng, x: Grid, y: Grid) -> Grid:
    """Patch reefs, and a front of spurs and grooves."""
    cell = x[0, 1] - x[0, 0]
    sand = _sand(rng, x, y, near_m=rng.uniform(5, 7), far_m=rng.uniform(13, 17))
    z = sand + 0.05 * soft(rng, x.shape, 5 / cell)
    knobs = fractal(rng, x.shape, power=2.6, outer_cells=18 / cell)
    bend = soft(rng, x.shape, 6 / cell)
    for _ in range(rng.integers(35, 60)):
        radius = float(np.exp(rng.uniform(np.log(5), np.log(38))))
        height = min(float(np.exp(rng.uniform(np.log(0.35), np.log(4)))), 0.5 * radius)
        cx, cy = rng.uniform(0, x.max()), rng.uniform(y.min(), 0)
        r = np.hypot((x - cx) * rng.uniform(0.7, 1), y - cy) + 0.16 * radius * bend
        side = height * rng.uniform(0.6, 2.5)
        body = 1 - smoothstep((r - radius + side / 2) / side)
        moat = 0.3 * np.exp(-(((r - radius - 6) / 6) ** 2))
        z = np.maximum(z - moat, sand + body * (height + 0.3 * knobs * (r < radius)))
    b = rng.uniform(0, 2 * np.pi)
    front = _turned(rng, x, y, b, 12, 80)
    along = _turned(rng, x, y, b + np.pi / 2, 3, 40)
    at, length = np.quantile(front, rng.uniform(0.45, 0.7)), rng.uniform(70, 130)
    share = (front - at) / length
    envelope = smoothstep((share + 0.15) / 0.15) * (1 - smoothstep((share - 0.7) / 0.3))
    cuts = _spacing(rng, (along.min(), along.max()), rng.uniform(24, 40))
    j = np.clip(np.searchsorted(cuts, along) - 1, 0, len(cuts) - 2)
    middle = (along - cuts[j]) / (cuts[j + 1] - cuts[j])
    spur = smoothstep((0.5 - np.abs(middle - 0.5)) * (cuts[j + 1] - cuts[j]) / rng.uniform(3, 7) - 0.4)
    tall = rng.uniform(0.2, 2.6, len(cuts))[j]
    return np.maximum(z, sand + envelope * spur * (tall + 0.2 * knobs))


def lag(rng: Rng, x: Grid, y: Grid) -> Grid:
    """Outcrops with cliffs and scree, boulders about them."""
    cell = x[0, 1] - x[0, 0]
    sand = _sand(rng, x, y, near_m=rng.uniform(4.5, 7), far_m=rng.uniform(13, 17))
    z = sand + 0.04 * soft(rng, x.shape, 6 / cell)
    hill = gaussian_filter(fractal(rng, x.shape, power=4.0, outer_cells=260 / cell), 4 / cell)
    steps = np.quantile(hill, [0.72, 0.86, 0.95])
    out = np.zeros_like(z)
    for cut in steps:
        tall = np.clip(0.9 + 0.8 * soft(rng, x.shape, 90 / cell), 0.0, 3.4)
        run = gaussian_filter(np.hypot(*np.gradient(hill, cell)), 8 / cell)
        out += tall * smoothstep((hill - cut) / (run * rng.uniform(3, 14)) + 0.5)
    scree = gaussian_filter(out, 5 / cell)
    out = np.maximum(out, np.where(patches(rng, x.shape, 60 / cell, 0.5) > 0.5, scree, 0))
    z += out + 0.12 * fractal(rng, x.shape, power=2.8, outer_cells=15 / cell) * (out > 0.3)
    spots = gaussian_filter(rng.standard_normal(x.shape), 30 / cell)
    weight = np.exp(2.2 * spots / spots.std())
    for i in rng.choice(x.size, 260, p=(weight / weight.sum()).ravel()):
        radius = min(1.6 * rng.pareto(2.0) + 1.0, 9.0)
        row, col = divmod(int(i), x.shape[1])
        n = int(radius * 1.4 / cell) + 2
        w = (slice(max(0, row - n), row + n + 1), slice(max(0, col - n), col + n + 1))
        r = np.hypot(x[w] - x.flat[i], (y[w] - y.flat[i]) * rng.uniform(0.7, 1.3)) / radius
        z[w] = np.maximum(
            z[w], z[row, col] + radius * rng.uniform(0.4, 0.9) * np.sqrt(np.clip(1 - r**2, 0, None)) * 0.9
        )
    return z


PROCESSES: dict[str, Callable[[Rng, Grid, Grid], Grid]] = {
    "platform": platform, "strata": strata, "reef": reef, "lag": lag,
}  # fmt: skip


def ground(name: str, seed: int, *, cell_m: float = 2.0, cells: int = 512) -> Grid:
    """The noise-free surface of one process."""
    rng = np.random.default_rng([43, list(PROCESSES).index(name), seed])
    return np.asarray(PROCESSES[name](rng, *axes(cells, cells, cell_m)))
