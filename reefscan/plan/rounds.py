"""One net through its night: every round with tide, rope, sounder, stream, and what is said of its site."""

from __future__ import annotations

from reefscan.base.units import far_unit
from reefscan.plan.amounts import said, stated
from reefscan.plan.atsite import (
    dragged,
    drift_m,
    haul_heading,
    look_again,
    pulled_under,
    release,
    sounder,
    stream_at,
    streams_between,
    wind_against,
)
from reefscan.plan.books import Net, Stream
from reefscan.plan.clock import Schedule, Visit
from reefscan.plan.go import Check
from reefscan.plan.model import Asked, PlannedNet, Round
from reefscan.plan.rope import LATE_S, slack, swing
from reefscan.plan.ropes import ropes, stands
from reefscan.plan.sites import BREAKS, Site
from reefscan.plan.spacing import off_ground
from reefscan.plan.tide import NightTide


def planned(number: int, net: Net, site: Site, schedule: Schedule, tide: NightTide, asked: Asked, starts: tuple[float, ...]) -> PlannedNet:  # fmt: skip
    """Work out one net.

    Parameters
    ----------
    number : int
        Place in the order of the visits, from 1.
    starts : tuple of float
        Moment from which each stream of the forecast holds.
    """
    visits = schedule.visits[number - 1]
    made = ropes(site, net, visits, schedule.last_pull, tide, asked.add, asked.slack_limit_m, asked.unit)
    rounds = tuple(
        _round(k, visit, rope, net, site, tide, asked, starts)
        for k, (visit, rope) in enumerate(zip(visits, made.lengths_m, strict=True), 1)
    )
    low = min(tide.span(visit.set_time, visit.pull_time + LATE_S)[0] for visit in visits)
    longest = max(rounds, key=lambda each: each.rope_m)
    met = [
        streams_between(asked.forecast, starts, visit.set_time, visit.pull_time) for visit in visits
    ]  # the boat's hours; the float is left to the stream two hours longer, as its rope is
    late = [
        streams_between(asked.forecast, starts, visit.pull_time, visit.pull_time + LATE_S) for visit in visits
    ]
    fastest = max(
        (stream for streams in (*met, *late) for stream in streams), key=lambda s: s.speed_kn, default=None
    )
    under = pulled_under(longest.rope_m, net.line_diameter_m, net.float_lift_kgf, fastest, asked.unit)
    spare = min(each.rope_m - each.tide_max_m for each in rounds) - site.depth_m - asked.add.above_m
    doubt = spare - site.depth_95_m
    warned = [under] if under else []
    if doubt < 0:
        warned.append(
            f"the depth may be off by {said(site.depth_95_m, asked.unit)}: if it is that much deeper the rope is {said(-doubt, asked.unit)} short; "
            "sound it first"
        )
    circle = swing(longest.rope_m, site.depth_m, low)
    warned += off_ground(site, circle + net.radius_m, asked.unit)  # a site that is kept all the same
    walks = dragged(longest.rope_m, net.line_diameter_m, net.weight_kg, fastest)
    warned += [*([walks] if walks else []), *made.words]
    return PlannedNet(
        number=number,
        net=net,
        site=site,
        rounds=rounds,
        circle_m=circle,
        look_again_m=look_again(site, asked.wave_m),
        checks=_site_checks(site, met, low, asked, under),
        warnings=tuple(warned),
    )


def _round(k: int, visit: Visit, rope: float, net: Net, site: Site, tide: NightTide, asked: Asked, starts: tuple[float, ...]) -> Round:  # fmt: skip
    low, high = stands(visit, tide)
    at_set, at_pull = tide.height(visit.set_time), tide.height(visit.pull_time)
    stream = stream_at(asked.forecast, starts, visit.set_time)
    to_haul = stream_at(asked.forecast, starts, visit.pull_time)
    carried = drift_m(site.depth_m + at_set, net.sink_m_per_s, stream)
    wind = (asked.forecast.wind_kn, asked.forecast.wind_from_deg) if asked.forecast else (None, None)
    return Round(
        number=k,
        set_time=visit.set_time,
        pull_time=visit.pull_time,
        tide_set_m=at_set,
        tide_pull_m=at_pull,
        tide_max_m=high,
        tide_min_m=low,
        rope_m=rope,
        rope_marks=round(rope / net.marks_m) if net.marks_m else None,
        slack_max_m=slack(rope, site.depth_m, low),
        sounder_m=sounder(site, at_set, asked.boat.transducer_m),
        stream=stream,
        drift_m=carried,
        release=release(site, carried, stream),
        head=haul_heading(to_haul, *wind),
    )


def _site_checks(
    site: Site, met: list[tuple[Stream, ...]], low: float, asked: Asked, under: str
) -> tuple[Check, ...]:
    """Go or stay for this one site, what failed first."""
    over, wave = site.depth_m + low, asked.wave_m
    out = []
    if wave:
        words = f"{said(over, asked.unit)} of water at its lowest, waves of {stated(wave, far_unit(asked.unit))}: wanted {BREAKS:g} times as much"
        out.append(Check("swell that breaks", over >= BREAKS * wave, words))
    forecast = asked.forecast
    if forecast is not None and forecast.stream:
        bad = [
            number
            for number, streams in enumerate(met, 1)
            if any(wind_against(stream, forecast.wind_kn, forecast.wind_from_deg) for stream in streams)
        ]
        words = (
            f"against each other in round {', '.join(map(str, bad))}: short, steep seas"
            if bad
            else "not against each other"
        )
        out.append(Check("wind against tide", not bad, words))
        out.append(Check("stream on the float", not under, under or "little by the estimate"))
    return tuple(sorted(out, key=lambda check: check.passed))
