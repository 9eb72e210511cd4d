"""Which surface suits these tracks: blocked cross-validation.

Leaving out single soundings would flatter every method, for their neighbours on the same track tell
all. Whole squares about as wide as the tracks are apart are left out instead (verde's BlockKFold).
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import verde as vd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan.base.spread import robust_sd
from reefscan.survey.blocks import Blocks, reduce_blocks
from reefscan.survey.settings import Surface
from reefscan.survey.surface import METHODS, predict
from reefscan.survey.uncertainty import Roughness, Uncertainty, learn, roughness

Floats = NDArray[np.float64]
MOST_SOUNDINGS = 40_000
"""Soundings used for tuning: whole patches of the survey, until there are this many."""
SEED = 7
FOLDS = 5


@dataclass(frozen=True)
class Tuning:
    """What was chosen, what it was chosen from, and how it did on soundings it had not seen.

    Parameters
    ----------
    method, block_cells : str, int
    table : tuple of dict
        ``method``, ``block_cells``, ``rms_m`` on the roughest ground per candidate.
    uncertainty : Uncertainty
    rough : Roughness
    spread : float
        Standard deviation of standardised residuals in the squares that tested the uncertainty; NaN if
        there were too few.
    left_out : int
    rms_m, median_m : float
        Of the residuals.
    residuals : ndarray of float, shape (n, 2)
        Residual (m) and its stated sigma, for the report's picture.
    """

    method: str
    block_cells: int
    table: tuple[dict[str, object], ...]
    uncertainty: Uncertainty
    rough: Roughness
    spread: float
    left_out: int
    rms_m: float
    median_m: float
    residuals: Floats


@dataclass(frozen=True)
class _Misses:
    miss: Floats
    distance: Floats
    x: Floats
    y: Floats
    count: Floats
    half: NDArray[np.bool_]


def tune(
    x: Floats, y: Floats, elev: Floats, *, cell_m: float, gap_m: float, noise_m: float, settings: Surface
) -> Tuning:
    """Choose method and block size, and learn the uncertainty of the chosen surface.

    Parameters
    ----------
    x, y, elev : ndarray of float
        Kept, reduced soundings.
    cell_m, gap_m : float
        Cell, and typical distance between tracks (m).
    noise_m : float
        Noise of one sounding.
    settings : Surface
        A method or a block size that is set is not tuned.
    """
    floor = settings.floor_sigma_m
    methods = METHODS if settings.method is None else (settings.method,)
    sizes = (1, 2) if settings.block_cells is None else (settings.block_cells,)
    rows = _patches(x, y, side_m=max(20.0 * gap_m, 50.0 * cell_m))
    sample = {b: reduce_blocks(x[rows], y[rows], elev[rows], side_m=b * cell_m) for b in sizes}
    results: dict[tuple[str, int], _Misses] = {}
    for method, size in product(methods, sizes):
        got = _left_out(sample[size], x[rows], y[rows], elev[rows], method, max(gap_m, 3.0 * cell_m), cell_m)
        if got is not None:
            results[method, size] = got
    blocks = reduce_blocks(x, y, elev, side_m=cell_m)
    rough = roughness(blocks, radius_m=max(2.0 * gap_m, 5.0 * cell_m), noise_m=noise_m)
    if not results:
        method, size = methods[0], sizes[0]
        empty = np.zeros(0)
        uncertainty = learn(empty, empty, empty, noise_m=noise_m, count=empty, floor_m=floor)
        nan = float("nan")
        return Tuning(method, size, (), uncertainty, rough, nan, 0, nan, nan, np.zeros((0, 2)))
    near_m = max(0.6 * gap_m, 2.0 * cell_m)
    score = {k: _rms_on_rough(v, rough.at(v.x, v.y), near_m) for k, v in results.items()}
    method, size = min(score, key=lambda k: score[k])
    table = tuple(
        {"method": m, "block_cells": b, "rms_m": round(s, 4)} for (m, b), s in sorted(score.items())
    )
    got = results[method, size]
    ground = rough.at(got.x, got.y)
    halves = [
        learn(got.miss[h], got.distance[h], ground[h], noise_m=noise_m, count=got.count[h], floor_m=floor)
        for h in (got.half, ~got.half)
    ]
    sigma = np.where(got.half, halves[1].sigma(got.distance, ground), halves[0].sigma(got.distance, ground))
    stated = np.hypot(sigma, noise_m / np.sqrt(got.count))
    standard = np.clip(got.miss / stated, -MOST_SIGMA, MOST_SIGMA)
    uncertainty = learn(got.miss, got.distance, ground, noise_m=noise_m, count=got.count, floor_m=floor)
    return Tuning(
        method, size, table, uncertainty, rough, float(np.std(standard)), got.miss.size,
        _rms(got.miss[got.distance <= near_m]), float(np.median(got.miss)), np.c_[got.miss, stated],
    )  # fmt: skip


MOST_SIGMA = 8.0
"""Standardised residuals are clipped here before their spread is taken."""

ROUGHEST = 0.1
"""Share of the left-out ground on which a surface is judged: on the rest it is judged by how well it smooths noise, and what smooths best loses
piles and ledges (planted seabeds, tuning seeds 0-3, tracks 12 m apart: judged on all 70 of 81 found, on the roughest tenth 74)."""


def _rms_on_rough(got: _Misses, ground: Floats, near_m: float) -> float:
    """Root mean square miss where the ground is roughest, of what lies as near to data as the grid's cells do."""
    near = got.distance <= near_m
    if not near.any():
        return float("inf")
    return _rms(got.miss[near & (ground >= np.quantile(ground[near], 1.0 - ROUGHEST))])


def _rms(miss: Floats) -> float:
    if miss.size == 0:
        return float("inf")
    limit = 8.0 * robust_sd(miss) + 1e-6
    return float(np.sqrt(np.mean(np.clip(miss, -limit, limit) ** 2)))


def _patches(x: Floats, y: Floats, *, side_m: float) -> NDArray[np.int64]:
    """Rows of whole square patches, picked at random until there are enough soundings."""
    if x.size <= MOST_SOUNDINGS:
        return np.arange(x.size)
    _, patch = np.unique(
        np.floor(x / side_m).astype(np.int64) * (1 << 31) + np.floor(y / side_m).astype(np.int64),
        return_inverse=True,
    )
    size = np.bincount(patch)
    order = np.random.default_rng(SEED).permutation(size.size)
    enough = int(np.searchsorted(np.cumsum(size[order]), MOST_SOUNDINGS)) + 1
    rows = np.flatnonzero(np.isin(patch, order[:enough]))
    if rows.size > 3 * MOST_SOUNDINGS:  # patches far denser than tracks need thinning too
        rows = rows[np.random.default_rng(SEED).random(rows.size) < 3 * MOST_SOUNDINGS / rows.size]
    return rows


def _left_out(
    blocks: Blocks, x: Floats, y: Floats, elev: Floats, method: str, square_m: float, cell_m: float
) -> _Misses | None:
    """Residuals at left-out squares; the points tested are the same for every block size: cells."""
    test = reduce_blocks(x, y, elev, side_m=cell_m)
    x0, y0 = float(np.min(test.x)), float(np.min(test.y))

    def square(px: Floats, py: Floats) -> NDArray[np.int64]:
        return np.floor((px - x0) / square_m).astype(np.int64) * (1 << 31) + np.floor(
            (py - y0) / square_m
        ).astype(np.int64)

    squares = np.unique(square(test.x, test.y))
    if squares.size < 12 or blocks.x.size < 40:
        return None
    of_test = np.searchsorted(squares, square(test.x, test.y))
    of_block = square(blocks.x, blocks.y)
    fold = np.zeros(squares.size, int)
    # One point a square: verde's folds over squares, balanced and shuffled.
    middle = (
        np.array([s >> 31 for s in squares], float) + 0.5,
        np.array([s & (2**31 - 1) for s in squares], float) + 0.5,
    )
    folds = vd.BlockKFold(spacing=1.0, n_splits=FOLDS, shuffle=True, random_state=SEED, balance=False)
    for number, (_, held) in enumerate(folds.split(np.c_[middle[0], middle[1]])):
        fold[held] = number
    place = np.clip(np.searchsorted(squares, of_block), 0, squares.size - 1)
    block_fold = np.where(squares[place] == of_block, fold[place], -1)
    parts: list[tuple[Floats, ...]] = []
    for number in range(FOLDS):
        held = fold[of_test] == number
        left_in = blocks.take(block_fold != number)
        if not held.any() or left_in.x.size < 10:
            continue
        tx, ty = test.x[held], test.y[held]
        got = predict(left_in, tx, ty, method=method)
        distance, _ = cKDTree(np.c_[left_in.x, left_in.y]).query(np.c_[tx, ty])
        half = (of_test[held] // 2 + number) % 2 == 0
        ok = np.isfinite(got) & (distance < 3.0 * square_m)
        parts.append(
            (
                test.elev[held][ok] - got[ok],
                distance[ok],
                tx[ok],
                ty[ok],
                test.count[held][ok].astype(float),
                half[ok],
            )
        )
    if not parts or sum(p[0].size for p in parts) < 60:
        return None
    columns = [np.concatenate([p[k] for p in parts]) for k in range(6)]
    miss, distance, px, py, count, half = columns
    return _Misses(miss, distance, px, py, count, half.astype(bool))
