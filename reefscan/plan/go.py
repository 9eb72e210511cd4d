"""Go or stay: the person's own limits and copied rules against the forecast and the plan, each passed or failed.

What cannot be judged from what was given has not passed. Nothing here calls a night or a place safe.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from reefscan.base.units import far_unit
from reefscan.plan.amounts import stated
from reefscan.plan.books import Boat, Forecast, Limits, Rules
from reefscan.surroundings.dates import in_force

SPARE = 1.5
"""Fuel wanted over what the plan burns: a third kept back (common practice, no source)."""

RULES_LINE = "Check local rules: the limits here are the ones you typed, and no law is built in."


@dataclass(frozen=True)
class Check:
    """One question to the night.

    Parameters
    ----------
    name : str
    passed : bool
    words : str
        Found and wanted, in one phrase.
    """

    name: str
    passed: bool
    words: str


@dataclass(frozen=True)
class Leaving:
    """One trip's last net left: which trip, when, as a clock time, and the person's own limit; None where none is for this trip."""

    trip: str
    moment: float
    clock: str
    limit: float | None
    limit_clock: str | None


@dataclass(frozen=True)
class NightFacts:
    """What the checks need to know of the plan.

    Parameters
    ----------
    date : date
        Of the evening.
    clock : tuple of str
        First set and last pull, as clock times.
    moments : tuple of float
        The same, in seconds since 1970 UTC.
    leaving : tuple of Leaving
        Each trip's last net left.
    hours_from, hours_to : float or None
        Moments of the rules of those names.
    nets : int
    fuel_l : float or None
        What the plan burns.
    table : str
        What is doubtful about the tide table; empty if nothing is.
    unit : {"m", "ft", "fathom"}
        Of lengths in sentences.
    """

    date: dt.date
    clock: tuple[str, str]
    moments: tuple[float, float]
    leaving: tuple[Leaving, ...]
    hours_from: float | None
    hours_to: float | None
    nets: int
    fuel_l: float | None
    table: str = ""
    unit: str = "m"


def checks(
    boat: Boat, forecast: Forecast | None, rules: Rules | None, facts: NightFacts
) -> tuple[Check, ...]:
    """All checks, those that failed first."""
    found = [
        *([Check("tide table", False, facts.table)] if facts.table else []),
        *_issued(forecast, facts.date),
        *_weather(boat.limits, forecast, facts.unit),
        *_persons(boat),
        *_turn_back(facts),
        *_fuel(boat, facts),
        *_rules(rules, boat, facts),
    ]
    return tuple(sorted(found, key=lambda check: check.passed))


def of_sites(found: Iterable[tuple[int, Check]]) -> tuple[Check, ...]:
    """What failed at single nets, once for the night: a sheet that begins with what passed is read no further."""
    failed: dict[str, list[int]] = {}
    for number, check in found:
        if not check.passed:
            failed.setdefault(check.name, []).append(number)
    return tuple(
        Check(name, False, f"at net{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}")
        for name, numbers in failed.items()
    )


def _issued(forecast: Forecast | None, night: dt.date) -> list[Check]:
    """Whether the forecast is of the night's day or the day before; nothing where no day is said."""
    try:
        day = dt.date.fromisoformat(forecast.issued.strip()[:10]) if forecast is not None else None
    except ValueError:
        day = None
    if day is None or forecast is None:
        return []
    fresh = dt.timedelta(0) <= night - day <= dt.timedelta(days=1)
    old = "" if fresh else f"; the night is that of {night}: read a new one"
    return [Check("forecast", fresh, f"issued {forecast.issued}{old}")]


def _weather(limits: Limits, forecast: Forecast | None, unit: str) -> list[Check]:
    if forecast is None:
        return [Check("forecast", False, "no forecast was given; type it into forecast.toml and plan again")]
    out = []
    lengths = {"wave_m": far_unit(unit), "visibility_m": "nmi"}  # of distances at sea there is one unit
    for name, most in (("wind_kn", True), ("gust_kn", True), ("wave_m", True), ("wave_period_s", False), ("visibility_m", False)):  # fmt: skip
        limit, value = getattr(limits, name), getattr(forecast, name)
        if limit is None:
            continue
        first, _, last = name.rpartition("_")
        what = first.replace("_", " ")
        bound, seen = (
            "" if x is None else stated(x, lengths[name]) if name in lengths else f"{x:g} {last}" for x in (limit, value)
        )  # fmt: skip
        wanted = f"{'at most' if most else 'at least'} {bound}"
        if value is None:
            out.append(Check(what, False, f"the forecast does not say; your limit is {wanted}"))
        else:
            passed = value <= limit if most else value >= limit
            out.append(Check(what, passed, f"{seen}; your limit is {wanted}"))
    if not out:
        out.append(
            Check(
                "limits", False, "no limit of wind or waves is set in the boat's [limits]: decide them ashore"
            )
        )
    return out


def _persons(boat: Boat) -> list[Check]:
    out = []
    if boat.limits.crew is not None:
        aboard = len(boat.ashore.persons)
        words = f"{aboard} named in [ashore] persons; your limit is at least {boat.limits.crew}"
        out.append(Check("crew", aboard >= boat.limits.crew, words))
    named = boat.limits.refuge
    out.append(Check("place to run to", bool(named), named or "none is named; write [limits] refuge"))
    return out


def _turn_back(facts: NightFacts) -> list[Check]:
    """Whether each trip leaves its last net before the person's own hour; a trip without one is named and not judged."""
    if all(trip.limit is None for trip in facts.leaving):
        return []
    words = [
        (f"{trip.trip}: " if trip.trip else "")
        + f"leaving the last net at {trip.clock}; "
        + (f"you turn back at {trip.limit_clock}" if trip.limit is not None else "you set no limit for it")
        for trip in facts.leaving
    ]
    passed = all(trip.limit is None or trip.moment <= trip.limit for trip in facts.leaving)
    return [Check("turn back", passed, ". ".join(words))]


def _fuel(boat: Boat, facts: NightFacts) -> list[Check]:
    if facts.fuel_l is None or boat.fuel_l is None:
        return []
    wanted = SPARE * facts.fuel_l
    words = f"{boat.fuel_l:g} l aboard; the way takes {facts.fuel_l:.1f} l, with half as much kept back {wanted:.1f} l"
    return [Check("fuel", boat.fuel_l >= wanted, words)]


def _rules(rules: Rules | None, boat: Boat, facts: NightFacts) -> list[Check]:
    """The limits that the person copied; none where none were given."""
    if rules is None:
        return []
    out = []
    if rules.season_from or rules.season_to:
        open_ = in_force(rules.season_from, rules.season_to, facts.date)
        words = f"{facts.date}; you wrote {rules.season_from or 'any day'} to {rules.season_to or 'any day'}"
        out.append(Check("season", open_, words))
    if facts.hours_from is not None:
        words = f"first set at {facts.clock[0]}; you wrote from {rules.hours_from}"
        out.append(Check("hours from", facts.moments[0] >= facts.hours_from, words))
    if facts.hours_to is not None:
        words = f"last pull at {facts.clock[1]}; you wrote to {rules.hours_to}"
        out.append(Check("hours to", facts.moments[1] <= facts.hours_to, words))
    if rules.nets_per_boat is not None:
        words = f"{facts.nets} planned; you wrote {rules.nets_per_boat} a boat"
        out.append(Check("nets a boat", facts.nets <= rules.nets_per_boat, words))
    if rules.nets_per_person is not None:
        persons = len(boat.ashore.persons)
        most = persons * rules.nets_per_person
        words = f"{facts.nets} planned; you wrote {rules.nets_per_person} a person, {persons} named: {most}"
        out.append(Check("nets a person", facts.nets <= most, words))
    return out


def exit_words(found: tuple[Check, ...]) -> str:
    """What the command says last of the checks: those that failed, by name; never that anything is safe."""
    failed = [check for check in found if not check.passed]
    if not failed:
        return f"{len(found)} checks passed; that is no promise: look at the sky, the sea and the chart. {RULES_LINE}"
    named = "; ".join(f"{check.name}: {check.words}" for check in failed)
    return f"STAY? {len(failed)} of {len(found)} checks FAILED: {named}. {RULES_LINE}"
