"""The page's formula against Python's where there is a JavaScript engine and no browser: score, confidence and order, to the last digit."""

from __future__ import annotations

import json
import shutil
import subprocess
from importlib.resources import files

import numpy as np
import pytest

from reefscan.base.recipe import Recipe
from reefscan.review.pagedata import recipe_data, site_columns
from reefscan.score.ranking import rank_sites
from reefscan.score.scoring import score_table, trapezoid
from tests.browser.test_page_formula import random_recipe
from tests.review.seabed import ArraySource, seabed, sites

RECIPES = 40

SCRIPT = """
const {table, recipes, places} = JSON.parse(require("fs").readFileSync(0, "utf8"));
Reef.prepare(table);
const out = {marks: places.map(([x, ...corners]) => Reef.trapezoid(x, ...corners)), lists: recipes.map((text) => {
  const recipe = Reef.readRecipe(text), s = Reef.scoreTable(table, recipe.score);
  return {points: [...s.points], score: [...s.score].map((v) => v.toFixed(1)), dropped: s.dropped, doubted: [...s.doubted],
          conf: [...s.confidence].map((v) => Number.isNaN(v) ? null : v), order: Reef.rankSites(table, s, recipe.rank)};
})};
process.stdout.write(JSON.stringify(out));
"""


def test_the_page_scores_ranks_and_doubts_as_python_does() -> None:
    node = shutil.which("node")
    if node is None:
        pytest.skip("no JavaScript engine (node) on this machine")
    rng = np.random.default_rng(77)
    table = sites(ArraySource(seabed()), 400)
    recipes = [Recipe.default(), *(random_recipe(rng) for _ in range(RECIPES))]
    assert any(term.half > 0 for recipe in recipes[1:] for term in recipe.score.terms.values())
    places = [
        (float(x), 1.0, 2.0, 5.0, 9.0, half) for x in np.linspace(-1, 10, 45) for half in (0.0, 0.6, 7.0)
    ]
    columns = {}
    for recipe in recipes:
        columns |= site_columns(table, recipe)
    given = {
        "table": {"n": len(table), "columns": columns},
        "recipes": [recipe_data(recipe) for recipe in recipes],
        "places": places,
    }
    code = files("reefscan.review").joinpath("web", "score.js").read_text(encoding="utf-8") + SCRIPT
    ran = subprocess.run(
        [node, "-e", code], input=json.dumps(given), capture_output=True, text=True, check=True
    )
    got = json.loads(ran.stdout)
    assert got["marks"] == [float(trapezoid(*place)) for place in places]
    for number, (recipe, told) in enumerate(zip(recipes, got["lists"], strict=True)):
        want = score_table(table, recipe.score)
        assert told["points"] == want.points.tolist(), number
        assert told["score"] == [f"{v:.1f}" for v in want.score], number
        assert told["doubted"] == want.doubted.astype(int).tolist(), number
        assert told["conf"] == [None if np.isnan(v) else v for v in want.confidence], number
        assert tuple(told["dropped"]) == want.dropped, number
        assert told["order"] == rank_sites(table, want, recipe.rank).tolist(), number
    assert sum(len(told["order"]) for told in got["lists"]) > 500
