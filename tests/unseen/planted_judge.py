"""Recall, precision and axes of a list on ground with planted structures.

A site is right if its drop point lies within 20 m (plus two cells) of the foot of a planted structure, or if the noise-free surface has an
abrupt face of nine tenths of the asked height there. **At K** (K = number of planted real structures): the list is walked in order; a first
hit of a real structure and a wrong site take one of K places; further hits, optional and natural structures take none. ``first_k``: structures found by the first K sites, where every site counts.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from unseen.bed import ASKED_M, NEAR_M, Bed, near_tree
from unseen.found import Found
from unseen.standing import Standing, near, standing


@dataclass(frozen=True)
class PlantedVerdict:
    """Counts of one list. ``axes`` in degrees, of sites of the planted kind; ``wrong`` are the first 60's wrong sites."""

    k: int
    found_at_k: int
    first_k: int
    found_60: int
    right_60: int
    listed_60: int
    found_all: int
    axes: list[float] = field(default_factory=list)
    same_kind: int = 0
    of_kind: int = 0
    wrong: list[Found] = field(default_factory=list)
    missed: list[int] = field(default_factory=list)


def judge_planted(
    bed: Bed, sites: list[Found], *, ground: Standing | None = None, only: set[int] | None = None
) -> PlantedVerdict:
    """Judge a ranked list; ``only`` restricts what must be found to these indices of ``bed.planted``."""
    ground = ground or standing(bed.true, true_cell(bed))
    tree, owner = near_tree(bed.planted)
    within = NEAR_M + 2 * bed.cell_m
    must = {i for i, p in enumerate(bed.planted) if p.role == "real" and (only is None or i in only)}
    k, places, at_k, found_60, right_60, first_k = len(must), 0, 0, 0, 0, 0
    hit: set[int] = set()
    axes: list[float] = []
    same = of_kind = 0
    wrong: list[Found] = []
    for n, site in enumerate(sorted(sites, key=lambda s: s.rank)):
        owners = set(owner[tree.query_ball_point(site.xy, within)].tolist()) if tree is not None else set()
        right = bool(owners)
        if right:
            fresh = (owners & must) - hit
            if fresh and places < k:
                places += 1
                at_k += 1
            first_k += len(fresh) if n < k else 0
            hit |= owners
            nearest = min(owners, key=lambda i: bed.planted[i].gap(site.x, site.y))
            p = bed.planted[nearest]
            if n < 60:
                found_60 += len(fresh)
                of_kind += 1
                same += site.kind == p.kind
            at = p.at(site.x, site.y)
            if site.kind == p.kind and 0 < at < len(p.line) - 1 and n < 60:
                true = float(p.axis_deg[at])
                axes.append(abs((site.axis_deg - true + 90) % 180 - 90))
        else:
            tall = near(ground.face, site.x, site.y, cell_m=true_cell(bed), within_m=within)
            right = tall >= 0.9 * ASKED_M
            if not right:
                places += 1
                if n < 60:
                    wrong.append(site)
        right_60 += right and n < 60
    missed = sorted(must - hit)
    return PlantedVerdict(
        k,
        at_k,
        first_k,
        found_60,
        right_60,
        min(60, len(sites)),
        k - len(missed),
        axes,
        same,
        of_kind,
        wrong,
        missed,
    )


def true_cell(bed: Bed) -> float:
    """Cell of the noise-free surface, which may be finer than the grid's."""
    return float(bed.facts.get("true_cell_m", bed.cell_m))


def median(values: list[float]) -> float:
    """Median of what is finite; NaN of nothing."""
    finite = [v for v in values if np.isfinite(v)]
    return float(np.median(finite)) if finite else float("nan")
