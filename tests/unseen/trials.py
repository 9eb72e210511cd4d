"""Trials: each takes a finder and a seed and answers with figures. `TRIALS` names them all, in the order of the table."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from unseen.bed import Bed
from unseen.figures import Figures, Share, Values
from unseen.found import Finder, Found
from unseen.manners import process
from unseen.natural_judge import judge_natural
from unseen.planted_grounds import hard, plain
from unseen.planted_judge import judge_planted
from unseen.sentence_judge import CHECKS, Truth, read_again

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
}  # fmt: skip
