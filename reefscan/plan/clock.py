"""When each net is set and pulled: rounds in one order, from the first set to the end that the person names.

A night is named by the date of its evening: clock times from 12:00 on belong to that date, earlier ones to the day
after. Inside, a moment is seconds since 1970 UTC, so a change of the clocks in the night lengthens nothing.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo

from reefscan.base.errors import InputError
from reefscan.plan.amounts import parse_clock

MOST_ROUNDS = 200

HOME_SPARE, HOME_SPARE_S = 0.5, 600.0
"""Kept back for the way home: half its time again, ten minutes at the least (guesses: wind, sea and a line in the propeller)."""


def home_s(way_s: float) -> float:
    """Time (s) that is wanted for the way home: the way itself and what is kept back.

    Examples
    --------
    >>> home_s(600), home_s(3600)
    (1200.0, 5400.0)
    """
    return way_s + max(HOME_SPARE * way_s, HOME_SPARE_S)


@dataclass(frozen=True)
class Legs:
    """Seconds under way, in the order in which the nets are visited.

    Parameters
    ----------
    out_s : float
        From the launch to the first net.
    ring_s : tuple of float
        From each net to the next, and from the last to the first; 0 for a single net.
    homes_s : tuple of float
        From each net to the launch.
    """

    out_s: float
    ring_s: tuple[float, ...]
    homes_s: tuple[float, ...]


@dataclass(frozen=True)
class Pace:
    """How long things take (s): setting a net, pulling, emptying and setting it again, and the soak that is asked for."""

    set_s: float
    handling_s: float
    soak_s: float


@dataclass(frozen=True)
class Visit:
    """One soak of one net: when it goes down and when it comes up (s since 1970 UTC)."""

    set_time: float
    pull_time: float


@dataclass(frozen=True)
class Trip:
    """One way out and home (s since 1970 UTC).

    Attributes
    ----------
    depart, leave, arrive : float
        Leaving the launch, leaving the last net, at the launch again.
    back_by : float
        When to be back at the latest: from whichever net takes longest, left as planned, with what is kept back for the way home.
    """

    depart: float
    leave: float
    arrive: float
    back_by: float

    def leave_by(self, way_s: float) -> float:
        """The latest moment to leave for home from a place ``way_s`` seconds away."""
        return self.back_by - home_s(way_s)


@dataclass(frozen=True)
class Schedule:
    """The night's clock.

    Attributes
    ----------
    visits : tuple of tuple of Visit
        For each net, in the order of the visits, its rounds.
    last_pull : float
        The start of the last pull (s since 1970 UTC).
    trips : tuple of Trip
        One; two of nets left overnight.
    """

    visits: tuple[tuple[Visit, ...], ...]
    last_pull: float
    trips: tuple[Trip, ...]

    @property
    def depart(self) -> float:
        """Leaving the launch for the first time."""
        return self.trips[0].depart

    @property
    def back(self) -> float:
        """At the launch again for the last time, as planned."""
        return self.trips[-1].arrive

    @property
    def back_by(self) -> float:
        """The same with what is kept back for the way home."""
        return self.trips[-1].back_by

    @property
    def rounds(self) -> int:
        """Pulls of each net."""
        return len(self.visits[0])


def moment(date: dt.date, clock: str, zone: tzinfo, name: str = "") -> float:
    """Seconds since 1970 UTC of a clock time in the night of ``date``; of a time that comes twice, the first.

    Parameters
    ----------
    name : str
        Where it was stated, for a message.

    Raises
    ------
    InputError
        If it is no time of the clock, or one that the clocks jump over that night.
    """
    hour, minute = (int(part) for part in parse_clock(clock).split(":"))
    day = date if hour >= 12 else date + dt.timedelta(days=1)
    local = datetime.combine(day, dt.time(hour, minute), tzinfo=zone)
    when = local.timestamp()
    if datetime.fromtimestamp(when, UTC).astimezone(zone).replace(tzinfo=None) != local.replace(tzinfo=None):
        raise InputError(
            f"{name + ': ' if name else ''}{clock} does not come on {day}: the clocks of {zone} jump over it; say a time before or after"
        )
    return when


def tours(legs: Legs, pace: Pace, start: float, until: float) -> Schedule | None:
    """As many rounds as end by ``until``, the first net set at ``start``; None if not even one does.

    A net is pulled when the boat is there and its soak is over; the boat waits for it if need be. After the last pull
    nothing is set again. ``until`` is when the last net is out of the water and handled.
    """
    best = None
    for rounds in range(1, MOST_ROUNDS + 1):
        made = _tour(legs, pace, start, rounds)
        if made.last_pull + pace.handling_s > until + 0.5:
            break
        best = made
    return best


def left_overnight(legs: Legs, pace: Pace, start: float, until: float) -> Schedule | None:
    """One soak of all nets while the boat goes home: set from ``start``, pulled so that the last is out by ``until``."""
    count = len(legs.ring_s)
    path = [sum(legs.ring_s[:k]) for k in range(count)]
    sets = [start + k * pace.set_s + path[k] for k in range(count)]
    first = until - count * pace.handling_s - path[-1]
    pulls = [first + k * pace.handling_s + path[k] for k in range(count)]
    evening = _trip(legs, start, [moment + pace.set_s for moment in sets])
    morning = _trip(legs, first, [moment + pace.handling_s for moment in pulls])
    if morning.depart < evening.arrive:
        return None
    visits = tuple((Visit(a, b),) for a, b in zip(sets, pulls, strict=True))
    return Schedule(visits, pulls[-1], (evening, morning))


def _trip(legs: Legs, first: float, left: list[float]) -> Trip:
    """The trip on which the boat is at the first net at ``first`` and leaves each for the last time at ``left``."""
    back_by = max(moment + home_s(way) for moment, way in zip(left, legs.homes_s, strict=True))
    return Trip(first - legs.out_s, left[-1], left[-1] + legs.homes_s[-1], back_by)


def _tour(legs: Legs, pace: Pace, start: float, rounds: int) -> Schedule:
    count = len(legs.ring_s)
    now, down = start, [0.0] * count
    for k in range(count):
        down[k] = now
        now += pace.set_s + legs.ring_s[k]
    visits: list[list[Visit]] = [[] for _ in range(count)]
    last = now
    for turn in range(rounds):
        for k in range(count):
            last = max(now, down[k] + pace.soak_s)
            visits[k].append(Visit(down[k], last))
            now = last + pace.handling_s
            down[k] = now  # as the re-set net goes down; not used after the last round
            now += legs.ring_s[k] if not (turn == rounds - 1 and k == count - 1) else 0.0
    trip = _trip(legs, start, [each[-1].pull_time + pace.handling_s for each in visits])
    return Schedule(tuple(tuple(each) for each in visits), last, (trip,))


def soak_achieved(nets: int, handling_s: float, leg_s: float) -> float:
    """Shortest soak (s) that a round allows: nets x (handling + leg) - handling.

    Examples
    --------
    >>> soak_achieved(6, 360, 240) / 60
    54.0
    """
    return nets * (handling_s + leg_s) - handling_s


def fitting_nets(soak_s: float, handling_s: float, leg_s: float) -> int:
    """Most nets whose round is no longer than the soak asked for; at least one."""
    return max(1, int((soak_s + handling_s) / max(handling_s + leg_s, 1e-9) + 1e-9))


def mean_leg(ring_s: Sequence[float]) -> float:
    """Mean leg of a round (s); 0 for a single net."""
    return sum(ring_s) / len(ring_s) if len(ring_s) > 1 else 0.0
