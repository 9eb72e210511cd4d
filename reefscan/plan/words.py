"""What the plan says in sentences: warnings, what was assumed, what to look at before leaving and before moving on."""

from __future__ import annotations

from reefscan.plan.go import RULES_LINE
from reefscan.plan.model import Plan
from reefscan.plan.rope import LATE_S
from reefscan.plan.spacing import BAIT_ALONG_M, CLEAR_M
from reefscan.plan.tide import clock
from reefscan.survey.tide import TideTable

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
MOVE_ON = (
    "Move a net to a reserve when two pulls in a row bring it nothing while the others catch, or when the sounder shows other ground "
    "than the sheet (common practice, no source)."
)


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
    if not asked.overnight and totals.soak_achieved_s > asked.soak_s + 1:
        fewer = totals.fitting_nets
        out.append(
            f"a round takes longer than the soak asked for: nets lie {totals.soak_achieved_s / 60:.0f} min, not {asked.soak_s / 60:.0f}; "
            f"{fewer} net{'s' if fewer > 1 else ''} would keep it"
        )
    if asked.overnight:
        out.append(
            "nets are left unattended: a float that goes under or a boat that runs into it is seen by nobody"
        )
    if asked.forecast is None:
        out.append(f"no forecast: waves of {asked.wave_m:g} m are reckoned with, and no stream at all")
    elif asked.forecast.wave_m is None:
        out.append(f"the forecast says no wave height: {asked.wave_m:g} m are reckoned with")
    if asked.forecast is not None and not asked.forecast.stream:
        out.append("no stream is stated: drift, the side to haul from and the pull on floats leave it out")
    out += _of_nets(plan)
    if not plan.magnet.current:
        out.append("the magnetic model is out of its years there: take the variation from the chart")
    if plan.choice.gap:
        out.append(f"the choice of sites is proved within {plan.choice.gap:.1%} of the best only")
    return tuple(out)


def _of_nets(plan: Plan) -> list[str]:
    """What is said of single nets, once for all that it is said of; checks that failed first, since a sheet has an end."""
    said: dict[str, list[int]] = {}
    failed = [(net, check) for net in plan.nets for check in net.checks if not check.passed]
    for net, check in failed:
        said.setdefault(f"{check.name}: {check.words}", []).append(net.number)
    failing = {check.words for _, check in failed}
    for net in plan.nets:
        for words in net.warnings:
            if words not in failing:
                said.setdefault(words, []).append(net.number)
    return [
        f"net{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}: {words}"
        for words, numbers in said.items()
    ]


def assumptions(plan: Plan) -> tuple[str, ...]:
    """Everything the plan rests on and did not check."""
    asked, add, boat = plan.asked, plan.asked.add, plan.asked.boat
    table = plan.tide.source
    if isinstance(table, TideTable) and table.turning:
        how = "half a cosine between high and low water; that fails in rivers and where highs come double"
    elif isinstance(table, TideTable):
        how = "a curve through the heights of the series"
    else:
        how = "harmonic constants; weather is not in them"
    out = [
        f"Tide from {plan.tide.name}: {how}.",
        f"The table's zero lies {plan.tide.offset_m:+g} m over the grid's zero, as you stated; heights here are over the grid's zero.",
        f"Rope for still water: (depth + highest tide + {add.surge_m:g} m of surge + half of {add.wave_m:g} m waves + {add.freeboard_m:g} m "
        f"of freeboard) x {add.scope:g}, up to the next mark, until {LATE_S / 3600:g} hours after the last pull; a rope set anew at a round, "
        "until as long after that round's pull. A stream can pull a float under all the same.",
        f"The deepest site that this reaches: {', '.join(f'{depth:.1f} m with {name}' for name, depth in plan.deepest_m)}.",
        "Streams, wind and waves are the ones you typed, the same all over; a stream need not turn when the height does.",
        *([f"Forecast: {asked.forecast.source or 'source not said'}, issued {asked.forecast.issued or 'at a time that is not said'}."] if asked.forecast else []),
        f"Nets stand both floats' circles, two boat lengths ({boat.length_m:g} m each) and {CLEAR_M:g} m apart; along a stream {BAIT_ALONG_M:g} m.",
        f"Legs keep to cells of the grid with at least {plan.water.keel_m:.1f} m of water at {plan.water.low_m:.1f} m of tide, the lowest of the "
        "trip; cells without data are taken for land. What lies between soundings is not in the grid.",
        f"Speed {boat.speed_kn:g} kn all the way, {boat.set_min:g} min to set, {boat.handling_min:g} min to pull, empty and set again.",
        "Fuel is for the way alone: hauling, idling, wind and sea take more." if boat.fuel_l_per_h is not None else "Fuel is not reckoned: the boat's use is not stated.",
        f"Nets sink at {', '.join(sorted({f'{net.net.sink_m_per_s:g}' for net in plan.nets}))} m/s.",
        f"Sites by score; the total is {plan.totals.score:.1f} and {'the best there is under these limits' if not plan.choice.gap else 'near the best'}. A score says nothing of what you will catch.",
        f"Clock times are of {asked.zone}; the first set is {'as you said' if asked.start else 'at sunset'}, {clock(plan.first_set, asked.zone)}.",
        "Magnetic bearings are by the World Magnetic Model, without your compass's own deviation.",
        plan.datum.top,
        plan.closed_words,
        RULES_LINE,
    ]  # fmt: skip
    return tuple(out)
