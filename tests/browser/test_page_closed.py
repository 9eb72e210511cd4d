"""Closed ground in the page: stated at the top, drawn, and refused by name for sites set or loaded by hand."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from chromium import wait_ready
from pages import settle
from seabed import HOSTILE, ArraySource, seabed, sites

from reefscan.base.recipe import Recipe, load_recipe
from reefscan.review.page import compose_page
from reefscan.review.pagedata import About, page_data
from reefscan.surroundings.known import NONE_GIVEN, Surroundings
from reefscan.surroundings.shapes import Box, Shapes, spoken

SOURCE = ArraySource(seabed())


def closed_page() -> tuple[bytes, float, float, Recipe]:
    """A page with a closed square of some 200 m around a place, and that place."""
    table = sites(SOURCE, 100)
    lon, lat = float(table["lon"].median()), float(table["lat"].median())
    area = shapely.box(lon - 0.001, lat - 0.001, lon + 0.001, lat + 0.001)
    shapes = Shapes(np.array([area], dtype=object), (spoken(HOSTILE),), ("reserve",), ("a.gpkg",))
    known = Surroundings(
        Box(lon - 0.5, lat - 0.5, lon + 0.5, lat + 0.5), {"closed": shapes}, {"closed": ("a.gpkg",)}
    )
    recipe = Recipe.default().with_around(closed=["a.gpkg"])
    page = page_data(
        table, About("closed", closed_words="Closed ground: from a.gpkg."), recipe=recipe, sources=[SOURCE],
        features={}, known=known,
    )  # fmt: skip
    return compose_page(page), lon, lat, recipe


def test_closed_ground_is_framed_by_day_and_by_night(show: Callable[[bytes], Any]) -> None:
    """Between the ground on both sides of it its edge stands out: by the law of relative luminance (WCAG 2), 3 to 1 by night."""
    page, lon, lat, _ = closed_page()
    driver = show(page)
    edge = "const [x, y] = App.place(arguments[0] + 0.001, arguments[1]); SeaMap.goTo(x, y);"
    for night in (False, True):
        driver.execute_script(edge + "App.dark(arguments[2])", lon, lat, night)
        settle(driver)
        row = driver.execute_script(
            "const c = SeaMap.canvas, r = devicePixelRatio, g = c.getContext('2d'), w = c.clientWidth, h = c.clientHeight;"
            "return [...g.getImageData((w / 2 - 20) * r, (h / 2) * r, 40 * r, 1).data]"
        )
        light = np.array(row, float).reshape(-1, 4)[:, :3] / 255.0
        light = np.where(light <= 0.04045, light / 12.92, ((light + 0.055) / 1.055) ** 2.4) @ [
            0.2126,
            0.7152,
            0.0722,
        ]
        beside = np.median(light)
        middle = light[len(light) // 2 - 4 : len(light) // 2 + 4]
        least, most = min(middle.min(), beside), max(middle.max(), beside)
        assert (most + 0.05) / (least + 0.05) > 3.0, night
        assert "Framed and shaded = closed ground." in driver.find_element("id", "legend").text


def test_no_site_is_set_by_hand_or_loaded_in_closed_ground(show: Callable[[bytes], Any]) -> None:
    page, lon, lat, recipe = closed_page()
    driver = show(page)
    driver.execute_script("try { localStorage.clear() } catch {}")
    driver.refresh()
    wait_ready(driver)
    first = driver.execute_script("return document.getElementById('closedwords').textContent")
    assert first == "Closed ground: from a.gpkg."

    def said_of(x: float, y: float) -> tuple[int, str]:
        driver.execute_script("Picks.add(0, 0, [arguments[0], arguments[1]])", x, y)
        return driver.execute_script(
            "return [Picks.added.size, document.getElementById('status').textContent]"
        )

    assert said_of(lon, lat) == [0, f"Not set: the place lies in closed ground ({spoken(HOSTILE)})."]
    assert said_of(lon + 5, lat)[0] == 0
    number, words = said_of(lon + 0.0011, lat)
    assert number == 1 and "set at" in words
    picks = {"schema": "reefscan-picks/1", "run": "x", "picks": [
        {"id": "hand-7", "state": "keep", "name": "Mine", "lon": lon, "lat": lat, "added": True},
        {"id": "hand-8", "state": "keep", "name": "Free", "lon": lon + 0.002, "lat": lat, "added": True},
    ]}  # fmt: skip
    driver.execute_script("Picks.read(arguments[0])", json.dumps(picks))
    left = driver.execute_script(
        "return [[...Picks.by.keys()], document.getElementById('status').textContent, document.title, Reef.toml(App.recipe)]"
    )
    assert left[0] == ["hand-8"] and "Left out: Mine lies in closed ground" in left[1]
    assert "pwned" not in left[2]
    assert load_recipe(left[3]).around == recipe.around, (
        "a recipe saved from the page still closes it in a scan"
    )


def test_a_page_without_closed_ground_says_so_first(show: Callable[[bytes], Any]) -> None:
    data = page_data(sites(SOURCE, 20), About("open"), recipe=Recipe.default(), sources=[SOURCE], features={})
    driver = show(compose_page(data))
    first = driver.execute_script("return document.getElementById('closedwords').textContent")
    assert first == NONE_GIVEN
