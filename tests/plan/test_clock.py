"""Clock, sun and moon: rounds worked by hand, almanac figures, nights with a change of clocks, polar days."""

from __future__ import annotations

import datetime as dt
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from reefscan.base.errors import InputError
from reefscan.plan.clock import (
    Legs,
    Pace,
    fitting_nets,
    left_overnight,
    mean_leg,
    moment,
    soak_achieved,
    tours,
)
from reefscan.plan.sky import lit_share, sky


def utc(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


def seconds(text: str) -> float:
    """``1:02:03`` as seconds of a day."""
    hours, minutes, rest = text.split(":")
    return 3600 * int(hours) + 60 * int(minutes) + float(rest)


def test_a_round_worked_by_hand() -> None:
    """Three nets, 2 min to set, 6 min to handle, legs of 4 min (5 back to the first), soak 30 min, all in minutes.

    Down at 0, 6, 12; the boat is back at the first at 12 + 2 + 5 = 19 and waits until 30.
    Pulled at 30, 40, 50; down again at 36, 46, 56; back at the first at 56 + 5 = 61 and waits until 66.
    Pulled at 66, 76, 86; the last is handled by 92, home 7 min later at 99. A third round would be handled by 128.
    """
    legs = Legs(out_s=600, ring_s=(240, 240, 300), homes_s=(600, 500, 420))
    pace = Pace(set_s=120, handling_s=360, soak_s=1800)
    made = tours(legs, pace, 0.0, 127 * 60)
    assert made is not None and made.rounds == 2
    times = [[(v.set_time / 60, v.pull_time / 60) for v in net] for net in made.visits]
    assert times == [[(0, 30), (36, 66)], [(6, 40), (46, 76)], [(12, 50), (56, 86)]]
    assert (made.depart, made.last_pull, made.back) == (-600, 86 * 60, 99 * 60)
    third = tours(legs, pace, 0.0, 128 * 60)
    assert third is not None and third.rounds == 3
    assert tours(legs, pace, 0.0, 55 * 60) is None


def test_the_soak_of_a_round_without_waiting_is_the_formula() -> None:
    """Issue 21: soak achieved = nets x (handling + leg) - handling."""
    legs, pace = Legs(0, (200.0,) * 5, (0.0,) * 5), Pace(60, 400, 0.0)
    made = tours(legs, pace, 0.0, 3600 * 6)
    assert made is not None
    soaks = {round(v.pull_time - v.set_time, 6) for net in made.visits for v in net[1:]}
    assert soaks == {soak_achieved(5, 400, 200)} == {5 * 600 - 400}
    assert mean_leg(legs.ring_s) == 200
    assert fitting_nets(2600, 400, 200) == 5 and fitting_nets(2599, 400, 200) == 4
    assert fitting_nets(1, 400, 200) == 1


@given(
    st.integers(1, 8), st.floats(0, 1200), st.floats(30, 600), st.floats(60, 900), st.floats(0, 7200), st.floats(600, 40_000)
)  # fmt: skip
def test_no_net_is_short_of_its_soak_no_two_are_handled_at_once_and_all_are_out_by_the_end(
    nets: int, leg: float, set_s: float, handling: float, soak: float, span: float
) -> None:
    legs, pace = Legs(leg, (leg if nets > 1 else 0.0,) * nets, (leg,) * nets), Pace(set_s, handling, soak)
    made = tours(legs, pace, 0.0, span)
    if made is None:
        return
    pulls = sorted(v.pull_time for net in made.visits for v in net)
    assert all(
        b - a >= handling + (leg if nets > 1 else 0) - 1e-6 for a, b in zip(pulls, pulls[1:], strict=False)
    )
    assert all(v.pull_time - v.set_time >= soak - 1e-6 for net in made.visits for v in net)
    assert pulls[-1] + handling <= span + 0.5
    for net in made.visits:
        assert all(
            later.set_time == pytest.approx(v.pull_time + handling)
            for v, later in zip(net, net[1:], strict=False)
        )


def test_nets_left_overnight_are_pulled_once_by_the_end() -> None:
    legs, pace = Legs(600, (240, 240, 300), (600, 500, 420)), Pace(120, 360, 1800)
    made = left_overnight(legs, pace, 0.0, 36_000.0)
    assert made is not None and made.rounds == 1
    # the last is pulled 6 min before the end; the others 10 and 20 min earlier
    assert [net[0].pull_time for net in made.visits] == [36_000 - 360 - 600 * k for k in (2, 1, 0)]
    # home in between: two legs of 4 min and three settings of 2 min after the first set, then 7 min; out again 10 min before the first pull
    evening, morning = made.trips
    assert (evening.depart, evening.leave, evening.arrive) == (-600, 480 + 360, 480 + 360 + 420)
    assert (morning.depart, morning.leave, morning.arrive) == (36_000 - 360 - 1200 - 600, 36_000, 36_420)
    assert left_overnight(legs, pace, 0.0, 2000.0) is None


def test_each_trip_has_a_latest_moment_to_leave_for_home_from_where_one_is() -> None:
    """The last net is left at 12:00 and the launch 40 min off: with half as much again the boat is back by 13:00.

    From a net 10 min off, ten minutes are kept back: it is left by 12:40. From one 60 min off, 90 min before: 11:30.
    """
    legs, pace = Legs(2400, (0.0,), (2400,)), Pace(0, 0, 3600)
    made = tours(legs, pace, 11 * 3600, 12 * 3600)
    assert made is not None
    (trip,) = made.trips
    assert trip.back_by == 13 * 3600
    assert trip.leave_by(2400) == trip.leave
    assert trip.leave_by(600) == 12 * 3600 + 2400 and trip.leave_by(3600) == 11.5 * 3600


def test_no_net_has_to_be_left_before_it_is_pulled() -> None:
    """The first net lies 45 min off the launch and 40 min off the last, the last 5 min off: the way home from the first is the one
    that asks for most. Half its time again, 67.5 min after it is left, is later than 40 + 5 + 15 min, and is the hour told ashore."""
    legs, pace = Legs(2700, (2400, 2400), (2700, 300)), Pace(60, 300, 600)
    for made in (tours(legs, pace, 0.0, 4 * 3600.0), left_overnight(legs, pace, 0.0, 12 * 3600.0)):
        assert made is not None
        trip = made.trips[-1]
        pulled = made.visits[0][-1].pull_time + 300
        assert trip.back_by == pulled + 1.5 * 2700 > trip.leave + 900
        assert trip.leave_by(2700) == pulled and trip.leave_by(300) > trip.leave


def test_clock_times_of_a_night_belong_to_its_evening_or_to_the_day_after() -> None:
    zone = ZoneInfo("Atlantic/Stanley")  # -03:00 the whole year
    assert moment(dt.date(2027, 2, 11), "20:30", zone) == utc("2027-02-11T23:30")
    assert moment(dt.date(2027, 2, 11), "02:00", zone) == utc("2027-02-12T05:00")


def test_a_change_of_clocks_lengthens_no_soak_and_a_time_that_does_not_come_is_refused() -> None:
    """IANA: Halifax jumped from 02:00 to 03:00 on 2025-03-09 and went back from 02:00 to 01:00 on 2025-11-02."""
    zone = ZoneInfo("America/Halifax")
    with pytest.raises(InputError, match="jump over it"):
        moment(dt.date(2025, 3, 8), "02:30", zone)
    assert moment(dt.date(2025, 3, 8), "03:00", zone) - moment(dt.date(2025, 3, 8), "23:00", zone) == 3 * 3600
    assert (
        moment(dt.date(2025, 11, 1), "02:00", zone) - moment(dt.date(2025, 11, 1), "23:00", zone) == 4 * 3600
    )
    # 01:30 comes twice; the first leaves the boat less time, never more
    assert moment(dt.date(2025, 11, 1), "01:30", zone) == utc("2025-11-02T04:30")


@pytest.mark.parametrize(
    ("lat", "lon", "zone", "sunset", "civil", "nautical", "astronomical"),
    # CHECKS f: check day 2025-10-04, roots of NREL SPA, local clock
    [
        (60.39, 5.32, 2, "19:01:17.0", "19:43:08.4", "20:31:59.8", "21:22:56.2"),
        (44.64, -63.57, -3, "18:48:49.0", "19:17:52.9", "19:51:36.6", "20:25:40.4"),
        (-43.55, 172.75, 13, "19:39:23.1", "20:08:19.7", "20:42:40.3", "21:18:20.0"),
        (36.6, -121.9, -7, "18:45:59.9", "19:11:45.9", "19:41:38.4", "20:11:38.4"),
        (-17.8, 177.9, 12, "18:06:22.2", "18:28:11.5", "18:53:37.9", "19:19:13.4"),
    ],
)  # fmt: skip
def test_sunset_and_twilights_are_those_of_the_almanac(
    lat: float, lon: float, zone: int, sunset: str, civil: str, nautical: str, astronomical: str
) -> None:
    midnight = utc("2025-10-04T00:00") - 3600 * zone
    found = sky(lon, lat, midnight + 43_200, midnight + 86_400)
    for name, said in (
        ("sunset", sunset), ("civil dusk", civil), ("nautical dusk", nautical), ("astronomical dusk", astronomical)
    ):  # fmt: skip
        when = found.time_of(name)
        assert when is not None
        assert when - midnight == pytest.approx(seconds(said), abs=10), name


@pytest.mark.parametrize(
    ("lat", "lon", "start", "rise", "set_"),
    # computed with ephem 4.2 (upper limb, 34' of refraction, no pressure)
    [
        (44.64, -63.57, "2025-10-04T15:00", "2025-10-04T20:42:38", "2025-10-05T08:11:05"),
        (-43.55, 172.75, "2025-10-03T23:00", "2025-10-04T03:00:20", "2025-10-04T16:51:02"),
        (60.39, 5.32, "2025-10-04T10:00", "2025-10-04T16:33:38", "2025-10-05T02:58:59"),
        (-17.8, 177.9, "2026-05-27T00:00", "2026-05-27T02:40:00", "2026-05-27T15:32:31"),
    ],
)  # fmt: skip
def test_the_moon_rises_and_sets_as_another_library_computes(
    lat: float, lon: float, start: str, rise: str, set_: str
) -> None:
    found = sky(lon, lat, utc(start), utc(start) + 86_400)
    assert found.time_of("moonrise") == pytest.approx(utc(rise), abs=60)
    assert found.time_of("moonset") == pytest.approx(utc(set_), abs=60)


def test_the_lit_share_is_the_worked_example_of_meeus() -> None:
    """Example 48.a, 1992 April 12, 0h TD: k = 0.6786 in full, 0.680 by the short formula (values from memory)."""
    assert lit_share(utc("1992-04-12T00:00")) == pytest.approx(0.680, abs=1e-3)
    # ephem 4.2: 2027-02-11 15:00 UTC 22.65 %
    assert lit_share(utc("2027-02-11T15:00")) == pytest.approx(0.2265, abs=2e-3)


def test_a_polar_day_has_no_sunset_and_a_polar_night_no_sunrise() -> None:
    """CHECKS f: 69.6N 18.8E on 2019-06-05 has no sunset."""
    summer = sky(18.8, 69.6, utc("2019-06-05T10:00"), utc("2019-06-06T10:00"))
    winter = sky(18.8, 69.6, utc("2019-12-15T10:00"), utc("2019-12-16T10:00"))
    assert summer.sun_up is True and summer.time_of("sunset") is None
    assert winter.sun_up is False and winter.time_of("sunset") is None
    assert sky(18.8, 45.0, utc("2019-06-05T10:00"), utc("2019-06-06T10:00")).sun_up is None


def test_dusk_after_midnight_is_that_of_this_night() -> None:
    """CHECKS f, traps: at 60.39N civil dusk of the evening of 2025-05-27 comes on 05-28 at 00:03 local (+02:00)."""
    found = sky(5.32, 60.39, utc("2025-05-27T10:00"), utc("2025-05-28T10:00"))
    assert found.time_of("civil dusk") == pytest.approx(utc("2025-05-27T22:03"), abs=90)
