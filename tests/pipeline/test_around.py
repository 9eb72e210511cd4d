"""Facts from outside the grid on the demo's coast: hard structure, caution ground, charts, lee, rasters."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from reefscan.base.columns import OUTSIDE
from reefscan.base.recipe import Recipe
from reefscan.pipeline.around import open_around, surround
from reefscan.pipeline.scan import scan
from reefscan.score.listing import list_sites

SAMPLES = Path(__file__).resolve().parents[2] / "data_samples"


@pytest.fixture(scope="module")
def plain():
    """The demo's coast with nothing around it."""
    return scan(SAMPLES / "demo_coast.tif", Recipe.default().with_depth(4.572, 18.288), workers=1)


@pytest.fixture(scope="module")
def sources():
    from reefscan.io.grids.rasters import open_grids

    return open_grids([SAMPLES / "demo_coast.tif"])


def around(plain, sources, **given):
    recipe = plain.recipe.with_around(**given)
    stored = plain.candidates.drop(columns=["score", "confidence", "rank", "why"])
    table, told = surround(stored, open_around(sources, recipe), recipe, sources)
    return recipe, table, told


def test_hard_structure_never_lowers_a_site_and_says_what_is_where(plain, sources):
    recipe, table, _ = around(plain, sources, hard=[str(SAMPLES / "structures.geojson")])
    before, after = list_sites(plain.candidates, recipe), list_sites(table, recipe)
    natural = (table["kind"] != "man-made").to_numpy()
    ids = table["id"][natural]
    points = dict(zip(plain.candidates["id"], before.scored.points, strict=True))
    gain = after.scored.points[natural] - np.array([points[i] for i in ids])
    assert (gain >= 0).all() and (gain > 0).any()
    near = table[natural & (table["hard_m"] < 100)]
    assert len(near) > 5 and set(near["hard_name"]) >= {"Quillet breakwater", "barge Ottoline"}
    told = [site for site in after.sites if site["kind"] != "man-made" and site["hard_m"] < 150]
    assert told and all("to the" in site["why"] and site["hard_name"] in site["why"] for site in told)


def test_caution_ground_flags_a_site_and_lowers_nothing(plain, sources):
    recipe, table, _ = around(plain, sources, caution=[str(SAMPLES / "caution.geojson")])
    listing = list_sites(table, recipe)
    np.testing.assert_array_equal(listing.scored.points, list_sites(plain.candidates, recipe).scored.points)
    inside = [site for site in listing.sites if site["caution_m"] == 0]
    near = [site for site in listing.sites if site["caution_m"] <= 100]
    assert inside and len(near) > len(inside)
    assert all("caution-ground" in site["flags"] for site in near)
    assert all("lies in caution ground (Port Quillet fairway)" in site["why"] for site in inside)
    assert not any("caution-ground" in site["flags"] for site in listing.sites if site["caution_m"] > 100)


def test_a_run_without_files_has_no_columns_of_them_and_no_word_about_their_terms(plain):
    assert not set(OUTSIDE) & set(plain.candidates.columns)
    assert not any("hard_structure" in warning for warning in plain.info["warnings"])
