"""Trials: each takes a finder and a seed and answers with figures. `TRIALS` names them all, in the order of the table."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from unseen import nothing, odd, real
from unseen.bed import Bed
from unseen.coarser import averaged, drawn_by_package, kept, sounded
from unseen.figures import Figures, Share, Values
from unseen.forms import Fine, lists_of, shared
from unseen.found import Finder, Found
from unseen.manners import process
from unseen.natural_judge import judge_natural
from unseen.planted_grounds import hard, plain
from unseen.planted_judge import judge_planted
from unseen.sentence_judge import CHECKS, Truth, read_again
from unseen.standing import standing

KINDS = ("trough", "ledge", "rise")


@dataclass(frozen=True)
class Trial:
    """``run(finder, seed)`` gives figures; ``wanted`` says what is asked of some; ``seeds`` False where a seed changes nothing."""

    run: Callable[[Finder, int], Figures]
    wanted: dict[str, str] = field(default_factory=dict)
    seeds: bool = True


def timed(finder: Finder, bed: Bed) -> tuple[list[Found], Values]:
    """The list of a seabed and the CPU seconds a million cells that it took."""
    start = time.process_time()
    sites = finder(bed.elev, bed.cell_m)
    return sites, Values(((time.process_time() - start) / bed.elev.size * 1e6,), "median")


def sentences(truths: list[Truth], label: str = "") -> Figures:
    """Shares of true sentences by kind, and of each check."""
    out: Figures = {}
    for kind in KINDS:
        mine = [t for t in truths if t.kind == kind]
        out[f"sentence true, {kind}{label}"] = Share(sum(t.all for t in mine), len(mine))
        told = [t for t in mine if t.height is not None]
        out[f"  height true, {kind}{label}"] = Share(sum(t.height is True for t in told), len(told))
    for check in CHECKS[1:]:
        told = [t for t in truths if getattr(t, check) is not None]
        out[f"  {check} true{label}"] = Share(sum(bool(getattr(t, check)) for t in told), len(told))
    return out


def planted(bed: Bed, finder: Finder) -> Figures:
    """Recall, precision, axes and sentences on one planted seabed."""
    sites, cost = timed(finder, bed)
    v = judge_planted(bed, sites)
    return {
        "recall and precision at K": Share(v.found_at_k, v.k),
        "recall in the first K sites": Share(v.first_k, v.k),
        "recall in the first 60": Share(v.found_60, v.k),
        "precision in the first 60": Share(v.right_60, v.listed_60),
        "found in the whole list": Share(v.found_all, v.k),
        "axes' error (degrees)": Values(tuple(v.axes)),
        "told as the planted kind": Share(v.same_kind, v.of_kind),
        **sentences(read_again(bed.elev, bed.cell_m, sites[:60])),
        "CPU s a Mcell": cost,
    }


def natural(bed: Bed, finder: Finder, *, read: bool = True) -> Figures:
    """Precision and finds on one seabed made by a process, with sentences."""
    sites, cost = timed(finder, bed)
    v = judge_natural(bed, sites)
    kind = bed.name.split("/")[0]
    out: Figures = {
        "precision at N": Share(v.right, v.listed),
        "recall at N": Share(v.found, v.n),
        "over 2 m found in the first N": Share(v.tall_found, v.tall),
        "over 2 m found in the whole list": Share(v.tall_found_all, v.tall),
        "first 60 on nothing": Share(v.nothing, v.first),
        f"  precision at N, {kind}": Share(v.right, v.listed),
        f"  over 2 m found, {kind}": Share(v.tall_found, v.tall),
    }
    return (
        out
        | (sentences(read_again(bed.elev, bed.cell_m, sites[:60])) if read else {})
        | {"CPU s a Mcell": cost}
    )


def same(finder: Finder, seed: int) -> Figures:
    """How many of the first 20 come again in other forms; hard ground and ground by processes take turns."""
    bed = hard(seed, cell_m=1.0, cells=800) if seed % 2 == 0 else process(seed // 2, cell_m=1.0, cells=800)
    fine = Fine(bed.shown, ~np.isfinite(bed.elev), seed)
    first, others = lists_of(finder, fine)
    return {name: Share(*shared(first, other)) for name, other in others.items()}


def coarse(finder: Finder, seed: int) -> Figures:
    """Recall at K on block-averaged seabeds."""
    out: Figures = {}
    for bed in (hard(seed), plain(seed)):
        for cell in (4.0, 10.0):
            if bed.name == "plain" and cell == 4.0:
                continue
            rough = averaged(bed, cell)
            sites = finder(rough.elev, rough.cell_m)
            still = kept(bed, rough)
            label = f"{bed.name} at {cell:g} m"
            v = judge_planted(rough, sites)
            out[f"recall at K, {label}"] = Share(v.found_at_k, v.k)
            out[f"  in the first K sites, {label}"] = Share(v.first_k, v.k)
            v = judge_planted(rough, sites, only=still)
            out[f"  of what keeps 60 % of its height, {label}"] = Share(v.found_at_k, v.k)
            truths = read_again(rough.elev, rough.cell_m, sites[:60])
            out[f"  sentence true, {label}"] = Share(sum(t.all for t in truths), len(truths))
    return out


def own_soundings(finder: Finder, seed: int) -> Figures:
    """Recall at K where tracks lie 12 m apart."""
    out: Figures = {}
    for bed in (plain(seed), hard(seed)):
        (own, sigma), planes = drawn_by_package(bed), sounded(bed)
        still, ground = kept(bed, planes), standing(bed.true, bed.cell_m)
        for label, sites in (
            (f"{bed.name}, by reefscan grid", finder(own.elev, own.cell_m, sigma=sigma)),
            (f"{bed.name}, straight planes", finder(planes.elev, planes.cell_m)),
        ):
            v = judge_planted(planes, sites, ground=ground)
            out[f"recall at K, {label}"] = Share(v.found_at_k, v.k)
            v = judge_planted(planes, sites, ground=ground, only=still)
            out[f"  of what keeps 60 % of its height, {label}"] = Share(v.found_at_k, v.k)
    return out


def no_structure(finder: Finder, seed: int) -> Figures:
    """The best score and the number over 40 points on ground with nothing to find."""
    out: Figures = {}
    for name, grid in nothing.grids(seed).items():
        scores = [s.score for s in finder(grid, nothing.CELL_M)]
        out[f"{name}: best score"] = Values((max(scores, default=0.0),), "max")
        out[f"  {name}: over 40 points"] = Values((float(sum(v > 40 for v in scores)),), "sum")
    return out


def odd_ground(finder: Finder, seed: int) -> Figures:
    """What is listed, and whether its sentences are true, where a finder is at its edge."""
    out: Figures = {}
    for name, ground in odd.grids(seed).items():
        start = time.process_time()
        try:
            sites = finder(ground.elev, ground.cell_m)
        except Exception as error:  # an odd grid may be refused, with a reason
            out[name] = f"refused: {type(error).__name__}: {str(error)[:110]}"
            continue
        out[f"{name}: listed{' (none is right)' if ground.empty else ''}"] = Values(
            (float(len(sites)),), "sum"
        )
        out[f"  {name}: best score"] = Values((max((s.score for s in sites), default=0.0),), "max")
        out[f"  {name}: CPU s"] = Values((time.process_time() - start,), "max")
        if ground.rock:
            near = [any(np.hypot(s.x - x, s.y - y) < 65 for s in sites) for x, y in ground.rock]
            out[f"  {name}: rocks found"] = Share(sum(near), len(near))
        if not ground.empty:
            truths = read_again(ground.elev, ground.cell_m, sites[:60])
            out[f"  {name}: sentence true"] = Share(sum(t.all for t in truths), len(truths))
    bed = hard(seed)
    holed = bed.with_(elev=odd.full_of_holes(bed.elev, np.random.default_rng([56, seed])))
    sites = finder(holed.elev, holed.cell_m)
    v = judge_planted(holed, sites)
    truths = read_again(holed.elev, holed.cell_m, sites[:60])
    out["hard with a third of its cells unknown: recall at K"] = Share(v.found_at_k, v.k)
    out["  hard with a third of its cells unknown: sentence true"] = Share(
        sum(t.all for t in truths), len(truths)
    )
    return out


def real_grids(finder: Finder, seed: int) -> Figures:
    """Structures seen by eye in the first 40; false ones and the best score where there is nothing."""
    out: Figures = {}
    for name, (file, make) in real.GRIDS.items():
        if not (real.folder() / file).exists():
            out[name] = f"skipped: {real.folder() / file} is absent"
            continue
        grid = make()
        sites = finder(grid.elev, grid.cell_m)
        inner = [what for what in grid.seen if what not in real.OUTER]
        out |= _on_real(name, grid, sites, inner)
        if grid.seen:
            wide = (4.0, 30.0)
            out |= _on_real(
                f"{name}, 4-30 m", grid, finder(grid.elev, grid.cell_m, depth=wide), list(grid.seen)
            )
            if getattr(finder, "reads_files", False):
                how = {"crs": "EPSG:4326", "positive": "up"}
                out |= _on_real(f"{name}, as a file", grid, real.listed_from_file(file, grid, **how), inner)
    return out


def _on_real(name: str, grid: real.Real, sites: list[Found], seen: list[str]) -> Figures:
    """Figures of one list on one real grid."""
    if seen:
        first = np.array([s.xy for s in sites[:40]]).reshape(-1, 2)
        hits = {}
        for what in seen:
            places = grid.places(what)
            far = (
                np.hypot(*(first[:, None] - places[None]).transpose(2, 0, 1)).min() if len(first) else np.inf
            )
            hits[what] = far <= 45 + real.WIDE.get(what, 0.0)
        missed = [what for what, hit in hits.items() if not hit]
        out: Figures = {f"{name}: seen structures in the first 40": Share(sum(hits.values()), len(hits))}
        if missed:
            out[f"  {name}: missed"] = ", ".join(missed)
    elif grid.false:
        where = [grid.in_false(s.x, s.y) for s in sites[:40]]
        out = {f"{name}: first 40 at artefacts": Share(sum(w is not None for w in where), len(where))}
    else:
        out = {
            f"{name}: best score where there is nothing": Values(
                (max((s.score for s in sites), default=0.0),), "max"
            ),
            f"  {name}: over 40 points": Values((float(sum(s.score > 40 for s in sites)),), "sum"),
        }
    if sites and np.isfinite(sites[0].height_m):
        # a net knows of a cliff what stands in the water
        truths = read_again(np.minimum(grid.elev, 0.0), grid.cell_m, sites[:40])
        for kind in KINDS:
            mine = [t for t in truths if t.kind == kind]
            out[f"  {name}: sentence true, {kind}"] = Share(sum(t.all for t in mine), len(mine))
    return out


TRUE = {f"sentence true, {kind}": ">= .95" for kind in KINDS}

TRIALS: dict[str, Trial] = {
    "plain": Trial(
        lambda finder, seed: planted(plain(seed), finder), {"recall and precision at K": "1.00", **TRUE}
    ),
    "hard": Trial(
        lambda finder, seed: planted(hard(seed), finder),
        {
            "recall and precision at K": ">= .92", "precision in the first 60": ">= .95",
            "axes' error (degrees)": "<= 5", **TRUE,
        },
    ),
    "process": Trial(
        lambda finder, seed: natural(process(seed), finder),
        {
            "precision at N": ">= .88", "over 2 m found in the first N": ">= .90",
            "first 60 on nothing": "<= .03", **TRUE,
        },
    ),
    "kelp": Trial(
        lambda finder, seed: natural(process(seed, weed=True), finder, read=False),
        {"first 60 on nothing": "<= .15"},
    ),
    "same": Trial(
        same,
        dict.fromkeys(
            (
                "turned by 30 degrees", "cells of 1.5 m", "cells of 2.5 m", "noise drawn anew", "up", "positive down",
                "south-up", "feet", "degrees", "decimetres",
            ),
            ">= 18 of 20",
        ),
    ),
    "coarse": Trial(
        coarse,
        {
            "recall at K, hard at 4 m": ">= .92", "recall at K, hard at 10 m": ">= .50",
            "recall at K, plain at 10 m": ">= .90",
        },
    ),
    "soundings": Trial(own_soundings, {f"recall at K, plain, {how}": ">= .95" for how in ("by reefscan grid", "straight planes")}),
    "nothing": Trial(no_structure, {f"{name}: best score": "<= 40" for name in nothing.SMOOTH | nothing.MOVING | nothing.ARTEFACT}),
    "odd": Trial(odd_ground, seeds=False),
    "real": Trial(real_grids, {f"harbour 10 m{form}: seen structures in the first 40": "all" for form in ("", ", as a file", ", 4-30 m")}, seeds=False),
}  # fmt: skip
