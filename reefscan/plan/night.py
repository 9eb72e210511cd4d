"""The whole plan, composed: the light, the water, the sites, the order, the clock, the ropes, the checks.

The boat leaves before the first set and comes home after the last pull. Where the water is lower then than in between,
ways and sites are looked for again under that lower water, until none is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from reefscan.base.errors import InputError
from reefscan.base.units import far_unit
from reefscan.plan.amounts import KNOT, said
from reefscan.plan.atsite import magnet
from reefscan.plan.books import Net, Stream
from reefscan.plan.clock import (
    Legs,
    Pace,
    Schedule,
    fitting_nets,
    left_overnight,
    mean_leg,
    moment,
    soak_achieved,
    tours,
)
from reefscan.plan.field import Field, Taken, counted, field_of, given_to, take
from reefscan.plan.go import Leaving, NightFacts, checks, of_sites
from reefscan.plan.legs import Ground, Leg, Waters
from reefscan.plan.model import Asked, Known, LeftOut, Plan, PlannedNet, Totals, Way
from reefscan.plan.order import best_order
from reefscan.plan.rope import LATE_S, deepest
from reefscan.plan.rounds import planned
from reefscan.plan.sites import Reason, Water
from reefscan.plan.sky import Sky, sky
from reefscan.plan.spacing import GEOD
from reefscan.plan.tide import NightTide, clock
from reefscan.plan.words import assumptions, warnings_of

MOST_TRIES = 5


@dataclass(frozen=True)
class Window:
    """First set and end of the night (s since 1970 UTC), and its light."""

    start: float
    until: float
    sky: Sky


@dataclass(frozen=True)
class Tour:
    """Sites in the order of the visits with the ways between them, and the way home from each."""

    rows: tuple[int, ...]
    out: Leg
    ring: tuple[Leg, ...]
    homes: tuple[Leg, ...]
    schedule: Schedule
    pace: Pace


def make_plan(asked: Asked, known: Known, ground: Ground, tide: NightTide) -> Plan:
    """Plan a night.

    Raises
    ------
    InputError
        Saying what cannot be had and what to change.
    """
    window = window_of(asked)
    tide.require(window.start, window.until + LATE_S, asked.zone)
    low, high = tide.span(window.start, window.until + LATE_S)
    for _ in range(MOST_TRIES):
        water = Water(low, high, asked.add, asked.boat.draft_m, asked.unit)
        waters = Waters(ground, tide_low_m=low, keel_m=water.keel_m)
        field = field_of(asked, known, water, waters)
        taken = take(asked, field, water, asked.forecast.stream if asked.forecast else ())
        tour = tour_of(asked, known, field, taken, waters, window)
        first, last = tour.schedule.depart, tour.schedule.back_by
        tide.require(first, max(last, tour.schedule.last_pull + LATE_S), asked.zone)
        lower, _ = tide.span(first, last)
        if lower >= low - 1e-9:
            break
        low = lower
    else:
        raise InputError(
            "each way that is found at low water makes the night longer and the water lower; say a later --start or an earlier --until"
        )
    return _put_together(asked, known, tide, window, (water, field, taken, tour))


def window_of(asked: Asked) -> Window:
    """First set and end.

    Raises
    ------
    InputError
        If there is no sunset to start at, or the end comes before the start.
    """
    noon = moment(asked.date, "12:00", asked.zone)
    light = sky(*asked.launch, noon, noon + 86_400.0)
    until = moment(asked.date, asked.until, asked.zone, "--until")
    if asked.start is not None:
        start, begin = moment(asked.date, asked.start, asked.zone, "--start"), f"--start {asked.start}"
    else:
        sunset = light.time_of("sunset")
        if sunset is None:
            stays = "stays up" if light.sun_up else "stays down"
            raise InputError(
                f"the sun {stays} on {asked.date} at the launch, so there is no sunset to begin at; say --start, such as --start 21:00"
            )
        start, begin = sunset, f"sunset at {clock(sunset, asked.zone)}"
    if until <= start:
        raise InputError(
            f"--until {asked.until} is {clock(until, asked.zone)}, before the first set ({begin}); times from 12:00 on belong to "
            f"{asked.date}, earlier ones to the morning after: say a later --until or an earlier --start"
        )
    return Window(start, until, light)


def tour_of(asked: Asked, known: Known, field: Field, taken: Taken, waters: Waters, window: Window) -> Tour:
    """The order with the shortest night, and its clock.

    Raises
    ------
    InputError
        If not one round ends in time.
    """
    rows = taken.rows
    places = [known.to_grid(field.sites[k].lon, field.sites[k].lat) for k in rows]
    docks = [field.berths[k] for k in rows]
    from_launch = _all_there(waters.legs(field.start, docks, places, field.dock))
    between: dict[tuple[int, int], Leg] = {}
    for a in range(len(rows) - 1):
        rest = range(a + 1, len(rows))
        legs = waters.legs(places[a], [docks[b] for b in rest], [places[b] for b in rest], docks[a])
        for b, leg in zip(rest, _all_there(legs), strict=True):
            between[a, b], between[b, a] = leg, leg.turned()
    matrix = np.zeros((len(rows), len(rows)))
    for pair, leg in between.items():
        matrix[pair] = leg.length_m
    launch_m = np.array([leg.length_m for leg in from_launch])
    speed = asked.boat.speed_kn * KNOT
    pace = Pace(asked.boat.set_min * 60, asked.boat.handling_min * 60, asked.soak_s)
    rounds, made = 1, None
    for _ in range(2):  # the best order depends on how often it is gone round
        order = best_order(matrix, launch_m, rounds)
        made = _schedule(asked, _seconds(order, matrix, launch_m, speed), pace, window)
        if made is None:
            raise InputError(_no_round(asked, order, matrix, launch_m, pace, window))
        rounds = made.rounds
    assert made is not None
    ring = (
        tuple(between[order[k], order[(k + 1) % len(order)]] for k in range(len(order)))
        if len(order) > 1
        else ()
    )
    return Tour(
        tuple(rows[k] for k in order),
        from_launch[order[0]],
        ring,
        tuple(from_launch[k].turned() for k in order),
        made,
        pace,
    )


def _schedule(asked: Asked, legs: Legs, pace: Pace, window: Window) -> Schedule | None:
    way = left_overnight if asked.overnight else tours
    return way(legs, pace, window.start, window.until)


def _seconds(order: tuple[int, ...], between: np.ndarray, launch: np.ndarray, speed: float) -> Legs:
    count = len(order)
    ring = tuple(float(between[order[k], order[(k + 1) % count]]) / speed for k in range(count))
    homes = tuple(float(launch[k]) / speed for k in order)
    return Legs(homes[0], ring, homes)


def _no_round(asked: Asked, order: tuple[int, ...], between: np.ndarray, launch: np.ndarray, pace: Pace, window: Window) -> str:  # fmt: skip
    speed = asked.boat.speed_kn * KNOT
    fewer = next(
        (k for k in range(len(order) - 1, 0, -1) if _schedule(asked, _seconds(order[:k], between, launch, speed), pace, window)),
        0,
    )  # fmt: skip
    advice = f"{fewer} would fit: say --nets {fewer}, or" if fewer else "not even one fits:"
    return (
        f"not one round of {len(order)} nets with a soak of {pace.soak_s / 60:g} min is done by {clock(window.until, asked.zone)} "
        f"when the first is set at {clock(window.start, asked.zone)}; {advice} say a later --until, an earlier --start or a shorter --soak"
    )


def _all_there(legs: list[Leg | None]) -> list[Leg]:
    """Ways between places that were found to lie in the same water."""
    found = [leg for leg in legs if leg is not None]
    assert len(found) == len(legs)
    return found


def _put_together(asked: Asked, known: Known, tide: NightTide, window: Window, parts: tuple[Water, Field, Taken, Tour]) -> Plan:  # fmt: skip
    water, field, taken, tour = parts
    sites = [field.sites[k] for k in tour.rows]
    nets = given_to(sites, asked.nets, water)
    starts = stream_starts(asked)
    speed = asked.boat.speed_kn * KNOT
    made = tuple(
        replace(
            planned(k + 1, net, site, tour.schedule, tide, asked, starts),
            leave_by=_leave_by(asked, tour.schedule, tour.homes[k].length_m / speed),
        )
        for k, (net, site) in enumerate(zip(nets, sites, strict=True))
    )
    ways = _ways(asked, known, tour, made)
    totals = _totals(asked, ways, tour, taken)
    middle = (window.start + window.until) / 2
    left = tuple(LeftOut(net.name, _no_site(field)) for net in _not_used(asked, nets))
    plan = Plan(
        asked=asked, nets=made, nets_left_out=left, sites_left_out=field.left_out,
        reserves=tuple(field.sites[k] for k in taken.reserves), ways=ways, schedule=tour.schedule, water=water, tide=tide,
        sky=window.sky, magnet=magnet(*asked.launch, middle), choice=taken.choice, totals=totals, go=(), warnings=(),
        assumptions=(), closed_words=known.closed_words, datum=known.datum, own_limits=_own_limits(asked, tour.schedule),
        deepest_m=tuple((net, deepest(net, water.high_m, water.add)) for net in {net.longest_m: net for net in asked.nets}.values()),
    )  # fmt: skip
    plan = replace(
        plan,
        go=(
            *of_sites((net.number, check) for net in made for check in net.checks),
            *checks(asked.boat, asked.forecast, asked.rules, _facts(plan)),
        ),
    )
    begins = GEOD.inv(*asked.launch, *known.to_lonlat(*field.start))[2]
    launch = (
        [
            f"The launch lies off the water that is deep enough: ways begin {said(begins, far_unit(asked.unit), 0)} from it."
        ]
        if begins > 1
        else []
    )
    chosen = f"Chosen among the {len(field.sites)} best sites within all limits" + (
        f"; {field.more} more are not looked at." if field.more else "."
    )
    return replace(
        plan,
        warnings=(*known.notes, *warnings_of(plan)),
        assumptions=(chosen, *known.taken, *launch, *assumptions(plan)),
    )


def _not_used(asked: Asked, used: list[Net]) -> list[Net]:
    left = list(asked.nets)
    for net in used:
        left.remove(net)
    return left


def _no_site(field: Field) -> Reason:
    out = f" ({counted(field.left_out)})" if field.left_out else ""
    return Reason(
        "no further site fits with the others",
        f": sites within all limits {len(field.sites)}, left out {len(field.left_out)}{out}; spacing, "
        "rope, features and your own wishes left no more",
    )


def stream_starts(asked: Asked) -> tuple[float, ...]:
    """The moment from which each stated stream holds; the whole night where none is said."""
    rows: tuple[Stream, ...] = asked.forecast.stream if asked.forecast else ()
    return tuple(
        -np.inf if row.at is None else moment(asked.date, row.at, asked.zone, "[[stream]] at") for row in rows
    )


def _ways(asked: Asked, known: Known, tour: Tour, nets: tuple[PlannedNet, ...]) -> tuple[Way, ...]:
    names = ["launch", *(f"net {net.number}" for net in nets)]
    legs = [("launch", names[1], tour.out)]
    legs += [(names[k + 1], names[(k + 1) % len(nets) + 1], leg) for k, leg in enumerate(tour.ring)]
    legs.append((names[-1], "launch", tour.homes[-1]))
    out = []
    for start, end, leg in legs:
        places = tuple(known.to_lonlat(*place) for place in leg.places)
        a, b = places[0], next((p for p in places if p != places[0]), places[0])
        true = float(GEOD.inv(*a, *b)[0]) % 360.0
        seconds = leg.length_m / (asked.boat.speed_kn * KNOT)
        out.append(Way(start, end, places, leg.length_m, leg.shoalest_m, seconds, true))
    return tuple(out)


def _totals(asked: Asked, ways: tuple[Way, ...], tour: Tour, taken: Taken) -> Totals:
    rounds, count = tour.schedule.rounds, len(tour.rows)
    path = sum(way.length_m for way in ways[1:-1][: count - 1])
    closing = ways[-2].length_m if count > 1 else 0.0
    metres = ways[0].length_m + ways[-1].length_m
    if asked.overnight:  # out and home twice, the path once each time
        metres = 2 * metres + 2 * path
    else:
        metres += (rounds + 1) * path + rounds * closing
    under_way = metres / (asked.boat.speed_kn * KNOT)
    use = asked.boat.fuel_l_per_h
    leg = mean_leg([way.seconds for way in ways[1:-1]])
    soaks = [visit.pull_time - visit.set_time for visits in tour.schedule.visits for visit in visits]
    least = soak_achieved(count, tour.pace.handling_s, leg)
    return Totals(
        way_m=metres,
        under_way_s=under_way,
        fuel_l=None if use is None else use * under_way / 3600,
        rounds=rounds,
        pulls=rounds * count,
        score=taken.choice.total,
        gap=taken.choice.gap,
        soak_round_s=least,
        soak_achieved_s=min(soaks) if asked.overnight else max(asked.soak_s, least),
        soak_longest_s=max(soaks),
        fitting_nets=fitting_nets(asked.soak_s, tour.pace.handling_s, leg),
    )


def _own_limits(asked: Asked, schedule: Schedule) -> tuple[str | None, ...]:
    """The person's hour to turn back of each trip. One that comes before a trip begins is no limit of that trip."""
    limits = asked.boat.limits
    if not asked.overnight:
        return (limits.turn_back,)
    later = limits.turn_back_morning or limits.turn_back
    began = schedule.trips[1].depart
    of_morning = later is not None and moment(asked.date, later, asked.zone, "[limits] turn_back") > began
    return limits.turn_back, later if of_morning or limits.turn_back_morning else None


def _leave_by(asked: Asked, schedule: Schedule, way_s: float) -> tuple[float, ...]:
    """Of each trip the latest moment to leave for home from a place ``way_s`` away; the person's own hour where that comes first."""
    out = []
    for trip, hour in zip(schedule.trips, _own_limits(asked, schedule), strict=True):
        own = np.inf if hour is None else moment(asked.date, hour, asked.zone, "[limits] turn_back")
        out.append(min(trip.leave_by(way_s), own if own >= trip.depart else np.inf))
    return tuple(out)


def _facts(plan: Plan) -> NightFacts:
    asked, rules = plan.asked, plan.asked.rules
    first, last = plan.first_set, plan.schedule.last_pull

    def when(text: str | None, name: str = "[limits] turn_back") -> float | None:
        return None if text is None else moment(asked.date, text, asked.zone, name)

    def hour(at: float) -> str:
        return clock(at, asked.zone)[11:16]

    return NightFacts(
        date=asked.date,
        clock=(hour(first), hour(last)),
        moments=(first, last),
        leaving=tuple(
            Leaving(name, trip.leave, hour(trip.leave), when(limit), limit)
            for name, trip, limit in zip(
                ("evening", "morning") if asked.overnight else ("",),
                plan.schedule.trips,
                plan.own_limits,
                strict=True,
            )
        ),
        hours_from=when(rules.hours_from if rules else None, "hours_from of the rules"),
        hours_to=when(rules.hours_to if rules else None, "hours_to of the rules"),
        nets=len(plan.nets),
        fuel_l=plan.totals.fuel_l,
        table=_doubt_of_table(plan),
        unit=asked.unit,
    )


def _doubt_of_table(plan: Plan) -> str:
    zone = plan.asked.zone
    leg = plan.tide.long_leg(plan.schedule.depart, plan.schedule.last_pull + LATE_S)
    if leg is None:
        return ""
    first, second = (clock(when, zone)[:16] for when in leg)
    return (
        f"no turn from {first} to {second}, {(leg[1] - leg[0]) / 3600:.1f} h; is a high or low water missing? "
        "A float goes under where one is (tides of one high a day have such steps: then the cosine is rough)"
    )
