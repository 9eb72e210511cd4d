"""The deck sheet in print: every word on the page, none over another, whatever the number of nets and rounds."""

from __future__ import annotations

import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.transforms import Bbox
from plan.invented import asked_of, known, seabed, sites_on, tide_of

from reefscan.plan.books import Boat, Forecast, Net, Rules, Stream
from reefscan.plan.go import Check
from reefscan.plan.legs import Ground
from reefscan.plan.model import Plan
from reefscan.plan.night import make_plan
from reefscan.plan.words import BEFORE_LEAVING, BEFORE_MOVING
from reefscan.render.deck import deck_figures
from reefscan.render.nightpicture import draw_ground, draw_tide
from reefscan.render.sheet import sheet_of

RULES = Rules.model_validate(
    {"nets_per_boat": 2, "bag_per_person": 12, "minimum_size_m": "87mm", "reporting_areas": ["North", "South"], "licence": "carried",
     "float_marks": "name, number and the colour of the district", "source": "copied from the district's leaflet of 2026"}
)  # fmt: skip
BOAT = Boat.model_validate(
    {"draft_m": 0.5, "speed_kn": 8, "fuel_l": 3, "fuel_l_per_h": 9, "limits": {"wind_kn": 10, "gust_kn": 12, "crew": 3, "turn_back": "22:00"},
     "ashore": {"persons": ["A. Name That Is Long", "B."]}}
)  # fmt: skip


def planned(nets: int, soak_min: float, seed: int, unit: str) -> tuple[Plan, Ground]:
    rng = np.random.default_rng(seed)
    ground = seabed(rng)
    gear = (
        Net(
            name="n", rope_m=40, marks_m=1, float_lift_kgf=6, weight_kg=4, light="white; red tape once pulled"
        ),
    ) * nets
    forecast = Forecast(
        wind_kn=22, gust_kn=30, wave_m=0.5, wind_from_deg=10, stream=(Stream(to_deg=20, speed_kn=1.8),)
    )
    asked = asked_of(
        rng, ground, nets=gear, boat=BOAT, rules=RULES, forecast=forecast, soak_s=60 * soak_min, until="02:00", scope=1.25, unit=unit
    )  # fmt: skip
    return make_plan(asked, known(sites_on(ground, rng, 120)), ground, tide_of(rng)), ground


@pytest.mark.parametrize(
    ("nets", "soak_min", "unit"),
    [(1, 60, "m"), (3, 20, "ft"), (4, 90, "fathom"), (6, 30, "m"), (8, 60, "ft"), (10, 45, "m")],
)
def test_every_word_is_on_its_page_and_none_lies_over_another(nets: int, soak_min: float, unit: str) -> None:
    plan, ground = planned(nets, soak_min, nets, unit)
    figures = deck_figures(plan, ground)
    said = [text for figure in figures for text, _ in _boxes(figure)]
    assert sum(text.startswith("□ ") and text[2:] in BEFORE_LEAVING + BEFORE_MOVING for text in said) == len(
        BEFORE_LEAVING + BEFORE_MOVING
    )
    assert [f"{net.number}" in said for net in plan.nets] == [True] * len(plan.nets)
    assert sum(bool(re.match(r"\d+° \d", text)) for text in said) == len(plan.nets)
    for figure in figures:
        boxes = _boxes(figure)
        for text, box in boxes:
            assert (
                box.x0 >= -1
                and box.y0 >= -1
                and box.x1 <= figure.bbox.x1 + 1
                and box.y1 <= figure.bbox.y1 + 1
            ), text
        for (one, a), (other, b) in itertools.combinations(boxes, 2):
            wide, tall = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
            # lines stand close: what counts is a letter's width in both directions
            assert wide < 12 or tall < 0.3 * min(a.height, b.height), (one, other)


@pytest.mark.parametrize("nets", [3, 6, 30])
def test_in_the_picture_of_the_tide_no_word_lies_over_another_nor_over_its_title(nets: int) -> None:
    plan, _ = planned(8, 45, 8, "m")
    plan = replace(plan, nets=tuple(replace(plan.nets[k % 8], number=k + 1) for k in range(nets)))
    figure = Figure(figsize=(2.6, 1.6))
    ax = figure.add_axes((0.15, 0.15, 0.8, 0.7))
    draw_tide(ax, plan, font=7.0)
    figure.set_dpi(400)
    renderer = FigureCanvasAgg(figure).get_renderer()
    texts = [*ax.texts, ax.title, ax._left_title]  # type: ignore[attr-defined]
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in texts if text.get_text()]
    assert sum(text.isdigit() for text, _ in boxes) >= min(nets, 4)
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        if one.isdigit() == other.isdigit():  # a number may stand at the foot of the words of a low water
            wide, tall = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
            assert wide <= 0 or tall < 0.3 * min(a.height, b.height), (one, other)


@pytest.mark.parametrize("seed", [4, 8])
def test_on_the_small_map_no_number_runs_over_its_edge(seed: int) -> None:
    plan, ground = planned(8, 45, seed, "m")
    plan = replace(plan, nets=tuple(replace(net, number=net.number + 22) for net in plan.nets))
    figure = Figure(figsize=(112 / 72, 112 / 72))  # as large as on the sheet
    ax = figure.add_axes((0, 0, 1, 1))
    draw_ground(ax, plan, ground, font=9)
    figure.set_dpi(400)
    renderer = FigureCanvasAgg(figure).get_renderer()
    numbers = [text for text in ax.texts if text.get_text().isdigit()]
    assert len(numbers) == len(plan.nets)
    for text in numbers:
        box = text.get_window_extent(renderer)
        assert box.x0 >= 0 and box.x1 <= figure.bbox.x1 and box.y0 >= 0 and box.y1 <= figure.bbox.y1


def _boxes(figure: Figure) -> list[tuple[str, Bbox]]:
    figure.set_dpi(400)  # at few dots an inch letters are widened to whole ones, which print does not do
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    return [(text.get_text(), text.get_window_extent(renderer)) for text in figure.texts if text.get_text()]


@pytest.mark.parametrize("nets", [6, 16])
def test_nothing_that_is_said_is_cut_off_and_a_handful_of_nets_is_one_page(nets: int) -> None:
    """Every warning, reserve, rule and failed check is in print word for word, however many pages that takes."""
    plan, ground = planned(nets, 60, 3, "m")
    figures = deck_figures(plan, ground)
    printed = " ".join(text.get_text() for figure in figures for text in figure.texts)
    printed = " ".join(printed.replace("•", " ").split())
    sheet = sheet_of(plan)
    for words in (*sheet.warnings, *sheet.reserves, *sheet.rules, *sheet.failed, sheet.home, sheet.head_home, *sheet.again):  # fmt: skip
        assert " ".join(words.split()) in printed, words
    assert "deck.html" not in printed and "…" not in printed
    calm = replace(plan, warnings=("one thing to mind",), go=())
    assert nets > 6 or len(deck_figures(calm, ground)) == 1
    assert nets == 6 or len(figures) > 1


def test_failed_checks_stand_above_all_else_in_words_and_on_the_page() -> None:
    plan, ground = planned(3, 60, 3, "m")
    sheet = sheet_of(plan)
    assert {line.split(":")[0] for line in sheet.failed} >= {
        "wind",
        "gust",
        "crew",
        "nets a boat",
        "place to run to",
    }
    figure = deck_figures(plan, ground)[0]
    (told,) = [t for t in figure.texts if "checks FAILED" in t.get_text()]
    assert told.get_position()[1] > max(t.get_position()[1] for t in figure.texts if ":" in t.get_text()[:3])
    assert [t.get_text() for t in figure.texts].count("CHECK LOCAL RULES") == 1
    assert sheet.tallies == (("A. Name That Is Long", 12), ("B.", 12))


def test_however_many_checks_failed_all_are_printed() -> None:
    """A check that is cut off is one that nobody reads before leaving."""
    plan, ground = planned(3, 60, 3, "m")
    failed = tuple(
        Check(f"check {k}", False, "a reason that wants some words to be told in full, as reasons do" * 2) for k in range(30)
    )  # fmt: skip
    figures = deck_figures(replace(plan, go=failed), ground)
    printed = " ".join(" ".join(t.get_text() for figure in figures for t in figure.texts).split())
    for words in sheet_of(replace(plan, go=failed)).failed:
        assert words in printed


def test_a_stream_that_turns_every_hour_and_long_notes_of_sites_are_printed_whole() -> None:
    """Sixteen streams of an almanac's page, a pick's note of some lines: none of it ends in an ellipsis."""
    rng = np.random.default_rng(4)
    ground = seabed(rng)
    rows = tuple(Stream(at=f"{hour % 24:02d}:00", to_deg=(20 * hour) % 360, speed_kn=1.0) for hour in range(16, 32))  # fmt: skip
    note = (
        "the stones at the north end hold the net; come from the south, and look for the white house over the mole "
        * 3
    )
    sites = tuple(replace(site, note=note, flags=("near-closed-ground",)) for site in sites_on(ground, rng, 60))  # fmt: skip
    asked = asked_of(rng, ground, nets=(Net(rope_m=40, marks_m=1),) * 5, boat=BOAT, soak_s=1800.0, until="03:00",
                     forecast=Forecast(wave_m=0.5, wind_kn=4, wind_from_deg=0, stream=rows))  # fmt: skip
    plan = make_plan(asked, known(sites), ground, tide_of(rng))
    sheet = sheet_of(plan)
    assert len(sheet.haul) > 5 and len(sheet.let_go) > 5
    figures = deck_figures(plan, ground)
    printed = " ".join(" ".join(t.get_text() for figure in figures for t in figure.texts).split())
    assert "…" not in printed
    for words in (*sheet.haul, *sheet.let_go, *(words for net in sheet.nets for words in net.notes)):
        assert " ".join(words.split()) in printed
