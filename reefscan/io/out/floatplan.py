"""The float plan: what a person ashore needs in order to raise the alarm, as plain text.

Its fields are those that coast guards' published forms ask for: who, boat, equipment, where, when back, whom to call.
"""

from __future__ import annotations

import textwrap

from reefscan.base.caution import CAUTION
from reefscan.base.degrees import degrees_minutes
from reefscan.base.units import far_unit
from reefscan.io.out.waypoints import clean
from reefscan.plan.amounts import said, stated
from reefscan.plan.go import RULES_LINE
from reefscan.plan.model import Plan
from reefscan.plan.tide import clock

HEAD = "FLOAT PLAN"
BLANK = "________________"


def float_plan(plan: Plan) -> str:
    """The plan to leave ashore; what was not given is a line to write on.

    Returns
    -------
    str
        Lines of 78 characters at most.
    """
    boat, ashore, zone = plan.asked.boat, plan.asked.boat.ashore, plan.asked.zone
    schedule, wait = plan.schedule, ashore.late_min * 60
    # nets left overnight make two trips, and each of them may fail to come home
    trips, unit = [(trip.depart, trip.back_by) for trip in schedule.trips], plan.asked.unit
    lines = [
        f"{HEAD} for the night of {plan.asked.date} (made by reefscan)",
        "Leave it with someone ashore. Tell them when you are back, or they will call.",
        "",
        *_row("Skipper", ashore.skipper),
        *_row("Phone", ashore.phone),
        *_row("Address", ashore.address),
        *_row("Persons aboard", ", ".join(ashore.persons)),
        *_row("Number of persons", str(len(ashore.persons)) if ashore.persons else ""),
        "",
        *_row("Boat", ", ".join(part for part in (boat.name, boat.kind, boat.registration) if part)),
        *_row("Length, colours", ", ".join(part for part in (stated(boat.length_m, far_unit(unit)), boat.colours) if part)),
        *_row("Engine, fuel", ", ".join([boat.engine or BLANK, f"{boat.fuel_l:g} l" if boat.fuel_l is not None else BLANK])),
        *_row("Radio, MMSI", ", ".join([boat.radio or BLANK, boat.mmsi or BLANK])),
        *_row("Safety equipment", boat.safety),
        *_row("Car and trailer", ashore.car),
        "",
        *_row("From", ashore.from_place or _place(*plan.asked.launch)),
        *_row("First net set", clock(plan.first_set, zone)),
        *_row("Last net pulled", clock(schedule.last_pull, zone)),
        *_row("To", ashore.to_place or "the same place"),
        *(line for leave, back in trips for line in (*_row("Leaving", clock(leave, zone)), *_row("Back by", clock(back, zone)))),
        *_row("May run to", boat.limits.refuge),
        "",
        "Sites, in the order of the visits:",
        *(f"  {net.number}. {_place(net.site.lon, net.site.lat)}   {said(net.site.depth_m, unit)}" for net in plan.nets),
        *(f"  reserve {k}. {_place(site.lon, site.lat)}" for k, site in enumerate(plan.reserves, 1)),
        "",
        *(f"NOT BACK AND NO WORD BY {clock(back + wait, zone)}: CALL" for _, back in trips),
        *_row("Rescue service", ashore.rescue_phone),
        *_row("Told by", ashore.contact),
        *_row("Their phone", ashore.contact_phone),
        "Give them this sheet. Go on trying the phone, but do not wait with the call.",
        "",
        *textwrap.wrap(plan.datum.top, 78),
        *textwrap.wrap(plan.closed_words, 78),
        *textwrap.wrap(RULES_LINE, 78),
        *textwrap.wrap(CAUTION, 78),
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def _place(lon: float, lat: float) -> str:
    return f"{degrees_minutes(lat, lat=True)} {degrees_minutes(lon, lat=False)}"


def _row(name: str, value: str) -> list[str]:
    text = clean(value) or BLANK
    return textwrap.wrap(f"{name + ':':<20}{text}", 78, subsequent_indent=" " * 20, drop_whitespace=True)
