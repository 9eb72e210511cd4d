"""The sentence of a site: it says the profile, what carries it and what costs it."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from reefscan.base.recipe import Recipe
from reefscan.score.reasons import FEW, axis_words, compass_words, explain, length_words
from reefscan.score.scoring import score_table

SITE = {
    "id": "t1", "kind": "trough", "feature_id": "f1", "depth_m": 9.3, "height_m": 2.4, "width_m": 18.0,
    "slope_deg": 2.0, "vrm": 0.06, "axis_deg": 45.0, "off_m": 0.0, "length_m": 120.0, "steep_deg": 25.0,
    "contrast": 0.95, "scatter": 0.02, "ruled_like": 0.1, "facing_deg": 90.0, "uncertainty_m": 0.1, "position_m": 2.0, "interpolated": 0.0,
}  # fmt: skip


def said(unit="m", **changes):
    table = pd.DataFrame([{**SITE, **changes}, SITE])
    score = Recipe.default().score
    return explain(table, score_table(table, score), np.array([0]), score=score, unit=unit, off_min_m=3.0)[0]


def test_a_good_trough_says_its_profile_and_what_carries_it():
    why = said().why
    for words in (
        "Trough 2.4 m deep",
        "18.0 m from crest to crest",
        "north-east to south-west",
        "9.3 m of water",
    ):
        assert words in why
    assert "height" in why.split("strong points")[1] and "weak point" not in why


def test_a_ledge_says_how_far_it_falls_over_what_distance():
    ledge = {"kind": "ledge", "height_m": 2.9, "drop_m": 3.1, "run_m": 8.0, "facing_deg": 2.0}
    assert said(**ledge).why.startswith(
        "Ledge 2.9 m high, falling 3.1 m in 8.0 m, facing north, 120 m long; "
    )
    assert "falling 10 ft in 26 ft" in said(unit="ft", **ledge).why
    for unknown in ({"drop_m": np.nan}, {"run_m": np.nan}):
        assert said(**{**ledge, **unknown}).why.startswith("Ledge 2.9 m high, facing north, 120 m long; ")


def told_of_list(*changes):
    """Reasons of the sites of one list, each the good trough but for what is changed."""
    table = pd.DataFrame([{**SITE, **change} for change in changes])
    score = Recipe.default().score
    return [
        told.why for told in explain(table, score_table(table, score), np.arange(len(table)), score=score)
    ]


def test_in_a_list_what_most_share_is_no_cost_and_what_sets_a_site_apart_is():
    gentle = {"steep_deg": 12.0}
    *others, apart = told_of_list(*[gentle] * 5, {"steep_deg": 12.0, "contrast": 0.2})
    assert all("weak point" not in why for why in others)
    assert "weak point: much other structure around it." in apart
    assert (
        "a gentle face" in told_of_list({**gentle, "steep_deg": 6.0}, *[gentle] * 5)[0].split("weak point")[1]
    )


def test_in_a_list_what_carries_one_site_more_than_the_others_is_named_first():
    gentle = {"steep_deg": 12.0}
    first, *others = told_of_list({"steep_deg": 25.0}, *[gentle] * 5)
    assert "strong points: a steep face" in first
    assert not any("a steep face" in why for why in others)
    alone = told_of_list({"contrast": 0.95}, *[{"contrast": 0.5}] * 5)[0]
    assert "standing alone" in alone.split("strong point")[1]


def test_a_few_sites_have_nothing_that_all_share():
    for n, named in ((FEW - 1, True), (FEW, False)):
        assert [("a gentle face" in why) for why in told_of_list(*[{"steep_deg": 12.0}] * n)] == [named] * n


def test_a_penalty_is_named_by_its_own_words_in_a_list_too():
    whys = told_of_list({"scatter": 0.33}, {"ruled_like": 0.8}, *[{}] * 4)
    assert "weak point: depths that jump from cell to cell" in whys[0]
    assert "weak point: a course as straight and even as if ruled" in whys[1]
    assert not any("weak point" in why for why in whys[2:])


def test_a_trough_as_wide_as_the_search_is_said_to_be_wider_perhaps():
    table = pd.DataFrame([{**SITE, "width_m": 96.0, "cell_m": 4.0}, {**SITE, "width_m": 60.0, "cell_m": 4.0}])
    score = Recipe.default().score
    both = explain(table, score_table(table, score), np.array([0, 1]), score=score, unit="m", widest_m=100.0)
    assert "96.0 m or more from crest to crest" in both[0].why
    assert "60.0 m from crest to crest" in both[1].why


def test_lengths_are_said_in_the_users_unit():
    assert "31 ft of water" in said(unit="ft").why and " m " not in said(unit="ft").why
    assert "5.1 fathoms of water" in said(unit="fathom").why


@pytest.mark.parametrize(
    ("changes", "words", "flag"),
    [
        ({"ruled_like": 0.8}, "looks like a dredged cut or a seam between two surveys", "looks-ruled"),
        (
            {"interpolated": 0.6},
            "not sounded here, check first: 60 % of the ground looks filled in",
            "interpolated",
        ),
        (
            {"interpolated": 1.0, "interval_m": 8.0},
            "not sounded here, check first: the grid holds no more than one depth for every 8.0 m",
            "interpolated",
        ),
        ({"position_m": 30.0}, "position good to 30.0 m only", "position-uncertain"),
        ({"steep_deg": np.nan}, "unknown: how steep its face is", "unknown-steep"),
        ({"uncertainty_m": np.nan}, "", "uncertainty-assumed"),
        (
            {"height_m": 1.05, "uncertainty_m": 0.5},
            "too uncertain to be sure of this height",
            "height-unsure",
        ),
    ],
)
def test_what_should_be_doubted_is_said_and_flagged(changes, words, flag):
    told = said(**changes)
    assert words in told.why and flag in told.flags
    assert flag not in said().flags


@pytest.mark.parametrize(
    ("kind", "off_m", "position_m", "words"),
    [
        (
            "rise",
            0.5,
            17.7,
            "net close to its foot in 9.3 m of water on ground sloping 2° (may land on the rock)",
        ),
        ("trough", 0.5, 17.7, "net inside it in 9.3 m of water on ground sloping 2° (may land on the rock)"),
        (
            "trough",
            3.0,
            1.4,
            "net inside it, on a floor 6.0 m wide in 9.3 m of water on ground sloping 2° (may land on the rock)",
        ),
        ("trough", 2.0, 1.4, "net inside it, on a floor only 4.0 m wide in 9.3 m"),
        ("trough", 5.3, 1.4, "net inside it, on a floor 10.6 m wide in 9.3 m of water on ground sloping 2°;"),
        ("ledge", 20.0, 17.7, "net 20.0 m off its foot in 9.3 m of water on ground sloping 2°;"),
        (
            "ledge",
            4.0,
            1.4,
            "net 4.0 m off its foot in 9.3 m of water on ground sloping 2° (may land on the rock)",
        ),
        ("ledge", 5.3, 1.4, "net 5.3 m off its foot in 9.3 m of water on ground sloping 2°;"),
        ("ledge", 4.0, np.nan, "net 4.0 m off its foot in"),
        ("trough", 0.0, 17.7, "net inside it in"),
    ],
)
def test_a_net_is_said_no_nearer_to_the_rock_than_its_position_is_known(kind, off_m, position_m, words):
    """What is known to 17.7 m by the grid and to 5 m by the boat is known to 18.4 m: sqrt(17.7² + 5²); 1.4 m and 5 m make 5.2 m.

    On cells of 25 m a reason read "net 0.5 m off its foot" and, further on, "position good to 17.7 m only"."""
    assert words in said(kind=kind, off_m=off_m, position_m=position_m).why


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"height_m": 1.2}, "little height"),
        ({"steep_deg": 6.0}, "a gentle face"),
        ({"contrast": 0.3}, "much other structure around it"),
        ({"scatter": 0.33}, "depths that jump from cell to cell"),
        ({"ruled_like": 0.8}, "a course as straight and even as if ruled"),
        ({"slope_deg": 16.0}, "a steep floor"),
        ({"vrm": 0.0005}, "little rough ground"),
    ],
)
def test_what_costs_the_score_is_named(changes, words):
    assert words in said(**changes).why.split("weak point")[1]


def test_ground_that_was_filled_in_says_so_once():
    why = said(interpolated=1.0).why
    assert why.count("filled in") == 1 and "weak point" not in why


def test_of_what_is_better_without_end_little_costs_and_much_carries():
    assert "weak point: little height" in said(height_m=1.2).why
    for height in (2.4, 4.54, 30.0):
        assert "height" in said(height_m=height).why.split("strong point")[1]


def test_different_profiles_read_differently():
    rng = np.random.default_rng(7)
    sentences = set()
    for kind in ("trough", "ledge", "rise"):
        for _ in range(100):
            sentences.add(
                said(kind=kind, height_m=round(rng.uniform(1, 4), 2), depth_m=round(rng.uniform(4, 15), 2),
                     width_m=round(rng.uniform(5, 60), 1), facing_deg=round(rng.uniform(0, 360), 1)).why
            )  # fmt: skip
    assert len(sentences) >= 299


def test_the_terms_are_given_to_three_decimals_and_only_those_that_apply():
    terms = said(height_m=1.2345).terms
    half = Recipe.default().score.terms["height_trough"].half
    assert terms["height_trough"] == round(1.2345 / (1.2345 + half), 3)
    assert "height_ledge" not in terms
    assert said(steep_deg=np.nan).terms["steep"] is None


def test_directions_are_named_by_the_nearest_point():
    assert [compass_words(d) for d in (0, 22, 23, 90, 337, 338)] == [
        "north", "north", "north-east", "east", "north-west", "north"
    ]  # fmt: skip
    assert axis_words(180) == axis_words(0) == "north-south"
    assert axis_words(135) == "north-west to south-east"


def test_lengths_round_as_a_person_would():
    assert [length_words(v) for v in (0.25, 99.9, 100.2)] == ["0.2 m", "99.9 m", "100 m"]
    assert length_words(2.0, "ft") == "6.6 ft"


@pytest.mark.parametrize(("vrm", "part"), [(0.001, "strong point"), (0.05, "weak point")])
def test_a_recipe_that_rewards_smooth_ground_never_calls_it_broken(vrm, part):
    score = Recipe.default().score
    turned = score.terms["refuge"].model_copy(
        update={"a": -math.inf, "b": -math.inf, "c": 0.01, "d": 0.04, "weight": 9.0}
    )
    score = score.model_copy(update={"terms": {**score.terms, "refuge": turned}})
    table = pd.DataFrame([{**SITE, "vrm": vrm}, SITE])
    why = explain(table, score_table(table, score), np.array([0]), score=score, unit="m")[0].why
    told = why.split(part)[1].split(";")[0]
    assert ("smooth ground" in told) == (part == "strong point")
    assert ("rough ground" in told) == (part == "weak point")
