"""Ground with structures planted on it.

``plain``: smooth sand that slopes gently, clean troughs, ledges and piles well apart, swell and gentle banks as decoys, white noise.
``hard``: fractal rock over most of the ground, slopes up to 1 in 10, curved troughs, ledges whose height varies along them with faces 2 to
25 m wide, piles of 1 to 4 m; half of the grid comes from a survey several times coarser; holes, correlated noise, outliers of the swath kind.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, maximum_filter, zoom

from unseen import planting
from unseen.bed import ASKED_M, BAND, Bed, Planted, axes
from unseen.fields import fractal, patches, soft
from unseen.planting import Plot
from unseen.standing import near, standing

Grid = NDArray[np.float64]


def swell(rng: np.random.Generator, x: Grid, y: Grid) -> Grid:
    """A low swell: rounded waves of up to 1.8 m, whose climb from trough to crest passes a sight line of 1 in 20 by 0.3 m at most."""
    wave = rng.uniform(55, 160)
    height = min(1.8, 0.025 * wave + rng.uniform(-0.3, 0.3))
    b = rng.uniform(0, np.pi)
    s = x * np.sin(b) + y * np.cos(b)
    return np.asarray(height / 2 * np.sin(2 * np.pi * s / wave + rng.uniform(0, 6)))


def banks(rng: np.random.Generator, x: Grid, y: Grid, count: int) -> Grid:
    """Gentle banks of 1.5 to 3 m, nowhere steeper than 1 in 25."""
    out = np.zeros_like(x)
    for _ in range(count):
        height = rng.uniform(1.5, 3)
        scale = height * rng.uniform(16, 26)
        u = np.hypot(x - rng.uniform(0, x.max()), y - rng.uniform(y.min(), 0)) / scale
        out += height * np.exp(-0.5 * u**2)
    return out


def sloping(
    rng: np.random.Generator, x: Grid, y: Grid, *, near_m: float, far_m: float, curve: float = 0.0
) -> Grid:
    """Heights that sink from one side to the other, the far part ``curve`` times steeper than on the mean."""
    b = rng.uniform(0, 2 * np.pi)
    s = x * np.sin(b) + y * np.cos(b)
    s = (s - s.min()) / (s.max() - s.min())
    share = s if not curve else np.log1p(np.exp((s - 0.62) / 0.05)) * 0.05 * curve + s * 0.45
    share = (share - share.min()) / (share.max() - share.min())
    return np.asarray(-(near_m + (far_m - near_m) * share))


def _tall(rng: np.random.Generator, most: float) -> float:
    """A height of 1.1 m to the most, low ones more often."""
    return float(np.exp(rng.uniform(np.log(1.1), np.log(most))))


def _trough(rng: np.random.Generator, plot: Plot, *, hard: bool, apart_m: float) -> None:
    depth = _tall(rng, 3.2) if hard else rng.uniform(1.2, 3.2)
    wall = max(depth * rng.uniform(1.0, 3.0), 1.5 * plot.cell_m)
    floor = rng.uniform(3, 12)
    line = planting.winding(
        rng, rng.uniform(70, 140), bend=rng.uniform(0.2, 0.7) if hard else rng.uniform(0, 0.25)
    )
    spot = planting.place(
        rng, plot, line, apart_m=apart_m + floor / 2 + wall, depth=(BAND[0] + 1, BAND[1] - 1 - depth)
    )
    if spot is not None:
        planting.trough(plot, spot, depth_m=depth, floor_m=floor, wall_m=wall)


def _ledge(rng: np.random.Generator, plot: Plot, *, hard: bool, apart_m: float) -> None:
    top = _tall(rng, 4.0) if hard else rng.uniform(1.2, 4.0)
    face = rng.uniform(2, 25) if hard else rng.uniform(2, 10)
    face = max(min(face, top / 0.14), 2.0)
    line = planting.winding(rng, rng.uniform(90, 170), bend=rng.uniform(0.1, 0.6) if hard else 0.1)
    heights = np.full(len(line), top)
    if hard:
        s = np.linspace(0, 1, len(line))
        heights = np.clip(
            top * (1 + 0.25 * np.sin(2 * np.pi * (s * rng.uniform(0.5, 1.5) + rng.random()))), 1.0, 4.0
        )
    spot = planting.place(rng, plot, line, apart_m=apart_m, depth=(BAND[0] + 1.2, BAND[1] - 1))
    if spot is not None:
        planting.ledge(plot, spot, heights, face_m=face)


def _rise(rng: np.random.Generator, plot: Plot, *, hard: bool, apart_m: float) -> None:
    height = _tall(rng, 4.0) if hard else rng.uniform(1.2, 4.0)
    side = max(height * rng.uniform(0.8, 2.2), 1.5 * plot.cell_m)
    top = rng.uniform(0.5, 5)
    spot = planting.place(
        rng,
        plot,
        np.zeros((1, 2)),
        apart_m=apart_m + top + side,
        depth=(BAND[0] + height * 0.5 + 0.5, BAND[1] - 1),
    )
    if spot is not None:
        stretch, turn = rng.uniform(1, 1.5), rng.uniform(0, np.pi)
        planting.rise(plot, spot, height_m=height, top_m=top, side_m=side, stretch=stretch, turn=turn)


MAKERS = {"trough": _trough, "ledge": _ledge, "rise": _rise}


def _settle(
    planted: list[Planted], shown: Grid, known: NDArray[np.bool_], cell_m: float
) -> tuple[Planted, ...]:
    """A structure is *real* if the survey without its noise shows it a little higher than asked, in band and on known ground."""
    face = standing(shown, cell_m).face
    out = []
    for p in planted:
        rows, cols = (-p.foot[:, 1] / cell_m).astype(int), (p.foot[:, 0] / cell_m).astype(int)
        depth = -shown[rows, cols]
        in_band = np.mean((depth > BAND[0] + 0.3) & (depth < BAND[1] - 0.3)) > 0.6
        tall = [near(face, x, y, cell_m=cell_m, within_m=12) for x, y in p.foot[:: max(1, len(p.foot) // 8)]]
        shows = np.median(tall) >= 1.05 * ASKED_M
        out.append(
            replace(p, role="real" if in_band and shows and known[rows, cols].mean() > 0.8 else "optional")
        )
    return tuple(out)


def plain(seed: int, *, cell_m: float = 2.0, cells: int = 512) -> Bed:
    """Clean structures on smooth sand; some 15 in a square kilometre."""
    rng = np.random.default_rng([41, seed])
    x, y = axes(cells, cells, cell_m)
    z = sloping(rng, x, y, near_m=rng.uniform(3, 5), far_m=rng.uniform(14, 18))
    z += swell(rng, x, y) + banks(rng, x, y, 4) + 0.06 * soft(rng, x.shape, 40 / cell_m)
    plot = Plot(x, y, z, cell_m, np.zeros_like(x))
    room = cells * cell_m / 1024
    for kind in ["trough", "ledge", "rise"] * round(7 * room**2):
        MAKERS[kind](rng, plot, hard=False, apart_m=100.0)
    true = plot.z
    elev = true + rng.uniform(0.03, 0.08) * rng.standard_normal(x.shape)
    return Bed(
        "plain", seed, cell_m, elev, true, true, _settle(plot.planted, true, np.isfinite(elev), cell_m)
    )


def hard(seed: int, *, cell_m: float = 2.0, cells: int = 576) -> Bed:
    """Structures on fractal rock, half of it surveyed coarsely; some 40 in the plot."""
    rng = np.random.default_rng([42, seed])
    x, y = axes(cells, cells, cell_m)
    steep = rng.uniform(0, 1) < 0.6
    z = sloping(
        rng,
        x,
        y,
        near_m=rng.uniform(3, 5),
        far_m=rng.uniform(34, 46) if steep else 15.5,
        curve=3.0 if steep else 0.0,
    )
    z += swell(rng, x, y) + banks(rng, x, y, 4)
    plot = Plot(x, y, z, cell_m, patches(rng, x.shape, 60 / cell_m, 0.65))
    kinds = ["trough", "ledge", "rise"]
    for _ in range(36):
        for kind in kinds:
            MAKERS[kind](rng, plot, hard=True, apart_m=66.0)
    rough = fractal(rng, x.shape, power=rng.uniform(2.4, 3.4), outer_cells=rng.uniform(35, 70) / cell_m)
    texture = _tamed(rough * 0.5, cell_m, rng.uniform(0.65, 0.88))
    true = plot.z + texture * (0.1 + 0.9 * plot.rock)
    coarse = np.zeros(x.shape, bool)
    coarse[: cells // 2] = True
    coarse = np.rot90(coarse, rng.integers(4)).copy()
    step = int(rng.choice([3, 4]))
    soft_noise = 0.05 * soft(rng, x.shape, 2.0) + rng.uniform(0.05, 0.09) * rng.standard_normal(x.shape)
    shown = np.where(coarse, _coarser(true, step), true)
    elev = np.where(coarse, _coarser(true + soft_noise, step), true + soft_noise)
    holes = patches(rng, x.shape, 10 / cell_m, 0.025, 0.01) > 0.5
    holes |= rng.random(x.shape) < 0.004
    elev[holes & (~coarse | (rng.random() < 0.3))] = np.nan
    planted = _settle(plot.planted, shown, np.isfinite(elev), cell_m)
    return Bed("hard", seed, cell_m, elev, true, shown, planted, facts={"coarse_step": step})


def _tamed(rough: Grid, cell_m: float, most_m: float) -> Grid:
    """Rock texture that by itself has steps of nearly ``most_m`` all over and hardly any taller ones."""
    rough = rough * most_m / np.quantile(standing(rough, cell_m).loose, 0.98)
    for _ in range(3):
        tall = maximum_filter(standing(rough, cell_m).loose, size=int(24 / cell_m) + 1)
        less = gaussian_filter(np.minimum(1, most_m / np.maximum(tall, 1e-6)), 6 / cell_m, mode="nearest")
        rough = rough * less
    return np.asarray(rough)


def _coarser(z: Grid, step: int) -> Grid:
    """Means of ``step`` by ``step`` cells, joined by straight lines between their centres."""
    rows, cols = (-(-n // step) for n in z.shape)
    padded = np.pad(z, [(0, rows * step - z.shape[0]), (0, cols * step - z.shape[1])], mode="edge")
    small = padded.reshape(rows, step, cols, step).mean(axis=(1, 3))
    big = zoom(small, step, order=1, mode="nearest", grid_mode=True)
    return np.asarray(gaussian_filter(big, 0.5)[: z.shape[0], : z.shape[1]])
