"""At each site, and go or stay: each warning has a worked case."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from datetime import UTC, datetime

import pytest

from reefscan.plan.atsite import (
    dragged,
    drift_m,
    haul_heading,
    look_again,
    magnet,
    pulled_under,
    release,
    sounder,
    stream_at,
    streams_between,
    wind_against,
)
from reefscan.plan.books import Boat, Forecast, Limits, Rules, Stream
from reefscan.plan.go import Check, Leaving, NightFacts, checks, exit_words
from reefscan.plan.sites import Site
from reefscan.plan.spacing import GEOD

SITE = Site("a", -22.5, 45.0, 9.0, sigma_m=0.2, steep=0.05, position_m=4.0)


@pytest.mark.parametrize(
    ("lat", "lon", "year", "declination"),
    # published test values of WMM2025, heights of 0 km (from memory)
    [(80.0, 0.0, "2025-01-01", 1.28), (0.0, 120.0, "2025-01-01", -0.16), (-80.0, 240.0, "2025-01-01", 68.78), (80.0, 0.0, "2027-07-02T12:00", 2.59)],
)  # fmt: skip
def test_the_declination_is_that_of_the_world_magnetic_model(
    lat: float, lon: float, year: str, declination: float
) -> None:
    found = magnet(lon, lat, datetime.fromisoformat(year).replace(tzinfo=UTC).timestamp())
    assert found.current and found.east_deg == pytest.approx(declination, abs=0.006)
    # east is least: with 1.28 E a true 10 is a magnetic 8.72
    assert found.of(0.0) == pytest.approx((-declination) % 360, abs=0.006)


def test_outside_the_models_years_it_says_so() -> None:
    assert not magnet(0, 45, datetime(2031, 6, 1, tzinfo=UTC).timestamp()).current


def test_the_sounder_reads_depth_and_tide_less_the_transducer() -> None:
    """9.0 m below the zero, 1.4 m of tide, a transducer 0.3 m under water: 10.1 m."""
    assert sounder(SITE, 1.4, 0.3) == pytest.approx(10.1)
    # 1.96 x 0.2 of depth, half of a 1 m wave, 4 m of place on a floor of 1 in 20: 0.392 + 0.5 + 0.2
    assert look_again(SITE, 1.0) == pytest.approx(1.092, abs=1e-3)
    assert look_again(Site("b", 0, 0, 9, sigma_m=0.05), 0.0) == 0.5


def test_the_net_is_let_go_up_stream_by_its_drift() -> None:
    """12 m at 0.5 m/s is 24 s; at 1 kn, 0.5144 m/s, that is 12.35 m. Towards the east: let go 12.35 m to the west."""
    stream = Stream(to_deg=90, speed_kn=1)
    assert drift_m(12.0, 0.5, stream) == pytest.approx(24 * 1852 / 3600)
    lon, lat = release(SITE, drift_m(12.0, 0.5, stream), stream)
    azimuth, _, distance = GEOD.inv(lon, lat, SITE.lon, SITE.lat)
    assert distance == pytest.approx(12.35, abs=0.02) and azimuth == pytest.approx(90, abs=0.3)
    assert release(SITE, 0.0, None) == (SITE.lon, SITE.lat)


def test_the_stream_is_the_row_that_began_last() -> None:
    rows = (Stream(at="20:00", to_deg=10, speed_kn=1), Stream(at="23:00", to_deg=190, speed_kn=0.4))
    forecast = Forecast(stream=rows)
    told = [stream_at(forecast, (100.0, 200.0), when) for when in (50.0, 150.0, 250.0)]
    assert told == [rows[0], rows[0], rows[1]]
    assert stream_at(None, (), 0.0) is None and stream_at(Forecast(), (), 0.0) is None


def test_the_boat_lies_into_the_stream_or_into_the_wind_where_that_is_stronger() -> None:
    """At 3 % of its speed a wind of 20 kn drives a boat 0.6 kn: more than half a knot of stream, less than a whole one."""
    half, whole = Stream(to_deg=0, speed_kn=0.5), Stream(to_deg=0, speed_kn=1)
    assert (haul_heading(whole, 20, 90).true_deg, haul_heading(whole, 20, 90).into) == (180, "stream")
    assert (haul_heading(half, 20, 90).true_deg, haul_heading(half, 20, 90).into) == (90, "wind")
    assert haul_heading(None, None, None).true_deg is None


@pytest.mark.parametrize(
    ("to", "stream", "from_", "wind", "against"),
    [(0, 1, 0, 15, True), (0, 1, 59, 15, True), (0, 1, 61, 15, False), (350, 1, 20, 15, True), (0, 1, 180, 15, False),
     (0, 0.4, 0, 15, False), (0, 1, 0, 9, False)],
)  # fmt: skip
def test_wind_against_tide(to: float, stream: float, from_: float, wind: float, against: bool) -> None:
    """A stream to the north meets a wind from the north."""
    assert wind_against(Stream(to_deg=to, speed_kn=stream), wind, from_) is against


def test_a_float_that_the_stream_may_pull_under_is_told() -> None:
    """20 m of 8 mm line at 2 kn: four times 1.3 kgf, more than half of what a float of 6 kgf lifts, less than half of 12."""
    fast = Stream(to_deg=0, speed_kn=2)
    assert "may pull it under" in pulled_under(20, 0.008, 6.0, fast)
    assert "pulls some 5.3 kgf" in pulled_under(20, 0.008, 6.0, fast)
    assert pulled_under(20, 0.008, 12.0, fast) == ""
    assert "lift of the float is not stated" in pulled_under(20, 0.008, None, fast)
    assert pulled_under(20, 0.008, None, None) == ""
    # the net is pulled as hard: more than half of 10 kg, less than half of 11
    assert "it may walk" in dragged(20, 0.008, 10.0, fast)
    assert (
        dragged(20, 0.008, 11.0, fast)
        == dragged(20, 0.008, None, fast)
        == dragged(20, 0.008, 10.0, None)
        == ""
    )


LATE = (Leaving("", 207.0, "01:47", 206.0, "01:46"),)
FACTS = NightFacts(dt.date(2027, 2, 11), ("20:24", "01:40"), (100.0, 200.0), LATE, None, None, 6, 10.0)


def told(boat: Boat, forecast: Forecast | None = None, rules: Rules | None = None, facts: NightFacts = FACTS) -> dict[str, Check]:  # fmt: skip
    return {check.name: check for check in checks(boat, forecast, rules, facts)}


LIMITS = Limits(
    wind_kn=15, gust_kn=20, wave_m=1.0, wave_period_s=6, visibility_m=2000, crew=2, turn_back="01:30"
)


@pytest.mark.parametrize(
    ("name", "forecast", "passed"),
    [
        ("wind", {"wind_kn": 15}, True), ("wind", {"wind_kn": 16}, False), ("wind", {}, False),
        ("gust", {"gust_kn": 21}, False), ("gust", {"gust_kn": 20}, True),
        ("wave", {"wave_m": 1.1}, False), ("wave period", {"wave_period_s": 5}, False), ("wave period", {"wave_period_s": 8}, True),
        ("visibility", {"visibility_m": 1999}, False), ("visibility", {"visibility_m": "1.1nmi"}, True),
    ],
)  # fmt: skip
def test_each_limit_is_passed_or_failed_and_what_is_not_told_has_not_passed(
    name: str, forecast: dict[str, object], passed: bool
) -> None:
    assert told(Boat(limits=LIMITS), Forecast.model_validate(forecast))[name].passed is passed


def test_no_forecast_no_refuge_too_few_hands_a_late_last_pull_and_little_fuel_fail() -> None:
    boat = Boat.model_validate(
        {
            "fuel_l": 14.9,
            "fuel_l_per_h": 10,
            "limits": {"crew": 2, "turn_back": "01:30"},
            "ashore": {"persons": ["A"]},
        }
    )
    found = told(boat)
    assert {name for name, check in found.items() if not check.passed} == {"forecast", "place to run to", "crew", "turn back", "fuel"}  # fmt: skip
    assert "15.0 l" in found["fuel"].words  # 10 l and half as much
    assert told(boat.model_copy(update={"fuel_l": 15.0}))["fuel"].passed
    assert not told(Boat(), Forecast(wind_kn=40))["limits"].passed


def test_rules_are_those_that_were_typed() -> None:
    rules = Rules.model_validate(
        {
            "season_from": "--11-01",
            "season_to": "--03-31",
            "nets_per_person": 3,
            "nets_per_boat": 5,
            "hours_from": "21:00",
            "hours_to": "03:00",
        }
    )
    boat = Boat.model_validate({"ashore": {"persons": ["A", "B"]}})
    facts = NightFacts(FACTS.date, FACTS.clock, FACTS.moments, (), 120.0, 210.0, 6, None)
    found = told(boat, None, rules, facts)
    assert {n: found[n].passed for n in ("season", "nets a person", "nets a boat", "hours from", "hours to")} == {
        "season": True, "nets a person": True, "nets a boat": False, "hours from": False, "hours to": True,
    }  # fmt: skip
    june = NightFacts(dt.date(2027, 6, 1), *(getattr(facts, n) for n in ("clock", "moments", "leaving", "hours_from", "hours_to", "nets", "fuel_l")))  # fmt: skip
    assert not told(boat, None, rules, june)["season"].passed
    assert "season" not in told(boat, None, None, facts)


def test_what_failed_stands_first_and_in_the_last_words_and_nothing_is_called_safe() -> None:
    found = checks(Boat(limits=LIMITS), Forecast(wind_kn=22, gust_kn=18, wave_m=0.5), None, FACTS)
    passed = [check.passed for check in found]
    assert passed == sorted(passed) and not passed[0] and passed[-1]
    words = exit_words(found)
    assert words.startswith("STAY?") and "wind: 22 kn; your limit is at most 15 kn" in words
    assert "Check local rules" in words
    fine = exit_words((Check("wind", True, "3 kn"),))
    assert "Check local rules" in fine and "safe" not in fine.lower()


def test_a_float_meets_every_stream_that_begins_while_it_lies() -> None:
    rows = (Stream(at="20:00", to_deg=10, speed_kn=1), Stream(at="23:00", to_deg=190, speed_kn=2.4))
    forecast = Forecast(stream=rows)
    assert streams_between(forecast, (100.0, 200.0), 150.0, 250.0) == rows
    assert streams_between(forecast, (100.0, 200.0), 150.0, 199.0) == rows[:1]
    assert streams_between(forecast, (100.0, 200.0), 200.0, 300.0) == rows[1:]
    assert streams_between(None, (), 0.0, 1.0) == () == streams_between(Forecast(), (), 0.0, 1.0)


@pytest.mark.parametrize(
    ("issued", "passed"),
    [
        ("2027-02-11 16:00", True),
        ("2027-02-10T18:00", True),
        ("2027-02-04 16:00", False),
        ("2027-02-12 06:00", False),
    ],
)
def test_a_forecast_of_another_week_does_not_pass(issued: str, passed: bool) -> None:
    """The file lies about from the last night out, and every limit is held by it."""
    facts = NightFacts(dt.date(2027, 2, 11), ("18:00", "22:00"), (0.0, 1.0), (), None, None, 3, None)
    (told,) = [
        check for check in checks(Boat(), Forecast(issued=issued), None, facts) if check.name == "forecast"
    ]
    assert told.passed is passed and issued in told.words
    for said in ("", "this morning"):
        assert all(check.name != "forecast" for check in checks(Boat(), Forecast(issued=said), None, facts))


def test_the_hour_to_turn_back_is_held_against_each_trip_that_it_is_for() -> None:
    """Nets left overnight: the evening's last net is left at 20:00 before a limit of 21:00, the morning's at 07:00."""
    evening = Leaving("evening", 20.0, "20:00", 21.0, "21:00")
    for limit, passed, said in (
        (None, True, "morning: leaving the last net at 07:00; you set no limit for it"),
        (31.5, True, "you turn back at 07:30"),
        (30.5, False, "you turn back at 06:30"),
    ):
        clock = None if limit is None else f"{int(limit) - 24:02d}:30"
        facts = replace(FACTS, leaving=(evening, Leaving("morning", 31.0, "07:00", limit, clock)))
        found = told(Boat(), facts=facts)["turn back"]
        assert found.passed is passed and said in found.words
        assert "evening: leaving the last net at 20:00; you turn back at 21:00" in found.words
    assert "turn back" not in told(Boat(), facts=replace(FACTS, leaving=(replace(evening, limit=None),)))
