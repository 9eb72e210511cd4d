"""What the page gives by itself: waypoints as ``reefscan export`` writes them, the share sheet, cards on paper, a way back, a reload that changes nothing."""

from __future__ import annotations

import base64
import csv
import io
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from chromium import wait_ready
from pages import SOURCE, settle
from seabed import HOSTILE, sites, write_grid, write_run

from reefscan.base.units import UNITS
from reefscan.io.out.siteforms import encode
from reefscan.io.out.waypoints import Waypoint, tidy
from reefscan.review.opened import OpenedRun, open_run
from reefscan.review.page import compose_page
from reefscan.review.pagedata import About, page_data
from reefscan.review.picked import picked_sites
from reefscan.review.picks import load_picks
from reefscan.review.takealong import naming_of, symbols_of, waypoints_of

selenium = pytest.importorskip("selenium")
from selenium.webdriver.common.keys import Keys  # noqa: E402
from selenium.webdriver.support.ui import Select  # noqa: E402


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("run")
    return write_run(folder / "coast", write_grid(folder / "grid.tif", SOURCE), sites(SOURCE, 300))


def opened_page(opened: OpenedRun) -> bytes:
    data = page_data(
        opened.explained(UNITS), About.of(opened), recipe=opened.recipe, sources=opened.sources, features={}
    )
    return compose_page(data)


def exported(opened: OpenedRun, picks: Path | None, form: str) -> tuple[str, list[Waypoint]]:
    """What ``reefscan export`` writes with the same picks, as `reefscan.cli.export` does it."""
    points = tidy(waypoints_of(picked_sites(opened, picks)[0], naming_of(opened)), length=8)
    note = f"{opened.closed_words} {opened.datum.top}"
    return encode(points, form, title=f"Sites of {opened.name}", note=note, symbols=symbols_of(None)).decode(), points  # fmt: skip


def some_picks(opened: OpenedRun) -> str:
    """Kept in the list and out of it, named alike and with mark-up, one set by hand, one of another run, one dropped."""
    listed, table = opened.listed, opened.table
    outside = table[~table["id"].isin(listed["id"])].iloc[[3, 11]]
    rows = []
    for k, (_, site) in enumerate([*listed.iloc[[0, 4, 9, 20]].iterrows(), *outside.iterrows()]):
        name = ["", "A very long name <b>", "A very long other", "=1+1", "", HOSTILE][k]
        rows.append({"id": site["id"], "state": "keep", "name": name, "note": f"note {k}, \"kelp\" & <sand>", "lon": site["lon"], "lat": site["lat"], "depth_m": None, "kind": site["kind"]})  # fmt: skip
    lon, lat = float(table["lon"].median()), float(table["lat"].median())
    rows.append({"id": "hand-1", "state": "keep", "name": "Hand 1", "note": "", "lon": round(lon, 7), "lat": round(lat, 7), "depth_m": None, "kind": "by hand", "added": True})  # fmt: skip
    rows.append({"id": "other-run", "state": "keep", "name": "", "note": "", "lon": round(lon + 0.001, 7), "lat": lat, "depth_m": 12.5, "kind": "ledge"})  # fmt: skip
    rows.append({"id": listed["id"].iloc[1], "state": "drop", "lon": 1.0, "lat": 1.0})
    return json.dumps({"schema": "reefscan-picks/1", "run": "coast", "picks": rows})


@pytest.mark.parametrize("unit", ["m", "ft", "fathom"])
@pytest.mark.parametrize("picked", [False, True])
def test_the_pages_gpx_is_the_one_that_export_writes_byte_for_byte_and_its_csv_cell_for_cell(
    show: Callable[[bytes], Any], run: Path, tmp_path: Path, unit: str, picked: bool
) -> None:
    opened = open_run(run, unit=unit)
    driver = show(opened_page(opened))
    picks = None
    if picked:
        picks = tmp_path / "picks.json"
        picks.write_text(some_picks(opened), encoding="utf-8")
        driver.execute_script("Picks.read(arguments[0]); App.shown()", picks.read_text(encoding="utf-8"))
    assert load_picks(driver.execute_script("return Picks.text()")).by_id.keys() == (
        load_picks(picks.read_text(encoding="utf-8")).by_id.keys() if picks else set()
    )
    want, points = exported(opened, picks, "gpx")
    driver.find_element("id", "tab-picks").click()
    driver.find_element("id", "savesites").click()
    got = driver.execute_script("return window.lastDownload")
    assert got["name"] == "sites.gpx"
    assert list(got["text"].splitlines()) == want.splitlines(), [
        pair for pair in zip(got["text"].splitlines(), want.splitlines(), strict=False) if pair[0] != pair[1]
    ][:1]
    assert len(points) == (8 if picked else len(opened.listed))
    Select(driver.find_element("id", "form")).select_by_value("csv")
    driver.find_element("id", "savesites").click()
    mine = list(csv.DictReader(io.StringIO(driver.execute_script("return window.lastDownload.text"))))
    theirs = list(csv.DictReader(io.StringIO(exported(opened, picks, "csv")[0])))
    assert list(mine[0]) == list(theirs[0])
    for a, b in zip(mine, theirs, strict=True):
        assert {k: number(v) for k, v in a.items()} == {k: number(v) for k, v in b.items()}
    Select(driver.find_element("id", "form")).select_by_value("txt")
    driver.find_element("id", "savesites").click()
    lines = driver.execute_script("return window.lastDownload.text").splitlines()
    assert [line[:8].strip() for line in lines[3:]] == [p.name for p in points]
    assert "Not for navigation" in lines[1]


def number(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


SHARE = """window.shared = null; const can = arguments[0];
Object.defineProperty(navigator, 'canShare', { configurable: true, value: (d) => !d.files || can.includes(d.files[0].name.split('.')[1]) });
Object.defineProperty(navigator, 'share', { configurable: true, value: can === null ? undefined : (d) => { window.shared = [d.files ? d.files[0].name : '', d.text || '', d.files ? d.files[0].size : 0]; return Promise.resolve(); } });
App.tab('picks');"""


def test_the_share_sheet_gets_the_file_and_where_it_takes_none_the_text(page: Any) -> None:
    # Web Share API Level 2, W3C: canShare({files}) says whether share({files}) would be refused for its kind
    page.execute_script(SHARE, ["gpx"])
    page.find_element("id", "sharesites").click()
    assert page.execute_script("return window.shared")[0] == "sites.gpx"
    assert page.execute_script("return window.shared")[2] > 1000
    page.execute_script(SHARE, [])
    page.find_element("id", "sharesites").click()
    assert page.execute_script("return window.shared") is None
    assert "shares no GPX file" in page.find_element("id", "status").text
    Select(page.find_element("id", "form")).select_by_value("txt")
    page.find_element("id", "sharesites").click()
    assert page.execute_script("return window.shared")[1].startswith("Sites of invented")


FULL_SHARE = """window.shared = []; window.asked = [];
Object.defineProperty(navigator, 'canShare', { configurable: true, value: (d) => { window.asked.push(d); return true; } });
Object.defineProperty(navigator, 'share', { configurable: true, value: (d) => { window.shared.push(d); return arguments[0] ? Promise.reject(new DOMException('no', arguments[0])) : Promise.resolve(); } });
App.tab('picks');"""


def shared(page: Any, form: str, fails: str = "") -> None:
    """Press the button with a share sheet in place of the phone's, which headless Chromium has none of."""
    page.execute_script(FULL_SHARE.replace("arguments[0]", json.dumps(fails)))
    Select(page.find_element("id", "form")).select_by_value(form)
    page.execute_script("App.say('')")
    page.find_element("id", "sharesites").click()
    page.execute_async_script("setTimeout(arguments[0], 20)")


@pytest.mark.parametrize(
    ("form", "kind"), [("gpx", "application/gpx+xml"), ("csv", "text/csv"), ("txt", "text/plain")]
)
def test_what_is_shared_is_a_file_of_its_kind_with_the_bytes_that_are_saved(
    page: Any, form: str, kind: str
) -> None:
    """File objects as the File API has them; the same data are asked of canShare first (Web Share API Level 2, W3C)."""
    shared(page, form)
    got = page.execute_async_script(
        "const done = arguments[0], d = window.shared[0], f = d.files[0];"
        "f.text().then((text) => done([f instanceof File, f.name, f.type, d.files.length, d.title, text, window.asked[0] === d]))"
    )
    assert got[:5] == [True, f"sites.{form}", kind, 1, "Sites of invented"]
    page.execute_script("TakeAlong.save()")
    assert got[5] == page.execute_script("return window.lastDownload.text")
    assert got[6], "what was asked for is what is shared"
    assert page.find_element("id", "status").text.startswith(f"{len(page.execute_script('return Waypoints.sites()'))} sites are saved")  # fmt: skip


def test_a_share_that_the_person_calls_off_is_nothing_to_say_and_one_that_fails_is(page: Any) -> None:
    shared(page, "gpx", "AbortError")
    assert page.find_element("id", "status").text == ""
    shared(page, "gpx", "NotAllowedError")
    assert page.find_element("id", "status").text == "Not shared: no"


def test_a_browser_without_a_share_sheet_has_no_button_for_it(page: Any) -> None:
    page.execute_script(
        "Object.defineProperty(navigator, 'share', { configurable: true, value: undefined }); App.tab('picks'); Picks.fill();"
    )
    assert page.find_elements("id", "sharesites") == []
    assert page.find_element("id", "savesites").is_displayed()


def test_keep_drop_move_and_remove_are_undone_one_by_one(page: Any) -> None:
    said = []
    page.execute_script("App.choose(App.table.columns.id[App.order[0]])")

    def state() -> str:
        text: str = page.execute_script("return Picks.text() + JSON.stringify([...Picks.added])")
        said.append(text)
        return text

    state()
    page.find_element("css selector", '#card [data-pick="keep"]').click()
    state()
    page.find_element("css selector", '#card [data-pick="drop"]').click()
    state()
    page.execute_script("Picks.add(App.table.columns.px[9], App.table.columns.py[9])")
    state()
    page.find_element("css selector", '#card [data-pick="move"]').click()
    page.execute_script("SeaMap.goTo(App.table.columns.px[30], App.table.columns.py[30])")
    page.find_element("id", "map").send_keys(Keys.ENTER)
    settle(page)
    state()
    at = page.execute_script("const p = Picks.by.get('hand-1'); return [p.lon, p.lat, App.table.columns.lon[30], App.table.columns.lat[30]]")  # fmt: skip
    assert at[:2] == pytest.approx(at[2:], abs=2e-6)
    page.find_element("css selector", '#card [data-pick="remove"]').click()
    assert page.execute_script("return [Picks.added.size, App.chosen]") == [0, None]
    for step, want in enumerate(reversed(said)):
        if step == 1:
            page.find_element("tag name", "body").send_keys(Keys.CONTROL + "z")
        elif step == 2:
            page.find_element("id", "tab-picks").click()
            page.find_element("id", "undolast").click()
        else:
            page.execute_script("document.getElementById('undo').click()")
        assert page.execute_script("return Picks.text() + JSON.stringify([...Picks.added])") == want
        assert page.find_element("id", "status").text.startswith("Undone: ")
    assert page.execute_script("return JSON.parse(localStorage.getItem(Picks.key())).picks") == []


def test_sliders_chosen_site_view_and_order_survive_a_reload(page: Any) -> None:
    page.find_element("id", "tab-recipe").click()
    box = page.find_element("id", "n-depth-max")
    box.send_keys(Keys.CONTROL + "a")
    box.send_keys("17.5", Keys.TAB)
    page.execute_script("SeaMap.zoom(3, 100, 100); App.choose(App.table.columns.id[App.order[5]]); List.key = 'score'; List.down = true; View.later(); App.tab('card')")  # fmt: skip
    ask = "return JSON.parse(View.text())"
    before = page.execute_script(ask)
    assert before["recipe"]["score"]["terms"]["depth"]["d"] == 17.5
    page.refresh()
    wait_ready(page)
    after = page.execute_script(ask)
    assert after.pop("map") == pytest.approx(before.pop("map"))
    assert after == before
    assert page.find_element("id", "card").is_displayed()
    assert page.execute_script("return document.getElementById('n-depth-max').value") == "17.5"


@pytest.mark.parametrize("kept", ["{", "null", '{"recipe": {"score": 1}, "map": ["a"], "chosen": "gone", "tab": 3}',
                                  "another"])  # fmt: skip
def test_a_stored_view_that_does_not_fit_changes_nothing(page: Any, kept: str) -> None:
    whole = page.execute_script("return View.text()")
    if kept == "another":  # the same run scanned with another recipe
        other = json.loads(whole)
        other["from"]["rank"]["top"] = 3
        other["recipe"]["rank"]["top"] = 3
        kept = json.dumps(other)
    page.execute_script("Store.set(View.key(), arguments[0])", kept)
    page.refresh()
    wait_ready(page)
    fresh = page.execute_script("return View.text()")
    assert json.loads(fresh)["recipe"] == json.loads(whole)["recipe"]
    assert [e for e in page.get_log("browser") if e["level"] == "SEVERE"] == []


def test_two_cards_stand_on_a_page(page: Any) -> None:
    pdf = base64.b64decode(page.execute_cdp_cmd("Page.printToPDF", {})["data"])
    # twenty cards, as "reefscan cards" makes by default; on the first page the cautions stand too
    assert 10 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 11


def test_print_gives_cards_and_no_controls(page: Any) -> None:
    page.execute_script("App.dark(true); App.choose(App.table.columns.id[App.order[0]])")
    page.find_element("css selector", '#card [data-pick="keep"]').click()
    page.execute_script("Picks.add(App.table.columns.px[9], App.table.columns.py[9])")
    pdf = base64.b64decode(page.execute_cdp_cmd("Page.printToPDF", {})["data"])
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1, (
        "a card and a half fit on the first page, below the cautions"
    )
    page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        page.execute_script("window.dispatchEvent(new Event('beforeprint'))")
        cards = page.execute_script("return [...document.querySelectorAll('#print article')].map(a => [a.innerText, a.querySelectorAll('svg').length, a.querySelectorAll('canvas').length])")  # fmt: skip
        seen = page.execute_script(
            "return [...document.querySelectorAll('button, input, select, textarea')].filter(e => e.getClientRects().length).length"
        )
        colours = page.execute_script("const s = getComputedStyle(document.querySelector('#print article')); return [s.color, getComputedStyle(document.body).backgroundColor]")  # fmt: skip
    finally:
        page.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
        page.execute_script("window.dispatchEvent(new Event('afterprint'))")
    assert seen == 0
    assert [(s, c) for _, s, c in cards] == [(1, 1), (0, 0)]
    name = page.execute_script("return Waypoints.points([{ i: App.order[0] }])[0].name")
    assert name in cards[0][0] and "tide not added" in cards[0][0] and "Not for navigation" in cards[0][0]
    assert re.search(r"score \d+\.\d, chance it is tall enough: [<>]?\d+ %", cards[0][0]), "as on the cards"
    assert "Hand 1" in cards[1][0] and "sound it first" in cards[1][0]
    assert colours == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
    assert page.execute_script("return document.getElementById('print').childElementCount") == 0
