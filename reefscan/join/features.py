"""Ledges, troughs and rises as lines and outlines: stations joined after the merge.

Everything here works on tables of stations of a whole sheet, so no feature knows where the tiles were.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, connected_components, minimum_spanning_tree
from scipy.spatial import cKDTree

from reefscan.kernels.lines import way_from

Floats = NDArray[np.float64]

JOIN = 2.6
"""Stations of one line are joined over gaps of up to this many squares: two empty squares between them."""

BRIDGE = 4.5
"""Stations of one line that lie on one straight course, alike in height, are joined over gaps of up to this many
squares: a hole in the survey does not make two ledges of one."""

COURSE_DEG = 15.0
"""How far off a straight course the axes at both ends of a bridged gap may lie."""

TURN_DEG = 42.0
"""Largest angle between a joint and the axes at its ends: a gully may turn that much in 25 m."""


@dataclass(frozen=True)
class Line:
    """One feature as drawn: the rows of its main line in order, and of its branches."""

    main: tuple[int, ...]
    branches: tuple[tuple[int, ...], ...] = ()


def distinct(x: Floats, y: Floats, height: Floats, radius_m: float) -> NDArray[np.bool_]:
    """Keep the highest of stations that were recentred onto the same spot.

    Order is by height, then x, then y: it does not depend on the order of the rows.
    """
    keep = np.ones(len(x), dtype=bool)
    if len(x) < 2:
        return keep
    tree = cKDTree(np.column_stack([x, y]))
    pairs = tree.query_pairs(radius_m, output_type="ndarray")
    if not len(pairs):
        return keep
    rank = np.empty(len(x), dtype=np.intp)
    rank[np.lexsort((y, x, -height))] = np.arange(len(x))
    a, b = rank[pairs].min(axis=1), rank[pairs].max(axis=1)
    order = np.lexsort((b, a))
    alive = np.ones(len(x), dtype=bool)
    # pairs sorted by their better member: a station that fell to a better one no longer takes others down
    for better, worse in zip(a[order].tolist(), b[order].tolist(), strict=True):
        if alive[better]:
            alive[worse] = False
    keep[:] = alive[rank]
    return keep


def join(table: pd.DataFrame, kind: str, side_m: float) -> NDArray[np.intp]:
    """Number of the feature each station belongs to, stations in any order.

    Parameters
    ----------
    table : DataFrame
        Stations of one kind on one sheet: ``x``, ``y`` (m), ``axis``, ``facing`` (deg), ``height_m``,
        ``width_m``, ``level_m``.
    kind : str
    side_m : float
        Side of a station square.
    """
    n = len(table)
    if n == 0:
        return np.zeros(0, dtype=np.intp)
    i, j = _pairs(table, kind, side_m)
    graph = coo_matrix((np.ones(len(i)), (i, j)), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.intp)


def _pairs(table: pd.DataFrame, kind: str, side_m: float) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    x, y = table["x"].to_numpy(), table["y"].to_numpy()
    height, width = table["height_m"].to_numpy(), table["width_m"].to_numpy()
    tree = cKDTree(np.column_stack([x, y]))
    reach = max(JOIN * side_m, float(width.max())) if kind == "rise" else BRIDGE * side_m
    pairs = tree.query_pairs(reach, output_type="ndarray")
    if not len(pairs):
        return np.zeros(0, np.intp), np.zeros(0, np.intp)
    i, j = pairs[:, 0], pairs[:, 1]
    dx, dy = x[j] - x[i], y[j] - y[i]
    gap = np.hypot(dx, dy)
    if kind == "rise":
        good = gap < np.maximum(side_m, 0.4 * (width[i] + width[j]))
        return i[good], j[good]
    heading = np.degrees(np.arctan2(dx, dy))
    axis = table["axis"].to_numpy()
    level = table["level_m"].to_numpy()
    near = gap < 0.8 * side_m
    off_course = np.maximum(between(axis[i], heading), between(axis[j], heading))
    alike = np.abs(height[i] - height[j]) < 0.3 * np.maximum(height[i], height[j])
    good = (off_course < TURN_DEG) & (gap <= JOIN * side_m)
    good |= near | ((off_course < COURSE_DEG) & alike)
    good &= between(axis[i], axis[j]) < TURN_DEG
    # the middle of a ledge's face may be read anywhere between its foot and its lip
    share = 1.0 if kind == "ledge" else 0.4
    good &= np.abs(level[i] - level[j]) < share * np.maximum(height[i], height[j]) + 0.08 * gap
    if kind == "ledge":
        facing = table["facing"].to_numpy()
        turn = np.abs((facing[i] - facing[j] + 180.0) % 360.0 - 180.0)
        good &= turn < 60.0
    return i[good], j[good]


def between(a: Floats, b: Floats) -> Floats:
    """Angle between two axes, 0 to 90 degrees."""
    return np.abs((a - b + 90.0) % 180.0 - 90.0)


def trace(x: Floats, y: Floats, height: Floats, width: float, side_m: float) -> Line:
    """Main line and branches through the stations of one feature.

    The longest path of the shortest tree that holds all stations; branches longer than the feature's
    width hang on it, shorter ones are spurs of the sampling and are left out.
    """
    n = len(x)
    if n == 1:
        return Line((0,))
    tree = _tree(x, y, side_m)
    start = _farthest(tree, 0, x, y)[0]
    end, before = _farthest(tree, start, x, y)
    main = [end]
    while main[-1] != start:
        main.append(int(before[main[-1]]))
    used = np.zeros(n, dtype=bool)
    used[main] = True
    branches = []
    while True:
        path = _longest_branch(tree, used, x, y)
        if path is None:
            break
        length = float(np.hypot(np.diff(x[path]), np.diff(y[path])).sum())
        if length <= max(1.2 * width, 3.0 * side_m):
            break
        branches.append(tuple(path))
        used[path] = True
    return Line(tuple(main), tuple(branches))


def _tree(x: Floats, y: Floats, side_m: float) -> coo_matrix:
    pairs = cKDTree(np.column_stack([x, y])).query_pairs(BRIDGE * side_m, output_type="ndarray")
    i, j = pairs[:, 0], pairs[:, 1]
    gap = np.hypot(x[i] - x[j], y[i] - y[j]) + 1e-6
    # squared gaps: the tree follows near neighbours instead of cutting corners
    tree = minimum_spanning_tree(coo_matrix((gap**2, (i, j)), shape=(len(x), len(x))).tocsr())
    return (tree + tree.T).tocsr()


def _farthest(tree: coo_matrix, root: int, x: Floats, y: Floats) -> tuple[int, NDArray[np.int32]]:
    order, before = breadth_first_order(tree, root, directed=False)
    used = np.zeros(len(x), dtype=bool)
    used[root] = True
    return int(np.argmax(way_from(order, before, x, y, used))), before


def _longest_branch(tree: coo_matrix, used: NDArray[np.bool_], x: Floats, y: Floats) -> list[int] | None:
    if used.all():
        return None
    order, before = breadth_first_order(tree, int(np.flatnonzero(used)[0]), directed=False)
    far = way_from(order, before, x, y, used)
    node = int(np.argmax(far))
    if far[node] <= 0.0:
        return None
    path = [node]
    while not used[path[-1]]:
        path.append(int(before[path[-1]]))
    return path


def line_shape(x: Floats, y: Floats) -> tuple[float, float]:
    """Length (m) and sinuosity (path over chord, 1 or more) of a line through stations in order."""
    length = float(np.hypot(np.diff(x), np.diff(y)).sum())
    chord = float(np.hypot(x[-1] - x[0], y[-1] - y[0]))
    return length, max(1.0, length / chord) if chord > 1.0 else 1.0
