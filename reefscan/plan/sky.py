"""Sun and moon over a night: when they rise and set, the twilights, how much of the moon is lit.

The events are crossings of the body's own height, looked for between two moments, so that none is taken from another
day: high summer's dusk after midnight and a polar day without a sunset come out as they are. Positions are astral's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

from astral import Observer
from astral import moon as astral_moon
from astral import sun as astral_sun
from scipy.optimize import brentq

HORIZON_DEG = -0.8333
"""Height of the sun's centre at sunset: 34' of refraction and 16' of its own half."""

TWILIGHTS = (("civil", -6.0), ("nautical", -12.0), ("astronomical", -18.0))
STEP_S = 1200.0
"""Sun and moon are looked at so often: one that shows for less is not seen to rise."""

CLOSE_S = 0.5


@dataclass(frozen=True)
class Event:
    """What happens when: ``sunset``, ``civil dusk``, ``moonrise`` ...; seconds since 1970 UTC."""

    name: str
    time: float


@dataclass(frozen=True)
class Sky:
    """A night's light.

    Attributes
    ----------
    events : tuple of Event
        In order of time.
    lit : float
        Share of the moon's disc that is lit in the middle of the span, 0 to 1.
    sun_up : bool or None
        Where the sun does not cross the horizon: True if it stays up, False if down; else None.
    """

    events: tuple[Event, ...]
    lit: float
    sun_up: bool | None

    def time_of(self, name: str) -> float | None:
        """First time of an event; None where there is none."""
        return next((event.time for event in self.events if event.name == name), None)


def sky(lon: float, lat: float, start: float, end: float) -> Sky:
    """Light between two moments at a place.

    Parameters
    ----------
    lon, lat : float
        WGS 84 degrees; the eye at the water.
    start, end : float
        Seconds since 1970 UTC, at most some days apart.
    """
    place = Observer(latitude=lat, longitude=lon, elevation=0.0)

    def sun(when: float) -> float:
        return float(astral_sun.elevation(place, _moment(when), with_refraction=False))

    def moon(when: float) -> float:
        return _moon_over_horizon(place, when)

    levels = [
        ("sunrise", "sunset", HORIZON_DEG),
        *((f"{name} dawn", f"{name} dusk", at) for name, at in TWILIGHTS),
    ]
    events = _crossings(sun, start, end, levels)
    crosses = any(event.name in ("sunset", "sunrise") for event in events)
    events += _crossings(moon, start, end, [("moonrise", "moonset", 0.0)])
    up = None if crosses else sun(start) > HORIZON_DEG
    return Sky(tuple(sorted(events, key=lambda event: event.time)), lit_share((start + end) / 2), up)


def lit_share(when: float) -> float:
    """Share of the moon's disc that is lit, 0 to 1 (Meeus, Astronomical Algorithms, 2nd ed., formula 48.4).

    Parameters
    ----------
    when : float
        Seconds since 1970 UTC.
    """
    t = (when / 86400.0 + 2440587.5 - 2451545.0) / 36525.0
    d = math.radians(297.8501921 + 445267.1114034 * t)
    sun = math.radians(357.5291092 + 35999.0502909 * t)
    moon = math.radians(134.9633964 + 477198.8675055 * t)
    angle = (
        180.0
        - math.degrees(d)
        - 6.289 * math.sin(moon)
        + 2.100 * math.sin(sun)
        - 1.274 * math.sin(2 * d - moon)
    )
    angle += -0.658 * math.sin(2 * d) - 0.214 * math.sin(2 * moon) - 0.110 * math.sin(d)
    return (1.0 + math.cos(math.radians(angle))) / 2.0


def _moment(when: float) -> datetime:
    return datetime.fromtimestamp(when, UTC)


def _moon_over_horizon(place: Observer, when: float) -> float:
    """Height of the moon's upper limb over the visible horizon, degrees: parallax and refraction taken in."""
    return float(astral_moon.elevation(place, _moment(when))) - 0.125


def _crossings(
    height: Callable[[float], float], start: float, end: float, levels: Sequence[tuple[str, str, float]]
) -> list[Event]:
    """Moments at which a height passes each level, upward and downward, to half a second."""
    out = []
    count = max(1, math.ceil((end - start) / STEP_S))
    times = [start + (end - start) * k / count for k in range(count + 1)]
    values = [height(t) for t in times]
    for rising, setting, level in levels:
        for (t0, v0), (t1, v1) in pairwise(zip(times, values, strict=True)):
            if (v0 < level) != (v1 < level):
                when = float(brentq(lambda t, at=level: height(t) - at, t0, t1, xtol=CLOSE_S))
                out.append(Event(rising if v0 < level else setting, when))
    return out
