"""The page on a phone of 375 x 740 in one hand: rows, what stays in view, where a tap leads, fingers, sizes, the night, the screen awake."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pages import settle, touch

TABS = ("sites", "card", "recipe", "picks")
BOX = "const r = document.querySelector(arguments[0]).getBoundingClientRect(); return [r.x, r.y, r.width, r.height]"


def box(driver: Any, what: str) -> tuple[float, float, float, float]:
    x, y, w, h = driver.execute_script(BOX, what)
    return x, y, w, h


def tap(driver: Any, x: float, y: float) -> None:
    touch(driver, "touchStart", (x, y))
    touch(driver, "touchEnd")
    settle(driver)


def open_tab(driver: Any, name: str) -> None:
    driver.execute_script(
        "if (App.chosen === null) App.choose(App.table.columns.id[App.order[0]]); App.tab(arguments[0])", name
    )
    settle(driver)


def test_a_row_is_one_line_and_its_id_is_on_the_card_alone(phone: Any) -> None:
    phone.execute_script(
        "Picks.set({id: App.table.columns.id[App.order[1]], lon: 1, lat: 1}, {name: 'a name '.repeat(25)})"
    )
    heights = phone.execute_script(
        "return [...document.querySelectorAll('#list tbody tr')].map(r => r.offsetHeight)"
    )
    assert max(heights) <= 48 and len(heights) > 20
    words = phone.execute_script(
        "return document.querySelector('#list tbody tr').innerText.split('\\t').length"
    )
    assert words == 4  # number, kind, depth, score
    assert phone.execute_script("const t = document.getElementById('list').innerText; return App.table.columns.id.filter(i => t.includes(i))") == []  # fmt: skip
    open_tab(phone, "card")
    assert phone.execute_script("return document.querySelector('#card dl').innerText.includes(App.chosen)")


def test_the_first_sites_are_seen_without_scrolling_and_one_touch_opens_all_cautions(phone: Any) -> None:
    phone.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True},
    )
    settle(phone)
    _, third, _, _ = box(phone, "#list tbody tr:nth-child(3)")
    x, y, w, h = box(phone, "#cautions summary")
    assert third < 844 - 20 and h <= 60, "the headline takes two lines"
    headline = phone.find_element("css selector", "#cautions summary")
    caution = phone.find_element("id", "caution")
    assert (
        headline.text.startswith("Not for navigation. Closed ground: none given.")
        and not caution.is_displayed()
    )
    tap(phone, x + w / 2, y + h / 2)
    assert caution.is_displayed() and "never a place known to be safe" in caution.text
    assert "is not permission: ask who rules these waters." in headline.text


@pytest.mark.parametrize("tab", TABS)
def test_the_map_stays_in_view_and_no_tab_scrolls_sideways(phone: Any, tab: str) -> None:
    open_tab(phone, tab)
    phone.execute_script("scrollTo(0, document.documentElement.scrollHeight * 0.6)")
    settle(phone)
    _, top, _, height = box(phone, "#map")
    _, tabs, _, high = box(phone, ".tabs")
    if phone.execute_script("return document.documentElement.scrollHeight > 1400"):
        assert top == pytest.approx(0, abs=1) and tabs == pytest.approx(height, abs=1)
    assert tabs + high < 740 / 2, "half of the screen is left to what is read"
    assert phone.execute_script("return document.documentElement.scrollWidth") <= 375


def test_a_tap_on_a_row_or_a_mark_leads_to_the_top_of_the_card(phone: Any) -> None:
    for row in (15, 3):
        phone.execute_script(
            "App.tab('sites'); document.querySelectorAll('#list tbody tr')[arguments[0]].scrollIntoView({block: 'center'})",
            row,
        )
        settle(phone)
        x, y, w, h = box(phone, f"#list tbody tr:nth-child({row + 1})")
        tap(phone, x + w * 0.8, y + h / 2)
        assert phone.execute_script("return App.rankOf[App.rowOf.get(App.chosen)]") == row + 1
        _, tabs, _, high = box(phone, ".tabs")
        _, head, _, _ = box(phone, "#card h2")
        assert tabs + high <= head < tabs + high + 40
    phone.execute_script("scrollBy(0, 400)")
    settle(phone)
    mark = phone.execute_script(
        """const r = document.getElementById('map').getBoundingClientRect();
        for (const m of SeaMap.marks) { const x = (m.px - SeaMap.x) * SeaMap.scale, y = (m.py - SeaMap.y) * SeaMap.scale;
          if (m.id !== App.chosen && x > 10 && y > 60 && x < r.width - 60 && y < r.height - 40 && SeaMap.marks.every(o => o === m || Math.hypot(o.px - m.px, o.py - m.py) * SeaMap.scale > 30)) return [m.id, r.x + x, r.y + y]; }
        SeaMap.all(); return null"""
    )
    if mark is None:
        phone.execute_script("App.draw()")
        settle(phone)
        mark = phone.execute_script("const r = document.getElementById('map').getBoundingClientRect(), m = SeaMap.marks.find(m => (m.px - SeaMap.x) * SeaMap.scale < 300 && (m.py - SeaMap.y) * SeaMap.scale > 60); return [m.id, r.x + (m.px - SeaMap.x) * SeaMap.scale, r.y + (m.py - SeaMap.y) * SeaMap.scale]")  # fmt: skip
    tap(phone, mark[1], mark[2])
    assert phone.execute_script("return App.chosen") == mark[0]
    _, head, _, _ = box(phone, "#card h2")
    assert tabs + high <= head < tabs + high + 40


@pytest.mark.parametrize("tab", TABS)
def test_all_that_is_pressed_is_44_pixels_and_more(phone: Any, tab: str) -> None:
    # WCAG 2.1, 2.5.5 Target Size: 44 by 44 CSS pixels
    phone.execute_script("Picks.add(App.table.columns.px[5], App.table.columns.py[5])")
    open_tab(phone, tab)
    small = phone.execute_script(
        """return [...document.querySelectorAll('button, input, select, textarea, summary, canvas[tabindex]')].filter(e => e.offsetParent).map(e => {
          const t = e.type === 'checkbox' ? e.closest('label') : e, r = t.getBoundingClientRect(); return [r.width, r.height, t.outerHTML.slice(0, 90)];
        }).filter(([w, h]) => w < 44 || h < 44)"""
    )
    assert small == []


def view(driver: Any) -> tuple[float, float, float, float]:
    x, y, scale, scroll = driver.execute_script("return [SeaMap.x, SeaMap.y, SeaMap.scale, scrollY]")
    return x, y, scale, scroll


def test_one_finger_scrolls_the_page_and_two_move_the_map(phone: Any) -> None:
    phone.execute_script("scrollTo(0, 0)")
    settle(phone)
    x, y, w, h = box(phone, "#map")
    x, y = x + w / 2, y + h / 2
    before = view(phone)
    touch(phone, "touchStart", (x, y))
    for k in range(1, 9):
        touch(phone, "touchMove", (x, y - 15 * k))
        settle(phone)
    assert phone.find_element("id", "fingers").is_displayed(), "whoever wants the map moved is told how"
    touch(phone, "touchEnd")
    settle(phone)
    after = view(phone)
    assert after[:3] == before[:3]
    assert after[3] > before[3] + 60
    x, y, w, h = box(phone, "#map")
    x, y = x + w / 2, y + h / 2
    touch(phone, "touchStart", (x - 40, y), (x + 40, y))
    for k in range(1, 6):
        touch(phone, "touchMove", (x - 40, y + 10 * k), (x + 40, y + 10 * k))
    for k in range(1, 5):
        touch(phone, "touchMove", (x - 40 - 10 * k, y + 50), (x + 40 + 10 * k, y + 50))
    touch(phone, "touchEnd")
    settle(phone)
    last = view(phone)
    assert last[2] == pytest.approx(after[2] * 2, rel=0.05)
    assert last[3] == after[3]
    centre = after[1] + (h / 2) / after[2], last[1] + (h / 2 + 50) / last[2]
    assert centre[1] == pytest.approx(centre[0], abs=3 / after[2]), "the ground stays under the fingers"


@pytest.mark.parametrize("tab", TABS)
def test_the_night_view_lights_red_alone_on_every_tab(phone: Any, tmp_path: Path, tab: str) -> None:
    from PIL import Image

    phone.execute_script("App.dark(true); Picks.add(App.table.columns.px[5], App.table.columns.py[5])")
    open_tab(phone, tab)
    phone.execute_script("const f = document.querySelector('input[type=file]'); if (f && f.offsetParent) f.scrollIntoView({block: 'end'})")  # fmt: skip
    settle(phone)
    phone.save_screenshot(str(tmp_path / "night.png"))
    rgb = np.asarray(Image.open(tmp_path / "night.png").convert("RGB")).astype(int)
    lit = rgb.max(axis=2) > 60
    assert lit.mean() > 0.01
    assert (rgb[..., 0] >= rgb[..., 1:].max(axis=2) - 3)[lit].mean() > 0.999
    assert rgb[..., 1:].max(axis=2).mean() < 20
    assert rgb[..., 1:].max() < 160, "nothing white is left"


def test_the_screen_is_asked_to_stay_awake_and_a_browser_that_cannot_is_not_blamed(phone: Any) -> None:
    # Screen Wake Lock API, W3C: navigator.wakeLock.request("screen"), released with the event "release"
    asked = """Object.defineProperty(navigator, 'wakeLock', { configurable: true, value: arguments[0] && { request: (kind) => {
      window.asked = (window.asked || 0) + (kind === 'screen'); window.lock = new EventTarget(); return arguments[0] === 'yes' ? Promise.resolve(window.lock) : Promise.reject(new DOMException('no', 'NotAllowedError')); } } }); window.asked = 0; Awake.lock = null"""
    for answer, times in (("yes", 1), ("no", 2), (None, 0)):
        phone.execute_script(asked, answer)
        for _ in range(2):
            tap(phone, 20, 20)
        assert phone.execute_script("return window.asked") == times, answer
    phone.execute_script(asked, "yes")
    tap(phone, 20, 20)
    phone.execute_script("window.lock.dispatchEvent(new Event('release'))")
    tap(phone, 20, 20)
    assert phone.execute_script("return window.asked") == 2
    assert phone.find_element("id", "status").text == ""
