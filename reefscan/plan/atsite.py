"""What is done at a site: what the sounder should read, where the net is let go, which way the boat lies to haul it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime

from pygeomag import GeoMag

from reefscan.plan.amounts import KNOT, said
from reefscan.plan.books import Forecast, Stream
from reefscan.plan.rope import line_pull_kgf
from reefscan.plan.sites import Site
from reefscan.plan.spacing import GEOD, STILL_KN

DRIFT = 0.03
"""A boat drifts with so much of the wind's speed: common practice, no source. It decides which of wind and stream is stronger."""

AGAINST_DEG = 60.0
AGAINST_WIND_KN, AGAINST_STREAM_KN = 10.0, 0.5
"""Wind against tide is warned of from these on, where their ways differ from opposite by less than 60 degrees (guesses)."""

PULL_SHARE = 0.5
"""Share of a float's lift, or of a net's weight, from which the pull on the line is warned of: the estimate may be off by two."""

LEAST_LOOK_M = 0.5


@dataclass(frozen=True)
class Magnet:
    """Declination (degrees, east positive) by the World Magnetic Model; ``current`` is False outside the model's years."""

    east_deg: float
    current: bool

    def of(self, true_deg: float) -> float:
        """A true bearing as a compass without deviation shows it."""
        return (true_deg - self.east_deg) % 360.0


def magnet(lon: float, lat: float, when: float) -> Magnet:
    """Declination at a place and moment (WMM, Chulliat et al. 2025, doi:10.25923/prap-8p17; doi from memory)."""
    moment = datetime.fromtimestamp(when, UTC)
    start = datetime(moment.year, 1, 1, tzinfo=UTC).timestamp()
    year = moment.year + (when - start) / (datetime(moment.year + 1, 1, 1, tzinfo=UTC).timestamp() - start)
    model = GeoMag(base_year=min(max(moment.year, 2010), 2029))
    current = 2010 <= year <= 2030
    result = model.calculate(glat=lat, glon=lon, alt=0.0, time=year, allow_date_outside_lifespan=True)
    return Magnet(float(result.d), current)


def stream_at(forecast: Forecast | None, starts: tuple[float, ...], when: float) -> Stream | None:
    """The stream that holds at a moment: the last row that began, else the first; None where none is stated.

    Parameters
    ----------
    starts : tuple of float
        Moment of each row (s since 1970 UTC), in the forecast's order.
    """
    if forecast is None or not forecast.stream:
        return None
    rows = sorted(zip(starts, forecast.stream, strict=True), key=lambda row: row[0])
    begun = [row for start, row in rows if start <= when]
    return begun[-1] if begun else rows[0][1]


def streams_between(forecast: Forecast | None, starts: tuple[float, ...], begin: float, end: float) -> tuple[Stream, ...]:  # fmt: skip
    """Every stream that holds at some moment from ``begin`` to ``end``: a float that lies through a turn meets both.

    Parameters
    ----------
    starts : tuple of float
        Moment of each row (s since 1970 UTC), in the forecast's order.
    """
    first = stream_at(forecast, starts, begin)
    if forecast is None or first is None:
        return ()
    later = [row for start, row in zip(starts, forecast.stream, strict=True) if begin < start <= end]
    return (first, *later)


def sounder(site: Site, tide_m: float, transducer_m: float) -> float:
    """What the sounder reads (m) over the site: depth + tide - transducer."""
    return site.depth_m + tide_m - transducer_m


def look_again(site: Site, wave_m: float) -> float:
    """How far off (m) the sounder's reading is a reason to look again.

    The depth's own doubt, half a wave, and what the floor's slope makes of the position's doubt; at least half a metre.
    """
    return max(LEAST_LOOK_M, site.depth_95_m + wave_m / 2 + site.steep * site.position_m)


def drift_m(water_m: float, sink_m_per_s: float, stream: Stream | None) -> float:
    """How far (m) a net is carried while it sinks through ``water_m`` of water.

    Examples
    --------
    >>> round(drift_m(12.0, 0.5, Stream(to_deg=90, speed_kn=1)), 1)
    12.3
    """
    return 0.0 if stream is None else water_m / sink_m_per_s * stream.speed_kn * KNOT


def release(site: Site, drift: float, stream: Stream | None) -> tuple[float, float]:
    """Longitude and latitude where the net is let go so that it lands on the site: up-stream by its drift."""
    if stream is None or drift <= 0:
        return site.lon, site.lat
    lon, lat, _ = GEOD.fwd(site.lon, site.lat, (stream.to_deg + 180.0) % 360.0, drift)
    return round(float(lon), 7), round(float(lat), 7)


@dataclass(frozen=True)
class Heading:
    """Which way the boat's head lies to haul (true degrees) and into what: ``stream``, ``wind`` or nothing stated."""

    true_deg: float | None
    into: str


def haul_heading(stream: Stream | None, wind_kn: float | None, wind_from_deg: float | None) -> Heading:
    """Head up into the stream, or into the wind where that moves the boat more."""
    by_stream = stream.speed_kn if stream is not None else 0.0
    by_wind = DRIFT * wind_kn if wind_kn is not None and wind_from_deg is not None else 0.0
    if stream is not None and by_stream >= max(by_wind, STILL_KN):
        return Heading((stream.to_deg + 180.0) % 360.0, "stream")
    if wind_from_deg is not None and by_wind > 0:
        return Heading(wind_from_deg % 360.0, "wind")
    return Heading(None, "")


def wind_against(stream: Stream | None, wind_kn: float | None, wind_from_deg: float | None) -> bool:
    """Whether the wind blows against the stream there: short, steep seas."""
    if stream is None or wind_kn is None or wind_from_deg is None:
        return False
    if stream.speed_kn < AGAINST_STREAM_KN or wind_kn < AGAINST_WIND_KN:
        return False
    apart = abs((stream.to_deg - wind_from_deg + 180.0) % 360.0 - 180.0)
    return apart <= AGAINST_DEG


def pulled_under(
    rope_m: float, diameter_m: float, lift_kgf: float | None, stream: Stream | None, unit: str = "m"
) -> str:
    """Words where the drag on the line takes much of the float's lift, or the lift is not known; else empty."""
    if stream is None or stream.speed_kn < STILL_KN:
        return ""
    pull = line_pull_kgf(rope_m, diameter_m, stream.speed_kn)
    words = f"{stream.speed_kn:g} kn on {said(rope_m, unit)} of {diameter_m * 1000:g} mm line pulls some {pull:.1f} kgf"
    if lift_kgf is None:
        return f"{words}; the lift of the float is not stated, so it may be pulled under" if pull >= 1 else ""
    if pull < PULL_SHARE * lift_kgf:
        return ""
    return f"{words} on a float that lifts {lift_kgf:g} kgf: the stream may pull it under; use a larger float, thinner line or slack water"


def dragged(rope_m: float, diameter_m: float, weight_kg: float | None, stream: Stream | None) -> str:
    """Words where the line pulls on the net with much of its weight; the other half of the drag acts there."""
    if stream is None or weight_kg is None:
        return ""
    pull = line_pull_kgf(rope_m, diameter_m, stream.speed_kn)
    if pull < PULL_SHARE * weight_kg:
        return ""
    return f"{stream.speed_kn:g} kn on the line pulls some {pull:.1f} kgf on a net of {weight_kg:g} kg: it may walk; use more weight or slack water"


def turned(degrees: float | None) -> float | None:
    """A direction to a tenth of a degree, 0 to 359.9; None stays."""
    if degrees is None or not math.isfinite(degrees):
        return None
    return round(degrees % 360.0, 1) % 360.0
