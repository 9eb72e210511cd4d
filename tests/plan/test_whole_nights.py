"""Two hundred random nights, each looked at again by a plain calculation that shares no code with the plan.

The tide is worked out anew every minute of every soak; circles, distances and legs are read off the numbers that a
person gets.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from plan.invented import asked_of, known, seabed, sites_on, tide_of, to_grid, to_lonlat
from pyproj import Geod

from reefscan.base.errors import InputError
from reefscan.plan.legs import Ground
from reefscan.plan.model import Asked, Plan
from reefscan.plan.night import make_plan
from reefscan.plan.sites import OffGround, Site
from reefscan.plan.tide import NightTide

GEOD = Geod(ellps="WGS84")
NIGHTS = 200


@pytest.fixture(scope="module")
def nights() -> list[tuple[Asked, Ground, NightTide, Plan]]:
    out = []
    for seed in range(NIGHTS):
        rng = np.random.default_rng(seed)
        ground = seabed(rng)
        sites = sites_on(ground, rng, 60)
        tide = tide_of(rng, offset=round(float(rng.uniform(-0.5, 0.5)), 2))
        asked = asked_of(rng, ground)
        sites = tuple(replace(site, off=(near_closed(site, closed_at(seed, ground)),)) for site in sites)
        try:
            out.append((asked, ground, tide, make_plan(asked, known(sites), ground, tide)))
        except InputError:
            continue
    return out


def closed_at(seed: int, ground: Ground) -> tuple[float, float, float]:
    """Longitude, latitude and radius (m) of a disc of closed ground somewhere on the wet half."""
    rng = np.random.default_rng(1000 + seed)
    side = ground.elev.shape[0]
    lon, lat = to_lonlat(*ground.middle((int(side * rng.uniform(0.4, 1)), int(side * rng.uniform(0, 1)))))
    return lon, lat, float(rng.uniform(20, 120))


def near_closed(site: Site, disc: tuple[float, float, float]) -> OffGround:
    lon, lat, radius = disc
    far = float(GEOD.inv(site.lon, site.lat, lon, lat)[2])
    return OffGround("closed ground", "disc", max(0.0, far - radius), 10.0)


def height(tide: NightTide, when: float) -> float:
    """Half a cosine between the two rows around a moment, by the schoolbook."""
    rows = list(zip(tide.source.time, tide.source.height, strict=True))  # type: ignore[union-attr]
    for (t1, h1), (t2, h2) in itertools.pairwise(rows):
        if t1 <= when <= t2:
            return float(
                h1 + (h2 - h1) * (1 - math.cos(math.pi * (when - t1) / (t2 - t1))) / 2 + tide.offset_m
            )
    raise AssertionError("outside the table")


def minutes(start: float, end: float) -> Iterator[float]:
    k = 0
    while start + 60 * k < end:
        yield start + 60 * k
        k += 1
    yield end


def test_most_nights_can_be_planned(nights: list[tuple[Asked, Ground, NightTide, Plan]]) -> None:
    assert len(nights) > NIGHTS * 0.6
    assert {len(plan.nets) for *_, plan in nights} >= {1, 2, 3, 4, 5, 6}


def test_no_float_is_under_and_no_rope_past_its_length_in_any_minute(
    nights: list[tuple[Asked, Ground, NightTide, Plan]],
) -> None:
    looked = 0
    for asked, _, tide, plan in nights:
        for net in plan.nets:
            for one in net.rounds:
                assert one.rope_m <= net.net.rope_m + 1e-6
                if net.net.marks_m:
                    assert one.rope_marks is not None
                    assert one.rope_m == pytest.approx(one.rope_marks * net.net.marks_m)
                for when in minutes(one.set_time, one.pull_time + 2 * 3600):
                    level = height(tide, when)
                    wanted = (
                        net.site.depth_m + level + asked.surge_m + asked.wave_m / 2 + asked.boat.freeboard_m
                    )
                    assert one.rope_m >= wanted * asked.scope - 1e-6
                    assert level <= one.tide_max_m + 1e-9
                    if when <= one.pull_time:
                        assert level >= one.tide_min_m - 1e-9
                        assert one.rope_m - net.site.depth_m - level <= one.slack_max_m + 1e-6
                    looked += 1
                assert one.sounder_m == pytest.approx(
                    net.site.depth_m + height(tide, one.set_time) - asked.boat.transducer_m
                )
    assert looked > 100_000


def test_one_rope_holds_until_two_hours_after_the_nights_last_pull_unless_it_is_set_anew(
    nights: list[tuple[Asked, Ground, NightTide, Plan]],
) -> None:
    anew = 0
    for asked, _, tide, plan in nights:
        last = max(one.pull_time for net in plan.nets for one in net.rounds)
        for net in plan.nets:
            ropes = {one.rope_m for one in net.rounds}
            if len(ropes) > 1:
                anew += 1
                assert net.net.line == "floating" and any("anew" in words for words in net.warnings)
                continue
            most = max(height(tide, when) for when in minutes(net.rounds[0].set_time, last + 2 * 3600))
            assert min(ropes) >= net.site.depth_m + most + asked.surge_m + asked.wave_m / 2 - 1e-6
    assert anew


def test_no_two_floats_can_meet(nights: list[tuple[Asked, Ground, NightTide, Plan]]) -> None:
    for asked, _, tide, plan in nights:
        circle = []
        for net in plan.nets:
            low = min(
                height(tide, when) for one in net.rounds for when in minutes(one.set_time, one.pull_time)
            )
            water = net.site.depth_m + low
            rope = max(one.rope_m for one in net.rounds)
            circle.append(math.sqrt(max(0, rope**2 - water**2)) + net.net.radius_m)
        for a, b in itertools.combinations(range(len(circle)), 2):
            one, other = plan.nets[a].site, plan.nets[b].site
            far = GEOD.inv(one.lon, one.lat, other.lon, other.lat)[2]
            assert far >= circle[a] + circle[b] + 2 * asked.boat.length_m + 10 - 1e-6


def test_no_float_comes_within_ten_metres_of_closed_ground_in_any_minute(
    nights: list[tuple[Asked, Ground, NightTide, Plan]],
) -> None:
    """From the set to two hours after the pull: the net's place, the rope that is out and the water of that minute."""
    left_out = 0
    for asked, _, tide, plan in nights:
        left_out += sum("closed ground (disc)" in left.reason for left in plan.sites_left_out)
        for net in plan.nets:
            away = net.site.off[0].metres
            for one in net.rounds:
                for when in minutes(one.set_time, one.pull_time + 2 * 3600):
                    water = net.site.depth_m + height(tide, when)
                    reach = math.sqrt(max(0.0, one.rope_m**2 - water**2)) + net.net.radius_m
                    assert away - reach >= 10 - 1e-6, (asked.date, net.number)
    assert left_out > 100


def test_no_leg_goes_over_land_the_unknown_or_water_too_shallow(
    nights: list[tuple[Asked, Ground, NightTide, Plan]],
) -> None:
    for asked, ground, tide, plan in nights:
        lowest = min(height(tide, when) for when in minutes(plan.schedule.depart, plan.schedule.back_by))
        keel = asked.boat.draft_m + 1 + asked.wave_m / 2
        for way in plan.ways:
            for a, b in itertools.pairwise(way.places):
                (xa, ya), (xb, yb) = to_grid(*a), to_grid(*b)
                t = np.linspace(0.0, 1.0, max(2, int(math.hypot(xb - xa, yb - ya) / 1.5)))
                rows = ((ground.north_m - (ya + t * (yb - ya))) // ground.cell_m).astype(int)
                cols = ((xa + t * (xb - xa) - ground.west_m) // ground.cell_m).astype(int)
                cells = ground.elev[rows, cols]
                assert np.isfinite(cells).all()
                assert (lowest - cells >= keel - 1e-6).all()
        assert plan.ways[0].start == plan.ways[-1].end == "launch"
        for way in plan.ways[:-1]:
            net = plan.nets[int(way.end.split()[1]) - 1]
            assert way.places[-1] == pytest.approx((net.site.lon, net.site.lat), abs=1e-6)


def test_the_clock_keeps_soaks_and_the_end(nights: list[tuple[Asked, Ground, NightTide, Plan]]) -> None:
    for asked, _, _, plan in nights:
        times = sorted(one.pull_time for net in plan.nets for one in net.rounds)
        assert all(b - a >= asked.boat.handling_min * 60 - 1e-6 for a, b in itertools.pairwise(times))
        for net in plan.nets:
            assert all(one.pull_time - one.set_time >= asked.soak_s - 1e-6 for one in net.rounds)
        assert plan.schedule.back >= times[-1] + asked.boat.handling_min * 60


def test_whoever_leaves_by_the_last_moment_is_back_by_the_hour_told_ashore(
    nights: list[tuple[Asked, Ground, NightTide, Plan]],
) -> None:
    """From each net the way home at the boat's speed, half of it again or ten minutes, fits between the two; a straight line is
    no longer than the way that was laid, so it holds for that too."""
    for asked, _, _, plan in nights:
        speed = asked.boat.speed_kn * 1852 / 3600
        for net in plan.nets:
            far = GEOD.inv(net.site.lon, net.site.lat, *plan.ways[-1].places[-1])[2]
            (leave,) = net.leave_by
            # the grid's metres and the geodesic's differ by the projection's scale, some parts in 10 000
            assert leave + max(1.5 * far / speed, far / speed + 600) <= plan.schedule.back_by + 1.0
        last = plan.nets[-1]
        pulled = last.rounds[-1].pull_time + asked.boat.handling_min * 60
        assert last.leave_by[0] == pytest.approx(pulled)
        home = plan.ways[-1].length_m / speed
        assert plan.schedule.back_by == pytest.approx(pulled + max(1.5 * home, home + 600))
