"""The recipe: TOML in and out, and complaints that help."""

from __future__ import annotations

import tomllib

import pytest

from reefscan.base.errors import NeedsScanError, RecipeError
from reefscan.base.recipe import Find, Recipe, Score, dump_recipe, load_recipe


def test_the_written_recipe_reads_back_equal_and_is_plain_toml():
    recipe = Recipe.default().with_depth(4.572, 50.0)
    text = dump_recipe(recipe)
    assert load_recipe(text) == recipe
    assert tomllib.loads(text)["find"]["depth_max_m"] == 50.0


def test_every_line_of_the_written_recipe_says_what_it_does():
    lines = [line for line in dump_recipe(Recipe.default()).splitlines() if line.strip()]
    assert len(lines) > 60
    for line in lines:
        assert "#" in line and len(line.split("#", 1)[1].strip()) > 8, line


def test_the_defaults_are_those_promised():
    terms = Recipe.default().score.terms
    corners = {name: (t.a, t.b, t.c, t.d) for name, t in terms.items()}
    inf = float("inf")
    assert corners["depth"] == (4, 4, 15, 15) and terms["depth"].required
    for kind in ("trough", "ledge", "rise"):
        assert corners[f"height_{kind}"] == (1, 1, inf, inf)
        assert terms[f"height_{kind}"].half > 0 and terms[f"height_{kind}"].required
        assert terms[f"height_{kind}"].kinds == (kind,)
    assert corners["floor"] == (-inf, -inf, 10, 30)
    assert terms["not_ruled"].penalty and not terms["steep"].required


def test_lengths_take_units_and_a_file_may_name_only_what_it_changes():
    recipe = load_recipe('[rank]\nspacing_m = "80ft"\n[score.terms.depth]\na = "2fathom"\nb = "3fathom"\n')
    assert recipe.rank.spacing_m == pytest.approx(24.384)  # 80 ft of 0.3048 m
    assert recipe.score.terms["depth"].a == pytest.approx(3.6576)  # 2 fathoms of 1.8288 m
    assert recipe.score.terms["depth"].d == 15
    assert recipe.find == Find()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[find]\ntrough_radus_m = 3", "did you mean 'find.trough_radius_m'"),
        ("spacing_m = 3", "did you mean 'rank.spacing_m'"),
        ("[scores]\nx = 1", "did you mean 'score'"),
        ("[score.terms.depth]\nwieght = 2", "did you mean 'score.terms.depth.weight'"),
        ("[score.terms.dpeth]\na = 3", "did you mean 'depth'"),
        ("[find]\ndepth_min_m = 50", "must be less than depth_max_m"),
        ("[find]\nbpi_fine_inner_m = 60", "bpi_fine_inner_m"),
        ("[find]\nface_longest_m = -8", "find.face_longest_m"),
        ("[find]\nface_longest_m = nan", "not a finite length"),
        ("[find]\nface_longest_m = true", "wanted a number (found True)"),
        ("[rank]\ntop = true", "rank.top: wanted a number (found True)"),
        ("[score.terms.depth]\nweight = false", "wanted a number (found False)"),
        ("[find]\ndepth_max_m = 1e9", "find.depth_max_m"),
        ("[find]\noff_max_m = 1e5", "off_max_m = 100000 m is more than 10000 m"),
        ('[find]\noff_min_m = "3 furlong"', "unknown unit"),
        ("[score.terms.depth]\na = 9\nb = 5", "a <= b <= c <= d"),
        ('[score.terms.floor]\nc = "3ft"', "not a length"),
        ("[score.terms.not_ruled]\nweight = 2", "0 to 1"),
        ("[rank]\ntop = 0", "rank.top"),
        ("version = 2", "reads version 1"),
        ("[find", "not valid TOML"),
        ("find = 3", "find"),
    ],
)
def test_a_wrong_recipe_is_refused_in_one_line_that_names_the_file_and_the_cure(text, said):
    with pytest.raises(RecipeError) as caught:
        load_recipe(text, name="my.toml")
    message = str(caught.value)
    assert message.startswith("my.toml: ") and said in message and "\n" not in message


@pytest.mark.parametrize(("low", "high"), [(20, 4), (5, 5), (-4, -15), (float("nan"), 4), (1, float("inf"))])
def test_a_depth_band_that_is_not_one_is_refused(low, high):
    with pytest.raises(RecipeError):
        Recipe.default().with_depth(low, high)


def test_a_depth_band_has_hard_edges_and_only_widens_the_search():
    inside = Recipe.default().with_depth(6, 12)
    term = inside.score.terms["depth"]
    assert (term.a, term.b, term.c, term.d) == (6, 6, 12, 12)
    assert inside.find == Find() and inside.find.key() == Find().key()
    wider = Recipe.default().with_depth(0.5, 60)
    assert (wider.find.depth_min_m, wider.find.depth_max_m) == (0.5, 60)


def test_the_key_changes_with_every_number_of_find_and_with_nothing_else():
    keys = {Find().key()}
    for name, field in Find.model_fields.items():
        keys.add(Find(**{name: field.default * 1.01}).key())
    assert len(keys) == len(Find.model_fields) + 1
    louder = load_recipe("[score.terms.floor]\nweight = 7\n[rank]\ntop = 3")
    assert louder.find.key() == Find().key()


def test_a_rescore_is_refused_exactly_where_it_would_need_the_grid():
    stored = Recipe.default()
    assert Recipe.default().with_depth(2, 39).with_find_of(stored).find == stored.find
    with pytest.raises(NeedsScanError, match="scan again"):
        Recipe.default().with_depth(2, 41).with_find_of(stored)
    with pytest.raises(NeedsScanError, match="trough_radius_m"):
        load_recipe("[find]\ntrough_radius_m = 60").with_find_of(stored)


def test_the_default_terms_are_always_there_and_a_new_one_may_join():
    score = Score(terms={"kelp": {"column": "kelp_cover", "a": 0.1, "b": 0.4}})
    assert set(score.terms) == {*Score().terms, "kelp"}


def test_depths_that_the_depth_term_asks_for_are_searched():
    asked = load_recipe("[score.terms.depth]\nc = 55\nd = 60\n")
    assert (asked.find.depth_min_m, asked.find.depth_max_m) == (1.0, 40.0)
    searched = asked.searched_as_asked()
    assert (searched.find.depth_min_m, searched.find.depth_max_m) == (1.0, 60.0)
    assert searched.score == asked.score
    within = load_recipe("[score.terms.depth]\nc = 20\nd = 30\n")
    assert within.searched_as_asked() is within
