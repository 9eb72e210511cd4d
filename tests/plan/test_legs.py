"""Ways by water and the order of the nets: against another shortest-path library, every permutation, and a plain look along each leg."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from reefscan.plan.legs import Ground, Leg, Waters, off_water_m
from reefscan.plan.order import best_order, night_length


def ground(elev: np.ndarray, cell: float = 2.0) -> Ground:
    return Ground(np.asarray(elev, float), 0.0, elev.shape[0] * cell, cell, "EPSG:32627")


def looked_along(leg: Leg, g: Ground, tide: float, keel: float) -> bool:
    """Every ten centimetres of each straight piece, the cell under it read off: known, and deep enough."""
    for a, b in itertools.pairwise(leg.places):
        for t in np.linspace(0, 1, max(2, int(math.dist(a, b) / 0.1))):
            x, y = a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])
            value = g.elev[int((g.north_m - y) // g.cell_m), int((x - g.west_m) // g.cell_m)]
            if not tide - value >= keel:  # NaN is not
                return False
    return True


def rough(seed: int, side: int = 80) -> Ground:
    rng = np.random.default_rng(seed)
    z = gaussian_filter(rng.standard_normal((side, side)), 4)
    elev = -5 + 6 * z / z.std()
    hole = gaussian_filter(rng.standard_normal((side, side)), 3)
    elev[hole > np.quantile(hole, 0.93)] = np.nan
    return ground(elev)


def one(waters: Waters, a: tuple[float, float], b: tuple[float, float]) -> Leg | None:
    start, end = waters.berth(a), waters.berth(b)
    assert start is not None and end is not None
    return waters.legs(a, [end], [b], start)[0]


@pytest.mark.parametrize("seed", range(20))
def test_no_leg_goes_over_land_the_unknown_or_shoal_ground(seed: int) -> None:
    g = rough(seed)
    waters = Waters(g, tide_low_m=0.5, keel_m=2.0)
    rng = np.random.default_rng(seed)
    rows, cols = np.nonzero(waters.open)
    found = 0
    for _ in range(6):
        pick = rng.integers(rows.size, size=2)
        a, b = (g.middle((int(rows[k]), int(cols[k]))) for k in pick)
        docks = [waters.berth(p) for p in (a, b)]
        if None in docks or not waters.joined(docks[0], docks[1]):  # type: ignore[arg-type]
            continue
        leg = one(waters, a, b)
        assert leg is not None
        assert leg.places[0] == a and leg.places[-1] == b
        assert looked_along(leg, g, 0.5, 2.0)
        assert leg.shoalest_m >= 2.0 - 0.5 - 1e-9
        assert leg.length_m >= math.dist(a, b) - 1e-6
        found += 1
    assert found


def test_a_leg_is_no_longer_than_the_shortest_way_from_cell_to_cell() -> None:
    """Dijkstra of scipy over the same cells with steps to eight neighbours."""
    g = rough(3)
    waters = Waters(g, tide_low_m=0.5, keel_m=2.0)
    number = np.arange(g.elev.size).reshape(g.elev.shape)
    links: list[tuple[int, int, float]] = []
    for dr, dc in ((0, 1), (1, 0), (1, 1), (1, -1)):
        for r, c in zip(*np.nonzero(waters.clear), strict=True):
            q, d = r + dr, c + dc
            if g.holds((q, d)) and waters.clear[q, d]:
                links.append((number[r, c], number[q, d], 2.0 * math.hypot(dr, dc)))
    i, j, w = (np.array(v) for v in zip(*links, strict=True))
    graph = csr_array((w, (i.astype("i4"), j.astype("i4"))), shape=(g.elev.size, g.elev.size))
    rows, cols = np.nonzero(waters.part == np.argmax(np.bincount(waters.part[waters.part > 0])))
    a, b = (int(rows[0]), int(cols[0])), (int(rows[-1]), int(cols[-1]))
    shortest = float(dijkstra(graph, directed=False, indices=number[a])[number[b]])
    leg = one(waters, g.middle(a), g.middle(b))
    assert leg is not None and math.dist(g.middle(a), g.middle(b)) <= leg.length_m <= shortest + 1e-6


def test_a_leg_rounds_the_end_of_a_wall_and_the_unknown_is_a_wall_too() -> None:
    for wall in (3.0, np.nan):
        elev = np.full((40, 60), -10.0)
        elev[:30, 30] = wall  # open for the last ten rows, 20 m
        g = ground(elev)
        waters = Waters(g, tide_low_m=0.0, keel_m=2.0)
        a, b = g.middle((5, 10)), g.middle((5, 50))
        leg = one(waters, a, b)
        assert leg is not None and looked_along(leg, g, 0.0, 2.0)
        # a cell off the wall on every side: from (21, 69) past the corners (58, 18) and (64, 18) to (101, 69)
        assert leg.length_m == pytest.approx(2 * math.hypot(37, 51) + 6, rel=0.01)
        elev[:, 30] = wall
        waters = Waters(ground(elev), tide_low_m=0.0, keel_m=2.0)
        docks = [waters.berth(p) for p in (a, b)]
        assert waters.legs(a, [docks[1]], [b], docks[0]) == [None]  # type: ignore[list-item,arg-type]


def test_the_tide_opens_a_shoal_and_the_keel_shuts_it() -> None:
    elev = np.full((20, 40), -6.0)
    elev[:, 18:22] = -1.0
    g = ground(elev)
    a, b = g.middle((10, 5)), g.middle((10, 35))
    for tide, keel, way in ((0.0, 2.0, False), (1.0, 2.0, True), (1.0, 2.1, False)):
        waters = Waters(g, tide_low_m=tide, keel_m=keel)
        start, end = waters.berth(a), waters.berth(b)
        assert start is not None and end is not None
        (leg,) = waters.legs(a, [end], [b], start)
        assert (leg is not None) is way
        if leg is not None:
            assert leg.shoalest_m == 1.0


def test_a_launch_is_taken_to_the_water_near_it_and_no_farther() -> None:
    elev = np.full((50, 50), 2.0)
    elev[:, 30:] = -8.0
    waters = Waters(ground(elev), tide_low_m=0.0, keel_m=2.0)
    slip = (50.0, 50.0)  # ten metres of land, one cell of clearance and half a cell to its middle
    assert waters.dock(slip, 15.0) == (24, 31) or waters.dock(slip, 15.0) == (25, 31)
    assert waters.dock(slip, 5.0) is None
    assert off_water_m(waters, slip) == pytest.approx(12.0, abs=2.0)
    assert off_water_m(waters, (-100.0, 50.0)) == pytest.approx(163.0, abs=2.0)
    assert math.isinf(off_water_m(Waters(ground(np.full((9, 9), 3.0)), tide_low_m=0, keel_m=1), slip))


@pytest.mark.parametrize("seed", range(12))
def test_the_order_is_the_best_of_all_permutations(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = 2 + seed % 6
    place = rng.uniform(0, 1000, (n, 2))
    between = np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1)) * rng.uniform(1, 1.3, (n, n))
    between = (between + between.T) / 2
    launch = np.hypot(*(place - rng.uniform(0, 1000, 2)).T)
    rounds = seed % 4
    made = best_order(between, launch, rounds)
    assert sorted(made) == list(range(n))
    best = min(night_length(p, between, launch, rounds) for p in itertools.permutations(range(n)))
    assert night_length(made, between, launch, rounds) == pytest.approx(best)


def test_a_night_is_as_long_as_its_pieces() -> None:
    """Launch to the first 100 m, first to second 30 m, home 90 m; two rounds: out, set, back, pull, back, pull, home."""
    between, launch = np.array([[0, 30.0], [30, 0]]), np.array([100.0, 90.0])
    assert night_length((0, 1), between, launch, 2) == 100 + 30 + 30 + 30 + 30 + 30 + 90


def test_more_than_ten_nets_get_an_order_that_crosses_nothing() -> None:
    angle = np.random.default_rng(2).permutation(14) / 14 * 2 * np.pi
    place = 100 * np.column_stack((np.cos(angle), np.sin(angle)))
    between = np.hypot(*(place[:, None] - place[None]).transpose(2, 0, 1))
    made = best_order(between, np.hypot(*(place - (300, 0)).T), 3)
    ring = night_length(tuple(np.argsort(angle)), between, np.hypot(*(place - (300, 0)).T), 3)
    assert night_length(made, between, np.hypot(*(place - (300, 0)).T), 3) <= ring * 1.05
