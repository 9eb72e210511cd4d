"""The deck sheet's words and its print: what a tired person in the dark must not misread."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text
from plan.invented import DATE, ZONE, known
from plan.test_night import FOUR, HOUR, asked, flat, plan

from reefscan.base.datum import Datum
from reefscan.io.out.floatplan import float_plan
from reefscan.io.out.plan import plan_geojson, plan_gpx, plan_json
from reefscan.plan.books import Boat, Forecast, Limits, Net, Stream
from reefscan.plan.model import Wishes
from reefscan.plan.night import make_plan, window_of
from reefscan.plan.sites import OffGround
from reefscan.plan.tide import NightTide
from reefscan.render.deck import deck_figures
from reefscan.render.deckpage import deck_page
from reefscan.render.decktable import LEAST_PT
from reefscan.render.sheet import sheet_of
from reefscan.survey.tide import make_table


def test_the_sheet_says_which_net_the_marks_are_counted_on() -> None:
    """Ten marks of 1.5 m are 15 m, ten of 2 m are 20 m: a count without its net may drown a float."""
    two = (Net(name="A", rope_m=24, marks_m=1.5), Net(name="B", rope_m=24, marks_m=2), Net(name="B", rope_m=24, marks_m=2))  # fmt: skip
    made = plan(nets=two)
    for net, words in zip(made.nets, sheet_of(made).nets, strict=True):
        assert {one.rope for one in words.rounds} == {
            {"A": "10 marks of A (15.0 m)", "B": "8 marks of B (16.0 m)"}[net.net.name]
        }
        assert words.gear.startswith(f"{net.net.name}: rope 24.0 m, marks")
    waypoints = plan_gpx(made, route=False).decode()
    assert (
        waypoints.count("rope of A 15.0 m (10 marks)") == 1
        and waypoints.count("rope of B 16.0 m (8 marks)") == 2
    )
    same_name = plan(nets=(two[0], two[1].model_copy(update={"name": "A"})))
    assert len({words.gear for words in sheet_of(same_name).nets}) == 2
    numbered = plan(nets=tuple(net.model_copy(update={"name": f"{k}", "rope_m": 24.0 + k}) for k, net in enumerate(two)))  # fmt: skip
    assert all(" of 2" in one.rope for net in sheet_of(numbered).nets for one in net.rounds)
    alike = sheet_of(plan())
    assert {one.rope for net in alike.nets for one in net.rounds} == {"10 marks (15.0 m)"}
    assert {net.gear for net in alike.nets} == {""}


def test_a_reserve_has_its_own_rope() -> None:
    """16 m: (16 + 2.1 + 0.3 + 0.5) x 1.25 = 23.625, on marks of 1.5 m 24 m: sixteen marks; a rope of 20 m does not reach."""
    deep = replace(FOUR[3], depth_m=16.0, score=10.0)
    (told,) = sheet_of(plan(*FOUR[:3], deep)).reserves
    assert told.endswith("16 marks (24.0 m)")
    nets = (Net(name="A", rope_m=24, marks_m=1.5), Net(name="B", rope_m=20, marks_m=2), Net(name="B", rope_m=20, marks_m=2))  # fmt: skip
    (told,) = sheet_of(plan(*FOUR[:3], deep, nets=nets)).reserves
    assert told.endswith("A 16 marks, B does not reach")


def test_an_hour_that_comes_twice_is_marked() -> None:
    """Halifax, 2025-11-02: 01:30 -03:00 and 01:30 -04:00 are an hour apart (IANA)."""
    zone = ZoneInfo("America/Halifax")
    noon = dt.datetime(2025, 11, 1, 12, tzinfo=zone).timestamp()
    table = make_table(noon + 6.2 * HOUR * np.arange(5), np.array([2.0, 0.4, 1.9, 0.5, 2.1]), kind="high-low")
    wanted = asked(date=dt.date(2025, 11, 1), zone=zone, start="22:00", until="03:00", soak_s=1800.0)
    made = make_plan(wanted, known(FOUR), flat(), NightTide(table, 0.0, "tides.csv"))
    sheet = sheet_of(made)
    assert "-03:00, times with * -04:00" in sheet.title
    change = dt.datetime(2025, 11, 2, 5, tzinfo=dt.UTC).timestamp()
    for net, words in zip(made.nets, sheet.nets, strict=True):
        for one, told in zip(net.rounds, words.rounds, strict=True):
            assert (one.set_time >= change, one.pull_time >= change) == (told.set_at.endswith("*"), told.pull_at.endswith("*"))  # fmt: skip
    assert made.warnings[0].startswith("the clocks change")
    assert "*" not in sheet_of(plan()).title


def test_where_to_let_go_turns_with_the_stream_and_is_told_on_the_compass() -> None:
    rows = (Stream(at="12:00", to_deg=0, speed_kn=1.0), Stream(at="22:30", to_deg=180, speed_kn=1.0))
    made = plan(forecast=Forecast(wave_m=1.0, stream=rows), nets=(Net(name="1", rope_m=24, marks_m=1.5),), until="02:00")  # fmt: skip
    (net,) = sheet_of(made).nets
    north, south = (f"{made.magnet.of(true):03.0f}° M" for true in (180.0, 0.0))
    turned = next(
        one.number for one in made.nets[0].rounds if one.stream is not None and one.stream.to_deg == 180
    )
    assert turned > 1
    assert re.fullmatch(r"let go (\d+-)?\d+ m up-stream", net.release)
    sheet = sheet_of(made)
    first, later = sheet.let_go
    assert first == f"180° true, {north}"
    assert later == f"from {net.rounds[turned - 1].set_at} 000° true, {south}"
    assert "toward 180° true" in net.rounds[0].release and north in net.rounds[0].release
    # at the pull the boat lies into the same streams; that of the pull may have turned before that of the set
    assert [words.endswith(f"{at}, into the stream") for words, at in zip(sheet.haul, (north, south), strict=True)] == [True, True]  # fmt: skip


def test_nets_left_overnight_are_two_trips_and_each_has_its_own_alarm() -> None:
    made = plan(overnight=True, until="06:00")
    evening, morning = made.schedule.trips
    assert evening.depart < evening.leave < evening.arrive < evening.back_by < morning.depart < morning.leave
    text = float_plan(made)
    calls = re.findall(r"NOT BACK AND NO WORD BY (\S+ \S+)", text)
    assert len(calls) == len(re.findall(r"^Back by:", text, re.M)) == 2
    late = made.asked.boat.ashore.late_min * 60
    wanted = [dt.datetime.fromtimestamp(when + late, ZONE).strftime("%Y-%m-%d %H:%M") for when in (evening.back_by, morning.back_by)]  # fmt: skip
    assert calls == wanted and calls[0].startswith(str(DATE))
    names = [name for name, _ in sheet_of(made).times]
    assert names == ["leave", "first set", "head home by", "back by", "leave again", "last pull", "head home by", "back by"]  # fmt: skip
    assert float_plan(plan()).count("NOT BACK AND NO WORD BY") == 1


def test_leaving_and_setting_in_one_minute_are_one_hour_on_the_sheet() -> None:
    beside = plan(FOUR[0], launch=(FOUR[0].lon, FOUR[0].lat))
    first, *_ = sheet_of(beside).times
    assert first == ("leave, first set", sheet_of(beside).nets[0].rounds[0].set_at)
    names = [name for name, _ in sheet_of(beside).times]
    assert names == ["leave, first set", "last pull", "head home by", "back by"]


def test_every_sheet_says_what_is_closed_and_what_depths_are_counted_from() -> None:
    made = make_plan(asked(), replace(known(FOUR), datum=Datum("mean low water")), flat(), plan().tide)
    texts = [plan_gpx(made, route=False).decode(), plan_geojson(made, route=False), deck_page(made, flat()).decode(),
             " ".join(float_plan(made).split()), " ".join(text.get_text() for figure in deck_figures(made, flat()) for text in _texts(figure))]  # fmt: skip
    for text in texts:
        assert (
            "Closed ground: none given" in text
            and "below mean low water" in text
            and "Not for navigation" in text
        )


@pytest.mark.parametrize("count", [1, 2, 3])
@pytest.mark.parametrize("unit", ["m", "ft"])
def test_nothing_of_the_table_is_wider_than_its_place(count: int, unit: str) -> None:
    """Words of a site that failed once lay over the marks beside them."""
    forecast = Forecast(wave_m=0.5, wind_kn=15, wind_from_deg=0, stream=(Stream(to_deg=0, speed_kn=2.5),))
    made = plan(unit=unit, forecast=forecast, nets=(Net(name="a long name of it", rope_m=24, marks_m=1.5), Net(name="b", rope_m=25, marks_m=1.5), Net(name="c", rope_m=25, marks_m=1))[:count])  # fmt: skip
    figure = deck_figures(made, flat())[0]
    figure.set_dpi(400)  # at few dots an inch letters are widened to whole ones, which print does not do
    placed = [(text.get_window_extent(), text.get_text()) for text in _texts(figure)]
    for box, words in placed:  # none runs off the page
        assert 0 <= box.x0 < box.x1 <= figure.bbox.x1 and 0 <= box.y0 < box.y1 <= figure.bbox.y1, words
    site = [box.x1 for box, words in placed if words == "STAY?" or words.startswith("ledge, ")]
    marks = [box for box, words in placed if re.match(r"\d+ marks\b", words)]
    assert len(site) == 2 * count and len(marks) == sum(len(net.rounds) for net in made.nets)
    assert max(site) < min(box.x0 for box in marks)
    for one in marks:
        beside = [box.x0 for box in marks if abs(box.y0 - one.y0) < 1 and box.x0 > one.x0]
        assert one.x1 < min(beside, default=figure.bbox.x1)


@pytest.mark.parametrize(
    ("nets", "soak_s", "until"), [(1, 3600.0, "01:00"), (2, 900.0, "08:00"), (3, 600.0, "04:00")]
)
def test_what_is_read_in_the_dark_keeps_its_least_size_on_however_many_pages(
    nets: int, soak_s: float, until: str
) -> None:
    """Two nets of twenty rounds and more once had hours of 3 points; no net and no round is left off for want of room."""
    made = plan(nets=(Net(name="1", rope_m=24, marks_m=1.5),) * nets, soak_s=soak_s, until=until)
    texts = [text for figure in deck_figures(made, flat()) for text in _texts(figure)]
    hours = [text for text in texts if re.match(r"□ \d\d:\d\d  □ \d\d:\d\d", text.get_text())]
    assert len(hours) == sum(len(net.rounds) for net in made.nets)
    marks = [
        text for text in texts if re.match(r"\d+ marks", text.get_text()) and "r1" not in text.get_text()
    ]
    reads = [text for text in texts if text.get_text().startswith("reads ") and "±" in text.get_text()]
    assert len(marks) == len(hours) and len(reads) >= len(hours)
    for text in (*hours, *marks, *(t for t in reads if "sounder" not in t.get_text())):
        assert text.get_fontsize() >= 0.95 * LEAST_PT, text.get_text()


def _texts(figure: Figure) -> list[Text]:
    return [text for text in figure.findobj(Text) if text.get_text().strip()]


def test_every_length_on_every_sheet_is_in_the_persons_unit() -> None:
    """To whoever speaks of feet a metre in a sentence is a mistake that waits to be made: in no text is a figure of metres."""
    forecast = Forecast(wave_m=2.0, wind_kn=15, wind_from_deg=0, stream=(Stream(to_deg=0, speed_kn=2.5),))
    sites = (replace(FOUR[0], sigma_m=3.0, off=(OffGround("hard structure", "Mole", 5.0, 30.0, False),)), *FOUR[1:3], replace(FOUR[3], depth_m=90.0))  # fmt: skip
    boat = Boat(
        length_m=5, draft_m=0.5, speed_kn=8, limits=Limits(wave_m=1.0, visibility_m=3000, turn_back="23:00")
    )
    floating = (Net(name="A", rope_m=24, marks_m=1.5, float_lift_kgf=6, weight_kg=5), Net(name="B", rope_m=26, marks_m=2), Net(name="B", rope_m=26, marks_m=2))  # fmt: skip
    made = plan(*sites, unit="ft", forecast=forecast, nets=floating, boat=boat, slack_limit_m=0.1, wishes=Wishes(keep=("a",)))  # fmt: skip
    document = json.loads(plan_json(made, run="r"))
    sentences = [
        *made.warnings,
        *made.assumptions,
        document["go"]["words"],
        *(left.reason for left in made.sites_left_out),
    ]
    printed = [text.get_text() for figure in deck_figures(made, flat()) for text in _texts(figure)]
    texts = [
        *sentences,
        *printed,
        float_plan(made),
        plan_gpx(made, route=False).decode(),
        plan_geojson(made, route=False),
    ]
    page = re.sub(r"<style>.*?</style>|<[^>]*>", " ", deck_page(made, flat()).decode(), flags=re.S)
    metres = re.compile(r"\d\s?m\b(?!/s)")
    for text in (*texts, page):
        # the scale of the map is a bar of metres on a picture, not a figure to act on
        assert not metres.search(text) or re.fullmatch(r"\d+ m", text), text
    assert sum(" ft" in text for text in sentences) > 8 and " ft" in float_plan(made)


@pytest.mark.parametrize(("day", "stays"), [(dt.date(2027, 6, 15), "stays up"), (dt.date(2027, 12, 15), "stays down")])  # fmt: skip
def test_in_polar_summer_and_winter_the_sheet_says_what_the_sun_does(day: dt.date, stays: str) -> None:
    """Tromso, 69.65 N: no sunset in June and none in December (CHECKS f for June); the night is planned from a stated start."""
    made = plan()
    north = window_of(asked(date=day, start="21:00", launch=(18.96, 69.65), zone=ZoneInfo("Europe/Oslo")))
    light = dict(sheet_of(replace(made, sky=north.sky)).light)
    assert light["sun"] == stays and "sunset" not in light
    assert f"sun {stays}" in " ".join(" ".join(t.get_text() for t in _texts(deck_figures(replace(made, sky=north.sky), flat())[0])).split())  # fmt: skip
    assert "sun" not in dict(sheet_of(made).light)


def test_the_sheet_tells_way_and_fuel_of_the_whole_night() -> None:
    """At 8 kn a way of 8 nmi takes an hour, and at 9 l an hour 9 l: the three figures of the sheet agree with each other."""
    made = plan(boat=Boat(length_m=5, draft_m=0.5, speed_kn=8, fuel_l_per_h=9))
    nmi, minutes, fuel = (float(part.split()[0]) for part in sheet_of(made).in_all.split(", "))
    metres = (
        sum(way.length_m for way in made.ways[1:-1]) * made.totals.rounds
    )  # each round goes the whole ring at most
    assert 0 < nmi * 1852 <= metres + sum(way.length_m for way in made.ways) + 93
    assert minutes == pytest.approx(nmi / 8 * 60, abs=0.5 + 0.05 / 8 * 60)
    assert fuel == pytest.approx(minutes / 60 * 9, abs=0.05 + 0.5 / 60 * 9)
    assert sheet_of(made).in_all in deck_page(made, flat()).decode()
    assert sheet_of(plan()).in_all.count(",") == 1  # the boat's use is not stated


def test_a_plan_of_two_units_differs_in_words_alone() -> None:
    """Numbers for programs stay metres; the choice, the hours and the ropes do not depend on how one speaks."""
    one, other = (json.loads(plan_json(plan(unit=unit), run="r")) for unit in ("m", "ft"))
    for document in (one, other):
        document.pop("assumptions"), document.pop("warnings"), document.pop("go")
        for net in document["nets"]:
            net.pop("go"), net.pop("warnings")
    assert one == other
