"""The page's scores, confidence and order against Python's, for random recipes, in headless Chromium."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest
from seabed import ArraySource, seabed, sites

from reefscan.base.recipe import Recipe, load_recipe
from reefscan.review.page import compose_page
from reefscan.review.pagedata import About, page_data, recipe_data
from reefscan.score.ranking import rank_sites
from reefscan.score.reasons import WITHIN_DOUBT, lost_in_doubt, sure_words
from reefscan.score.scoring import score_table


@pytest.fixture(scope="module")
def source() -> ArraySource:
    return ArraySource(seabed())


def page_of(table: pd.DataFrame, source: ArraySource, recipe: Recipe | None = None) -> bytes:
    data = page_data(
        table, About("invented"), recipe=recipe or Recipe.default(), sources=[source], features={}
    )
    return compose_page(data)


def random_recipe(rng: np.random.Generator) -> Recipe:
    """A recipe with corners, weights, kinds and flags drawn at random: hard edges, open sides, dropped terms."""
    terms: dict[str, Any] = {}
    columns = {"depth_m": 30, "height_m": 5, "width_m": 90, "slope_deg": 20, "vrm": 0.02, "ruled_like": 1, "steep_deg": 45, "relief_m": 5,
               "no_such_column": 1}  # fmt: skip
    for i in range(int(rng.integers(1, 8))):
        column = str(rng.choice(list(columns)))
        a, b, c, d = np.sort(np.round(rng.uniform(0, columns[column], 4), int(rng.integers(0, 4)))).tolist()
        if rng.random() < 0.3:
            a = b
        if rng.random() < 0.3:
            c = d
        if rng.random() < 0.3:
            a, b = -np.inf, float(rng.choice([b, -np.inf]))
        if rng.random() < 0.3:
            c, d = float(rng.choice([c, np.inf])), np.inf
        soft = str(rng.choice(["", "", "", "bonus", "penalty"]))
        term: dict[str, Any] = {"column": column, "a": a, "b": b, "c": c, "d": d,
                                "weight": round(float(rng.uniform(0, 1 if soft else 4)), 3)}  # fmt: skip
        if soft:
            term[soft] = True
        else:
            term["required"] = bool(rng.random() < 0.3)
        if rng.random() < 0.4:
            term["kinds"] = [str(k) for k in rng.choice(["trough", "ledge", "rise"], 2, replace=False)]
        if rng.random() < 0.4:
            term["half"] = round(float(rng.uniform(0, columns[column])), 3)
        terms[f"own_{i}"] = term
    terms["depth"] = {"weight": float(rng.choice([0.0, 1.0, 2.5]))}
    least = round(float(rng.uniform(0.8, 2)), 2)
    terms["height_ledge"] = {"a": least, "b": least}
    score = {
        "terms": terms,
        "unknown": round(float(rng.uniform(0.05, 0.9)), 2),
        "optional_floor": round(float(rng.uniform(0.01, 0.4)), 3),
        "least_kept": float(rng.choice([0.0, 0.3, 0.45, 0.8])),
        "s44_order": str(rng.choice(["exclusive", "special", "1a", "1b", "2"])),
    }
    rank = {"spacing_m": float(rng.choice([0, 25, 60, 200])), "top": int(rng.integers(1, 400)),
            "second_share": float(rng.choice([0.0, 0.35, 0.5, 1.0])), "feature_m": float(rng.choice([0, 40, 250, 1e5]))}  # fmt: skip
    return Recipe.model_validate({"score": score, "rank": rank})


SCRIPT = """
const recipe = Reef.readRecipe(JSON.parse(arguments[0]));
const s = Reef.scoreTable(App.table, recipe.score);
return {points: [...s.points], score: [...s.score].map(v => v.toFixed(1)), dropped: s.dropped,
        conf: [...s.confidence].map(v => Number.isNaN(v) ? null : v), order: Reef.rankSites(App.table, s, recipe.rank)};
"""


def test_page_and_python_agree_to_the_last_digit_on_random_recipes(
    show: Callable[[bytes], Any], source: ArraySource
) -> None:
    table = sites(source, 500)
    # the page holds what its own recipe judges: a term of relief, which the default recipe has none of
    judged = Recipe.model_validate(
        {"score": {"terms": {"relief": {"column": "relief_m", "a": 0.0, "b": 1.0, "weight": 1.0}}}}
    )
    page = show(page_of(table, source, judged))
    rng = np.random.default_rng(77)
    listed_anywhere = 0
    for number in range(60):
        recipe = Recipe.default() if number == 0 else random_recipe(rng)
        want = score_table(table, recipe.score)
        got = page.execute_script(SCRIPT, json.dumps(recipe_data(recipe)))
        assert got["score"] == [f"{v:.1f}" for v in want.score], number
        assert got["points"] == want.points.tolist(), number
        assert got["conf"] == [None if np.isnan(v) else v for v in want.confidence], number
        assert tuple(got["dropped"]) == want.dropped, number
        assert got["order"] == rank_sites(table, want, recipe.rank).tolist(), number
        listed_anywhere += len(got["order"])
    assert listed_anywhere > 1000


@pytest.mark.parametrize(
    ("call", "want"),
    [
        # CHECKS: trapezoid 5/10/20/40 and hard edges
        ("[5,7.5,10,15,20,30,40,41].map(x => Reef.trapezoid(x,5,10,20,40))", [0, 0.5, 1, 1, 1, 0.5, 0, 0]),
        ("[5,4.999].map(x => Reef.trapezoid(x,5,5,20,40))", [1, 0]),
        ("[40,40.001].map(x => Reef.trapezoid(x,5,10,40,40))", [1, 0]),
        # half to even on whole numbers of millionths
        ("[84250000,84350000,84250001].map(p => Reef.roundMillionths(p,1))", [84.2, 84.4, 84.3]),
        ("[0.5,1.5,2.5,2.4999].map(Reef.rint)", [0, 2, 2, 2]),
    ],
)
def test_the_pages_small_steps_give_the_published_values(
    show: Callable[[bytes], Any], source: ArraySource, call: str, want: list[float]
) -> None:
    assert show(page_of(sites(source, 3), source)).execute_script("return " + call) == want


def test_the_pages_normal_law_agrees_with_scipy(show: Callable[[bytes], Any], source: ArraySource) -> None:
    from scipy.special import ndtr

    z = np.linspace(-9, 9, 721)
    got = show(page_of(sites(source, 3), source)).execute_script(
        "return arguments[0].map(Reef.phi)", z.tolist()
    )
    np.testing.assert_allclose(got, ndtr(z), atol=1e-12, rtol=0)


def test_the_page_says_how_sure_in_pythons_words(show: Callable[[bytes], Any], source: ArraySource) -> None:
    hundredths = [k / 100 for k in range(101)]
    got = show(page_of(sites(source, 3), source)).execute_script(
        "return arguments[0].map(Words.sure)", hundredths
    )
    assert got == [sure_words(p) for p in hundredths]
    assert "100 %" not in got
    assert "0 %" not in got


def test_a_distance_to_the_rock_is_told_or_not_as_python_tells_it(
    show: Callable[[bytes], Any], source: ArraySource
) -> None:
    table = sites(source, 4).assign(off_m=[0.5, 4.0, 8.0, np.nan], position_m=[17.7, 1.4, np.nan, 17.7])
    page = show(page_of(table, source))
    facts = page.execute_script(
        "return arguments[0].map((id) => Object.fromEntries(Card.facts(App.rowOf.get(id)))['Distance to the rock'] ?? null)",
        table["id"].tolist(),
    )
    assert facts == [WITHIN_DOUBT, "4 m", "8 m", None]
    pairs = [(off, position) for off in (0.0, 0.5, 17.7, None) for position in (0.4, 0.5, 17.7, None)]
    got = page.execute_script(
        "return arguments[0].map(([off, position]) => Words.lost(off, position))", pairs
    )
    assert got == [lost_in_doubt(*(np.nan if value is None else value for value in pair)) for pair in pairs]


def test_the_saved_recipe_is_one_that_python_reads_as_the_same(
    show: Callable[[bytes], Any], source: ArraySource
) -> None:
    page = show(page_of(sites(source, 20), source))
    rng = np.random.default_rng(5)
    for _ in range(20):
        recipe = random_recipe(rng)
        text = page.execute_script(
            "return Reef.toml(Reef.readRecipe(JSON.parse(arguments[0])))", json.dumps(recipe_data(recipe))
        )
        assert load_recipe(text) == recipe
