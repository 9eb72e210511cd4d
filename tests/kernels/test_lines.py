"""Groups of points and the lines along them, against the library of graphs and the plain way to do them."""

import numpy as np
import pytest
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components, dijkstra, minimum_spanning_tree
from scipy.spatial.distance import pdist, squareform

from reefscan.join.features import Lines, line_shapes, trace
from reefscan.kernels.lines import join_pairs, keep_better
from reefscan.kernels.near import pairs_within

SIDE_M = 10.0


def paths_of(lines: Lines, feature: int) -> list[np.ndarray]:
    """The rows of each path of a feature."""
    return [
        lines.way[lines.start[k] : lines.start[k + 1]] for k in range(*lines.first[feature : feature + 2])
    ]


def points(rng, groups):
    """Groups of points well apart, each of them joined by steps of less than `BRIDGE` squares."""
    x, y, label = [], [], []
    for group in range(groups):
        n = int(rng.integers(1, 40))
        walk = np.cumsum(rng.uniform(-25, 25, (n, 2)), axis=0)
        x.append(walk[:, 0] + 5000.0 * group)
        y.append(walk[:, 1])
        label.append(np.full(n, group))
    order = rng.permutation(sum(map(len, x)))
    return (np.concatenate(part)[order] for part in (x, y, label))


def test_groups_are_those_of_the_library_in_the_order_of_their_first_points(rng):
    x, y, _ = points(rng, 12)
    first, second = pairs_within(x, y, 20.0)
    group, joins = np.empty(len(x), np.intp), np.empty(len(first), bool)
    count = join_pairs(first, second, group, joins)
    graph = coo_matrix((np.ones(len(first)), (first, second)), shape=(len(x), len(x)))
    assert count == connected_components(graph, directed=False)[0]
    assert (group == connected_components(graph, directed=False)[1]).all()
    assert joins.sum() == len(x) - count


def test_pairs_in_order_of_length_leave_the_shortest_tree(rng):
    x, y = rng.uniform(0, 100, (2, 60))
    first, second = pairs_within(x, y, 200.0)
    gap = np.hypot(x[first] - x[second], y[first] - y[second])
    order = np.argsort(gap)
    joins = np.empty(len(order), bool)
    assert join_pairs(first[order], second[order], np.empty(60, np.intp), joins) == 1
    tree = minimum_spanning_tree(coo_matrix(squareform(pdist(np.column_stack([x, y])))))
    assert gap[order][joins].sum() == pytest.approx(tree.sum())


def test_the_main_line_is_the_longest_path_and_branches_hang_on_what_is_there(rng):
    x, y, label = points(rng, 25)
    lines = trace(x, y, label, np.full(25, 4.0), SIDE_M)
    length, sinuosity = line_shapes(x, y, lines)
    for group in range(25):
        rows = np.flatnonzero(label == group)
        tree = minimum_spanning_tree(coo_matrix(squareform(pdist(np.column_stack([x[rows], y[rows]])))))
        way = dijkstra(tree, directed=False)
        main, *branches = paths_of(lines, group)
        assert length[group] == pytest.approx(way.max())
        assert sinuosity[group] >= 1.0
        drawn = list(main)
        longest = np.inf
        for branch in branches:
            assert branch[-1] in drawn
            assert not set(branch[:-1]) & set(drawn)
            at = [np.flatnonzero(rows == k)[0] for k in branch]
            assert SIDE_M * 3 < way[at[0], at[-1]] <= longest
            longest = way[at[0], at[-1]]
            drawn += list(branch[:-1])
        assert set(drawn) <= set(rows)
        left = [k for k in range(len(rows)) if rows[k] not in drawn]
        there = [k for k in range(len(rows)) if rows[k] in drawn]
        assert not left or way[np.ix_(left, there)].min(axis=1).max() <= SIDE_M * 3


def test_a_line_of_one_station_has_no_length():
    lines = trace(np.array([3.0]), np.array([4.0]), np.array([0]), np.array([5.0]), SIDE_M)
    assert isinstance(lines, Lines)
    assert [path.tolist() for path in paths_of(lines, 0)] == [[0]]
    assert [values.tolist() for values in line_shapes(np.array([3.0]), np.array([4.0]), lines)] == [
        [0.0],
        [1.0],
    ]


def test_what_fell_to_a_better_one_takes_no_other_down():
    keep = np.ones(3, bool)
    keep_better(np.array([0, 1]), np.array([1, 2]), keep)
    assert keep.tolist() == [True, False, True]
