"""Keyboard, screen reader and contrast: whatever a thumb reaches is reached without one, and can be read in both views."""

from __future__ import annotations

from typing import Any

import pytest
from pages import settle

selenium = pytest.importorskip("selenium")
from selenium.webdriver.common.action_chains import ActionChains  # noqa: E402
from selenium.webdriver.common.keys import Keys  # noqa: E402

TABS = ("sites", "card", "recipe", "picks")
PRESSED = "button, input, select, textarea, summary, canvas[tabindex]"


def open_tab(driver: Any, name: str) -> None:
    driver.execute_script("App.choose(App.table.columns.id[App.order[0]]); Picks.add(App.table.columns.px[5], App.table.columns.py[5]); App.choose('hand-1'); App.tab(arguments[0])", name)  # fmt: skip
    settle(driver)


@pytest.mark.parametrize("tab", TABS)
def test_the_tab_key_reaches_all_that_can_be_pressed_in_the_order_of_the_page(page: Any, tab: str) -> None:
    page.execute_script("document.getElementById('find').value = 'number 1'; List.fill()")
    open_tab(page, tab)
    wanted = page.execute_script(
        f"""document.querySelectorAll('details').forEach(d => d.open = true);
        const all = [...document.querySelectorAll('{PRESSED}')].filter(e => e.offsetParent && !e.disabled && !(e.role === 'tab' && e.tabIndex < 0));
        all.forEach((e, k) => e.dataset.seen = k); document.activeElement.blur(); getSelection().removeAllRanges(); scrollTo(0, 0); return all.length"""
    )
    page.execute_script("document.body.tabIndex = -1; document.body.focus()")
    seen: list[int] = []
    for _ in range(wanted + 3):
        ActionChains(page).send_keys(
            Keys.TAB
        ).perform()  # not to the element: a file picker takes keys for a path
        number = page.execute_script("return document.activeElement.dataset.seen")
        if number is not None:
            seen.append(int(number))
    assert sorted(set(seen)) == list(range(wanted))
    assert seen == sorted(seen) or seen[:wanted] == sorted(seen[:wanted])


def test_tabs_and_map_have_their_keys(page: Any) -> None:
    page.execute_script("document.getElementById('tab-sites').focus()")
    for key, shown in ((Keys.ARROW_RIGHT, "card"), (Keys.END, "picks"), (Keys.ARROW_RIGHT, "sites"), (Keys.ARROW_LEFT, "picks"), (Keys.HOME, "sites")):  # fmt: skip
        page.switch_to.active_element.send_keys(key)
        assert page.find_element("id", shown).is_displayed()
        assert page.execute_script("return document.activeElement.id") == f"tab-{shown}"
    page.execute_script("document.getElementById('map').focus()")
    canvas = page.find_element("id", "map")
    canvas.send_keys("nn")
    assert page.execute_script("return App.rankOf[App.rowOf.get(App.chosen)]") == 2
    x = page.execute_script("return SeaMap.x")
    canvas.send_keys(Keys.ARROW_RIGHT)
    assert page.execute_script("return SeaMap.x") > x
    canvas.send_keys("p", Keys.ENTER)
    assert page.execute_script("return App.rankOf[App.rowOf.get(App.chosen)]") == 1, "Enter opens the site in the middle"  # fmt: skip
    page.find_element("id", "addsite").send_keys(Keys.ENTER)
    canvas.send_keys(Keys.ENTER)
    assert page.execute_script("return App.chosen") == "hand-1"


def test_the_focus_stays_where_it_was_when_a_card_or_the_list_is_filled_anew(page: Any) -> None:
    page.execute_script("App.choose(App.table.columns.id[App.order[0]])")
    for what in ('[data-step="on"]', '[data-pick="keep"]', '[data-pick="keep"]', '[data-step="back"]'):
        page.find_element("css selector", f"#card {what}").send_keys(Keys.ENTER)
        assert page.execute_script("return document.activeElement.matches(arguments[0])", what)
    page.find_element("id", "tab-sites").click()
    page.execute_script("document.querySelectorAll('#list button.site')[4].focus(); App.update()")
    assert page.execute_script("return [...document.querySelectorAll('#list button.site')].indexOf(document.activeElement)") == 4  # fmt: skip


def test_changes_are_told_to_a_reader_of_screens(page: Any) -> None:
    live = "return ['status', 'told'].map(i => [document.getElementById(i).getAttribute('aria-live'), document.getElementById(i).textContent])"
    page.execute_script("App.choose(App.table.columns.id[App.order[2]])")
    assert page.execute_script(live)[1] == ["polite", "number 3 is open."]
    page.find_element("css selector", '#card [data-pick="drop"]').send_keys(Keys.ENTER)
    assert page.execute_script(live)[0] == ["polite", "Number 3 is dropped."]
    page.execute_script("App.recipe.rank.top = 7; App.update()")
    assert page.execute_script(live)[1] == ["polite", "7 sites are listed."]
    page.find_element("id", "tab-sites").click()
    told = page.execute_script(
        "return document.querySelectorAll('#list button.site')[2].getAttribute('aria-label')"
    )
    assert told.startswith("Number 3, ") and told.endswith(", dropped") and ", depth " in told


@pytest.mark.parametrize("tab", TABS)
def test_every_control_has_a_name_for_a_reader_of_screens(page: Any, tab: str) -> None:
    open_tab(page, tab)
    nameless = page.execute_script(
        """return [...document.querySelectorAll('button, input, select, textarea, canvas, svg[role=img]')].filter(e => {
          const label = e.closest('label') || (e.id && document.querySelector('label[for="' + e.id + '"]'));
          return !(e.getAttribute('aria-label') || e.getAttribute('aria-hidden') || (e.textContent || '').trim() || label);
        }).map(e => e.outerHTML.slice(0, 120))"""
    )
    assert nameless == []


BACK = """const back = (e) => { let b = e, c = 'rgba(0, 0, 0, 0)';
  while (b && c === 'rgba(0, 0, 0, 0)') { c = getComputedStyle(b).backgroundColor; b = b.parentElement; } return c; }; const out = [];"""
TEXTS = """for (const e of document.querySelectorAll('body *')) {
  if (!e.getClientRects().length || e.disabled || e.closest('.sr')) continue;
  if ([...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim()) || e.matches('input, textarea')) {
    const own = e instanceof SVGElement ? getComputedStyle(e).fill : getComputedStyle(e).color;
    out.push([own, e instanceof SVGElement ? back(e.closest('svg')) : back(e), e.outerHTML.slice(0, 60)]);
  }
  if (e.placeholder) out.push([getComputedStyle(e, '::placeholder').color, back(e), 'placeholder']);
  if (e.type === 'file') { const s = getComputedStyle(e, '::file-selector-button'); out.push([s.color, s.backgroundColor, 'file button']); }
} return out"""
EDGES = """for (const e of document.querySelectorAll('button, input, select, textarea')) {
  if (!e.getClientRects().length || e.disabled || e.closest('.sr, td, th')) continue;
  const s = getComputedStyle(e), outside = back(e.parentElement);
  if (parseFloat(s.borderTopWidth)) out.push([s.borderTopColor, outside, e.outerHTML.slice(0, 60)]);
  else if (e.type === 'range') { const t = getComputedStyle(e, '::-webkit-slider-thumb'); out.push([getComputedStyle(document.body).getPropertyValue('--grip'), outside, 'grip of ' + e.id]); }
} return out"""


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.1 defines it (w3.org/TR/WCAG21, relative luminance)."""
    if colour.strip().startswith("#"):
        rgb = [int(colour.strip()[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    else:
        rgb = [float(v) / 255 for v in colour[colour.index("(") + 1 : -1].split(",")[:3]]
    red, green, blue = (c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in rgb)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(front: str, back: str) -> float:
    """Contrast ratio as WCAG 2.1 defines it."""
    high, low = sorted((luminance(front), luminance(back)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_the_checker_gives_the_published_contrasts() -> None:
    # WCAG 2.1: black on white is 21:1; #767676 is the lightest grey that reaches 4.5:1 on white (G18 and the working group's note)
    assert contrast("#000000", "rgb(255, 255, 255)") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("night", [False, True])
@pytest.mark.parametrize("tab", TABS)
def test_texts_and_controls_have_the_contrast_of_wcag_aa(page: Any, night: bool, tab: str) -> None:
    # WCAG 2.1, 1.4.3 text 4.5:1; 1.4.11 edges of controls and the ring of the focus 3:1
    page.execute_script("App.dark(arguments[0])", night)
    open_tab(page, tab)
    texts, edges = page.execute_script(BACK + TEXTS), page.execute_script(BACK + EDGES)
    assert len(texts) > 20 and len(edges) > 8
    assert [t for t in texts if contrast(t[0], t[1]) < 4.5] == []
    assert [e for e in edges if contrast(e[0], e[1]) < 3] == []
    page.find_element("id", "tab-" + tab).send_keys(Keys.ARROW_RIGHT)
    ring = page.execute_script("const s = getComputedStyle(document.activeElement); return [s.outlineStyle, s.outlineColor, getComputedStyle(document.body).backgroundColor]")  # fmt: skip
    assert ring[0] == "solid" and contrast(ring[1], ring[2]) >= 3
