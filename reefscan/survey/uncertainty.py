"""How wrong the surface may be: learnt from soundings that were left out.

The uncertainty of a cell grows with its distance from data and with the roughness of the ground there.
How fast is not assumed: whole squares of soundings are left out, the surface is drawn without them,
and what it misses by is tabulated against distance, in units of the local roughness. Half of the
squares teach the table; the other half test it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression
from scipy.spatial import cKDTree

from reefscan.survey.blocks import Blocks
from reefscan.survey.surface import one_thread

Floats = NDArray[np.float64]
MOST = 6.0
"""A miss of more than this many times the roughness counts as this: one wreck must not set the scale."""


@dataclass(frozen=True)
class Roughness:
    """Local roughness (m) at nodes, read by distance-weighted mean of the nearest ones."""

    x: Floats
    y: Floats
    value: Floats
    overall: float

    @cached_property
    def _tree(self) -> cKDTree:
        return cKDTree(np.c_[self.x, self.y])

    def at(self, x: Floats, y: Floats) -> Floats:
        """Roughness (m) at places."""
        if self.x.size == 0:
            return np.full(np.shape(x), self.overall)
        tree = self._tree
        k = min(4, self.x.size)
        distance, index = tree.query(np.c_[np.ravel(x), np.ravel(y)], k=k, eps=0.3, workers=2)
        distance, index = distance.reshape(-1, k), index.reshape(-1, k)
        weight = 1.0 / np.maximum(distance, 0.5) ** 2
        mean = (weight * self.value[index]).sum(axis=1) / weight.sum(axis=1)
        return np.asarray(mean.reshape(np.shape(x)))


def roughness(blocks: Blocks, *, radius_m: float, noise_m: float) -> Roughness:
    """Scatter of the blocks about a plane through their neighbourhood.

    Parameters
    ----------
    blocks : Blocks
    radius_m : float
        Radius of a neighbourhood (m); nodes stand about half of it apart.
    noise_m : float
        Noise of a sounding; roughness is never less.
    """
    n = blocks.x.size
    if n < 8:
        return Roughness(np.zeros(0), np.zeros(0), np.zeros(0), max(noise_m, 0.1))
    side = radius_m / 2.0
    cell = np.c_[np.floor(blocks.x / side), np.floor(blocks.y / side)]
    _, first = np.unique(cell, axis=0, return_index=True)
    tree = cKDTree(np.c_[blocks.x, blocks.y])
    k = min(40, n)
    nodes = np.c_[blocks.x[first], blocks.y[first]]
    distance, index = tree.query(nodes, k=k, distance_upper_bound=radius_m)
    ok = np.isfinite(distance)
    index = np.where(ok, index, 0)
    dx = np.where(ok, blocks.x[index] - nodes[:, :1], 0.0) / radius_m
    dy = np.where(ok, blocks.y[index] - nodes[:, 1:], 0.0) / radius_m
    dz = np.where(ok, blocks.elev[index] - blocks.elev[first][:, None], 0.0)
    design = np.stack([ok.astype(float), dx, dy], axis=2)
    normal = np.einsum("nki,nkj->nij", design, design) + 1e-6 * np.eye(3)
    right = np.einsum("nki,nk->ni", design, dz)
    with one_thread():
        plane = np.linalg.solve(normal, right[..., None])[..., 0]
    miss = np.where(ok, dz - np.einsum("nki,ni->nk", design, plane), 0.0)
    free = np.maximum(ok.sum(axis=1) - 3, 1)
    value = np.sqrt((miss**2).sum(axis=1) / free)
    good = ok.sum(axis=1) >= 6
    overall = float(np.median(value[good])) if good.any() else max(noise_m, 0.1)
    value = np.where(good, value, overall)
    return Roughness(nodes[:, 0], nodes[:, 1], np.maximum(value, noise_m), max(overall, noise_m))


@dataclass(frozen=True)
class Uncertainty:
    """The table: mean square miss, in units of roughness squared, against distance from data.

    Parameters
    ----------
    distance_m, factor : ndarray of float
        Rising; ``sigma^2 = factor(distance) x roughness^2 + floor^2``.
    noise_m, floor_m : float
        Noise of one sounding; the least uncertainty ever stated.
    learnt : bool
        False if there were too few soundings to learn from: a stated guess then.
    """

    distance_m: Floats
    factor: Floats
    noise_m: float
    floor_m: float
    learnt: bool

    def sigma(self, distance_m: Floats, rough_m: Floats) -> Floats:
        """Standard uncertainty (m, 1 sigma) of the surface; grows on linearly beyond the table."""
        factor = np.interp(distance_m, self.distance_m, self.factor)
        end = self.distance_m[-1]
        factor = factor * np.where(distance_m > end, (distance_m / max(end, 1e-9)) ** 2, 1.0)
        return np.asarray(np.sqrt(factor * rough_m**2 + self.floor_m**2))


def learn(
    miss: Floats, distance_m: Floats, rough_m: Floats, *, noise_m: float, count: Floats, floor_m: float
) -> Uncertainty:
    """Learn the table from left-out blocks.

    Parameters
    ----------
    miss : ndarray of float
        Left-out block minus surface (m).
    distance_m, rough_m : ndarray of float
        Distance to the nearest block that was left in; local roughness (m).
    noise_m : float
        Noise of one sounding; a block of ``count`` soundings carries noise / sqrt(count), which
        is taken off: the table is about the surface, not about what it was tested with.
    """
    near = noise_m**2 / np.median(rough_m) ** 2 if rough_m.size else 1.0
    if miss.size < 60:
        # Common practice without a source: the uncertainty reaches the roughness itself at about one spacing.
        far = float(np.max(distance_m)) if distance_m.size else 10.0
        return Uncertainty(
            np.array([0.0, max(far, 10.0)]), np.array([min(near, 1.0), 2.0]), noise_m, floor_m, False
        )
    share = (miss**2 - noise_m**2 / np.maximum(count, 1.0)) / rough_m**2
    share = np.minimum(share, MOST**2)
    edges = np.unique(np.quantile(distance_m, np.linspace(0, 1, min(13, miss.size // 30 + 2))))
    which = np.clip(np.searchsorted(edges, distance_m, side="right") - 1, 0, max(edges.size - 2, 0))
    size = np.bincount(which)
    used = size > 0
    middle = (np.bincount(which, distance_m)[used]) / size[used]
    mean = np.maximum(np.bincount(which, share)[used] / size[used], 0.0)
    rising = np.asarray(isotonic_regression(mean, weights=size[used]).x)
    start = min(near, float(rising[0])) if rising[0] > 0 else near
    return Uncertainty(np.r_[0.0, middle], np.r_[start, np.maximum(rising, start)], noise_m, floor_m, True)
