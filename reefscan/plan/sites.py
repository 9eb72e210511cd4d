"""The places that a net could go to, and the hard limits that leave some of them out, each with its reason."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from reefscan.base.s44 import ASSUMED, Z95, tvu
from reefscan.plan.books import Net
from reefscan.plan.rope import Allowances, deepest, rope_needed

UNDER_KEEL_M = 1.0
"""Water that is wanted under the keel beside half a wave and the depth's own uncertainty (the issue's figure)."""

BREAKS = 2.5
"""Swell may break where the water is under so many times its height (the issue's figure; common practice, no source)."""


@dataclass(frozen=True)
class Site:
    """One candidate, as the plan takes it.

    Parameters
    ----------
    id : str
    lon, lat : float
        WGS 84 degrees.
    depth_m : float
        Below the grid's zero, positive down; NaN unknown.
    sigma_m : float
        Standard uncertainty of the depth (m); 0 or NaN where the grid states none.
    score, confidence : float
        Of the run; NaN for a site set by hand.
    feature : str
        What it lies at; empty for none.
    name, kind, note, why : str
    hard_m : float
        Distance to the nearest hard structure that was given (m); NaN unknown.
    flags : tuple of str
    steep : float
        Gradient of the floor, metres a metre, and ``position_m`` how far off the place may be: both make the sounder differ.
    """

    id: str
    lon: float
    lat: float
    depth_m: float
    sigma_m: float = math.nan
    score: float = math.nan
    confidence: float = math.nan
    feature: str = ""
    name: str = ""
    kind: str = ""
    note: str = ""
    why: str = ""
    hard_m: float = math.nan
    steep: float = 0.0
    position_m: float = 0.0
    flags: tuple[str, ...] = field(default=())

    @property
    def depth_95_m(self) -> float:
        """How far the depth may be off (m, 95 %): the grid's own, else IHO S-44 order 1a, which is a guess."""
        if math.isfinite(self.sigma_m) and self.sigma_m > 0:
            return Z95 * self.sigma_m
        return float(tvu(ASSUMED, self.depth_m))


@dataclass(frozen=True)
class Water:
    """The night's water, from the first set to two hours after the last pull can be.

    Parameters
    ----------
    low_m, high_m : float
        Lowest and highest water over the grid's zero.
    add : Allowances
    draft_m : float
        Of the boat.
    stand_off_m : float
        Wanted from hard structure.
    """

    low_m: float
    high_m: float
    add: Allowances
    draft_m: float
    stand_off_m: float = 0.0

    @property
    def keel_m(self) -> float:
        """Water (m) that the boat wants: its draft, a metre, half a wave."""
        return self.draft_m + UNDER_KEEL_M + self.add.wave_m / 2

    def over(self, site: Site) -> float:
        """Water over a site (m) when it is lowest."""
        return site.depth_m + self.low_m


def breaks(site: Site, water: Water) -> bool:
    """Whether the stated waves may break over a site when the water is lowest."""
    return water.over(site) < BREAKS * water.add.wave_m


def against(site: Site, water: Water, nets: tuple[Net, ...], *, forced: bool = False) -> str:
    """Why a site is left out by depth, keel, rope, swell or stand-off; empty if nothing is known against it.

    Parameters
    ----------
    nets : tuple of Net
        All that are aboard, longest rope first.
    forced : bool
        The person keeps it: swell and stand-off are then warned of and are no reason.
    """
    if not math.isfinite(site.depth_m):
        return "its depth is not known"
    over, keel = water.over(site), water.keel_m + site.depth_95_m
    if over < keel:
        return (
            f"too shallow for the boat: {over:.1f} m of water at its lowest, wanted {keel:.1f} m (draft {water.draft_m:g} m, "
            f"{UNDER_KEEL_M:g} m, half a wave, {site.depth_95_m:.1f} m of doubt in the depth)"
        )
    if breaks(site, water) and not forced:
        return (
            f"swell may break there: {over:.1f} m of water at its lowest is under {BREAKS:g} times the wave height of "
            f"{water.add.wave_m:g} m"
        )
    reach = deepest(nets[0], water.high_m, water.add)
    if site.depth_m > reach + 1e-9:
        need = rope_needed(site.depth_m, water.high_m, water.add)
        return f"out of the rope's reach: wanted {need:.1f} m, the longest has {nets[0].longest_m:g} m to its last mark"
    if math.isfinite(site.hard_m) and site.hard_m < water.stand_off_m and not forced:
        return f"{site.hard_m:.0f} m from hard structure; wanted {water.stand_off_m:g} m"
    return ""
