"""The rope of each net through its night: one setting, or one a round where a single one would leave too much slack."""

from __future__ import annotations

from dataclasses import dataclass

from reefscan.base.errors import InputError
from reefscan.plan.amounts import said, stated
from reefscan.plan.books import Net
from reefscan.plan.clock import Visit
from reefscan.plan.rope import LATE_S, Allowances, rope_needed, rope_out, slack_beyond
from reefscan.plan.sites import Site
from reefscan.plan.tide import NightTide


@dataclass(frozen=True)
class Ropes:
    """Rope of each round (m), and what is said of it."""

    lengths_m: tuple[float, ...]
    words: tuple[str, ...] = ()


def stands(visit: Visit, tide: NightTide) -> tuple[float, float]:
    """Lowest water while a net lies, and highest until two hours after its pull was due (m over the grid's zero).

    A late pull may drown a float, so it counts for the highest; loose rope is a matter of the hours that are planned.
    """
    low, _ = tide.span(visit.set_time, visit.pull_time)
    _, high = tide.span(visit.set_time, visit.pull_time + LATE_S)
    return low, high


def ropes(site: Site, net: Net, visits: tuple[Visit, ...], last_pull: float, tide: NightTide, add: Allowances, limit_m: float, unit: str = "m") -> Ropes:  # fmt: skip
    """Rope for every round.

    Parameters
    ----------
    last_pull : float
        Of the whole night: the float stays up until two hours after it.
    limit_m : float
        Slack at low water, beyond what the rule itself asks for, from which a floating line catches propellers.
    unit : {"m", "ft", "fathom"}
        Of lengths in sentences.

    Returns
    -------
    Ropes
        One length for the night, unless that leaves more slack than the limit and lengths of their own leave less.

    Raises
    ------
    InputError
        If the net's rope does not reach.
    """
    by_round = [stands(visit, tide) for visit in visits]
    low = min(bottom for bottom, _ in by_round)
    _, high = tide.span(visits[0].set_time, last_pull + LATE_S)
    one = _out(site, net, high, add, unit)
    beyond = slack_beyond(one, site.depth_m, low, add)
    if net.line == "sinking" or beyond <= limit_m:
        return Ropes((one,) * len(visits))
    own = [_out(site, net, top, add, unit) for _, top in by_round]
    most = max(
        slack_beyond(rope, site.depth_m, bottom, add) for rope, (bottom, _) in zip(own, by_round, strict=True)
    )
    told = f"one rope for the night is more than {stated(limit_m, unit)} too long at low water, and loose floating line catches propellers"
    weight = "weight the line's upper third so that it hangs, or use a sinking one"
    if set(own) == {one}:
        return Ropes(tuple(own), (f"{told}: {weight}",))
    left = "" if most <= limit_m else f"; {said(most, unit)} too much are left: {weight}"
    return Ropes(tuple(own), (f"{told}: set it anew at each round as stated there{left}",))


def _out(site: Site, net: Net, high_m: float, add: Allowances, unit: str) -> float:
    needed = rope_needed(site.depth_m, high_m, add)
    rope = rope_out(needed, net)
    if rope is None:
        raise InputError(
            f"site {site.id}: {said(needed, unit)} of rope are needed, and net {net.name} has {stated(net.longest_m, unit)} to its last mark; "
            "leave the site out with --drop, or give a longer rope"
        )
    return rope
