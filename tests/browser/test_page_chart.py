"""What a chart has: a scale in the unit chosen, figures on contours, lines of latitude and longitude, ways, one's own place; and no site beyond the grid."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from pages import SOURCE, page_of, settle
from pyproj import Geod, Transformer
from seabed import sites

from reefscan.base.degrees import read_place
from reefscan.base.errors import InputError

TO_PLACE = Transformer.from_crs(SOURCE.sheet.crs, "EPSG:4326", always_xy=True)


def place_of(row: float, col: float) -> tuple[float, float]:
    """Longitude and latitude of a cell's middle in the invented grid."""
    west, _, _, north = SOURCE.sheet.bounds(SOURCE.extent)
    lon, lat = TO_PLACE.transform(west + (col + 0.5) * 4.0, north - (row + 0.5) * 4.0)
    return float(lon), float(lat)


@pytest.mark.parametrize(
    ("row", "col", "set_"),
    [(200, 300, True), (-3, 300, False), (403, 300, False), (200, 603, False), (200, -3, False), (315, 475, False), (315, 440, True)],
)  # fmt: skip
def test_a_site_set_by_hand_lies_on_ground_that_the_grid_knows(
    page: Any, row: float, col: float, set_: bool
) -> None:
    # rows 300 to 329 and columns 450 to 499 of the seabed are unknown
    page.execute_script("Picks.add(0, 0, arguments[0])", place_of(row, col))
    words = page.find_element("id", "status").text
    assert page.execute_script("return Picks.added.size") == int(set_)
    assert (
        words.startswith("Hand 1 is set at") if set_ else "outside the ground that this grid knows" in words
    )


def test_a_site_is_not_moved_off_the_grid_either(page: Any) -> None:
    page.execute_script("Picks.add(0, 0, arguments[0]); Picks.placing('hand-1'); Picks.add(0, 0, arguments[1])", place_of(200, 300), place_of(200, 700))  # fmt: skip
    assert page.find_element("id", "status").text.startswith("Not moved: ")
    at = page.execute_script("const p = Picks.by.get('hand-1'); return [p.lon, p.lat]")
    assert at == pytest.approx(place_of(200, 300), abs=1e-7)


PLACES = ["45.0118 -22.5167", "45.0118, -22.5167", "45°00.708'N 22°31.001'W", "45 00.708 N, 22 31.001 W", "45.5N 22.5W", "-33.5 151.25",
          "91 0", "45 181", "45°61.0'N 22°31.0'W", "here", "", "45.0118"]  # fmt: skip


def test_a_place_is_read_as_python_reads_it(page: Any) -> None:
    for text in PLACES:
        try:
            want: list[float] | None = list(read_place(text))
        except InputError:
            want = None
        assert page.execute_script("return Words.readPlace(arguments[0])", text) == (want if want is None else pytest.approx(want, abs=1e-12)), text  # fmt: skip


def test_the_scale_is_in_the_unit_chosen_and_round(page: Any) -> None:
    # the international foot, 0.3048 m, and nautical mile, 1852 m, are exact by definition
    per = {"m": 1.0, "km": 1000.0, "ft": 0.3048, "nmi": 1852.0}
    for unit, names in (("m", {"m", "km"}), ("ft", {"ft", "nmi"}), ("fathom", {"ft", "nmi"})):
        for most in (*np.geomspace(3, 40_000, 60), 10, 1000, 926):
            metres, words = page.execute_script("Words.unit = arguments[0]; return Words.rule(arguments[1])", unit, float(most))  # fmt: skip
            number, name = words.split()
            assert name in names
            assert float(number) * per[name] == pytest.approx(metres)
            assert float(number) == 0.5 or float(number) == int(float(number))
            assert most / 2.6 <= metres <= most * (1 + 1e-5), (unit, most)


@pytest.mark.parametrize("unit", ["m", "ft", "fathom"])
def test_the_figures_of_the_section_are_whole_or_halves(page: Any, unit: str) -> None:
    page.execute_script("Words.unit = arguments[0]; App.choose(App.table.columns.id[App.order[0]])", unit)
    for k in range(12):
        figures = page.execute_script(
            "App.choose(App.table.columns.id[App.order[arguments[0]]]); return [...document.querySelectorAll('#card figure svg text')].map(t => t.textContent)",
            k,
        )
        numbers = [
            float(w.split()[0]) for w in figures if w.split()[0].replace(".", "").replace("-", "").isdigit()
        ]
        assert len(numbers) >= 4
        assert all(2 * n == int(2 * n) for n in numbers), figures


def test_contours_carry_their_depth_and_the_map_its_lines_of_latitude_and_longitude(page: Any) -> None:
    drawn = """const out = [], g = SeaMap.canvas.getContext('2d'), old = SeaMap.figure;
      SeaMap.figure = (g, words, x, y) => { const t = g.getTransform(); out.push([words, t.e / devicePixelRatio + x, t.f / devicePixelRatio + y]); };
      SeaMap.draw(); SeaMap.figure = old; return out"""
    figures = page.execute_script(drawn)
    depths = {float(w) for w, _, _ in figures if w.replace(".", "").isdigit()}
    contours = page.execute_script("return App.data.contours.map(c => c.depth)")
    assert depths and depths <= set(contours)
    for zoom in (1, 4, 16):
        page.execute_script("SeaMap.all(); SeaMap.zoom(arguments[0], 300, 300)", zoom)
        figures = page.execute_script(drawn)
        lat = [(w, x, y) for w, x, y in figures if w[-1:] == "N" and "°" in w]
        lon = [(w, x, y) for w, x, y in figures if w[-1:] in "EW" and "°" in w]
        assert lat and lon, zoom
        for words, x, y in (*lat, *lon):
            degrees, minutes = words[:-1].rstrip("'").split("°")
            value = (int(degrees) + float(minutes) / 60) * (-1 if words[-1] == "W" else 1)
            # the figure stands 3 pixels beside its line
            at = page.execute_script("return SeaMap.lonlat(SeaMap.x + arguments[0] / SeaMap.scale, SeaMap.y + arguments[1] / SeaMap.scale)", x - (3 if words[-1] in "EW" else 0), y + (3 if words[-1] == "N" else 0))  # fmt: skip
            pixel = 4.0 / page.execute_script("return SeaMap.scale") / 111_000 * 1.7
            assert at[words[-1] == "N"] == pytest.approx(value, abs=pixel), words


def test_the_way_to_the_nearest_kept_site_is_the_geodesic(page: Any) -> None:
    # Karney's geodesics through PROJ
    geod = Geod(ellps="WGS84")
    rng = np.random.default_rng(5)
    for _ in range(60):
        lon, lat = rng.uniform(-179, 179), rng.uniform(-68, 68)
        to = geod.fwd(lon, lat, rng.uniform(0, 360), rng.uniform(5, 50_000))[:2]
        azimuth, _, metres = geod.inv(lon, lat, *to)
        got = page.execute_script("return Way.between(...arguments)", {"lon": lon, "lat": lat}, {"lon": to[0], "lat": to[1]})  # fmt: skip
        assert got["metres"] == pytest.approx(metres, rel=1e-3)
        assert (
            abs((got["bearing"] - azimuth + 180) % 360 - 180) < 0.8
        )  # half the turn of the meridians over 50 km
    got = page.execute_script("return Way.between({lon: 179.999, lat: -17}, {lon: -179.999, lat: -17})")
    assert got["metres"] == pytest.approx(geod.inv(179.999, -17, -179.999, -17)[2], rel=1e-3)
    kept = [2, 5, 9, 14, 19, 25]
    page.execute_script(
        "for (const k of arguments[0]) { const i = App.order[k]; Picks.set({ id: App.table.columns.id[i], lon: App.table.columns.lon[i], lat: App.table.columns.lat[i] }, { state: 'keep' }); }",
        kept,
    )
    at = page.execute_script("return arguments[0].map(k => [App.table.columns.lon[App.order[k]], App.table.columns.lat[App.order[k]]])", kept)  # fmt: skip
    for here, chosen in zip(at, kept, strict=True):
        page.execute_script("App.choose(App.table.columns.id[App.order[arguments[0]]])", chosen)
        near = min(
            (geod.inv(*here, *there)[2], k + 1) for there, k in zip(at, kept, strict=True) if k != chosen
        )
        said = page.execute_script("return Way.facts(App.chosen, Picks.by.get(App.chosen))")
        assert said[0][0] == "To the nearest kept site"
        assert said[0][1].startswith(f"number {near[1]}: ")
        told = said[0][1].split(": ")[1].split(",")[0]
        assert float(told.split()[0]) * (1000 if told.endswith("km") else 1) == pytest.approx(near[0], abs=51)


def test_ones_own_place_is_asked_for_after_a_tap_drawn_and_said_not_to_be_for_navigation(page: Any) -> None:
    lon, lat = place_of(150, 350)
    page.execute_cdp_cmd("Browser.grantPermissions", {"permissions": ["geolocation"]})
    page.execute_cdp_cmd("Emulation.setGeolocationOverride", {"longitude": lon, "latitude": lat, "accuracy": 12})  # fmt: skip
    try:
        assert page.execute_script("return [Here.at, Here.watch]") == [None, None]
        page.execute_script("App.choose(App.table.columns.id[App.order[0]])")
        page.find_element("id", "here").click()
        page.execute_async_script("const f = arguments[0], t = setInterval(() => { if (Here.at) { clearInterval(t); f(); } }, 20)")  # fmt: skip
        settle(page)
        words = page.find_element("id", "status").text
        assert words == "My place by this device, within about 12 m. Not for navigation."
        middle = page.execute_script("const c = SeaMap.canvas; return SeaMap.lonlat(SeaMap.x + c.clientWidth / 2 / SeaMap.scale, SeaMap.y + c.clientHeight / 2 / SeaMap.scale)")  # fmt: skip
        assert middle == pytest.approx([lon, lat], abs=2e-6)
        page.find_element("css selector", "#card textarea").send_keys("half a w")
        page.execute_script("Here.found({ coords: { longitude: arguments[0], latitude: arguments[1], accuracy: 9 } })", lon + 0.0001, lat)  # fmt: skip
        page.switch_to.active_element.send_keys("ord")
        assert page.execute_script("return document.querySelector('#card textarea').value") == "half a word"
        card = page.find_element("id", "card").text
        assert "From my place to here" in card and "Not for navigation" in card
        page.find_element("id", "here").click()
        assert page.execute_script("return [Here.at, Here.watch]") == [None, None]
        assert page.execute_script("return JSON.stringify(localStorage)").find(f"{lon:.4f}") == -1
    finally:
        page.execute_cdp_cmd("Emulation.clearGeolocationOverride", {})
        page.execute_cdp_cmd("Browser.resetPermissions", {})


def test_a_browser_that_tells_no_place_says_so(page: Any) -> None:
    page.execute_script("Here.on(); Here.failed({ code: 1 })")
    assert page.find_element("id", "status").text == "This device was not allowed to tell its place."
    assert page.find_element("id", "here").get_attribute("aria-pressed") == "false"
    page.execute_script("Object.defineProperty(navigator, 'geolocation', { configurable: true, value: undefined }); Here.on()")  # fmt: skip
    assert page.find_element("id", "status").text == "This browser cannot tell where you are."


def test_the_page_asks_no_network_for_anything_in_all_of_this(show: Callable[[bytes], Any]) -> None:
    driver = show(page_of(sites(SOURCE, 50)))
    driver.execute_script("App.choose(App.table.columns.id[0]); for (const t of App.tabs) App.tab(t); document.getElementById('savesites').click(); Print.fill()")  # fmt: skip
    assert driver.execute_script("return performance.getEntriesByType('resource').filter(r => !/^(data|blob):/.test(r.name)).map(r => r.name)") == []  # fmt: skip
    assert [e for e in driver.get_log("browser") if e["level"] == "SEVERE"] == []
