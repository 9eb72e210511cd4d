"""What is told of a listed site is there: read again on the grid, in plain numpy and apart from the package.

Height within 0.3 m or a quarter, distance to the foot, slope of the floor, heading, depth, and no hump between net and rock.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest
from unseen.found import reefscan_finder
from unseen.planted_grounds import hard, plain
from unseen.sentence_judge import CHECKS, Truth, read_again

FEW = 60
"""Sites of each seabed that are read again: those of the default list."""


@functools.cache
def verdicts(name: str) -> tuple[Truth, ...]:
    """Second readings of the listed sites of two seabeds."""
    out: list[Truth] = []
    for seed in (3100, 3101):
        bed = {"plain": plain, "hard": hard}[name](seed)
        listed = reefscan_finder(FEW)(bed.elev, bed.cell_m)
        out += read_again(np.asarray(bed.elev, float), bed.cell_m, listed)
    return tuple(out)


@pytest.mark.parametrize(("name", "share"), [("plain", 0.95), ("hard", 0.9)])
def test_nineteen_of_twenty_sentences_are_true_and_nine_of_ten_on_broken_ground(name, share):
    told = verdicts(name)
    assert len(told) >= 20
    wrong = [(t.kind, [c for c in CHECKS if getattr(t, c) is False]) for t in told if not t.all]
    assert 1 - len(wrong) / len(told) >= share, wrong


@pytest.mark.parametrize("check", CHECKS)
def test_each_thing_told_is_true_of_nineteen_in_twenty(check):
    told = [getattr(t, check) for name in ("plain", "hard") for t in verdicts(name)]
    known = [value for value in told if value is not None]
    assert len(known) >= 20
    assert np.mean(known) >= (0.93 if name == "hard" else 0.95)


@pytest.mark.parametrize("kind", ["trough", "ledge", "rise"])
def test_heights_of_each_kind_are_those_that_are_read(kind):
    told = [t for name in ("plain", "hard") for t in verdicts(name) if t.kind == kind]
    assert len(told) >= 5
    assert np.mean([t.height is not False for t in told]) >= 0.9
    ratio = np.array([t.told_m / t.read_m for t in told if t.read_m > 0])
    # a rise is read again by the third lowest of sixteen drops, which is one of its lesser sides
    assert 0.85 <= np.median(ratio) <= (1.2 if kind == "rise" else 1.15)
