"""From all the run's sites to those that get a net: limits first, each with its reason, then the exact choice."""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from reefscan.base.errors import InputError
from reefscan.base.units import far_unit
from reefscan.plan.amounts import said
from reefscan.plan.books import Net, Stream
from reefscan.plan.choose import Choice, Question, choose
from reefscan.plan.legs import Place, Waters, off_water_m
from reefscan.plan.model import Asked, Known, LeftOut
from reefscan.plan.rope import deepest, reach_words, rope_needed
from reefscan.plan.sites import Reason, Site, Water, against
from reefscan.plan.spacing import between, circles, off_ground, too_far, too_near, wanted_apart

MOST_SITES = 500
"""Best sites that are chosen among: the programme is proved best within seconds for so many."""

BY_HAND = 50.0
"""Score of a site that was set by hand, which no run scored: neither sought nor shunned (a guess)."""

LEAST_KNOWN = 0.25
"""Share of the sites that counts as least known, by the run's own confidence."""


NO_SITE = "the run lists no site; scan another place or with another recipe"


@dataclass(frozen=True)
class Field:
    """What is left to choose among, and where the boat gets to each.

    Attributes
    ----------
    sites : tuple of Site
    berths : tuple of (row, col)
        Cell from which each is reached.
    left_out : tuple of LeftOut
    start : Place
        Where ways begin: the launch, or the water next to it.
    dock : (row, col)
    more : int
        Sites within all limits that are not chosen among, since there are better ones enough.
    """

    sites: tuple[Site, ...]
    berths: tuple[tuple[int, int], ...]
    left_out: tuple[LeftOut, ...]
    start: Place
    dock: tuple[int, int]
    more: int = 0


@dataclass(frozen=True)
class Taken:
    """Sites that get a net, reserves, and how good the choice is; numbers are rows of the field."""

    rows: tuple[int, ...]
    reserves: tuple[int, ...]
    choice: Choice


def field_of(asked: Asked, known: Known, water: Water, waters: Waters) -> Field:
    """Leave out what no net can go to.

    Raises
    ------
    InputError
        If no site is left, a site to keep is not, or the launch is not at navigable water.
    """
    _known_ids(asked, known)
    launch = known.to_grid(*asked.launch)
    dock = waters.dock(launch, asked.launch_reach_m)
    if dock is None:
        far = off_water_m(waters, launch)
        raise InputError(
            f"--launch {asked.launch[1]:g},{asked.launch[0]:g}: the nearest water of this grid that is deep enough for the boat "
            f"({said(waters.keel_m, asked.unit)} at low tide) lies {said(far, far_unit(asked.unit), 0)} away, and legs are never laid over land or ground that the grid "
            f"does not know; name the place where you come to known water, or say --launch-reach"
        )
    middle = waters.ground.middle(dock)
    start = launch if waters.sees(launch, middle) else middle
    sites: list[Site] = []
    berths: list[tuple[int, int]] = []
    left: list[LeftOut] = []
    for site in known.sites:
        found = _berth_or_reason(asked, known, water, waters, site, dock)
        if isinstance(found, Reason):
            left.append(LeftOut(site.id, found))
        elif len(sites) < MOST_SITES or site.id in asked.wishes.keep:
            sites.append(site)
            berths.append(found)
    _refuse_none(asked, water, sites, left)
    more = len(known.sites) - len(sites) - len(left)
    return Field(tuple(sites), tuple(berths), tuple(left), start, dock, more)


def _berth_or_reason(asked: Asked, known: Known, water: Water, waters: Waters, site: Site, dock: tuple[int, int]) -> tuple[int, int] | Reason:  # fmt: skip
    """The cell from which a site is reached, or why no net goes to it."""
    if site.id in asked.wishes.drop:
        return Reason("it is dropped, as you asked")
    forced = site.id in asked.wishes.keep
    why = Reason(site.barred) or against(site, water, asked.nets, forced=forced)
    if why:
        return why
    circle = float(circles((site,), water, asked.nets)[0])  # of a place whose depth is known
    if near := off_ground(site, circle, asked.unit, forced=forced):
        return near[0]
    berth = waters.berth(known.to_grid(site.lon, site.lat))
    if berth is None:
        return Reason(
            "the boat does not get to it", ": land, shoal or unknown ground all round at the lowest tide"
        )
    if not waters.joined(berth, dock):
        return Reason("no way by water leads there from the launch over ground that the grid knows")
    return berth


def take(asked: Asked, field: Field, water: Water, streams: tuple[Stream, ...]) -> Taken:
    """Choose the sites, then reserves that stand clear of all of them."""
    sites, nets = field.sites, asked.nets
    gap = between(sites)
    near = too_near(gap, wanted_apart(circles(sites, water, nets), asked.boat.length_m), streams)
    far = too_far(gap, asked.wishes.within_m)
    score = np.array([site.score if site.score == site.score else BY_HAND for site in sites])
    names = {name: k for k, name in enumerate(sorted({site.feature for site in sites if site.feature}))}
    one = len(names) < 2 and all(site.feature for site in sites)  # no other feature to go to
    most = asked.wishes.per_feature or (len(nets) if one or len(nets) == 1 else len(nets) - 1)
    ids = [site.id for site in sites]
    sure = np.array([site.confidence for site in sites])
    known = np.isfinite(sure)
    line = np.quantile(sure[known], LEAST_KNOWN) if known.any() else 0.0
    made = choose(
        Question(
            score=score,
            apart=near,
            far=far,
            feature=np.array([names.get(site.feature, -1) for site in sites]),
            needed_m=np.array([rope_needed(site.depth_m, water.high_m, water.add) for site in sites]),
            ropes_m=tuple(net.longest_m for net in nets),
            per_feature=most,
            keep=tuple(ids.index(name) for name in asked.wishes.keep),
            unknown=~known | (sure <= line),
            explore=asked.wishes.explore,
            # of equal totals the nets that stand together: every round goes the way between them
            turn=np.argsort(np.argsort(gap.distance_m[int(np.argmax(score))], kind="stable"), kind="stable"),
        )
    )
    reserves: list[int] = []
    for k in np.argsort(-score, kind="stable"):
        others = [*made.rows, *reserves]
        if len(reserves) >= asked.wishes.reserves:
            break
        if k not in others and not near[k, others].any() and not far[k, others].any():
            reserves.append(int(k))
    return Taken(made.rows, tuple(reserves), made)


def given_to(sites: list[Site], nets: tuple[Net, ...], water: Water) -> list[Net]:
    """A net for each site: to the deepest first, the shortest rope that reaches.

    The choice has made sure that there is one for each.
    """
    left = sorted(nets, key=lambda net: net.longest_m)
    out: dict[int, Net] = {}
    for k in sorted(range(len(sites)), key=lambda k: (-sites[k].depth_m, k)):
        net = next(net for net in left if sites[k].depth_m <= deepest(net, water.high_m, water.add) + 1e-6)
        left.remove(net)
        out[k] = net
    return [out[k] for k in range(len(sites))]


def _known_ids(asked: Asked, known: Known) -> None:
    ids = [site.id for site in known.sites]
    for flag, names in (("--keep", asked.wishes.keep), ("--drop", asked.wishes.drop)):
        for name in names:
            if name in known.unlisted:
                raise InputError(f"{flag} {name}: {known.unlisted[name]}")
            if name not in ids:
                near = difflib.get_close_matches(name, ids, n=1)
                hint = f"; did you mean {near[0]}?" if near else _where_ids_stand(ids)
                raise InputError(f"{flag} {name}: the run has no such site{hint}")
    if asked.wishes.explore > len(asked.nets):
        raise InputError(f"--explore {asked.wishes.explore}: there are {len(asked.nets)} nets")
    if len(asked.wishes.keep) > len(asked.nets):
        raise InputError(f"--keep names {len(asked.wishes.keep)} sites for {len(asked.nets)} nets")


def _where_ids_stand(ids: list[str]) -> str:
    """Whoever wrote a number of the list or a waypoint's name has not met an id yet."""
    return (
        f"; wanted its id, such as {ids[0]}: it stands at the foot of its card and in candidates.geojson"
        if ids
        else ""
    )


def _refuse_none(asked: Asked, water: Water, sites: list[Site], left: list[LeftOut]) -> None:
    reasons = {row.id: row.reason for row in left}
    for name in asked.wishes.keep:
        if name in reasons:
            raise InputError(f"--keep {name}: {reasons[name]}")
    if sites:
        return
    if not left:
        raise InputError(NO_SITE)
    reach = reach_words(asked.nets[0], water.high_m, water.add, asked.unit)
    raise InputError(
        f"no site is left for a net: {counted(left)}; with {said(water.high_m, asked.unit)} of tide, deepest workable site: {reach}. "
        "No plan was made: stay ashore or change what you asked for"
    )


def counted(left: Sequence[LeftOut]) -> str:
    """Why sites are left out, the commonest reasons with their numbers."""
    heads = Counter(row.reason.about for row in left)
    return ", ".join(f"{count} {reason}" for reason, count in heads.most_common(4))
