"""Walks along stations, against the plain way to do them."""

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, dijkstra, minimum_spanning_tree
from scipy.spatial.distance import pdist, squareform

from reefscan.kernels.lines import way_from


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
