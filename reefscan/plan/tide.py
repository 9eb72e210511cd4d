"""The height of the water over the grid's own zero through a night, and what is made of a reference station.

A table of high and low water is followed by half a cosine, as tide tables teach: good on a regular tide, wrong in
rivers, where the tide rises faster than it falls, and where highs come double. Outside the table there is no height:
it is refused, never guessed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, tzinfo
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import InputError
from reefscan.plan.books import Secondary
from reefscan.survey.harmonics import HarmonicTide
from reefscan.survey.tide import TideTable

Floats = NDArray[np.float64]

STEP_S = 60.0
"""Heights of a span are read so often; a turn of the tide between two readings is less than 0.1 mm higher than both
(a quarter of the range times the square of 30 s times the speed of M2, at a range of 10 m)."""


LONGEST_LEG_S = 640 * 60.0
"""From a high to a low water: the rule of the cosine is taught for 4 h to 10 h 40 min (CHECKS e1, a training manual). Longer
is a tide of one high a day, or a row that was left out."""


@dataclass(frozen=True)
class Turn:
    """A high or a low water: seconds since 1970 UTC, metres over the grid's zero."""

    time: float
    height_m: float
    high: bool


@dataclass(frozen=True)
class NightTide:
    """Heights over the grid's zero.

    Parameters
    ----------
    source : TideTable or HarmonicTide
        Heights over the table's own zero.
    offset_m : float
        How high the table's zero lies over the grid's (m, positive up): added to every height.
    name : str
        What the table is called in a message.
    taken : tuple of str
        What was taken for true in reading it: zone, unit, station.
    """

    source: TideTable | HarmonicTide
    offset_m: float
    name: str = "tide table"
    taken: tuple[str, ...] = ()

    def at(self, when: Floats | float) -> Floats:
        """Heights (m over the grid's zero) at seconds since 1970 UTC; NaN outside the table."""
        return self.source.at(np.atleast_1d(np.asarray(when, np.float64))) + self.offset_m

    def height(self, when: float) -> float:
        """Height at one moment (m); NaN outside the table."""
        return float(self.at(when)[0])

    def moments(self, start: float, end: float) -> Floats:
        """The moments that a span is read at: every minute, its ends, and every row of the table in it."""
        inside = np.empty(0)
        if isinstance(self.source, TideTable):
            inside = self.source.time[(self.source.time > start) & (self.source.time < end)]
        return np.unique(np.concatenate([np.arange(start, end, STEP_S), [end], inside]))

    def long_leg(self, start: float, end: float) -> tuple[float, float] | None:
        """The first step between two rows of highs and lows, within a span, that is longer than such steps are; None if there is none."""
        if not isinstance(self.source, TideTable) or not self.source.turning:
            return None
        for first, second in pairwise(self.source.time.tolist()):
            if first < end and second > start and second - first > LONGEST_LEG_S:
                return first, second
        return None

    def span(self, start: float, end: float) -> tuple[float, float]:
        """Lowest and highest water (m over the grid's zero) from ``start`` to ``end``, both included.

        Raises
        ------
        InputError
            If the table does not reach over the whole span.
        """
        heights = self.at(self.moments(start, end))
        if not np.isfinite(heights).all():
            raise InputError(f"{self.name}: no height for a part of {start:.0f} to {end:.0f}")
        return float(heights.min()), float(heights.max())

    def require(self, start: float, end: float, zone: tzinfo) -> None:
        """Refuse a table that does not reach over the night.

        Raises
        ------
        InputError
            Saying what it reaches over and what is wanted.
        """
        if np.isfinite(self.at(self.moments(start, end))).all():
            return
        wanted = f"{clock(start, zone)} to {clock(end, zone)}"
        if isinstance(self.source, TideTable):
            first, last = float(self.source.time[0]), float(self.source.time[-1])
            reach = f"reaches from {clock(first, zone)} to {clock(last, zone)}"
            if first <= start and last >= end:
                reach += f", with a step of more than {self.source.gap_s / 3600:g} h between two rows"
        else:
            reach = "gives no height there"
        raise InputError(
            f"{self.name}: {reach}; wanted {wanted} (the last pull and two hours more); add the high or low water before "
            "and after it, and check its date and its zone (--tide-zone)"
        )

    def turns(self, start: float, end: float) -> tuple[Turn, ...]:
        """High and low waters between two moments, in order of time."""
        when = self.moments(start, end)
        height = self.at(when)
        with np.errstate(invalid="ignore"):
            step = np.sign(np.diff(height))
        # level water (two equal readings astride a turn) goes on as before
        for k in range(1, step.size):
            if step[k] == 0:
                step[k] = step[k - 1]
        at = np.flatnonzero(step[:-1] * step[1:] < 0) + 1
        return tuple(Turn(float(when[k]), float(height[k]), bool(step[k - 1] > 0)) for k in at)


def at_secondary(table: TideTable, station: Secondary, *, name: str = "tide table") -> TideTable:
    """Turn high and low waters of a reference station into those of a secondary one.

    A height becomes ``height * factor + add`` with the pair for high or for low water, a time is shifted by the minutes
    for it: the rule of NOAA's and other offices' tables for such stations.

    Raises
    ------
    InputError
        If the table is a series, or the shifts put a high water before the low water that it follows.
    """
    if not table.turning:
        raise InputError(
            f"{name}: differences of a secondary station are made for high and low waters; give a table of those"
        )
    higher = np.empty(table.height.size, bool)
    higher[1:] = np.diff(table.height) > 0
    higher[0] = not higher[1]
    minutes = np.where(higher, station.high_min, station.low_min)
    time = table.time + 60.0 * minutes
    if not (np.diff(time) > 0).all():
        raise InputError(
            f"{name}: the differences put one turn of the tide before another; are they minutes?"
        )
    height = table.height * np.where(higher, station.high_factor, station.low_factor)
    height = height + np.where(higher, station.high_add_m, station.low_add_m)
    step = np.diff(height)
    if not (step * np.diff(table.height) > 0).all():
        raise InputError(
            f"{name}: the differences make a high water lower than its low water; are they metres?"
        )
    return replace(table, time=time, height=height)


def clock(when: float, zone: tzinfo) -> str:
    """A moment in words: ``2027-02-11 20:12 -03:00``."""
    local = datetime.fromtimestamp(when, UTC).astimezone(zone)
    return f"{local:%Y-%m-%d %H:%M} {iso_offset(local)}"


def iso(when: float, zone: tzinfo) -> str:
    """A moment as ISO 8601 with its offset, to the second."""
    return datetime.fromtimestamp(round(when), UTC).astimezone(zone).isoformat(timespec="seconds")


def iso_offset(local: datetime) -> str:
    """Offset of a local time, ``-03:00``."""
    text = f"{local:%z}"
    return f"{text[:3]}:{text[3:5]}"
