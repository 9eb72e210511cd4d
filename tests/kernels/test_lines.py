"""Walks along stations, against the plain way to do them."""

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, dijkstra, minimum_spanning_tree
from scipy.spatial.distance import pdist, squareform

from reefscan.kernels.lines import level_runs, near_pairs, way_from


@pytest.mark.parametrize("n", [0, 1, 2, 60])
def test_near_pairs_are_those_that_every_pair_looked_at_gives(rng, n):
    x, y, half = rng.uniform(0, 500, n), rng.uniform(0, 500, n), rng.uniform(0, 60, n)
    wanted = [
        (i, j)
        for i in range(n)
        for j in range(i + 1, n)
        if np.hypot(x[i] - x[j], y[i] - y[j]) <= half[i] + half[j] + 30.0
    ]
    assert [tuple(pair) for pair in near_pairs(x, y, half, 30.0)] == wanted


def test_the_way_along_a_tree_is_the_shortest_path_in_it(rng):
    x, y = rng.uniform(0, 100, (2, 40))
    tree = minimum_spanning_tree(coo_matrix(squareform(pdist(np.column_stack([x, y]))))).tocsr()
    order, before = breadth_first_order(tree, 7, directed=False)
    used = np.arange(40) == 7
    assert way_from(order, before, x, y, used) == pytest.approx(dijkstra(tree, directed=False, indices=7))


def test_a_way_starts_where_the_tree_is_used_up_to():
    order, before = np.arange(5, dtype=np.int32), np.arange(-1, 4, dtype=np.int32)
    x = np.array([0.0, 1.0, 3.0, 6.0, 10.0])
    far = way_from(order, before, x, np.zeros(5), np.array([True, True, True, False, False]))
    assert far.tolist() == [0, 0, 0, 3, 7]


def test_runs_hold_what_lies_within_so_much_of_each_other():
    across = np.array([0.0, 0.4, 0.9, 1.1, 0.2, 5.0])
    assert level_runs(across, 1.0).tolist() == [0, 3, 5, 6]
    assert level_runs(across[:0], 1.0).tolist() == [0]
