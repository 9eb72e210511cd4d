"""Precision and finds of a list on ground that no one planted: the reference on the noise-free surface says what stands there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import binary_dilation
from scipy.spatial import cKDTree

from unseen.bed import ASKED_M, NEAR_M, Bed
from unseen.found import Found
from unseen.standing import Standing, near, standing, structures


@dataclass(frozen=True)
class NaturalVerdict:
    """``n`` natural structures; of the first n sites ``right`` of ``listed``; ``found`` of n; ``tall_found`` of the ``tall`` ones of
    over 2 m (``tall_found_all`` in the whole list); ``nothing`` of the first 60 (``first``) have nothing over 0.5 m near them."""

    n: int
    right: int
    listed: int
    found: int
    tall: int
    tall_found: int
    tall_found_all: int
    nothing: int
    first: int
    nothing_sites: tuple[Found, ...] = ()


def judge_natural(bed: Bed, sites: list[Found], *, ground: Standing | None = None) -> NaturalVerdict:
    """Judge a ranked list against the noise-free surface."""
    ground = ground or standing(bed.true, bed.cell_m)
    known = binary_dilation(np.isfinite(bed.elev), iterations=2)
    natural = structures(bed.true, ground.face, bed.cell_m, least_m=ASKED_M, known=known)
    within = NEAR_M + 2 * bed.cell_m
    ranked = sorted(sites, key=lambda s: s.rank)

    def tall_near(site: Found, heights: np.ndarray) -> float:
        return near(heights, site.x, site.y, cell_m=bed.cell_m, within_m=within)

    n = len(natural)
    right = sum(tall_near(s, ground.face) >= 0.9 * ASKED_M for s in ranked[:n])
    most = np.maximum(ground.loose, np.maximum(ground.trough, ground.rise))
    nothing = tuple(s for s in ranked[:60] if tall_near(s, most) < 0.5)

    def found(some: list[Found]) -> list[bool]:
        if not some:
            return [False] * n
        tree = cKDTree([s.xy for s in some])
        return [bool(tree.query(piece.piece)[0].min() <= within) for piece in natural]

    first, every = found(ranked[:n]), found(ranked)
    tall = [piece.height_m > 2 for piece in natural]
    return NaturalVerdict(
        n, right, min(n, len(ranked)), sum(first), sum(tall),
        sum(a and b for a, b in zip(first, tall, strict=True)), sum(a and b for a, b in zip(every, tall, strict=True)),
        len(nothing), min(60, len(ranked)), nothing,
    )  # fmt: skip
