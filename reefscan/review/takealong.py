"""From ranked or picked sites to waypoints with names a person can tell apart on a plotter."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import pandas as pd

from reefscan.base.datum import NOT_STATED, Datum
from reefscan.base.errors import InputError
from reefscan.base.flags import flag_words
from reefscan.base.units import METRES_PER
from reefscan.io.out.waypoints import Waypoint
from reefscan.review.opened import OpenedRun
from reefscan.score.reasons import length_words

FIELDS = ("rank", "second_to", "score", "confidence", "height_m", "width_m", "off_m", "cross_deg", "facing_deg", "lands_within_m",
          "cell_m", "id", "feature_id", "place", "source", "note")  # fmt: skip
"""What goes along besides name, place, depth and words, in this order."""

LETTER = {"trough": "T", "ledge": "L", "rise": "R", "man-made": "M"}
"""Letter of a kind in a name; one set by hand is ``H``."""

NAME_LENGTH = 8
"""Characters that the plainest plotters show of a name (common practice, no source)."""

AREA_DEG = 0.02
"""Side of the squares that name an area, degrees: about a mile; 24 of them go by before a letter comes again."""

_ALPHABET = "ABCDEFGHJKLMNPQRSTUVWXYZ"
"""Without I and O, which read as digits."""


@dataclass(frozen=True)
class Naming:
    """How the sites of a run are named, and in which unit and from which level their depths are shown.

    Parameters
    ----------
    letters : str
        What every name begins with.
    listed : int
        How many sites the run lists: the digits of a rank follow it, and what has no rank is numbered on from there.
    length : int
        Longest name.
    unit : {"m", "ft", "fathom"}
    datum : Datum
    """

    letters: str = "A"
    listed: int = 0
    length: int = NAME_LENGTH
    unit: str = "m"
    datum: Datum = NOT_STATED


def naming_of(opened: OpenedRun, *, letters: str | None = None, length: int = NAME_LENGTH) -> Naming:
    """The names of a run: the same on its cards, in its files and for any choice of its sites.

    Raises
    ------
    InputError
        If the letters leave no room for rank and kind: names would be told apart by nothing that is in the list.
    """
    table, listed = opened.table, len(opened.listing.sites)
    room = length - _digits(listed) - 1
    if letters is not None and len(letters) > room:
        raise InputError(
            f"--name {letters}: leaves no room for rank and kind in names of {length} characters; write at most {max(room, 0)}, or say "
            f"--name-length {len(letters) + length - room} or more"
        )
    if letters is None:
        middle = (table["lon"].median(), table["lat"].median()) if len(table) else (0.0, 0.0)
        letters = area_letters(float(middle[0]), float(middle[1]))
    return Naming(letters, listed, length, opened.unit, opened.datum)


def _digits(listed: int) -> int:
    """Digits of a rank, the same for all, so that names sort."""
    return max(2, len(str(listed)))


def area_letters(lon: float, lat: float) -> str:
    """Two letters for the square mile or so around a place, so that names of neighbouring areas differ.

    Two areas have the same letters if both of their middles lie in one square, or half a degree apart.

    Examples
    --------
    >>> area_letters(-22.51, 45.01), area_letters(-22.49, 45.01), area_letters(-22.51, 45.03)
    ('UC', 'UD', 'VC')
    """
    return "".join(_ALPHABET[math.floor(value / AREA_DEG + 1e-9) % len(_ALPHABET)] for value in (lat, lon))


def waypoints_of(table: pd.DataFrame, naming: Naming) -> list[Waypoint]:
    """Waypoints of ranked or picked sites, in the order of the table.

    A site that was given a name keeps it. Any other is called by area, rank, kind and depth, such as ``OG01T18``: it sorts
    by rank, and where it would be too long the depth goes.
    """
    digits = _digits(naming.listed)
    ranks = _ranks(table, naming.listed)
    return [
        _point(site, f"{naming.letters}{rank:0{digits}d}", naming)
        for site, rank in zip(table.to_dict("records"), ranks, strict=True)
    ]


def _ranks(table: pd.DataFrame, listed: int) -> list[int]:
    """Rank of each site; what has none gets the numbers after the last rank, in order."""
    if "rank" not in table:
        return list(range(listed + 1, listed + 1 + len(table)))
    known = pd.to_numeric(table["rank"], errors="coerce")
    numbers: list[int] = known.where(known.notna(), listed + known.isna().cumsum()).astype(int).tolist()
    return numbers


def _point(site: dict[Any, Any], numbered: str, naming: Naming) -> Waypoint:
    kind = str(site.get("kind") or "site")
    depth = site.get("depth_m")
    depth_m = None if depth is None or not math.isfinite(depth) else float(depth)
    given = _text(site.get("name"))
    flags = site.get("flags")
    fields = {key: site[key] for key in FIELDS if key in site}
    for key in ("rank", "second_to"):
        if isinstance(fields.get(key), float) and math.isfinite(fields[key]):
            fields[key] = int(fields[key])
    words = [given, _text(site.get("note")), _text(site.get("why"))]
    if isinstance(fields.get("second_to"), int):
        words.append(f"same place as number {fields['second_to']}")
    if isinstance(flags, (list, tuple)) and flags:
        words.append("mind: " + ", ".join(flag_words(str(f)) for f in flags))
    if naming.unit != "m":
        per = METRES_PER[naming.unit]
        fields = {f"depth_{naming.unit}": None if depth_m is None else round(depth_m / per, 1), **fields}
    return Waypoint(
        name=given or _short(f"{numbered}{LETTER.get(kind, 'H')}", depth_m, naming),
        lon=float(site["lon"]),
        lat=float(site["lat"]),
        depth_m=depth_m,
        depth_words="" if depth_m is None else naming.datum.of(length_words(depth_m, naming.unit)),
        text="; ".join(w.rstrip(".") for w in words if w),
        kind=kind,
        fields={
            "datum": naming.datum.short,
            **{k: _text(v) if isinstance(v, str) or v is None else v for k, v in fields.items()},
        },
    )


def _short(stem: str, depth_m: float | None, naming: Naming) -> str:
    """The stem with the depth in whole units, where there is room for it."""
    tail = "" if depth_m is None else str(max(0, round(depth_m / METRES_PER[naming.unit])))
    return stem + tail if len(stem + tail) <= naming.length else stem


def _text(value: Any) -> str:
    """Text of a cell, empty where pandas holds a blank."""
    return value if isinstance(value, str) else ""


def symbols_of(text: str | None) -> dict[str, str]:
    """Read ``--symbol``: one name for all kinds, or ``trough=NAME,ledge=NAME``; a kind is its own symbol where none is said."""
    own = {kind: kind for kind in LETTER}
    if not text:
        return own
    pairs = [part.partition("=") for part in text.split(",")]
    if all(mid and name.strip() in own and value.strip() for name, mid, value in pairs):
        return {**own, **{name.strip(): value.strip() for name, _, value in pairs}}
    return {"": text}
