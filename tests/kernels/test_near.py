"""Pairs of near points, against the library of trees."""

import numpy as np
import pytest
from scipy.spatial import cKDTree

from reefscan.kernels.near import pairs_within


@pytest.mark.parametrize(("count", "reach"), [(0, 5.0), (1, 5.0), (2, 500.0), (400, 3.0), (400, 40.0)])
def test_pairs_are_those_of_a_tree(rng, count, reach):
    x, y = 4e5 + rng.uniform(-100, 100, count), 5e6 + rng.uniform(-50, 150, count)
    first, second = pairs_within(x, y, reach)
    wanted = cKDTree(np.column_stack([x, y])).query_pairs(reach)
    assert (first < second).all()
    assert len(first) == len(wanted)
    assert set(zip(first.tolist(), second.tolist(), strict=True)) == wanted


def test_a_pair_at_exactly_the_distance_is_one(rng):
    x, y = (axis.ravel().astype(float) for axis in np.meshgrid(np.arange(-9, 9), np.arange(-9, 9)))
    first, second = pairs_within(0.1 * x, 0.1 * y, 0.1 * 3)
    wanted = (np.abs(x[:, None] - x) ** 2 + np.abs(y[:, None] - y) ** 2 <= 9).sum() - len(x)
    near = np.hypot(x[first] - x[second], y[first] - y[second])
    assert near.max() <= 3
    # what lies at the distance but for rounding may fall to either side; none nearer is left out
    assert (near < 3).sum() == ((np.hypot(x[:, None] - x, y[:, None] - y) < 3).sum() - len(x)) / 2
    assert 2 * len(first) <= wanted
    whole, _ = pairs_within(x, y, 3.0)
    assert 2 * len(whole) == wanted


def test_points_on_one_spot_are_all_pairs():
    first, second = pairs_within(np.zeros(5), np.full(5, -7.0), 1.0)
    assert sorted(zip(first.tolist(), second.tolist(), strict=True)) == [
        (i, j) for i in range(5) for j in range(i + 1, 5)
    ]
