"""Numbers that a file uses for "unknown" without a word."""

from __future__ import annotations

import numpy as np
import pytest

from reefscan.io.grids.probe import undeclared_sentinels

GROUND = np.linspace(-20.0, -3.0, 500)


@pytest.mark.parametrize("value", [-9999.0, -5000.0, 777.0])
def test_a_number_far_off_that_many_cells_share_is_unknown(value):
    assert undeclared_sentinels(np.append(GROUND, [value] * 20), 1.0) == [value]


def test_one_cell_far_off_may_be_a_bad_sounding():
    assert undeclared_sentinels(np.append(GROUND, 777.0), 1.0) == []


@pytest.mark.parametrize(
    ("level", "cells", "other", "others"), [(-3.0, 500, 500.0, 20), (-10.0, 900, -200.0, 50)]
)
def test_level_ground_is_not_unknown_for_being_level(level, cells, other, others):
    assert undeclared_sentinels(np.array([level] * cells + [other] * others), 1.0) == []
