"""One unit everywhere on a screen, and the page's lengths and words equal to Python's, of which they are a second writing."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pages import SOURCE
from seabed import sites, write_grid, write_run

from reefscan.base.flags import FLAGS, flag_words
from reefscan.base.units import UNITS
from reefscan.render.marks import rule_length
from reefscan.render.profile import drawn_depths
from reefscan.review.opened import open_run
from reefscan.review.page import compose_page
from reefscan.review.pagedata import About, page_data

pytest.importorskip("selenium")
from selenium.webdriver.support.ui import Select

OTHERS = {"m": r"\d ?(ft|fathoms?)\b", "ft": r"\d ?(m|km|fathoms?)\b", "fathom": r"\d ?(m|km)\b"}
"""A number in a unit that was not chosen; over a distance a fathom becomes feet."""


@pytest.fixture(scope="module")
def run_page(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    folder = tmp_path_factory.mktemp("run")
    run = write_run(folder / "coast", write_grid(folder / "grid.tif", SOURCE), sites(SOURCE, 60))
    opened = open_run(run)
    data = page_data(
        opened.explained(UNITS),
        About.of(opened),
        recipe=opened.recipe,
        sources=opened.sources,
        features={},
    )
    return compose_page(data)


@pytest.mark.parametrize("unit", UNITS)
def test_all_on_a_screen_is_in_the_unit_that_was_chosen(
    show: Callable[[bytes], Any], run_page: bytes, unit: str
) -> None:
    page = show(run_page)
    page.execute_script("App.choose(App.table.columns.id[App.order[0]], {show: true})")
    Select(page.find_element("id", "unit")).select_by_value(unit)
    for tab in ("sites", "card", "recipe", "picks"):
        page.execute_script("App.tab(arguments[0])", tab)
        text = page.find_element("css selector", "body").text
        assert (found := re.search(OTHERS[unit], text)) is None, (
            tab,
            text[found.start() - 80 : found.end() + 10],
        )
    page.execute_script("App.tab('card')")
    card = page.find_element("id", "card").text
    assert re.search(rf"\d ?{unit}", card.split("\n")[0]), "the head of the card tells the depth"
    assert re.search(rf" in [\d.]+ {unit}s? of water", card), "and so does the sentence"


def test_scale_bars_of_page_and_print_are_the_same(page: Any) -> None:
    for unit in UNITS:
        for most in (0.7, 3.0, 28.4, 163.0, 925.9, 926.1, 1851.0, 1853.0, 7300.0, 45_000.0):
            length, words = page.execute_script(
                "Words.unit = arguments[0]; return Words.rule(arguments[1])", unit, most
            )
            wanted = rule_length(most, unit)
            assert (length, words) == (pytest.approx(wanted[0], rel=1e-9), wanted[1]), (unit, most)
            assert wanted[0] <= most * 1.000001


def test_profiles_of_page_and_card_begin_and_end_at_the_same_depths(page: Any) -> None:
    for asked in (
        (14.0, 29.0, 525.0), (57.0, 62.0, 160.0), (-30.0, 10.0, 160.0), (0.0, 0.4, 160.0), (190.0, 203.0, 525.0), (33.0, 36.0, 87.5),
    ):  # fmt: skip
        top, deep = page.execute_script("return Card.drawn(...arguments[0])", list(asked))
        assert (top, deep) == pytest.approx(drawn_depths(*asked), rel=1e-12), asked
        assert top <= max(asked[0], 0.0) and deep > asked[1], "what is drawn holds the ground under water"


def test_a_flag_reads_alike_on_page_and_card(page: Any) -> None:
    for flag in [*FLAGS, "unknown-my-layer", "of-a-later-version"]:
        assert page.execute_script("return Words.flag(arguments[0])", flag) == flag_words(flag)


def test_a_depth_rounds_as_python_rounds_it(page: Any, tmp_path: Path) -> None:
    """61.25 m stood as 61.3 above a sentence that said 61.2."""
    assert page.execute_script("Words.unit = 'm'; return [Words.depth(61.25), Words.depth(61.35), Words.length(2.5)]") == [
        f"{61.25:.1f} m", f"{61.35:.1f} m", f"{2.5:.0f} m",
    ]  # fmt: skip
