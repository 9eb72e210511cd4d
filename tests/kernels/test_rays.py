"""Rays to the first of many lines, against the same rays cut by shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from reefscan.kernels.rays import first_hits

REACH = 1000.0


def look(places, turns, lines, k):
    corners, of = shapely.get_coordinates(np.array(lines, dtype=object), return_index=True)
    starts = np.searchsorted(of, np.arange(len(lines) + 1))
    bounds = shapely.bounds(np.array(lines, dtype=object))
    middle = 0.5 * (bounds[:, :2] + bounds[:, 2:])
    radius = 0.5 * np.hypot(*(bounds[:, 2:] - bounds[:, :2]).T)
    out = np.empty((len(places), k))
    first_hits(places, turns, corners, starts, np.column_stack((middle, radius)), REACH, out)
    return out


@pytest.mark.parametrize("seed", range(6))
def test_every_ray_ends_where_shapely_cuts_it(seed):
    rng = np.random.default_rng(seed)
    k = int(rng.choice([8, 24, 72]))
    places = rng.uniform(-300, 300, (25, 2))
    turns = rng.uniform(-np.pi, np.pi, 25)
    lines = [
        shapely.LineString(
            rng.uniform(-900, 900, 2)
            + np.cumsum(rng.normal(0, rng.choice([5, 60]), (rng.integers(2, 18), 2)), axis=0)
        )
        for _ in range(60)
    ]
    found = look(places, turns, lines, k)
    whole = shapely.union_all(lines)
    for i, place in enumerate(places):
        for b in range(k):
            angle = b * 2 * np.pi / k + turns[i]
            end = place + REACH * np.array([np.sin(angle), np.cos(angle)])
            cut = shapely.intersection(shapely.LineString([place, end]), whole)
            wanted = REACH if cut.is_empty else shapely.distance(shapely.Point(place), cut)
            assert found[i, b] == pytest.approx(wanted, abs=1e-6)


def test_without_lines_all_is_open():
    out = np.empty((2, 4))
    first_hits(
        np.zeros((2, 2)), np.zeros(2), np.zeros((0, 2)), np.zeros(1, np.intp), np.zeros((0, 3)), REACH, out
    )
    assert (out == REACH).all()
