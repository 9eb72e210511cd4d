"""Whole nights at the edge of what can be planned: each refusal says what is wrong and what to do."""

from __future__ import annotations

import datetime as dt
import math
import re
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from plan.invented import CRS, DATE, NOON, NORTH, WEST, ZONE, known, to_lonlat

from reefscan.base.errors import InputError
from reefscan.io.out.plan import plan_points
from reefscan.plan.books import Boat, Forecast, Limits, Net, Rules, Stream
from reefscan.plan.go import exit_words
from reefscan.plan.legs import Ground
from reefscan.plan.model import Asked, Plan, Wishes
from reefscan.plan.night import make_plan, window_of
from reefscan.plan.sites import OffGround, Site
from reefscan.plan.tide import NightTide
from reefscan.plan.words import warnings_of
from reefscan.render.sheet import sheet_of
from reefscan.survey.tide import make_table

HOUR = 3600.0
SIDE, CELL = 100, 5.0


def flat(depth: float = 9.0) -> Ground:
    """Half a kilometre of even ground with land along its north edge."""
    elev = np.full((SIDE, SIDE), -depth)
    elev[:10] = 3.0
    return Ground(elev, WEST, NORTH, CELL, CRS)


def at(row: int, col: int) -> tuple[float, float]:
    return to_lonlat(*flat().middle((row, col)))


def site(name: str, row: int, col: int, **more: object) -> Site:
    lon, lat = at(row, col)
    values: dict[str, object] = {
        "id": name, "lon": lon, "lat": lat, "depth_m": 9.0, "sigma_m": 0.15, "score": 80.0, "confidence": 0.9, "kind": "ledge"
    }  # fmt: skip
    return Site(**{**values, **more})  # type: ignore[arg-type]


FOUR = (
    site("a", 30, 20),
    site("b", 30, 50, score=78.0),
    site("c", 60, 30, score=76.0),
    site("d", 80, 80, score=70.0),
)


def tide(low: float = 0.3, high: float = 2.1) -> NightTide:
    """Low at 18:00, high at 00:12, and so on (local clock), as in the worked example."""
    first = NOON - 0.4 * HOUR  # a high at 11:36
    times = first + np.arange(6) * 6.4 * HOUR
    return NightTide(
        make_table(times, np.where(np.arange(6) % 2 == 0, high, low), kind="high-low"), 0.0, "tides.csv"
    )


def asked(**more: object) -> Asked:
    values: dict[str, object] = {
        "date": DATE, "zone": ZONE, "until": "01:00", "nets": (Net(name="1", rope_m=24, marks_m=1.5),) * 3, "launch": at(15, 50),
        "boat": Boat(length_m=5, draft_m=0.5, speed_kn=8), "forecast": Forecast(wave_m=1.0),
    }  # fmt: skip
    return Asked(**{**values, **more})  # type: ignore[arg-type]


def plan(*sites: Site, ground: Ground | None = None, closed: str = "", **more: object) -> Plan:
    return make_plan(asked(**more), known(sites or FOUR, closed), ground or flat(), tide())


def refused(*sites: Site, ground: Ground | None = None, closed: str = "", **more: object) -> str:
    with pytest.raises(InputError) as told:
        plan(*sites, ground=ground, closed=closed, **more)
    return str(told.value)


def test_a_plain_night_takes_the_best_sites_and_leaves_reserves() -> None:
    made = plan()
    assert {net.site.id for net in made.nets} == {"a", "b", "c"}
    assert made.totals.score == pytest.approx(80 + 78 + 76) and made.totals.gap == 0
    assert [reserve.id for reserve in made.reserves] == ["d"]
    # the worked example: 9 m, 2.1 m, surge 0.3 m, waves of 1 m, scope 1.25, marks of 1.5 m: 15 m, ten marks
    assert {(one.rope_m, one.rope_marks) for net in made.nets for one in net.rounds} == {(15.0, 10)}
    assert any("Check local rules" in words for words in made.assumptions)
    # 24 / 1.25 - 2.1 - 0.3 - 0.5
    assert "The deepest site that this reaches: 16.3 m with 24 m of rope." in made.assumptions
    assert "safe" not in " ".join(made.warnings + made.assumptions).lower()


def test_more_nets_than_fit_stay_ashore_with_the_reason() -> None:
    made = plan(nets=(Net(name="n", rope_m=24, marks_m=1.5),) * 6)
    assert len(made.nets) == 4 and len(made.nets_left_out) == 2
    assert "no further site fits" in made.nets_left_out[0].reason
    assert made.warnings[0].startswith("2 of 6 nets stay ashore")


def test_a_pick_whose_depth_nobody_knows_is_left_out_with_the_reason() -> None:
    """A place set by hand on land or beyond the grid: it has no rope and no circle."""
    lost = replace(FOUR[0], id="lost", depth_m=math.nan)
    made = plan(*FOUR, lost, nets=(Net(name="n", rope_m=24, marks_m=1.5),) * 6)
    assert {left.id: left.reason for left in made.sites_left_out} == {"lost": "its depth is not known"}
    assert "sites within all limits 4, left out 1 (1 its depth is not known)" in made.nets_left_out[0].reason


def test_a_rope_shorter_than_any_site_is_refused_with_the_deepest_that_it_reaches() -> None:
    said = refused(nets=(Net(name="1", rope_m=12),))
    # 12 / 1.25 - 2.1 - 0.3 - 0.5
    assert "4 out of the rope's reach" in said and "deepest workable site: 6.7 m with 12 m of rope" in said


def test_all_sites_closed_is_refused_with_the_reason() -> None:
    assert "4 it lies in closed ground" in refused(closed="it lies in closed ground (North Reef)")


def test_a_launch_far_from_water_is_refused_with_the_distance() -> None:
    land = np.full((SIDE, SIDE), 4.0)
    land[70:] = -9.0
    far = Ground(land, WEST, NORTH, CELL, CRS)
    said = refused(*FOUR[3:], ground=far, launch=at(5, 50))
    # cell 5 to the first clear one, 71: 66 cells of 5 m
    assert "lies 330 m away" in said and "--launch-reach" in said


def test_sites_across_an_isthmus_are_not_reached() -> None:
    land = flat().elev.copy()
    land[45:47] = 2.0
    cut = Ground(land, WEST, NORTH, CELL, CRS)
    made = plan(ground=cut)
    assert {net.site.id for net in made.nets} == {"a", "b"}
    reasons = {left.id: left.reason for left in made.sites_left_out}
    assert set(reasons) == {"c", "d"} and "no way by water" in reasons["c"]
    assert "2 no way by water leads there" in refused(*FOUR[2:], ground=cut)


def test_a_site_ringed_by_shoals_is_not_reached() -> None:
    land = flat().elev.copy()
    land[24:37, 14:27] = -1.0
    land[30, 20] = -9.0  # a hole of one cell
    made = plan(ground=Ground(land, WEST, NORTH, CELL, CRS))
    assert "the boat does not get to it" in {left.id: left.reason for left in made.sites_left_out}["a"]


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"until": "19:00"}, "before the first set (sunset at 2027-02-11 20:24 -03:00)"),
        ({"until": "21:00", "start": "22:00"}, "before the first set (--start 22:00)"),
        ({"until": "20:40", "soak_s": 3600.0}, "not one round of 3 nets"),
        ({"until": "21:33", "soak_s": 3600.0}, "1 would fit: say --nets 1"),
        ({"wishes": Wishes(keep=("z",))}, "--keep z: the run has no such site; wanted its id, such as a: it stands at the foot of its card"),
        ({"wishes": Wishes(drop=("aa",))}, "--drop aa: the run has no such site; did you mean a"),
        ({"wishes": Wishes(keep=("a", "b", "c", "d"))}, "--keep names 4 sites for 3 nets"),
        ({"wishes": Wishes(keep=("a",), drop=("a",))}, "--keep a: it is dropped, as you asked"),
    ],
)  # fmt: skip
def test_what_cannot_be_had_is_refused_with_what_to_change(more: dict[str, object], said: str) -> None:
    assert said in refused(**more)


def test_a_table_that_ends_before_the_last_pull_and_two_hours_is_refused() -> None:
    short = make_table(
        NOON + HOUR * np.array([0, 6, 12.2, 18.6]), np.array([2.1, 0.3, 2.1, 0.3]), kind="high-low"
    )
    with pytest.raises(InputError) as told:
        make_plan(asked(until="07:00"), known(FOUR), flat(), NightTide(short, 0.0, "tides.csv"))
    assert "tides.csv: reaches from 2027-02-11 12:00 -03:00 to 2027-02-12 06:36 -03:00" in str(told.value)
    assert "to 2027-02-12 09:00 -03:00 (the last pull and two hours more)" in str(told.value)


def test_polar_summer_and_winter_have_no_sunset_and_want_a_start() -> None:
    """Tromso, 69.65 N: the sun stays up in June and down in mid-December (CHECKS f for June)."""
    north = {"launch": (18.96, 69.65), "zone": ZoneInfo("Europe/Oslo")}
    for day, stays in ((dt.date(2027, 6, 15), "stays up"), (dt.date(2027, 12, 15), "stays down")):
        with pytest.raises(InputError, match=f"the sun {stays} .* say --start"):
            window_of(asked(date=day, **north))
        window = window_of(asked(date=day, start="21:00", **north))
        assert window.until - window.start == 4 * HOUR and window.sky.sun_up is (stays == "stays up")


def test_wishes_are_kept() -> None:
    kept = plan(wishes=Wishes(keep=("d",)))
    assert "d" in {net.site.id for net in kept.nets}
    assert "a" not in {net.site.id for net in plan(wishes=Wishes(drop=("a",))).nets}
    near = plan(wishes=Wishes(within_m=160.0))  # a and b stand 150 m apart, a and c 158 m, d alone
    assert "d" not in {net.site.id for net in near.nets}
    one = tuple(replace(each, feature="F") for each in FOUR[:3]) + FOUR[3:]
    assert {net.site.id for net in plan(*one).nets} == {"a", "b", "d"}  # not all on one feature
    assert len(plan(*one, wishes=Wishes(per_feature=1)).nets) == 2
    unsure = FOUR[:3] + (replace(FOUR[3], confidence=0.1),)
    assert "d" in {net.site.id for net in plan(*unsure, wishes=Wishes(explore=1)).nets}


def test_a_site_of_swell_is_left_out_and_told_where_it_is_kept() -> None:
    shallow = site("s", 70, 60, depth_m=3.9, score=99.0)
    big = Forecast(wave_m=2.0)
    bed = flat().elev.copy()
    bed[65:76, 55:66] = -3.9
    ground = Ground(bed, WEST, NORTH, CELL, CRS)
    made = plan(*FOUR, shallow, ground=ground, forecast=big)
    assert "swell may break there" in {left.id: left.reason for left in made.sites_left_out}["s"]
    kept = plan(*FOUR, shallow, ground=ground, forecast=big, wishes=Wishes(keep=("s",)))
    words = [w for w in kept.warnings if "swell that breaks" in w]
    assert len(words) == 1


def test_wind_against_tide_and_a_fast_stream_are_told_for_each_net() -> None:
    forecast = Forecast(wave_m=0.5, wind_kn=15, wind_from_deg=0, stream=(Stream(to_deg=0, speed_kn=1.5),))
    made = plan(forecast=forecast)
    told = " ".join(made.warnings)
    assert "nets 1, 2, 3: wind against tide: against each other in round 1, 2" in told
    assert "lift of the float is not stated" in told
    failed = {check.name: check.words for check in made.go if not check.passed}
    assert failed["wind against tide"] == failed["stream on the float"] == "at nets 1, 2, 3"
    assert not made.go[0].passed and "wind against tide: at nets 1, 2, 3" in exit_words(made.go)
    calm = plan(
        forecast=Forecast(wave_m=0.5, wind_kn=5, wind_from_deg=0, stream=(Stream(to_deg=0, speed_kn=0.3),))
    )
    assert "against each other" not in " ".join(calm.warnings)


def test_a_stream_that_turns_on_while_a_net_lies_counts_for_its_float_and_its_pull() -> None:
    """Set in slack water, 2 kn against the wind from 02:00 on, pulled at six: 15 m of 8 mm line pull some 4 kgf (1.3 x 15/20 x 4)."""
    turning = (Stream(at="12:00", to_deg=0, speed_kn=0.0), Stream(at="02:00", to_deg=0, speed_kn=2.0))
    forecast = Forecast(wave_m=0.5, wind_kn=15, wind_from_deg=0, stream=turning)
    made = plan(forecast=forecast, overnight=True, until="06:00")
    for net in made.nets:
        failed = {check.name: check.words for check in net.checks if not check.passed}
        assert "against each other in round 1" in failed["wind against tide"]
        assert re.search(
            r"2 kn on 1[35]\.\d m of 8 mm line pulls some (3\.9|4\.\d) kgf", failed["stream on the float"]
        )


def test_the_circle_on_the_map_is_that_of_a_late_pull() -> None:
    """From the high at 00:12 the tide falls: two hours after the last pull the float swings wider than at it (9 m, 15 m of rope)."""
    made = plan(start="00:15", until="03:00", nets=(Net(name="1", rope_m=24, marks_m=1.5),))
    (net,) = made.nets
    lowest = min(made.tide.height(net.rounds[-1].pull_time + 60 * k) for k in range(121))
    rope = max(one.rope_m for one in net.rounds)
    assert lowest < net.rounds[-1].tide_min_m - 0.2
    assert net.circle_m == pytest.approx(math.sqrt(rope**2 - (net.site.depth_m + lowest) ** 2), abs=0.01)


def test_a_round_longer_than_the_soak_is_told_with_fewer_nets() -> None:
    made = plan(soak_s=600.0, boat=Boat(length_m=5, draft_m=0.5, speed_kn=8, handling_min=10))
    # three nets of 10 min and short legs: over 20 min, so one net alone keeps 10
    assert (
        "a round takes longer than the soak asked for" in made.warnings[0]
        and "1 net would keep it" in made.warnings[0]
    )
    assert made.totals.soak_achieved_s > 1200


def test_nets_are_left_only_where_asked_and_that_is_told() -> None:
    made = plan(overnight=True, until="06:00")
    assert made.totals.rounds == 1 and any("left unattended" in words for words in made.warnings)
    assert not any("unattended" in words for words in plan().warnings)


def test_without_a_forecast_the_waves_are_the_most_that_one_goes_out_in() -> None:
    """A limit of 1 m gives (9 + 2.1 + 0.3 + 0.5) x 1.25 = 14.875 m; without a limit (9 + 2.1 + 0.3) x 1.25 = 14.25 m. Marks of 0.25 m."""
    bare = Boat(length_m=5, draft_m=0.5, speed_kn=8)
    limited = bare.model_copy(update={"limits": Limits(wave_m=1.0)})
    for boat, rope, waves in (
        (limited, 15.0, "waves of 1 m are"),
        (bare, 14.25, "no waves (the boat's file names no limit) are"),
    ):
        made = plan(forecast=None, boat=boat, nets=(Net(name="1", rope_m=24, marks_m=0.25),))
        assert {one.rope_m for net in made.nets for one in net.rounds} == {rope}
        assert f"no forecast: {waves} reckoned with, and no stream at all" in made.warnings


def test_a_depth_in_doubt_is_told() -> None:
    """Off by 1.96 x 3 = 5.9 m: more than the 3.1 m that scope and rounding leave on 15 m of rope over 11.9 m."""
    made = plan(*(replace(each, sigma_m=3.0) for each in FOUR))
    assert any("the depth may be off by 5.9 m: if it is that much deeper the rope is 2.8 m short" in words for words in made.warnings)  # fmt: skip


def test_a_night_with_a_change_of_clocks_is_an_hour_longer() -> None:
    """Halifax, 2025-11-01 to 02: from 22:00 -03:00 to 02:00 -04:00 are five hours, not four."""
    zone = ZoneInfo("America/Halifax")
    noon = dt.datetime(2025, 11, 1, 12, tzinfo=zone).timestamp()
    table = make_table(noon + 6.2 * HOUR * np.arange(5), np.array([2.0, 0.4, 1.9, 0.5, 2.1]), kind="high-low")
    made = make_plan(
        asked(date=dt.date(2025, 11, 1), zone=zone, start="22:00", until="02:00", soak_s=1800.0),
        known(FOUR),
        flat(),
        NightTide(table, 0.0, "tides.csv"),
    )
    last = max(one.pull_time for net in made.nets for one in net.rounds)
    assert last - made.first_set > 4 * HOUR
    assert all(one.pull_time - one.set_time < HOUR for net in made.nets for one in net.rounds)
    assert any("clocks change in this night, from -03:00 to -04:00" in words for words in made.warnings)


def test_leaving_before_a_falling_tide_ends_counts_its_lowest_water() -> None:
    """The launch is 400 m off and the boat slow: it leaves when the water is lower than at any time after the first set."""
    rising = NightTide(make_table(NOON + HOUR * np.array([-3.9, 2.3, 8.5, 14.7, 21]), np.array([2.1, 0.3, 2.1, 0.3, 2.0]), kind="high-low"), 0.0)  # fmt: skip
    wanted = asked(
        start="17:30", until="19:30", soak_s=1200.0, launch=at(80, 80), boat=Boat(length_m=5, draft_m=0.5, speed_kn=0.3)
    )  # fmt: skip
    made = make_plan(replace(wanted, nets=wanted.nets[:1]), known((FOUR[0],)), flat(), rising)
    assert made.schedule.depart < made.first_set - 1200
    assert made.water.low_m == pytest.approx(rising.span(made.schedule.depart, made.schedule.back)[0])
    assert made.water.low_m < rising.height(made.first_set) - 0.05


def test_an_own_hour_to_turn_back_stands_on_the_sheet_where_it_comes_before_the_way_home_and_fails() -> None:
    """Three nets end by 01:00; an hour of 23:00 comes first, and one of 05:00 after, when the way home is what counts."""
    for hour, passed in (("23:00", False), ("05:00", True)):
        made = plan(boat=Boat(length_m=5, draft_m=0.5, speed_kn=8, limits=Limits(turn_back=hour)))
        (told,) = [check for check in made.go if check.name == "turn back"]
        assert told.passed is passed and f"you turn back at {hour}" in told.words
        ((when, own),) = made.turn_back
        assert own is not passed and (when < made.schedule.trips[0].leave) is not passed
        assert all(net.leave_by[0] <= made.schedule.back_by for net in made.nets)
        assert (max(net.leave_by[0] for net in made.nets) == when) or passed


def test_nets_left_overnight_do_not_fail_by_the_evenings_hour_to_turn_back() -> None:
    """An hour of 00:30 is kept by the evening's trip and says nothing of the morning's, which has one of its own."""
    for limits, passed, said in (
        (Limits(turn_back="00:30"), True, "morning: leaving the last net at 07:00; you set no limit for it"),
        (Limits(turn_back="20:25"), False, "evening: leaving the last net at 20:"),
        (Limits(turn_back="00:30", turn_back_morning="06:30"), False, "you turn back at 06:30"),
        (Limits(turn_back="00:30", turn_back_morning="07:30"), True, "you turn back at 07:30"),
    ):
        boat = Boat(length_m=5, draft_m=0.5, speed_kn=8, limits=limits)
        made = plan(overnight=True, until="07:00", boat=boat)
        (told,) = [check for check in made.go if check.name == "turn back"]
        assert told.passed is passed and said in told.words, told.words
        evening, morning = (trip.back_by for trip in made.schedule.trips)
        assert all(net.leave_by[0] < evening and net.leave_by[1] < morning for net in made.nets)


def test_a_site_that_is_kept_near_a_wall_is_told_with_its_distance() -> None:
    """At the lowest water of the night, some 0.9 m at sunset, a float on 15 m of rope over 9 m swings sqrt(225 - 98) = 11.3 m, and the
    net is 0.5 m: 12 m in whole ones, and a wall at 30 m is too near for 20 m more."""
    wall = OffGround("hard structure", "Mole", 30.0, 20.0, bound=False)
    sites = (replace(FOUR[0], off=(wall,)), *FOUR[1:])
    left = {out.id: out.reason for out in plan(*sites).sites_left_out}
    assert left["a"].startswith("too near hard structure (Mole): it lies 30 m away; wanted 32 m")
    kept = plan(*sites, wishes=Wishes(keep=("a",)))
    number = next(net.number for net in kept.nets if net.site.id == "a")
    assert any(words.startswith(f"net {number}: too near hard structure (Mole): it lies 30 m away") for words in kept.warnings)  # fmt: skip


def test_what_the_forecast_does_not_say_is_told() -> None:
    """Waves are then the most that one goes out in; no stream leaves out drift, hauling and the pull on floats."""
    boat = Boat(length_m=5, draft_m=0.5, speed_kn=8, limits=Limits(wave_m=0.8))
    made = plan(boat=boat, forecast=Forecast(wind_kn=5))
    assert "the forecast says no wave height: waves of 0.8 m are reckoned with" in made.warnings
    assert any(words.startswith("no stream is stated: drift") for words in made.warnings)
    assert any(words.startswith("Waves of 0.8 m: your own limit") for words in made.assumptions)
    told = plan(forecast=Forecast(wave_m=1.0, stream=(Stream(to_deg=0, speed_kn=0.3),))).warnings
    assert not any("no stream" in words or "wave height" in words for words in told)


def test_a_night_beyond_the_magnetic_models_years_is_told() -> None:
    """WMM2025 ends with 2029 (NOAA): in 2031 the variation is the chart's."""
    day = dt.date(2031, 2, 11)
    noon = dt.datetime(2031, 2, 11, 12, tzinfo=ZONE).timestamp()
    table = make_table(noon + 6.2 * HOUR * np.arange(5), np.array([2.0, 0.4, 1.9, 0.5, 2.1]), kind="high-low")
    made = make_plan(asked(date=day), known(FOUR), flat(), NightTide(table, 0.0, "tides.csv"))
    assert any("magnetic model is out of its years" in words for words in made.warnings)
    assert not any("magnetic model is out" in words for words in plan().warnings)


def test_a_choice_that_is_not_proved_best_is_told_with_its_gap() -> None:
    made = plan()
    rough = replace(made, choice=replace(made.choice, gap=0.025))
    assert "the choice of sites is proved within 2.5% of the best only" in warnings_of(rough)
    assert not any("proved within" in words for words in warnings_of(made))


def test_what_differs_in_amounts_alone_is_said_once_with_the_least_and_the_most() -> None:
    """Doubts of 1.96 x 3 = 5.9 m and 1.96 x 4 = 7.8 m: 2.8 m and 4.7 m of rope short, on 15 m of it over 11.9 m."""
    sites = (replace(FOUR[0], sigma_m=3.0), replace(FOUR[1], sigma_m=4.0), replace(FOUR[2], sigma_m=3.0))
    made = plan(*sites)
    (told,) = [words for words in made.warnings if "may be off by" in words]
    assert told == (
        "nets 1, 2, 3: the depth may be off by 5.9 to 7.8 m: if it is that much deeper the rope is 2.8 to 4.7 m short; sound it first"
    )


def test_grounds_whose_names_differ_in_a_figure_are_each_told() -> None:
    """Both nets lie on ground to keep off, one named Area 3 and one Area 4: neither name may go."""
    off = [(OffGround("ground to keep off", f"Area {k}", 0.0, 10.0, bound=False),) for k in (3, 4)]
    sites = [replace(site, off=near) for site, near in zip(FOUR[:2], off, strict=True)]
    made = plan(*sites, wishes=Wishes(keep=("a", "b"), reserves=0), nets=asked().nets[:2])
    told = "\n".join(made.warnings)
    assert (
        "it lies in ground to keep off (Area 3)" in told and "it lies in ground to keep off (Area 4)" in told
    )


def test_a_person_of_fathoms_reads_them_of_depths_and_ropes_alone() -> None:
    """0.6 m of waves are 1.97 ft and a boat of 6 m 19.7 ft: nobody counts a wave in fathoms."""
    made = plan(
        unit="fathom",
        boat=Boat(length_m=6, draft_m=0.5, speed_kn=8, limits=Limits(wave_m=0.6)),
        forecast=None,
    )
    told = "\n".join((*made.warnings, *made.assumptions))
    assert (
        "waves of 1.97 ft are reckoned with" in told
        and "two boat lengths (19.7 ft each) and 32.8 ft apart" in told
    )
    assert "fathom with" in told and not re.search(r"\d m[ ,.;)]", told)


def test_the_plan_says_what_it_assumed_of_zone_boat_gear_and_launch() -> None:
    made = make_plan(
        asked(boat=Boat(speed_kn=8)), known(FOUR, ""), flat(), replace(tide(), taken=("Its times carry no zone and were read in X.",))
    )  # fmt: skip
    told = "\n".join(made.assumptions)
    assert "read in X" in told
    assert (
        "Not stated of the boat, and taken: length 6 m, draft 0.6 m, transducer under water 0.3 m, freeboard 0 m."
        in told
    )
    assert "line of 8 mm" in told and "nets 1 m wide" in told and "a floating line" in told
    assert "half its time again, at least 10 min" in told and "10 m more, stays out of closed ground" in told
    assert "ways begin" not in told
    ashore = plan(
        launch=at(8, 50)
    ).assumptions  # on the land of the north edge; the first clear cell is the twelfth
    assert any(
        words.startswith("The launch lies off the water that is deep enough: ways begin 15 m")
        for words in ashore
    )


def test_the_soak_achieved_counts_the_boats_waiting_and_the_longest_is_told() -> None:
    """A round of three nets takes some 3 x 6 min and a few ways: with an hour asked for the boat waits, with ten minutes it does not."""
    waiting, hurried = plan(soak_s=3600.0).totals, plan(soak_s=600.0).totals
    assert waiting.soak_achieved_s == 3600 > waiting.soak_round_s
    assert hurried.soak_achieved_s == hurried.soak_round_s > 600
    assert waiting.soak_round_s == pytest.approx(hurried.soak_round_s, rel=0.05)
    made = plan(soak_s=3600.0)
    longest = max(one.pull_time - one.set_time for net in made.nets for one in net.rounds)
    assert made.totals.soak_longest_s == longest >= 3600
    over = plan(overnight=True, until="06:00")
    assert over.totals.soak_achieved_s == min(net.rounds[0].pull_time - net.rounds[0].set_time for net in over.nets)  # fmt: skip


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"until": "02:30"}, "--until: 02:30 does not come on 2025-03-09"),
        ({"start": "02:30", "until": "05:00"}, "--start: 02:30 does not come"),
        ({"boat": Boat(speed_kn=8, limits=Limits(turn_back="02:30"))}, "[limits] turn_back: 02:30 does not come"),
        ({"rules": Rules(hours_to="02:30")}, "hours_to of the rules: 02:30 does not come"),
        ({"forecast": Forecast(wave_m=1.0, stream=(Stream(at="02:30", to_deg=0, speed_kn=1),))}, "[[stream]] at: 02:30 does not come"),
    ],
)  # fmt: skip
def test_an_hour_that_the_clocks_jump_over_is_refused_with_where_it_was_stated(
    more: dict[str, object], said: str
) -> None:
    """Halifax jumped from 02:00 to 03:00 on 2025-03-09 (IANA): a limit of that hour is somewhere in four files."""
    zone = ZoneInfo("America/Halifax")
    noon = dt.datetime(2025, 3, 8, 12, tzinfo=zone).timestamp()
    table = make_table(noon + 6.2 * HOUR * np.arange(5), np.array([2.0, 0.4, 1.9, 0.5, 2.1]), kind="high-low")
    wanted = asked(**{"date": dt.date(2025, 3, 8), "zone": zone, "start": "22:00", "until": "05:00", **more})
    with pytest.raises(InputError) as told:
        make_plan(wanted, known(FOUR), flat(), NightTide(table, 0.0, "tides.csv"))
    assert str(told.value).startswith(said)


def test_of_equal_totals_the_nets_stand_together() -> None:
    """Five sites of one score: a, b and c lie within 160 m, the others some 300 m off; every round goes the way between them."""
    near = tuple(replace(each, score=80.0) for each in FOUR[:3])
    far = (site("y", 90, 92), site("z", 90, 5))
    for sites in ((*near, *far), (near[0], *far, *near[1:])):
        assert {net.site.id for net in plan(*sites).nets} == {"a", "b", "c"}
    better = (near[0], replace(far[0], score=80.1), *near[1:])
    assert "y" in {net.site.id for net in plan(*better).nets}  # a tenth of a point is worth the way


def test_rope_is_told_to_the_tenth_to_a_plotter_as_on_the_sheet() -> None:
    """(79.8 + 2.1 + 0.3 + 0.5) x 1.25 = 103.375 m of rope without marks: 103 m would be shorter than what is needed."""
    deep = tuple(replace(site, depth_m=79.8) for site in FOUR[:3])
    made = plan(*deep, ground=flat(79.8), nets=(Net(name="1", rope_m=150),) * 3)
    told = [point.text for point in plan_points(made) if point.kind == "net"]
    assert len(told) == len(made.nets) == 2 and all(text.endswith("rope 103.4 m") for text in told)
    assert {one.rope for net in sheet_of(made).nets for one in net.rounds} == {"103.4 m"}
