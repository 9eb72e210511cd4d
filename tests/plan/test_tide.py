"""The night's tide against published examples and stations, and what is refused."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from reefscan.base.errors import InputError
from reefscan.plan.books import Secondary
from reefscan.plan.tide import NightTide, at_secondary, clock, iso
from reefscan.survey.harmonics import HarmonicTide
from reefscan.survey.tide import make_table

FOOT = 0.3048


def utc(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def table(rows: list[tuple[str, float]], kind: str = "high-low") -> NightTide:
    return NightTide(
        make_table(np.array([utc(t) for t, _ in rows]), np.array([h for _, h in rows]), kind=kind), 0.0
    )


def test_the_cosine_gives_the_worked_example_of_a_printed_table() -> None:
    """CHECKS e1: Canadian tide tables, LW 03:27 2.2 ft, HW 11:41 11.4 ft; at 07:00 the cosine gives 5.8131 ft."""
    tide = table([("2027-02-11T03:27", 2.2 * FOOT), ("2027-02-11T11:41", 11.4 * FOOT)])
    assert tide.height(utc("2027-02-11T07:00")) / FOOT == pytest.approx(5.8131, abs=5e-4)


def test_a_secondary_station_has_the_published_times_and_heights() -> None:
    """CHECKS e2c: station 8724307 from Key West, x2.13 / x1.83, +166 / +229 min; its own predictions of 2025-12-17/18.

    The reference's turns are worked back from the published ones by the same published differences, as the page that
    gives them does not print those of Key West: so this holds the pairing of differences and turns, and the order.
    """
    published = [
        ("2025-12-17T02:55", 1.128), ("2025-12-17T10:57", -0.044), ("2025-12-17T16:48", 0.658), ("2025-12-17T22:04", 0.337),
        ("2025-12-18T03:33", 1.148), ("2025-12-18T11:35", -0.099), ("2025-12-18T17:25", 0.640), ("2025-12-18T22:40", 0.316),
    ]  # fmt: skip
    station = Secondary(high_min=166, low_min=229, high_factor=2.13, low_factor=1.83)
    time = np.array([utc(t) for t, _ in published])
    height = np.array([h for _, h in published])
    high = np.arange(len(published)) % 2 == 0
    reference = make_table(
        time - 60 * np.where(high, 166, 229), height / np.where(high, 2.13, 1.83), kind="high-low"
    )
    made = at_secondary(reference, station)
    assert made.time == pytest.approx(time)
    assert made.height == pytest.approx(height)
    plus = at_secondary(reference, Secondary(high_add_m=0.5, low_add_m=-0.1))
    assert plus.height - reference.height == pytest.approx(np.where(high, 0.5, -0.1))


def test_differences_that_make_no_tide_are_refused() -> None:
    rows = make_table(np.array([0.0, 6, 12]) * 3600, np.array([0.3, 2.1, 0.3]), kind="high-low")
    with pytest.raises(InputError, match="before another"):
        at_secondary(rows, Secondary(low_min=500))
    with pytest.raises(InputError, match="lower than its low water"):
        at_secondary(rows, Secondary(low_add_m=5))
    series = make_table(np.arange(5) * 600.0, np.arange(5.0), kind="series")
    with pytest.raises(InputError, match="high and low waters"):
        at_secondary(series, Secondary())


def test_heights_stand_over_the_grids_zero_by_the_stated_offset() -> None:
    rows = make_table(np.array([0.0, 6]) * 3600, np.array([1.0, 3.0]), kind="high-low")
    assert NightTide(rows, -0.25).span(0, 6 * 3600) == pytest.approx((0.75, 2.75))


def test_harmonic_constants_give_the_published_turns() -> None:
    """CHECKS e2b: Honolulu 1612340 with the constituents over 1 cm, 2023-08-29 (m, MLLW): lowest near 08:00 UTC, 0.063 m."""
    constants = {
        "M2": (.171, 59.4), "S2": (.056, 54.7), "N2": (.033, 48.8), "K1": (.149, 226.8), "O1": (.081, 215.9), "J1": (.01, 238.3),
        "SA": (.048, 177.7), "Q1": (.014, 209.6), "P1": (.045, 224.9), "K2": (.016, 45.7),
    }  # fmt: skip
    tide = NightTide(
        HarmonicTide({k: a for k, (a, _) in constants.items()}, {k: g for k, (_, g) in constants.items()}, 0.247), 0.0
    )  # fmt: skip
    start = utc("2023-08-29T00:00")
    published = [0.761, 0.768, 0.698, 0.570, 0.413, 0.261, 0.140, 0.072, 0.063, 0.103]
    # what was left out is at most .007 + .006 + .005 + ... m, and NOAA's yearly part differs a little: 3 cm
    assert tide.at(start + 3600 * np.arange(10.0)) == pytest.approx(published, abs=0.03)
    low = [turn for turn in tide.turns(start, start + 9 * 3600) if not turn.high]
    assert len(low) == 1 and low[0].time == pytest.approx(start + 7.6 * 3600, abs=1200)


def test_turns_of_a_table_are_its_rows() -> None:
    tide = table([("2027-02-11T18:00", 0.3), ("2027-02-12T00:12", 2.1), ("2027-02-12T06:20", 0.4)])
    found = tide.turns(utc("2027-02-11T19:00"), utc("2027-02-12T05:00"))
    assert [(t.time, t.height_m, t.high) for t in found] == [(utc("2027-02-12T00:12"), 2.1, True)]


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        # another day; one that ends at midnight
        ([("2027-02-12T18:00", 0.3), ("2027-02-13T00:12", 2.1)], "reaches from 2027-02-12 15:00 -03:00"),
        ([("2027-02-11T12:00", 2.0), ("2027-02-11T18:00", 0.3), ("2027-02-12T00:00", 2.1)], "to 2027-02-11 21:00 -03:00"),
        ([("2027-02-11T18:00", 0.3), ("2027-02-12T12:30", 0.4), ("2027-02-12T18:30", 2)], "more than 14 h between two rows"),
    ],
)  # fmt: skip
def test_a_table_that_does_not_reach_over_the_night_is_refused(
    rows: list[tuple[str, float]], said: str
) -> None:
    zone = ZoneInfo("Atlantic/Stanley")
    with pytest.raises(InputError) as told:
        table(rows).require(utc("2027-02-11T23:30"), utc("2027-02-12T07:00"), zone)
    assert said in str(told.value)
    assert "wanted 2027-02-11 20:30 -03:00 to 2027-02-12 04:00 -03:00" in str(told.value)


def test_a_span_outside_the_table_has_no_height() -> None:
    tide = table([("2027-02-11T18:00", 0.3), ("2027-02-12T00:12", 2.1)])
    with pytest.raises(InputError, match="no height"):
        tide.span(utc("2027-02-11T18:00"), utc("2027-02-12T00:13"))


def test_times_carry_the_offset_of_their_own_side_of_a_clock_change() -> None:
    """In Halifax the clocks went from 02:00 -03:00 back to 01:00 -04:00 on 2025-11-02 (IANA time zone database)."""
    zone = ZoneInfo("America/Halifax")
    assert iso(utc("2025-11-02T04:30"), zone) == "2025-11-02T01:30:00-03:00"
    assert iso(utc("2025-11-02T05:30"), zone) == "2025-11-02T01:30:00-04:00"
    assert clock(utc("2025-11-02T05:30"), zone) == "2025-11-02 01:30 -04:00"
