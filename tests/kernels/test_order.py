"""Short arrays in order, against numpy's own."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from reefscan.kernels.order import median, put_in_order


@pytest.mark.parametrize("n", [0, 1, 2, 7, 30])
def test_the_order_is_the_library_s_with_ties_too(rng, n):
    values = rng.integers(-5, 5, n)
    wanted = np.sort(values)
    put_in_order(values)
    assert_array_equal(values, wanted)


@pytest.mark.parametrize("n", [1, 2, 7, 30, 64, 65, 500])
def test_the_median_is_the_library_s(rng, n):
    values = rng.normal(size=n)
    before = values.copy()
    assert median(values) == np.median(values)
    values[n // 2 :] = np.rint(values[n // 2 :])  # ties
    before = values.copy()
    assert median(values) == np.median(values)
    assert_array_equal(values, before)
