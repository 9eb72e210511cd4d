"""Which way the numbers count: elevations, positive up, or depths, positive down."""

from __future__ import annotations

from typing import Any

from reefscan.base.errors import AmbiguousError
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
                "say --positive up if they are elevations"
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
            "Say --positive down (or --positive up if it is all land)"
        )
    shore = probe.shore(sample, scale.metres, scale.offset_m)
    if named:
        if shore is not None and shore.reading() and shore.reading() != named:
            raise AmbiguousError(
                f"{name}: the band is called {choice.label!r} but the side of zero that looks like land says "
                f"otherwise ({span}); say --positive up or --positive down"
            )
        return 1.0 if named == "up" else -1.0
    if shore is None:  # a handful of cells on the other side of zero
        if float((elev < 0).mean()) > 0.5:
            return 1.0
        raise AmbiguousError(
            f"{name}: nearly all values are above zero ({span}); are they depths? Say --positive down, "
            "or --positive up"
        )
    return _by_land(shore.reading(), span, name, notes)


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


def _by_land(reading: str, span: str, name: str, notes: list[str]) -> float:
    """The sign under which the side of zero that looks like land is land."""
    if not reading:
        raise AmbiguousError(
            f"{name}: values lie on both sides of zero ({span}) and nothing says which side is water; "
            "say --positive up (elevation) or --positive down (depth)"
        )
    side = "above" if reading == "up" else "below"
    notes.append(f"sign read off the land: the side {side} zero is rough and runs far ({span})")
    return 1.0 if reading == "up" else -1.0
