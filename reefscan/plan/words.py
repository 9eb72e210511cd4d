"""What the plan says in sentences: warnings, what was assumed, what to look at before leaving and before moving on."""

from __future__ import annotations

import re

from reefscan.base.units import far_unit
from reefscan.plan.amounts import said, stated
from reefscan.plan.atsite import DRIFT
from reefscan.plan.books import Net
from reefscan.plan.clock import HOME_SPARE_S
from reefscan.plan.go import RULES_LINE
from reefscan.plan.model import Asked, Plan
from reefscan.plan.rope import LATE_S, reach_words
from reefscan.plan.spacing import BAIT_ALONG_M, CLEAR_M
from reefscan.plan.tide import clock
from reefscan.survey.tide import TideTable

AMOUNT = re.compile(r"-?\d+(?:\.\d+)?(?= (?:m|ft|fathom|kn|kgf|kg)\b)")
"""A figure with its unit; those of names and clock times are left as they are."""

BEFORE_LEAVING = (
    "Forecast read anew, own limits kept",
    "Float plan left, with whom to call",
    "Life jackets on; lights, radio work",
    "Fuel; knife at hand; spare rope, float",
    "Ropes and floats marked as rules ask",
    "Local rules looked up for tonight",
)
BEFORE_MOVING = (
    "All rope and floats inboard or clear",
    "Everyone seated or holding on",
    "Propeller seen clear of lines",
    "Next mark and way checked by eye",
)
HAULING = "Come up slowly with the head as stated, the float on the {side} side, and take the engine out of gear before you reach it."
LIGHTS = (
    "Tell floats still to be pulled from pulled ones by a scheme of your own; a coloured or flashing light may be taken for another "
    "kind of mark, so local rules decide."
)
MOVE_ON = "Move a net there when two pulls in a row bring nothing while others catch, or the sounder shows other ground."
"""Common practice, no source."""
STILL = "Ropes are for still water: a stream can pull a float under whatever its rope."


def warnings_of(plan: Plan) -> tuple[str, ...]:
    """What to look at before going, the nets' own warnings among it."""
    asked, totals, out = plan.asked, plan.totals, []
    first, last = (clock(when, asked.zone)[17:] for when in (plan.schedule.depart, plan.schedule.back))
    if first != last:  # every hour on the sheet is misread by whoever does not know it
        out.append(
            f"the clocks change in this night, from {first} to {last}: times are by the clock of their own side of it"
        )
    if plan.nets_left_out:
        out.append(
            f"{len(plan.nets_left_out)} of {len(asked.nets)} nets stay ashore: {plan.nets_left_out[0].reason}"
        )
    if not asked.overnight and totals.soak_round_s > asked.soak_s + 1:
        fewer = totals.fitting_nets
        out.append(
            f"a round takes longer than the soak asked for: nets lie {totals.soak_round_s / 60:.0f} min, not {asked.soak_s / 60:.0f}; "
            f"{fewer} net{'s' if fewer > 1 else ''} would keep it"
        )
    if asked.overnight:
        out.append(
            "nets are left unattended: a float that goes under or a boat that runs into it is seen by nobody"
        )
    if asked.forecast is None:
        out.append(f"no forecast: {_waves(asked)} are reckoned with, and no stream at all")
    elif asked.forecast.wave_m is None:
        out.append(f"the forecast says no wave height: {_waves(asked)} are reckoned with")
    if asked.forecast is not None and not asked.forecast.stream:
        out.append("no stream is stated: drift, the side to haul from and the pull on floats leave it out")
    out += _of_nets(plan)
    if not plan.magnet.current:
        out.append("the magnetic model is out of its years there: take the variation from the chart")
    if plan.choice.gap:
        out.append(f"the choice of sites is proved within {plan.choice.gap:.1%} of the best only")
    return tuple(out)


def _waves(asked: Asked) -> str:
    return (
        f"waves of {stated(asked.wave_m, far_unit(asked.unit))}"
        if asked.wave_m
        else "no waves (the boat's file names no limit)"
    )


def _of_nets(plan: Plan) -> list[str]:
    """What is said of single nets, once for all that it is said of; checks that failed first."""
    failed = [(net, check) for net in plan.nets for check in net.checks if not check.passed]
    rows = [(net.number, f"{check.name}: {check.words}") for net, check in failed]
    failing = {check.words for _, check in failed}
    rows += [(net.number, words) for net in plan.nets for words in net.warnings if words not in failing]
    alike: dict[str, list[tuple[int, str]]] = {}
    for number, words in rows:
        alike.setdefault(AMOUNT.sub("#", words), []).append((number, words))
    return [_together(each) for each in alike.values()]


def _together(rows: list[tuple[int, str]]) -> str:
    """One sentence for several nets; where amounts differ, the least and the most: of some the least is the worst."""
    numbers = ", ".join(str(number) for number, _ in rows)
    spans = map(_span, zip(*(AMOUNT.findall(words) for _, words in rows), strict=True))
    words = AMOUNT.sub(lambda _: next(spans), rows[0][1])
    return f"net{'s' if len(rows) > 1 else ''} {numbers}: {words}"


def _span(amounts: tuple[str, ...]) -> str:
    least, most = min(amounts, key=float), max(amounts, key=float)
    return least if least == most else f"{least} to {most}"


def assumptions(plan: Plan) -> tuple[str, ...]:
    """Everything the plan rests on and did not check."""
    return (
        *_of_water(plan),
        *_of_places(plan),
        *_of_work(plan),
        f"Clock times are of {plan.asked.zone}; the first set is {'as you said' if plan.asked.start else 'at sunset'}, {clock(plan.first_set, plan.asked.zone)}.",
        plan.datum.top,
        plan.closed_words,
        RULES_LINE,
    )


def _of_water(plan: Plan) -> list[str]:
    """Tide, rope, stream, weather."""
    asked, add, unit, small = plan.asked, plan.asked.add, plan.asked.unit, far_unit(plan.asked.unit)
    table = plan.tide.source
    if isinstance(table, TideTable) and table.turning:
        how = "half a cosine between high and low water; that fails in rivers and where highs come double"
    elif isinstance(table, TideTable):
        how = "a curve through the heights of the series"
    else:
        how = "harmonic constants; weather is not in them"
    reach = ", ".join(reach_words(net, plan.water.high_m, add, unit) for net, _ in plan.deepest_m)
    out = [
        f"Tide from {plan.tide.name}: {how}.",
        *plan.tide.taken,
        f"The table's zero lies {'+' if plan.tide.offset_m >= 0 else ''}{stated(plan.tide.offset_m, unit)} over the grid's zero, as you stated; "
        "heights here are over the grid's zero.",
        f"Rope for still water: (depth + highest tide + {stated(add.surge_m, small)} of surge + half of {stated(add.wave_m, small)} waves + "
        f"{stated(add.freeboard_m, small)} of freeboard) x {add.scope:g}, up to the next mark, until {LATE_S / 3600:g} hours after the last pull; "
        "a rope set anew at a round, until as long after that round's pull. A stream can pull a float under all the same.",
        f"The deepest site that this reaches: {reach}.",
        "Streams, wind and waves are the ones you typed, the same all over; a stream need not turn when the height does.",
    ]  # fmt: skip
    if asked.forecast is not None:
        out.append(
            f"Forecast: {asked.forecast.source or 'source not said'}, issued {asked.forecast.issued or 'at a time that is not said'}."
        )
        if asked.forecast.stream and asked.forecast.stream[0].at is not None:
            out.append("Before the first hour that is stated for a stream, that first stream runs.")
    if asked.wave_m and (asked.forecast is None or asked.forecast.wave_m is None):
        out.append(
            f"Waves of {stated(asked.wave_m, small)}: your own limit, for want of a height in the forecast."
        )
    return out


def _of_places(plan: Plan) -> list[str]:
    """Choice of sites, spacing, ways."""
    asked, boat, unit, along = plan.asked, plan.asked.boat, plan.asked.unit, far_unit(plan.asked.unit)
    far = asked.wishes.stand_off_m
    stand_off = (
        f"; it keeps {stated(far, along)} off that and off hard structure (--stand-off)" if far else ""
    )
    best = "the best there is under these limits" if not plan.choice.gap else "near the best"
    out = [
        f"Nets stand both floats' circles, two boat lengths ({stated(boat.length_m, along)} each) and {stated(CLEAR_M, along)} apart; "
        f"along a stream {stated(BAIT_ALONG_M, along)}.",
        f"A float's whole circle at the lowest water, and {stated(CLEAR_M, along)} more, stays out of closed ground and of what is named to "
        f"keep off, and out of fairways unless you allow them{stand_off}.",
        f"Legs keep to cells of the grid with at least {said(plan.water.keel_m, unit)} of water at {said(plan.water.low_m, unit)} of tide, the "
        "lowest of the trip; cells without data are taken for land. What lies between soundings is not in the grid.",
        f"Sites by score; the total is {plan.totals.score:.1f} and {best}. A score says nothing of what you will catch.",
    ]
    if any(not net.site.sigma_m > 0 for net in plan.nets):
        out.append(
            "Where the grid states no uncertainty of a depth, that of IHO S-44 order 1a is taken: a guess."
        )
    if any(net.site.score != net.site.score for net in plan.nets):
        out.append("A site that was set by hand counts 50 points, since no run scored it.")
    return out


def _of_work(plan: Plan) -> list[str]:
    """Speeds, times, what of boat and gear was not stated."""
    boat, unit = plan.asked.boat, far_unit(plan.asked.unit)
    speeds = sorted({f"{net.net.sink_m_per_s:g}" for net in plan.nets})
    out = [
        f"Speed {boat.speed_kn:g} kn all the way, {boat.set_min:g} min to set, {boat.handling_min:g} min to pull, empty and set again.",
        f"Back by: each net left as planned, and for the way home from it half its time again, at least {HOME_SPARE_S / 60:g} min (a guess).",
        "Fuel is for the way alone: hauling, idling, wind and sea take more." if boat.fuel_l_per_h is not None
        else "Fuel is not reckoned: the boat's use is not stated.",
        f"Nets sink at {', '.join(speeds)} m/s.",
        f"A boat drifts with {DRIFT:.0%} of the wind's speed: that tells whether to haul into wind or stream (common practice, no source).",
        "Magnetic bearings are by the World Magnetic Model, without your compass's own deviation.",
    ]  # fmt: skip
    usual = [
        f"{what} {stated(getattr(boat, name), unit)}"
        for name, what in (("length_m", "length"), ("draft_m", "draft"), ("transducer_m", "transducer under water"), ("freeboard_m", "freeboard"))
        if name not in boat.model_fields_set
    ]  # fmt: skip
    if usual:
        out.append(f"Not stated of the boat, and taken: {', '.join(usual)}.")
    assumed = {words for net in plan.nets for words in _usual_gear(net.net, unit)}
    if assumed:
        out.append(f"Not stated of the gear, and taken: {', '.join(sorted(assumed))}.")
    return out


def _usual_gear(net: Net, unit: str) -> list[str]:
    usual = {
        "line": f"a {net.line} line",
        "line_diameter_m": f"line of {net.line_diameter_m * 1000:g} mm",
        "radius_m": f"nets {stated(2 * net.radius_m, unit)} wide",
        "sink_m_per_s": f"sinking at {net.sink_m_per_s:g} m/s",
    }
    return [words for name, words in usual.items() if name not in net.model_fields_set]
