"""The finder on seabeds whose truth is known: a few seeds here, many in ``scripts/bench_structure.py``.

Limits are looser than what the bench reports, because a handful of seeds scatter: one structure in forty is 0.025.
"""

from __future__ import annotations

import numpy as np
import pytest
from planted import plant
from planted.judge import Judgement, judge
from planted.scan import find

SEEDS = {"simple": range(2000, 2004), "hard": range(2000, 2003), "dug": range(2000, 2002)}


@pytest.fixture(scope="module")
def verdicts() -> dict[str, list[Judgement]]:
    out: dict[str, list[Judgement]] = {}
    for name, seeds in SEEDS.items():
        beds = [plant(name, seed) for seed in seeds]
        out[name] = [judge(bed, find(bed)[0]) for bed in beds]
    return out


def _share(verdicts: list[Judgement], what: str) -> float:
    found, wrong, k = (sum(getattr(v, name) for v in verdicts) for name in ("found", "wrong", "k"))
    assert k >= 10, "too few planted structures for a share to mean anything"
    return found / (k if what == "recall" else max(found + wrong, 1))


@pytest.mark.parametrize(("name", "recall", "precision"), [("simple", 0.93, 0.93), ("hard", 0.8, 0.85)])
def test_planted_structure_is_found_and_little_else_is_listed(verdicts, name, recall, precision):
    assert _share(verdicts[name], "recall") >= recall
    assert _share(verdicts[name], "precision") >= precision


def test_trough_axes_follow_the_planted_line(verdicts):
    errors = np.array(
        [
            r["axis_error"]
            for name in ("simple", "hard")
            for v in verdicts[name]
            for r in v.rows
            if "axis_error" in r
        ],
        dtype=float,
    )
    errors = errors[np.isfinite(errors)]
    assert errors.size >= 10
    assert np.median(errors) <= 4


def test_the_net_lies_on_a_floor_that_is_flat_in_truth(verdicts):
    slopes = np.array(
        [r["floor_deg"] for v in verdicts["simple"] for r in v.rows if "floor_deg" in r], dtype=float
    )
    assert slopes.size >= 20
    assert (slopes <= 12).mean() >= 0.95


def test_moving_ground_takes_no_place_among_the_first_k_and_dug_ground_hardly_one(verdicts):
    dug = [d for v in verdicts["dug"] for d in v.dug_kinds]
    assert len(dug) >= 4
    moving = [d for d in dug if d[0] in ("sand waves", "sand ridges")]
    assert sum(d[3] for d in moving) == 0
    places = sum(v.k for v in verdicts["dug"])
    assert sum(d[3] for d in dug) <= 0.1 * places


def test_real_structure_is_hardly_ever_called_dug_or_moving(verdicts):
    """Wanted: real gullies at most 1 in 20."""
    real = [d for v in verdicts.values() for verdict in v for d in verdict.real_demoted]
    gullies = [demoted for kind, demoted in real if kind == "trough"]
    assert len(gullies) >= 25
    assert np.mean(gullies) <= 0.05
    assert np.mean([demoted for _, demoted in real]) <= 0.05
