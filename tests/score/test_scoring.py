"""Score and confidence against values worked out by hand (closed forms of the definitions)."""

from __future__ import annotations

import math
import warnings
from decimal import ROUND_HALF_EVEN, Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from reefscan.base.recipe import Recipe, Score, Term
from reefscan.base.s44 import Z95, tvu
from reefscan.score.ranking import best_first
from reefscan.score.scoring import (
    cell_terms,
    height_confidence,
    raise_cells,
    round_half_even,
    score_table,
    trapezoid,
)

OFF = {name: {"weight": 0, "required": False} for name in Score().terms}


def only(**terms: dict) -> Score:
    """A score with these terms and no default one."""
    return Score(terms={**OFF, **terms})


def table(**columns) -> pd.DataFrame:
    n = len(next(iter(columns.values())))
    return pd.DataFrame({"id": [f"s{i:04d}" for i in range(n)], "kind": ["ledge"] * n, **columns})


# Computed by hand from 100 (prod mu^w)^(1/sum w).
@pytest.mark.parametrize(
    ("mu", "weights", "expected"),
    [
        ([0.9, 0.6, 0.8], [2, 1, 1], 78.96444077714955),
        ([0.9, 0.6, 0.8], [20, 10, 10], 78.96444077714955),
        ([0.9, 0.6, 0.8], [1, 1, 1], 75.59526299369239),
        ([0.5, 1], [1, 3], 84.08964152537145),
        ([0.5, 1], [3, 1], 59.46035575013605),
        ([0.1, 1, 1, 1], [1, 1, 1, 1], 56.23413251903491),
        ([1, 0.8, 0.5, 0.4], [1, 1, 1, 1], 63.24555320336759),
        ([1, 0, 1], [1, 0.1, 1], 0.0),
        ([1, 1], [3, 4], 100.0),
    ],
)
def test_the_mean_is_geometric_and_weighted(mu, weights, expected):
    names = [f"t{i}" for i in range(len(mu))]
    score = only(
        **{
            n: {"column": n, "a": 0, "b": 1, "weight": w, "required": m == 0}
            for n, w, m in zip(names, weights, mu, strict=True)
        }
    )
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a zero must not pass through log(0)
        got = score_table(table(**{n: [m] for n, m in zip(names, mu, strict=True)}), score)
    assert_allclose(got.points[0] / 1e6, expected, atol=5e-7)


@pytest.mark.parametrize(
    ("corners", "x", "expected"),
    [
        ((5, 10, 20, 40), [5, 7.5, 10, 15, 20, 30, 40, 41], [0, 0.5, 1, 1, 1, 0.5, 0, 0]),
        ((5, 5, 20, 40), [5, 4.999], [1, 0]),
        ((5, 10, 40, 40), [40, 40.001], [1, 0]),
        ((5, 10, 20, 40), [math.nan], [math.nan]),
        ((1, 2, math.inf, math.inf), [0.5, 1.5, 1e9], [0, 0.5, 1]),
        ((-math.inf, -math.inf, 10, 20), [-1e9, 15, 21], [1, 0.5, 0]),
    ],
)
def test_the_trapezoid_meets_its_corners(corners, x, expected):
    assert_array_equal(trapezoid(np.array(x, dtype=float), *corners), expected)


@pytest.mark.parametrize(
    ("corners", "half", "x", "expected"),
    [
        ((1, 1, math.inf, math.inf), 1.0, [0.99, 1, 3, 9, 1e12], [0, 0.5, 0.75, 0.9, 1]),
        ((0, 2, math.inf, math.inf), 2.0, [0, 1, 2, 6], [0, 0.5 / 3, 0.5, 0.75]),
        ((-math.inf, -math.inf, math.inf, math.inf), 1.0, [-5, 0, 1, math.nan], [0, 0, 0.5, math.nan]),
        ((0, 1, 4, 8), 4.0, [4, 6, 8], [0.5, 0.3, 0]),
        ((1, 1, math.inf, math.inf), 0.0, [1, 9], [1, 1]),
    ],
)
def test_with_half_more_is_ever_better_and_never_all(corners, half, x, expected):
    assert_allclose(trapezoid(np.array(x, dtype=float), *corners, half), expected, rtol=1e-11)


def test_a_term_with_half_orders_sites_of_any_height_and_has_no_ties():
    score = only(h={"column": "height_m", "a": 1, "b": 1, "half": 1.6, "required": True})
    scored = score_table(table(height_m=[0.9, 1.0, 2.0, 9.0, 9.01, 60.0]), score)
    assert scored.listed.tolist() == [False, True, True, True, True, True]
    assert (np.diff(scored.points) > 0).all()
    assert scored.points[-1] < 100_000_000


@pytest.mark.parametrize(
    ("height", "order", "depth", "expected"),
    [
        (2.0, "1a", 12.0, 0.907083249338),
        (1.5, "1a", 12.0, 0.5),
        (1.0, "1a", 12.0, 0.092916750662),
        (2.0, "special", 12.0, 0.995445805831),
        (2.0, "1a", 30.0, 0.862756633579),
    ],
)
def test_confidence_takes_the_95_percent_figure_and_a_difference_of_two_depths(
    height, order, depth, expected
):
    sigma = math.sqrt(2) * tvu(order, depth) / Z95
    assert_allclose(height_confidence(height, 1.5, sigma), expected, rtol=1e-10)
    score = Score(s44_order=order, terms={"height_ledge": {"a": 1.5, "b": 2.5}})
    got = score_table(table(height_m=[height], depth_m=[depth]), score)
    assert got.confidence[0] == pytest.approx(expected, abs=0.005) and got.assumed[0]
    assert got.confidence[0] not in (0.97, 0.75)  # no sqrt 2; TVU taken as one sigma


def test_a_stated_uncertainty_goes_before_the_assumed_one():
    t = table(height_m=[1.5] * 2, depth_m=[10.0] * 2, uncertainty_m=[0.1, 0.0])
    got = score_table(t, Score())
    by_hand = [0.5 * math.erfc(-z / math.sqrt(2)) for z in (0.5 / (0.1 * math.sqrt(2)), 1.0)]
    assert_allclose(got.confidence[0], by_hand[0], atol=0.005)
    assert got.assumed.tolist() == [False, True]


@pytest.mark.parametrize(
    ("stated", "noise", "interpolated", "variance"),
    [
        (0.1, 0.2, 0.0, 0.09),  # less than the noise seen: what is seen is believed
        (0.2, 0.2, 0.0, 0.09),
        (0.5, 0.3, 0.0, 0.09 + 2 * 0.04 * 0.16),  # the rest changes slowly: a difference keeps a fifth of it
        (
            0.5,
            0.3,
            1.0,
            0.09 + 2 * 0.04 * 0.16,
        ),  # filled in: a height that shows there has its doubt in its own
        (0.5, 0.3, 0.5, 0.09 + 2 * 0.04 * 0.16),
        (0.5, np.nan, 0.0, 0.09 + 2 * 0.04 * 0.25),
    ],
)
def test_what_the_grid_shows_and_what_it_states_make_up_the_doubt_of_a_height(
    stated, noise, interpolated, variance
):
    t = table(
        height_m=[1.3],
        depth_m=[10.0],
        uncertainty_m=[stated],
        height_sigma_m=[0.3],
        noise_m=[noise],
        interpolated=[interpolated],
    )
    above = 1.3 * (1 + 0.13 * interpolated) - 1.0
    by_hand = (1 - 0.05 * interpolated) * 0.5 * math.erfc(-above / math.sqrt(2 * variance))
    assert_allclose(score_table(t, Score()).confidence, by_hand, atol=0.0051)


def test_no_height_on_filled_in_ground_is_sure_however_high_it_is_told():
    t = table(
        height_m=[9.0, 9.0], depth_m=[10.0, 10.0], uncertainty_m=[0.01, 0.01], height_sigma_m=[0.03, 0.03]
    )
    assert score_table(t.assign(interpolated=[0.0, 1.0]), Score()).confidence.tolist() == [1.0, 0.95]
    # the least share that is told as filled in: never more than 99 % sure beside it
    least = score_table(t.assign(interpolated=Score().say_interpolated), Score()).confidence
    assert (least <= 0.98).all()


def test_stated_and_observed_confidence_agree(rng):
    # Planted heights seen with a known error, a flat prior: of the sites said to be sure to p, a share p is.
    truth = rng.uniform(0, 4, 200_000)
    seen = truth + rng.normal(0, 0.4, truth.size)
    inside = (seen > 1) & (seen < 3)
    p = height_confidence(seen, 2.0, 0.4)
    for low in np.arange(0, 1, 0.1):
        some = inside & (p >= low) & (p < low + 0.1)
        assert some.sum() > 500
        assert abs((truth[some] >= 2.0).mean() - p[some].mean()) < 0.05


@given(st.integers(0, 100_000_000))
def test_the_printed_score_is_half_even_on_the_decimal_value(millionths):
    exact = (Decimal(millionths) / 1_000_000).quantize(Decimal("0.1"), rounding=ROUND_HALF_EVEN)
    _, got = round_half_even(np.array([millionths / 1e6]), 1)
    assert Decimal(repr(float(got[0]))) == exact


def test_a_required_term_at_nothing_unlists_and_an_optional_one_only_hurts():
    score = only(
        need={"column": "x", "a": 1, "b": 2, "required": True},
        like={"column": "y", "a": 0, "b": 1, "weight": 1},
    )
    got = score_table(table(x=[0.5, 3.0, 3.0], y=[1.0, 0.0, 1.0]), score)
    assert got.listed.tolist() == [False, True, True]
    assert got.score.tolist() == [0.0, pytest.approx(100 * math.sqrt(0.05), abs=0.05), 100.0]


def test_an_absent_term_is_dropped_and_an_unknown_value_is_neutral_and_never_better_than_a_good_one():
    score = only(
        a={"column": "x", "a": 0, "b": 1},
        b={"column": "nowhere", "a": 0, "b": 1},
        c={"column": "y", "a": 0, "b": 1},
    )
    got = score_table(table(x=[0.8, 0.8, 0.8], y=[np.nan, 1.0, 0.5]), score)
    assert got.dropped == ("b",)
    assert got.unknown["c"].tolist() == [True, False, False]
    assert got.points[0] == got.points[2] < got.points[1]


def test_a_bonus_only_raises_and_a_penalty_only_lowers():
    plain = only(a={"column": "x", "a": 0, "b": 1})
    bonus = only(
        a={"column": "x", "a": 0, "b": 1}, near={"column": "n", "a": 0, "b": 1, "weight": 0.5, "bonus": True}
    )
    penalty = only(
        a={"column": "x", "a": 0, "b": 1}, dug={"column": "n", "c": 0, "d": 1, "weight": 0.5, "penalty": True}
    )
    t = table(x=[0.4] * 4, n=[0.0, 0.5, 1.0, np.nan])
    assert score_table(t, plain).score.tolist() == [40.0] * 4
    assert score_table(t, bonus).score.tolist() == [40.0, 55.0, 70.0, 40.0]  # s + (100 - s) w mu
    assert score_table(t, penalty).score.tolist() == [40.0, 30.0, 20.0, 30.0]  # s (1 - w (1 - mu))


def test_a_term_counts_only_for_its_kinds():
    score = only(
        h={"column": "height_m", "a": 0, "b": 2, "kinds": ["rise"]}, a={"column": "x", "a": 0, "b": 1}
    )
    t = table(height_m=[1.0, 1.0], x=[1.0, 1.0]).assign(kind=["ledge", "rise"])
    assert score_table(t, score).score.tolist() == [100.0, pytest.approx(70.7)]


corner = st.floats(-40, 40) | st.sampled_from([-np.inf, np.inf])
cell_term = st.fixed_dictionaries(
    {
        "column": st.sampled_from(["depth_m", "height_m", "slope_deg"]),
        "corners": st.lists(corner, min_size=4, max_size=4).map(sorted),
        "half": st.just(0.0) | st.floats(0.01, 50),
        "weight": st.floats(0, 1),
        "role": st.sampled_from(["", "required", "bonus", "penalty"]),
        "kinds": st.sampled_from([(), ("ledge",), ("rise",)]),
    }
).filter(lambda t: t["corners"][0] < np.inf and t["corners"][3] > -np.inf)
one_cell = st.tuples(
    st.integers(-30_000, 2_000), st.integers(1, 3_000), st.floats(0, 60, width=32) | st.just(np.nan)
)


@settings(deadline=None, max_examples=200)
@given(st.lists(cell_term, max_size=5), st.lists(one_cell, min_size=1, max_size=6))
def test_cells_are_scored_like_sites(terms, cells):
    named = {
        f"t{i}": {
            "column": t["column"],
            **dict(zip("abcd", t["corners"], strict=True)),
            "half": t["half"],
            "weight": t["weight"],
            "kinds": t["kinds"],
            **({t["role"]: True} if t["role"] else {}),
        }
        for i, t in enumerate(terms)
    }
    score = only(**named)
    cells = [*cells, (-8_000, 100, 5.0)]  # a table drops what it knows nowhere; a cell cannot know that
    elev, height, slope = (np.array([column]) for column in zip(*cells, strict=True))
    got = np.zeros(elev.shape, np.uint8)
    raise_cells(
        got,
        cell_terms(score, "ledge", int(height.max())),
        elev_mm=elev.astype(np.int32),
        height_cm=height.astype(np.uint16),
        slope_deg=slope.astype(np.float32),
    )
    sites = table(
        depth_m=elev[0] * -0.001, height_m=height[0] * 0.01, slope_deg=slope[0].astype(np.float32)
    ).assign(kind="ledge")
    scored = score_table(sites, score)
    unsure = np.zeros(len(cells), bool)
    for name, term in score.terms.items():
        if term.required and term.weight > 0 and name in scored.unknown:
            unsure |= scored.unknown[name]
    want = np.where(unsure, 0, scored.points / 1e6)
    assert_allclose(got[0], want, atol=0.500001)


def test_a_cell_without_structure_near_keeps_its_mark():
    points = np.array([[255, 0, 70, 7]], np.uint8)
    raise_cells(
        points,
        cell_terms(Recipe.default().score, "rise", 200),
        elev_mm=np.full((1, 4), -8_000, np.int32),
        height_cm=np.array([[0, 0, 200, 200]], np.uint16),
        slope_deg=np.array([[2, 2, 90, 2]], np.float32),
    )
    # nothing is lowered: the third cell lies under a steep floor and keeps what another kind gave it
    terms = Recipe.default().score.terms
    rise = terms["height_rise"]
    weights = sum(terms[name].weight for name in ("depth", "height_rise", "floor"))
    worth = round(100.0 * (2.0 / (2.0 + rise.half)) ** (rise.weight / weights))
    assert points.tolist() == [[255, 0, 70, worth]]


mu = st.floats(0, 1).map(lambda v: round(v, 3))


@settings(deadline=None, max_examples=150)
@given(
    st.lists(st.tuples(mu, mu, mu, mu, mu), min_size=2, max_size=8),
    st.lists(st.floats(0.05, 1), min_size=5, max_size=5),
    st.integers(0, 4),
    st.floats(1.05, 3),
)
def test_raising_a_weight_never_lowers_the_site_that_is_best_on_that_term(rows, weights, which, factor):
    values = np.array(rows)
    names = list("abcde")
    columns = {n: values[:, i] for i, n in enumerate(names)}

    def order(w):
        terms = {n: {"column": n, "a": 0, "b": 1, "weight": w[i]} for i, n in enumerate(names)}
        scored = score_table(table(**columns), only(**terms))
        return scored.points

    low = np.array(weights)
    high = low.copy()
    high[which] = low[which] * factor
    before, after = order(low), order(high)
    best = int(np.argmax(values[:, which]))
    tie = 2  # millionths of a point
    beaten = before[best] > before + tie
    assert (after[best] >= after[beaten] - tie).all()


def test_rounding_leaves_the_order_of_equal_scores_to_confidence_and_then_id():
    t = table(
        height_m=[2.0, 3.0, 2.0],
        depth_m=[10.0] * 3,
        slope_deg=[1.0] * 3,
        vrm=[0.02] * 3,
        uncertainty_m=[0.5] * 3,
    )
    t["id"] = ["b", "c", "a"]
    assert best_first(score_table(t, Score()), t).tolist() == [1, 2, 0]


def test_of_two_full_scores_the_taller_then_the_longer_structure_comes_first():
    t = table(
        height_m=[3.0, 5.0, 5.0, 5.0],
        depth_m=[10.0] * 4,
        slope_deg=[1.0] * 4,
        vrm=[0.06] * 4,
        uncertainty_m=[0.01] * 4,
    )
    t["length_m"] = [300.0, 50.0, 90.0, 90.0]
    t["id"] = ["a", "b", "d", "c"]
    scored = score_table(t, only(height_m={"column": "height_m", "a": 1, "b": 2}))
    assert np.ptp(scored.points) == 0.0
    assert best_first(scored, t).tolist() == [3, 2, 1, 0]


def test_an_empty_table_scores_to_nothing():
    got = score_table(table(height_m=[], depth_m=[]), Score())
    assert len(got.points) == 0 and got.listed.size == 0


def test_the_input_table_is_not_modified():
    t = table(height_m=[1.5, np.nan], depth_m=[10.0, 12.0], slope_deg=[3.0, 4.0])
    copy = t.copy(deep=True)
    score_table(t, Score())
    pd.testing.assert_frame_equal(t, copy)


def test_a_term_of_ones_own_is_a_term_like_any_other():
    score = Score(terms={"kelp": Term(column="kelp_cover", a=0, b=1)})
    t = table(height_m=[3.0, 3.0], depth_m=[10.0] * 2, slope_deg=[2.0] * 2, kelp_cover=[1.0, 0.2])
    got = score_table(t, score)
    assert got.points[0] > got.points[1]
