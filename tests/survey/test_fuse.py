"""Own ground set into a public grid, and the lines to run next, on ground whose truth is known."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from ground import plants, seabed
from numpy.testing import assert_allclose

from reefscan.survey.blocks import reduce_blocks
from reefscan.survey.fuse import BLENDED, OWN, PUBLIC, estimate_bias, fuse
from reefscan.survey.next_lines import (
    CoarseGround,
    Line,
    distance_to_line,
    order_lines,
    plan_lines,
    promise,
    route_length,
)
from reefscan.survey.surface import predict
from reefscan.survey.uncertainty import Uncertainty


def two_grids(rng):
    x, y = np.meshgrid(np.arange(0, 400, 2.0), np.arange(400, 0, -2.0))
    truth = -12 + 0.01 * x + 0.4 * np.sin(x / 40) * np.cos(y / 55)
    own = np.where(np.hypot(x - 200, y - 200) < 90, truth + 0.35 + 0.02 * rng.normal(size=x.shape), np.nan)
    public = truth + 0.15 * np.sin(x / 90)  # long errors of its own, and another datum
    return x, y, truth, own, public


def test_the_bias_is_the_planted_one_though_some_cells_are_wild(rng):
    _, _, truth, own, _ = two_grids(rng)
    own[95:99, 95:99] += 20.0
    got = estimate_bias(own, truth)
    assert_allclose(got.value_m, 0.35, atol=0.01)
    assert_allclose(got.spread_m, 0.02, atol=0.01)


def test_too_few_shared_cells_give_no_bias():
    own, public = np.full((9, 9), np.nan), np.zeros((9, 9))
    own[4, 4] = 3.0
    assert estimate_bias(own, public).value_m == 0.0


def test_own_ground_stays_public_ground_far_off_stays_and_the_source_says_which(rng):
    _, _, _, own, public = two_grids(rng)
    bias = estimate_bias(own, public)
    sigma = np.where(np.isfinite(own), 0.1, np.nan)
    elev, uncertainty, source = fuse(
        own, sigma, public, np.ones_like(public), bias=bias, cell_m=2.0, blend_m=40.0
    )
    assert set(np.unique(source)) == {OWN, BLENDED, PUBLIC}
    assert_allclose(elev[source == OWN], (own - bias.value_m)[source == OWN])
    assert_allclose(elev[source == PUBLIC], public[source == PUBLIC])
    assert (uncertainty[source == OWN] < 0.2).all()
    assert (uncertainty[source != OWN] >= 1.0).all()


def test_no_seam_shows_in_the_slope(rng):
    x, _, _, own, public = two_grids(rng)
    own = np.where(np.isfinite(own), public + 0.35 + 0.5 * np.sin(x / 60), np.nan)  # a difference that varies
    bias = estimate_bias(own, public)
    naive = np.where(np.isfinite(own), own - bias.value_m, public)
    elev, _, source = fuse(own, own * 0 + 0.1, public, public * 0 + 1, bias=bias, cell_m=2.0, blend_m=40.0)
    edge = (source == BLENDED) & (np.roll(source, 1, 0) == OWN) | (source == BLENDED) & (
        np.roll(source, 1, 1) == OWN
    )

    def jump(z):  # step between neighbours beyond the public grid's own
        d = z - public
        return np.maximum(np.abs(d - np.roll(d, 1, 0)), np.abs(d - np.roll(d, 1, 1)))[edge].max()

    assert jump(naive) > 0.4
    assert jump(elev) < 0.06


UNCERTAINTY = Uncertainty(
    np.array([0.0, 3, 6, 12, 25]), np.array([0.02, 0.1, 0.4, 1.0, 2.0]), 0.06, 0.05, True
)


def gridded(px, py, pz, x, y):
    return predict(reduce_blocks(px, py, pz, side_m=2.0), x, y, method="cubic")


def sparse_survey(rng):
    """Planted ground sounded every 60 m, gridded coarsely; returns the ground, its truth and soundings."""
    side = 480.0
    planted = plants(rng, 9, side)
    centre = np.arange(2.5, side, 5.0)
    x, y = np.meshgrid(centre, centre[::-1])
    lines = np.arange(30.0, side, 60.0)
    sx, sy = np.repeat(lines, 96), np.tile(np.arange(2.5, side, 5.0), lines.size)
    sz = seabed(sx, sy, planted)
    near = np.min(np.abs(x[..., None] - lines), axis=2)
    elev = gridded(sx, sy, sz, x, y)
    return (
        planted,
        side,
        CoarseGround(elev, near, np.full(x.shape, 0.4), 5.0, 0.0, side),
        (sx, sy, sz),
        (x, y),
    )


def test_planned_lines_lower_the_miss_near_structure_more_than_even_lines_of_the_same_length():
    gains = []
    for seed in range(1, 11):
        planted, side, ground, (sx, sy, sz), (x, y) = sparse_survey(np.random.default_rng(seed))
        budget = 1800.0
        planned = plan_lines(ground, UNCERTAINTY, budget_m=budget)
        assert planned
        assert route_length(planned) <= budget
        run = sum(line.length_m for line in planned)
        count = max(1, int(run // side))
        even = [Line(k * 60.0, 0.0, k * 60.0, run / count) for k in np.linspace(1, 7, count).round()]
        truth = seabed(x, y, planted)
        near = np.zeros(x.shape, bool)
        for p in planted:
            near |= np.hypot(x - p.x, y - p.y) < 40
        miss = []
        for lines in (planned, even):
            px = np.concatenate([np.linspace(g.x0, g.x1, max(int(g.length_m / 5), 2)) for g in lines])
            py = np.concatenate([np.linspace(g.y0, g.y1, max(int(g.length_m / 5), 2)) for g in lines])
            inside = (px >= 0) & (px <= side) & (py >= 0) & (py <= side)
            px, py = px[inside], py[inside]
            got = gridded(np.r_[sx, px], np.r_[sy, py], np.r_[sz, seabed(px, py, planted)], x, y)
            near &= np.isfinite(ground.elev) & np.isfinite(got)  # inside the outermost soundings
            miss.append(np.sqrt(np.mean((got - truth)[near] ** 2)))
        gains.append(miss[0] / miss[1])
    print("planned over even", gains)
    assert np.mean(gains) < 0.97


@pytest.mark.parametrize(("cell_m", "spread_m"), [(4.0, 5.0), (5.0, 30.0)])
def test_no_line_is_proposed_where_another_runs_already(cell_m, spread_m):
    """One pile is all there is to find: what a line over it took away is not there to be taken again."""
    side = 480.0
    x, y = np.meshgrid(np.arange(cell_m / 2, side, cell_m), np.arange(side - cell_m / 2, 0, -cell_m))
    elev = -12 + 3 * np.exp(-((x - 240) ** 2 + (y - 240) ** 2) / (2 * spread_m**2))
    near = np.min(np.abs(x[..., None] - np.arange(30.0, side, 60.0)), axis=2)
    ground = CoarseGround(elev, np.where(near < cell_m, 0.0, near), np.full(x.shape, 0.4), cell_m, 0.0, side)
    lines = plan_lines(ground, UNCERTAINTY, budget_m=2000.0)
    assert len(lines) > 3
    for one, other in itertools.permutations(lines, 2):
        s = np.linspace(0.0, 1.0, 50)
        x, y = one.x0 + s * (one.x1 - one.x0) - other.x0, one.y0 + s * (one.y1 - one.y0) - other.y0
        dx, dy = (other.x1 - other.x0) / other.length_m, (other.y1 - other.y0) / other.length_m
        along = np.clip(x * dx + y * dy, 0.0, other.length_m)
        assert np.mean(np.hypot(x - along * dx, y - along * dy) < cell_m) < 0.3


def test_promise_is_high_on_a_ledge_and_low_on_level_ground():
    x, y = np.meshgrid(np.arange(0, 400, 4.0), np.arange(400, 0, -4.0))
    elev = -12 + 2.0 * (x > 300)
    worth = promise(CoarseGround(elev, np.zeros(x.shape), np.ones(x.shape), 4.0, 0.0, 400.0))
    assert worth[50, 75] > 0.8
    assert worth[50, 15] < 0.1
    assert y.max() == 400


def test_the_order_of_lines_does_not_run_back_and_forth():
    lines = [Line(0.0, k * 10.0, 100.0, k * 10.0) for k in (2, 0, 3, 1)]
    route = order_lines(lines)
    assert_allclose(route_length(route), 4 * 100 + 3 * 10)
    assert {(g.y0) for g in route} == {0.0, 10.0, 20.0, 30.0}


def test_distance_to_a_line_is_that_of_plane_geometry():
    ground = CoarseGround(np.zeros((3, 3)), np.zeros((3, 3)), np.zeros((3, 3)), 2.0, 0.0, 6.0)
    got = distance_to_line(ground, Line(3.0, 0.0, 3.0, 6.0))
    assert_allclose(got, np.tile([2.0, 0.0, 2.0], (3, 1)))


def test_a_budget_too_small_for_a_line_gives_none():
    ground = CoarseGround(np.zeros((40, 40)), np.full((40, 40), 10.0), np.ones((40, 40)), 5.0, 0.0, 200.0)
    assert plan_lines(ground, UNCERTAINTY, budget_m=0.0) == []
