"""One ramp tells all likenesses: 0 before its first end, 1 beyond its second, whichever way it runs."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from reefscan.base.ramp import ramp

numbers = st.floats(-1e3, 1e3)


@given(numbers, st.floats(-100, 100), st.floats(0.01, 100))
def test_it_is_worth_0_up_to_its_first_end_1_from_its_second_and_falls_as_it_rises(value, low, wide):
    high = low + wide
    up, down = float(ramp(value, (low, high))), float(ramp(value, (high, low)))
    assert 0.0 <= up <= 1.0
    assert_allclose(up + down, 1.0, atol=1e-12)
    if value <= low:
        assert up == 0.0
    if value >= high:
        assert up == 1.0


def test_it_is_linear_between_its_ends_and_knows_nothing_of_what_is_not_known():
    assert_allclose(ramp(np.array([2.0, 2.25, 2.5, 3.0]), (2.0, 3.0)), [0.0, 0.25, 0.5, 1.0])
    assert_array_equal(ramp(np.array([np.nan, np.inf, -np.inf]), (2.0, 3.0)), [np.nan, 1.0, 0.0])
    assert_allclose(ramp(np.array([1.0, 1.0]), (np.array([0.0, 4.0]), np.array([2.0, 0.0]))), [0.5, 0.75])
