"""Which two sites cannot both hold a net: floats that could meet, baits that compete, places too far apart."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from pyproj import Geod

from reefscan.base.units import METRES_PER, far_unit
from reefscan.plan.books import Net, Stream
from reefscan.plan.rope import rope_needed, swing, up_to_mark
from reefscan.plan.sites import Reason, Site, Water

Floats = NDArray[np.float64]
Pairs = NDArray[np.bool_]
GEOD = Geod(ellps="WGS84")

CLEAR_M = 10.0
"""Room beside two watch circles and two boat lengths (the issue's figure); as much is kept between a circle and closed ground."""

BAIT_ALONG_M = 120.0
"""Along the stream two baits nearer than this may compete: traps drew lobsters from up to 120 m down-current
(Jernakoff and Phillips 1988, from memory)."""

BAIT_ACROSS_M = 30.0
"""Half the width of what a bait's scent reaches across the stream: common practice, no source."""

STILL_KN = 0.1
"""A stream that is slower carries no scent one way (a guess)."""


@dataclass(frozen=True)
class Between:
    """Geodesics between all pairs (WGS 84).

    Attributes
    ----------
    distance_m, azimuth_deg : ndarray, shape (n, n)
        True azimuth from the row to the column.
    """

    distance_m: Floats
    azimuth_deg: Floats


def between(sites: tuple[Site, ...]) -> Between:
    """Distances and azimuths of all pairs."""
    lon, lat = (np.array([getattr(site, name) for site in sites]) for name in ("lon", "lat"))
    n = len(sites)
    a, b = np.meshgrid(np.arange(n), np.arange(n), indexing="ij")
    azimuth, _, distance = GEOD.inv(lon[a].ravel(), lat[a].ravel(), lon[b].ravel(), lat[b].ravel())
    return Between(np.asarray(distance).reshape(n, n), np.asarray(azimuth).reshape(n, n) % 360.0)


def most_rope(site: Site, water: Water, nets: tuple[Net, ...]) -> float:
    """Longest rope (m) that any net aboard would be let out to at a site: the widest circle it can have there."""
    needed = rope_needed(site.depth_m, water.high_m, water.add)
    return max(min(up_to_mark(needed, net.marks_m), net.longest_m) for net in nets)


def circles(sites: tuple[Site, ...], water: Water, nets: tuple[Net, ...]) -> Floats:
    """Watch circle of each site (m) at lowest water, the net's own radius included."""
    wide = max(net.radius_m for net in nets)
    return np.array([swing(most_rope(s, water, nets), s.depth_m, water.low_m) + wide for s in sites])


def wanted_apart(circle_m: Floats, boat_m: float) -> Floats:
    """Distance (m) wanted between each pair: both circles, two boat lengths and 10 m.

    Examples
    --------
    >>> float(wanted_apart(np.array([11.8, 20.0]), 6.0)[0, 1])
    53.8
    """
    return np.asarray(circle_m[:, None] + circle_m[None, :] + 2 * boat_m + CLEAR_M)


def off_ground(site: Site, circle_m: float, unit: str, *, forced: bool = False) -> tuple[Reason, ...]:
    """Ground that the float of a net there could come to nearer than wanted, in words.

    Parameters
    ----------
    circle_m : float
        Watch circle at lowest water (m).
    forced : bool
        The person keeps the site: only what binds all the same is told.

    Examples
    --------
    >>> from reefscan.plan.sites import OffGround
    >>> site = Site("a", 0.0, 0.0, 9.0, off=(OffGround("closed ground", "North", 21.0, 10.0),))
    >>> off_ground(site, 11.0, "m"), off_ground(site, 11.1, "m")
    ((), ('too near closed ground (North): it lies 21 m away; wanted 22 m: the circle of its float, 12 m, and 10 m more',))
    >>> off_ground(site, 11.1, "fathom")[0][:69]
    'too near closed ground (North): it lies 68 ft away; wanted 70 ft: the'
    """
    out, far = [], far_unit(unit)
    for ground in site.off:
        wanted = circle_m + ground.keep_m
        if ground.metres >= wanted or (forced and not ground.bound):
            continue
        if ground.metres <= 0:
            out.append(Reason(f"it lies in {ground.what}", f" ({ground.name}){ground.advice}"))
            continue
        # what is wanted is told up and what is there down: 21.4 of 21.1 would read as enough
        there, circle, keep = (
            metres / METRES_PER[far] for metres in (ground.metres, circle_m, ground.keep_m)
        )
        circle, keep = math.ceil(circle), math.ceil(keep)
        out.append(
            Reason(
                f"too near {ground.what}",
                f" ({ground.name}): it lies {math.floor(there)} {far} away; wanted {circle + keep} {far}: the circle of its float, "
                f"{circle} {far}, and {keep} {far} more{ground.advice}",
            )
        )
    return tuple(out)


def too_near(gap: Between, wanted_m: Floats, streams: tuple[Stream, ...]) -> Pairs:
    """Pairs that are nearer than wanted, or along one of the streams so near that their baits compete."""
    out = gap.distance_m < wanted_m
    for stream in streams:
        if stream.speed_kn < STILL_KN:
            continue
        angle = np.radians(gap.azimuth_deg - stream.to_deg)
        along, across = np.abs(gap.distance_m * np.cos(angle)), np.abs(gap.distance_m * np.sin(angle))
        out |= (along < BAIT_ALONG_M) & (across < BAIT_ACROSS_M)
    np.fill_diagonal(out, False)
    return np.asarray(out | out.T)


def too_far(gap: Between, within_m: float | None) -> Pairs:
    """Pairs that are farther apart than the person wants; none where no limit is set."""
    if within_m is None:
        return np.zeros(gap.distance_m.shape, bool)
    out = gap.distance_m > within_m
    return np.asarray(out | out.T)
