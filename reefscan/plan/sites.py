"""The places that a net could go to, and the hard limits that leave some of them out, each with its reason."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from reefscan.base.s44 import ASSUMED, Z95, tvu
from reefscan.base.units import far_unit
from reefscan.plan.amounts import said, stated
from reefscan.plan.books import Net
from reefscan.plan.rope import Allowances, deepest, rope_needed

UNDER_KEEL_M = 1.0
"""Water that is wanted under the keel beside half a wave and the depth's own uncertainty (the issue's figure)."""

BREAKS = 2.5
"""Swell may break where the water is under so many times its height (the issue's figure; common practice, no source)."""


class Reason(str):
    """A sentence why a place gets no net: ``about`` is what it begins with and reasons are counted by, before the case's own
    figures and names."""

    about: str

    def __new__(cls, about: str, case: str = "") -> Reason:
        made = super().__new__(cls, about + case)
        made.about = about
        return made


@dataclass(frozen=True)
class OffGround:
    """Ground that a float keeps off, as one site has it.

    Parameters
    ----------
    what, name : str
        As a sentence calls it: ``closed ground``, ``North Reef``.
    metres : float
        From the net to it; 0 inside.
    keep_m : float
        So far the float's whole circle stays away.
    bound : bool
        A site that the person keeps is left out all the same.
    advice : str
        What may be said to allow it.
    """

    what: str
    name: str
    metres: float
    keep_m: float
    bound: bool = True
    advice: str = ""


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
    barred : str
        Why no net may go there whatever its rope; empty if nothing is known against it.
    off : tuple of OffGround
        The nearest of each sort of ground that its float keeps off.
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
    barred: str = ""
    off: tuple[OffGround, ...] = ()
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
    unit : {"m", "ft", "fathom"}
        Of lengths in sentences.
    """

    low_m: float
    high_m: float
    add: Allowances
    draft_m: float
    unit: str = "m"

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


def against(site: Site, water: Water, nets: tuple[Net, ...], *, forced: bool = False) -> Reason:
    """Why a site is left out by depth, keel, swell or rope; empty if nothing is known against it.

    Parameters
    ----------
    nets : tuple of Net
        All that are aboard, longest rope first.
    forced : bool
        The person keeps it: swell is then warned of and is no reason.
    """
    if not math.isfinite(site.depth_m):
        return Reason("its depth is not known")
    over, keel, unit = water.over(site), water.keel_m + site.depth_95_m, water.unit
    if over < keel:
        return Reason(
            "too shallow for the boat",
            f": {said(over, unit)} of water at its lowest, wanted {said(keel, unit)} (draft "
            f"{stated(water.draft_m, far_unit(unit))}, {stated(UNDER_KEEL_M, far_unit(unit))}, half a wave, {said(site.depth_95_m, unit)} of doubt in the depth)",
        )
    if breaks(site, water) and not forced:
        return Reason(
            "swell may break there",
            f": {said(over, unit)} of water at its lowest is under {BREAKS:g} times the wave height of "
            f"{stated(water.add.wave_m, far_unit(unit))}",
        )
    reach = deepest(nets[0], water.high_m, water.add)
    if site.depth_m > reach + 1e-9:
        need = rope_needed(site.depth_m, water.high_m, water.add)
        longest = stated(nets[0].longest_m, unit)
        return Reason(
            "out of the rope's reach",
            f": wanted {said(need, unit)}, the longest has {longest} to its last mark",
        )
    return Reason("")
