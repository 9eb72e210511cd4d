"""The deck sheet on a phone: no sideways scroll, boxes that a cold thumb hits, no script, nothing fetched."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from plan.invented import asked_of, known, seabed, sites_on, tide_of

from reefscan.plan.books import Net
from reefscan.plan.night import make_plan
from reefscan.plan.tide import clock
from reefscan.render.deckpage import deck_page

pytestmark = pytest.mark.browser

PHONE = {"width": 360, "height": 740, "deviceScaleFactor": 2, "mobile": True}


def test_the_sheet_fits_a_phone_and_needs_nothing_but_itself(browser: Any, tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    ground = seabed(rng)
    nets = (
        Net(name="n", rope_m=30, marks_m=1.8288, float_lift_kgf=6, light="a light with a long name, " * 3),
    ) * 6
    plan = make_plan(asked_of(rng, ground, nets=nets), known(sites_on(ground, rng, 60)), ground, tide_of(rng))
    path = tmp_path / "deck.html"
    path.write_bytes(deck_page(plan, ground))
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", PHONE)
    try:
        browser.get(path.as_uri())
        width, inside = browser.execute_script("return [document.documentElement.scrollWidth, innerWidth]")
        assert width <= inside == 360
        boxes = browser.execute_script(
            "return [...document.querySelectorAll('.round label')].map(b => [b.getBoundingClientRect().height, b.control !== null])"
        )
        assert len(boxes) == 2 * sum(len(net.rounds) for net in plan.nets) > 12
        # in the order of the night: what is set or pulled later stands further down
        said = browser.execute_script(
            "return [...document.querySelectorAll('.round label')].map(b => b.innerText.trim())"
        )
        wanted = sorted([(one.set_time, "set") for net in plan.nets for one in net.rounds] + [(one.pull_time, "pull") for net in plan.nets for one in net.rounds])  # fmt: skip
        assert said == [f"{what} {clock(when, plan.asked.zone)[11:16]}" for when, what in wanted]
        # what a finger hits, in pixels of a sheet of style (common practice, no source)
        assert min(height for height, _ in boxes) >= 32 and all(tied for _, tied in boxes)
        # red on black for eyes that are used to the dark: no script, and no pixel of the page is white
        colours = "const s = getComputedStyle(document.body); return [s.color, s.backgroundColor]"
        assert browser.execute_script(colours) == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
        browser.find_element("id", "lamp").click()
        assert browser.execute_script(colours) == ["rgb(255, 51, 51)", "rgb(0, 0, 0)"]
        browser.find_element("css selector", ".round label").click()
        assert browser.execute_script("return document.querySelector('.round input').checked")
        assert (
            browser.execute_script(
                "return performance.getEntriesByType('resource').filter(r => !r.name.startsWith('data:')).length"
            )
            == 0
        )
        broken = browser.execute_script("return [...document.images].filter(i => !i.naturalWidth).length")
        assert broken == 0 and len(browser.execute_script("return [...document.images].map(i => i.alt)")) == 2
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
