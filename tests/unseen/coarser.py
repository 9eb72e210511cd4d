"""The same seabeds on coarser cells, and as one's own soundings would give them: what is left to be found there."""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import LinearNDInterpolator

from unseen.bed import Bed, axes
from unseen.standing import near, standing

Grid = NDArray[np.float64]


def means(z: Grid, step: int) -> Grid:
    """Means of what is known in blocks of ``step`` by ``step`` cells; NaN where less than half is."""
    rows, cols = (n // step for n in z.shape)
    cut = z[: rows * step, : cols * step].reshape(rows, step, cols, step)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        out = np.nanmean(cut, axis=(1, 3))
    return np.where(np.isfinite(cut).mean(axis=(1, 3)) >= 0.5, out, np.nan)


def averaged(bed: Bed, cell_m: float) -> Bed:
    """The seabed block-averaged to a coarser cell; its truth stays as fine as it was."""
    step = round(cell_m / bed.cell_m)
    return bed.with_(
        name=f"{bed.name} at {cell_m:g} m", cell_m=step * bed.cell_m, elev=means(bed.elev, step),
        shown=means(bed.shown, step), facts=bed.facts | {"true_cell_m": bed.cell_m},
    )  # fmt: skip


def kept(bed: Bed, coarse: Bed, *, share: float = 0.6) -> set[int]:
    """Indices of the real structures that keep a share of their height on the coarser grid without its noise."""
    fine = standing(bed.shown, bed.cell_m).tall
    rough = standing(
        np.where(np.isfinite(coarse.shown), coarse.shown, np.nanmean(coarse.shown)), coarse.cell_m
    ).tall
    out = set()
    for i, p in enumerate(bed.planted):
        if p.role != "real":
            continue
        points = p.foot[:: max(1, len(p.foot) // 8)]
        here = np.median([near(fine, *q, cell_m=bed.cell_m, within_m=12) for q in points])
        there = np.median(
            [near(rough, *q, cell_m=coarse.cell_m, within_m=12 + coarse.cell_m) for q in points]
        )
        if there >= share * here and there >= 0.9:
            out.add(i)
    return out


def soundings(bed: Bed, apart_m: float) -> tuple[Grid, Grid, Grid, Grid]:
    """Places, ground and noise of one's own soundings along wandering tracks."""
    from unseen.section import bilinear

    rng = np.random.default_rng([52, bed.seed])
    side = bed.elev.shape[0] * bed.cell_m
    b = rng.uniform(0, np.pi)
    across = np.arange(-side, side, apart_m)
    along = np.arange(-side, side, 1.5)
    u = across[:, None] + 1.2 * np.sin(along / rng.uniform(40, 90) + rng.uniform(0, 6, (len(across), 1)))
    v = along + rng.uniform(0, 1.5, (len(across), 1))
    x, y = side / 2 + u * np.cos(b) + v * np.sin(b), -side / 2 - u * np.sin(b) + v * np.cos(b)
    inside = (x > 1) & (x < side - 1) & (y < -1) & (y > 1 - side)
    x, y = x[inside], y[inside]
    noise = rng.normal(0, 0.1, x.shape)
    true = bilinear(bed.true, x, y, bed.cell_m)
    use = np.isfinite(true)
    return x[use], y[use], true[use], noise[use]


def sounded(bed: Bed, *, apart_m: float = 12.0, cell_m: float = 4.0) -> Bed:
    """One's own soundings, joined by straight planes between the tracks on coarser cells."""
    x, y, true, noise = soundings(bed, apart_m)
    n = int(bed.elev.shape[0] * bed.cell_m / cell_m)
    fit = LinearNDInterpolator(np.stack([x, y], 1), np.stack([true, true + noise], 1))
    made = fit(*axes(n, n, cell_m))
    shown = np.where(np.isfinite(made[..., 0]), made[..., 0], np.nanmean(made[..., 0]))
    return bed.with_(
        name=f"{bed.name} sounded", cell_m=cell_m, elev=made[..., 1], shown=shown,
        facts=bed.facts | {"true_cell_m": bed.cell_m},
    )  # fmt: skip


def drawn_by_package(bed: Bed, *, apart_m: float = 12.0, cell_m: float = 4.0) -> tuple[Bed, Grid]:
    """The same soundings as ``reefscan grid`` draws them, and its band of doubt; ``shown`` is what straight planes show."""
    from planted.sounded import drawn_by_grid

    x, y, true, noise = soundings(bed, apart_m)
    plain = sounded(bed, apart_m=apart_m, cell_m=cell_m)
    elev, sigma = drawn_by_grid(x, y, true + noise, cell_m, plain.elev.shape[0])
    return plain.with_(elev=elev), sigma
