"""What is asked of a night, and the plan that comes of it: frozen data, moments in seconds since 1970 UTC."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import tzinfo

from reefscan.base.datum import NOT_STATED, Datum
from reefscan.plan.atsite import Heading, Magnet
from reefscan.plan.books import Boat, Forecast, Net, Rules, Stream
from reefscan.plan.choose import Choice
from reefscan.plan.clock import Schedule, moment
from reefscan.plan.go import Check
from reefscan.plan.rope import Allowances
from reefscan.plan.sites import Reason, Site, Water
from reefscan.plan.sky import Sky
from reefscan.plan.tide import NightTide


@dataclass(frozen=True)
class Wishes:
    """What the person wants of the choice.

    Attributes
    ----------
    stand_off_m : float
        So far a float's circle keeps off hard structure and off what the person names to keep off.
    within_m : float or None
        No two sites farther apart.
    per_feature : int or None
        Most sites of one feature; None: all but one of the nets.
    reserves : int
    explore : int
        Nets that go where least is known.
    keep, drop : tuple of str
        Ids of sites.
    """

    stand_off_m: float = 0.0
    within_m: float | None = None
    per_feature: int | None = None
    reserves: int = 3
    explore: int = 0
    keep: tuple[str, ...] = ()
    drop: tuple[str, ...] = ()


@dataclass(frozen=True)
class Asked:
    """One night.

    Attributes
    ----------
    date : date
        Of the evening.
    zone : tzinfo
        Of all clock times in and out.
    start, until : str or None, str
        Clock times: first set (None: sunset), and when the last net is out of the water.
    nets : tuple of Net
        Those that go along, longest rope first.
    launch : (float, float)
        Longitude and latitude.
    launch_reach_m : float
        How far from the launch the first navigable water may lie.
    soak_s : float
    surge_m, scope, slack_limit_m : float
    overnight : bool
        The nets are left while the boat goes home.
    unit : {"m", "ft", "fathom"}
        Of lengths in sentences; numbers stay in metres.
    """

    date: dt.date
    zone: tzinfo
    until: str
    nets: tuple[Net, ...]
    launch: tuple[float, float]
    boat: Boat
    forecast: Forecast | None = None
    rules: Rules | None = None
    start: str | None = None
    launch_reach_m: float = 200.0
    soak_s: float = 3600.0
    surge_m: float = 0.3
    scope: float = 1.25
    slack_limit_m: float = 3.0
    overnight: bool = False
    wishes: Wishes = Wishes()
    unit: str = "m"

    @property
    def wave_m(self) -> float:
        """Height of the waves that is reckoned with (m): the forecast's, else the most that the person goes out in, else 0."""
        if self.forecast is not None and self.forecast.wave_m is not None:
            return self.forecast.wave_m
        return self.boat.limits.wave_m or 0.0

    @property
    def add(self) -> Allowances:
        """What is added to the depth before the scope."""
        return Allowances(self.surge_m, self.wave_m, self.boat.freeboard_m, self.scope)


@dataclass(frozen=True)
class Known:
    """What the run knows.

    Attributes
    ----------
    sites : tuple of Site
        Best first.
    closed_words : str
    datum : Datum
        What the depths are counted from.
    to_grid, to_lonlat : callable
        Between longitude/latitude and the ground's easting/northing.
    notes, taken : tuple of str
        What to mind, and what was taken for true, of the run.
    unlisted : mapping of str to str
        Places that the run knows and no net is planned for, and why: asked for by name, they are refused with that.
    """

    sites: tuple[Site, ...]
    closed_words: str
    to_grid: Callable[[float, float], tuple[float, float]]
    to_lonlat: Callable[[float, float], tuple[float, float]]
    notes: tuple[str, ...] = ()
    taken: tuple[str, ...] = ()
    unlisted: Mapping[str, str] = field(default_factory=dict)
    datum: Datum = NOT_STATED


@dataclass(frozen=True)
class Round:
    """One soak of one net.

    Attributes
    ----------
    tide_max_m, tide_min_m : float
        Highest water from the setting to two hours after the pull, lowest while the net lies (m over the grid's zero).
    rope_m : float
        To let out.
    rope_marks : int or None
        The same in marks; None for a rope without.
    slack_max_m : float
        Rope that is loose at that lowest water.
    release : (float, float)
        Longitude and latitude where the net is let go.
    """

    number: int
    set_time: float
    pull_time: float
    tide_set_m: float
    tide_pull_m: float
    tide_max_m: float
    tide_min_m: float
    rope_m: float
    rope_marks: int | None
    slack_max_m: float
    sounder_m: float
    stream: Stream | None
    drift_m: float
    release: tuple[float, float]
    head: Heading


@dataclass(frozen=True)
class PlannedNet:
    """One net at its site, in the order of the visits; ``leave_by`` is the latest moment to leave for home from there, of each trip."""

    number: int
    net: Net
    site: Site
    rounds: tuple[Round, ...]
    circle_m: float
    look_again_m: float
    checks: tuple[Check, ...]
    warnings: tuple[str, ...]
    leave_by: tuple[float, ...] = ()


@dataclass(frozen=True)
class Way:
    """A leg of the route with its ends' names; places are longitude and latitude."""

    start: str
    end: str
    places: tuple[tuple[float, float], ...]
    length_m: float
    shoalest_m: float
    seconds: float
    true_deg: float


@dataclass(frozen=True)
class LeftOut:
    """A site or a net that is not in the plan, and why."""

    id: str
    reason: Reason


@dataclass(frozen=True)
class Totals:
    """What the night takes: metres and seconds under way, litres (None where the boat's use is not stated).

    Attributes
    ----------
    soak_round_s : float
        Shortest soak that a round without waiting allows: nets x (handling + leg) - handling.
    soak_achieved_s : float
        What a net lies from round to round: that, or the soak asked for where it is longer, since the boat waits. Of nets left
        overnight the shortest.
    soak_longest_s : float
        The longest of the night.
    """

    way_m: float
    under_way_s: float
    fuel_l: float | None
    rounds: int
    pulls: int
    score: float
    gap: float
    soak_round_s: float
    soak_achieved_s: float
    soak_longest_s: float
    fitting_nets: int


@dataclass(frozen=True)
class Plan:
    """The whole night; ``own_limits`` are the person's own hours to turn back, one a trip."""

    asked: Asked
    nets: tuple[PlannedNet, ...]
    nets_left_out: tuple[LeftOut, ...]
    sites_left_out: tuple[LeftOut, ...]
    reserves: tuple[Site, ...]
    ways: tuple[Way, ...]
    schedule: Schedule
    water: Water
    tide: NightTide
    sky: Sky
    magnet: Magnet
    choice: Choice
    totals: Totals
    go: tuple[Check, ...]
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    closed_words: str
    deepest_m: tuple[tuple[Net, float], ...]
    datum: Datum = NOT_STATED
    own_limits: tuple[str | None, ...] = (None,)

    @property
    def turn_back(self) -> tuple[tuple[float, bool], ...]:
        """Of each trip the latest moment to leave the last net for home, and whether it is the person's own hour."""
        hours = (None if hour is None else moment(self.asked.date, hour, self.asked.zone) for hour in self.own_limits)  # fmt: skip
        return tuple((leave, leave == own) for leave, own in zip(self.nets[-1].leave_by, hours, strict=True))

    @property
    def chain(self) -> tuple[Way, ...]:
        """The ways that follow one on the other: out, along the nets, home; without the one back to the first net."""
        return (*self.ways[: len(self.nets)], self.ways[-1])

    @property
    def again(self) -> tuple[Way, ...]:
        """The way from the last net back to the first, for the next round; none of a single net."""
        return self.ways[len(self.nets) : -1]

    @property
    def first_set(self) -> float:
        """The first set (s since 1970 UTC)."""
        return min(net.rounds[0].set_time for net in self.nets)
