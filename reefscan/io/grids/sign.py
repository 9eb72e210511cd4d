"""Which way the numbers count: elevations, positive up, or depths, positive down."""

from __future__ import annotations

from typing import Any

import numpy as np

from reefscan.base.errors import AmbiguousError
from reefscan.base.question import Question
from reefscan.io import words
from reefscan.io.georef import CrsFacts
from reefscan.io.grids import probe
from reefscan.io.grids.stored import Scale
from reefscan.io.grids.variables import Choice


def sign_of(
    choice: Choice,
    tags: dict[str, str],
    facts: CrsFacts,
    sample: probe.Sample,
    values: Any,
    scale: Scale,
    name: str,
    notes: list[str],
) -> float:
    """+1 for elevations, -1 for depths.

    What is stated (``positive``, standard_name, a vertical axis that points down) goes first, then the band's
    name, then which side of zero looks like land.

    Raises
    ------
    AmbiguousError
        If these contradict each other or the numbers, or none decides.
    """
    elev = values * scale.metres + scale.offset_m
    low, high = (float(elev.min()), float(elev.max())) if values.size else (0.0, 0.0)
    span = f"{low:.6g} to {high:.6g} m"
    stated = _stated(choice, tags, facts, high)
    if stated == "down":
        if high < 0.0:
            raise AmbiguousError(
                f"{name}: says its values are depths, positive down, but they are all below zero ({span}); "
                "say --positive up if they are elevations",
                asks=which_way(elev, sample, scale),
            )
        return -1.0
    if stated == "up" and low < 0.0:
        return 1.0
    named = _named(choice, tags)
    if choice.driver == "S102" or values.size == 0:
        return -1.0 if named == "down" else 1.0
    if high <= 0.0:
        if named == "down":
            notes.append(f"the band is called {choice.label!r} but runs {span}: taken for elevations")
        return 1.0
    if low >= 0.0:
        if named == "down":
            return -1.0
        if stated == "up":
            notes.append(f"all of it is land: elevations run {span}")
            return 1.0
        raise AmbiguousError(
            f"{name}: elevations run {low:.6g} to {high:.6g} m above zero; is this depth, positive down? "
            "Say --positive down (or --positive up if it is all land)",
            asks=which_way(elev, sample, scale),
        )
    return _by_shore(choice, named, sample, scale, elev, name, notes)


def _by_shore(
    choice: Choice, named: str, sample: probe.Sample, scale: Scale, elev: Any, name: str, notes: list[str]
) -> float:
    """The sign where values lie on both sides of zero: by the band's name, else by the side that looks like land."""
    span = f"{float(elev.min()):.6g} to {float(elev.max()):.6g} m"
    shore = probe.shore(sample, scale.metres, scale.offset_m)
    reading = shore.reading() if shore is not None else ""
    if named:
        if reading and reading != named:
            wrong = f"the band is called {choice.label!r} but the side of zero that looks like land says otherwise ({span}); say --positive up or --positive down"
            raise AmbiguousError(f"{name}: {wrong}", asks=which_way(elev, sample, scale))
        return 1.0 if named == "up" else -1.0
    if shore is None:  # a handful of cells on the other side of zero
        if float((elev < 0).mean()) > 0.5:
            return 1.0
        wrong = f"nearly all values are above zero ({span}); are they depths? Say --positive down, or --positive up"
        raise AmbiguousError(f"{name}: {wrong}", asks=which_way(elev, sample, scale))
    if not reading:
        raise AmbiguousError(
            f"{name}: values lie on both sides of zero ({span}) and nothing says which side is water; "
            "say --positive up (elevation) or --positive down (depth)",
            asks=which_way(elev, sample, scale),
        )
    return _by_land(reading, span, notes)


def _stated(choice: Choice, tags: dict[str, str], facts: CrsFacts, high: float) -> str:
    """What the file states: ``up``, ``down`` or nothing."""
    stated = {"up": "up", "down": "down"}.get(tags.get("positive", "").lower(), "")
    stated = stated or words.STANDARD_NAMES.get(tags.get("standard_name", ""), "")
    up_by_name = words.says(choice.label.lower(), words.UP_WORDS) or choice.driver == "BAG"
    if not stated and facts.vertical_down and not up_by_name and high >= 0.0:
        return "down"  # the axis of a compound CRS is often written carelessly: a name beats it
    return stated


def _named(choice: Choice, tags: dict[str, str]) -> str:
    """What the name of the band says: ``up``, ``down`` or nothing."""
    label = choice.label.lower()
    named = "down" if words.says(label, words.DOWN_WORDS) else ""
    named = named or ("up" if words.says(label, words.UP_WORDS) else "")
    return named or words.side_of(tags.get("long_name")) or words.side_of(tags.get("units"))


def which_way(elev: Any, sample: probe.Sample, scale: Scale) -> Question:
    """The question which way values count, with what would be water and land under each answer.

    Parameters
    ----------
    elev : ndarray
        Known values of the sample as they would be elevations, metres.
    sample : Sample
        Its edges tell on which side land would lie.
    scale : Scale
    """
    choices = []
    for word, what, z, sign in (("up", "elevations", elev, 1.0), ("down", "depths", -elev, -1.0)):
        wet = float((z < 0).mean()) if len(z) else 0.0
        if wet == 0.0:
            speaks = f"all of it would be land, {z.min():.4g} to {z.max():.4g} m high"
        elif wet == 1.0:
            speaks = f"all of it would be under water, {-z.max():.4g} to {-z.min():.4g} m deep"
        else:
            land = _land_side(sample, scale, sign)
            speaks = f"{100 * wet:.0f} % would be under water, to {-z.min():.4g} m deep"
            speaks += f"; land would lie mostly in the {land}" if land else ""
        choices.append((word, f"{what}: {speaks}"))
    return Question("--positive", "Do its numbers count up (elevations) or down (depths)?", tuple(choices))


def _land_side(sample: probe.Sample, scale: Scale, sign: float) -> str:
    """The edge with the most land under a sign; empty where none has more than the others."""
    share = {}
    for side, strips in zip(("north", "west", "south", "east"), sample.edges, strict=True):
        z = np.concatenate([strip.ravel() for strip in strips]) if strips else np.empty(0)
        z = sign * (z[np.isfinite(z)] * scale.metres + scale.offset_m)
        if z.size:
            share[side] = float((z > 0).mean())
    if not share or max(share.values()) == min(share.values()):
        return ""
    return max(share, key=lambda side: share[side])


def _by_land(reading: str, span: str, notes: list[str]) -> float:
    """The sign under which the side of zero that looks like land is land."""
    side = "above" if reading == "up" else "below"
    notes.append(f"sign read off the land: the side {side} zero is rough and runs far ({span})")
    return 1.0 if reading == "up" else -1.0
