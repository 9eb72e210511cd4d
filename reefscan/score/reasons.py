"""Why a site is where it is in the list: one sentence, and flags, in plain words.

The sentence says the form (height, width, depth, how it lies), where the net would lie, what carries
the score and what costs it. A reader should be able to guess the profile under the boat from it, so no
two different profiles read alike. What looks like something else is said to look so.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from reefscan.base.columns import number_of, text_of
from reefscan.base.doubts import DOUBTS
from reefscan.base.recipe import Score, Term
from reefscan.base.terms import DEFAULT_TERMS, DefaultTerm
from reefscan.base.units import far_unit
from reefscan.score.scoring import Scored

_POINTS = ("north", "north-east", "east", "south-east", "south", "south-west", "west", "north-west")
_AXES = (
    "north-south", "north-north-east to south-south-west", "north-east to south-west",
    "east-north-east to west-south-west", "east-west", "west-north-west to east-south-east",
    "north-west to south-east", "north-north-west to south-south-east",
)  # fmt: skip

CARRIES = 0.9
"""A term whose membership reaches this carries the score; below, it costs."""

CARRIES_OF_MORE = 0.75
"""The same of a term that is better without end (`Term.half`): three times its half."""


@dataclass(frozen=True)
class Reasons:
    """What explains one listed site."""

    terms: dict[str, float | None]
    flags: list[str]
    why: str


def explain(
    table: pd.DataFrame,
    scored: Scored,
    rows: np.ndarray,
    *,
    score: Score,
    unit: str = "m",
    widest_m: float = math.inf,
    off_min_m: float = 0.0,
) -> list[Reasons]:
    """Explain the listed sites, in the order of ``rows``.

    Parameters
    ----------
    table : DataFrame
        The candidate table.
    scored : Scored
        Row for row with it.
    rows : ndarray of int
        Rows to explain.
    score : Score
        The ``[score]`` part of the recipe.
    unit : {"m", "ft", "fathom"}
        The unit the user speaks: lengths in the sentence are in it.
    widest_m : float
        Widest trough that was looked for: one that wide may be wider still, and deeper.
    off_min_m : float
        Nearest that a net was asked to lie to the rock: a trough whose floor leaves less is said to be narrow.
    """
    records = table.iloc[rows].to_dict("records")
    usual = _usual(scored, rows)
    asked = _Asked(score, unit, widest_m, off_min_m)
    return [
        _explain_one(record, scored, int(row), asked, usual)
        for record, row in zip(records, rows, strict=True)
    ]


class _Asked(NamedTuple):
    """What `explain` was asked with."""

    score: Score
    unit: str
    widest_m: float
    off_min_m: float


FEW = 5
"""Of so few sites there is nothing that all share."""

APART = 0.03
"""Share of the whole weight by which a term must set a site apart from the middle one of the list before it is named."""


_OWN = DefaultTerm({}, "")


def _words(name: str) -> DefaultTerm:
    """Words for a term; none for one of the user's own."""
    return DEFAULT_TERMS.get(name, _OWN)


def _usual(scored: Scored, rows: np.ndarray) -> dict[str, float]:
    """What the middle one of the listed sites is worth by each term; nothing for a short list."""
    if len(rows) < FEW:
        return {}
    listed = {name: mu[rows] for name, mu in scored.memberships.items()}
    return {name: float(np.nanmedian(mu)) for name, mu in listed.items() if not np.isnan(mu).all()}


def _explain_one(
    site: Mapping[Any, Any], scored: Scored, row: int, asked: _Asked, usual: Mapping[str, float]
) -> Reasons:
    memberships = {name: float(mu[row]) for name, mu in scored.memberships.items()}
    unknown = [name for name in memberships if scored.unknown[name][row]]
    terms: dict[str, float | None] = {
        name: (None if math.isnan(mu) else round(mu, 3))
        for name, mu in memberships.items()
        if not math.isnan(mu) or name in unknown
    }
    minded = list(_minded(site, scored, row, asked))
    flags = [f"unknown-{name.replace('_', '-')}" for name in unknown] + [flag for flag, _ in minded]
    asides = [words for _, words in minded if words]
    if unknown:
        asides.append("unknown: " + ", ".join(_words(n).unknown or n.replace("_", " ") for n in unknown))
    carries, costs = _balance(site, memberships, unknown, asked.score, usual)
    parts = [_form(site, asked.unit, asked.widest_m), _net(site, asked), _hard(site, asked)]
    if carries:
        parts.append(_points("strong", carries))
    if costs:
        parts.append(_points("weak", costs))
    why = "; ".join([part for part in parts if part] + asides)
    return Reasons(terms, flags, why + ".")


def _minded(site: Mapping[Any, Any], scored: Scored, row: int, asked: _Asked) -> Iterator[tuple[str, str]]:
    """What a reader should mind of a site: a flag each, and the words that go with it."""
    score, unit = asked.score, asked.unit
    for doubt in DOUBTS:
        if number_of(site, doubt.column) >= score.say_doubt:
            yield doubt.flag, f"looks like {doubt.looks_like}"
    share, interval = number_of(site, "interpolated"), number_of(site, "interval_m")
    if share >= score.say_interpolated:
        seen = (
            f"the grid holds no more than one depth for every {far_words(interval, unit)} or so"
            if interval > 0
            else f"{share * 100:.0f} % of the ground looks filled in between soundings"
        )
        yield "interpolated", f"not sounded here, check first: {seen}"
    position = number_of(site, "position_m")
    if position >= score.say_position_m:
        yield "position-uncertain", f"position good to {far_words(position, unit)} only"
    if scored.assumed[row]:
        yield "uncertainty-assumed", ""
    shut = number_of(site, "closed_m")
    if shut <= score.say_closed_m:
        away = far_words(shut, unit)
        yield "closed-ground-near", f"only {away} from closed ground ({text_of(site, 'closed_name')})"
    caution = number_of(site, "caution_m")
    if caution <= score.say_caution_m:
        where = f"{far_words(caution, unit)} from" if caution > 0 else "in"
        yield "caution-ground", f"lies {where} caution ground ({text_of(site, 'caution_name')})"
    if scored.confidence[row] < score.say_confidence:
        yield "height-unsure", "the depths are too uncertain to be sure of this height"


def _hard(site: Mapping[Any, Any], asked: _Asked) -> str:
    """The nearest hard structure that was given, where it is near."""
    hard = number_of(site, "hard_m")
    if not hard <= asked.score.say_hard_m or site["kind"] == "man-made":
        return ""
    way = compass_words(number_of(site, "hard_deg"))
    at = f"{far_words(hard, asked.unit)} to the {way}" if hard > 0 else "right here"
    return f"{text_of(site, 'hard_name')} {at}"


def _form(site: Mapping[Any, Any], unit: str, widest_m: float) -> str:
    """The structure itself: height, width, how it lies, how long it is."""
    kind = str(site["kind"])
    height = number_of(site, "height_m")
    high = length_words(height, unit) if not math.isnan(height) else "of unknown height"
    long = number_of(site, "length_m")
    reach = f", {far_words(long, unit)} long" if long > 0 else ""
    if kind == "trough":
        width, axis = number_of(site, "width_m"), number_of(site, "axis_deg")
        cell = number_of(site, "cell_m")
        # whole cells either way: the last two before the end of the search are its end
        more = " or more" if width >= widest_m - 2 * (0.0 if math.isnan(cell) else cell) else ""
        across = f" and {far_words(width, unit)}{more} from crest to crest" if not math.isnan(width) else ""
        lies = f", running {axis_words(axis)}" if not math.isnan(axis) else ""
        climbs = f"{high} deep" if not math.isnan(height) else high
        return f"Trough {climbs}{across}{lies}{reach}"
    if kind == "ledge":
        facing = number_of(site, "facing_deg")
        return (
            f"Ledge {high} high{_falls(site, unit)}{_facing(facing)}{reach}"
            if not math.isnan(height)
            else f"Ledge {high}{reach}"
        )
    if kind == "rise":
        return (
            f"Rise standing {high} above the ground around it" if not math.isnan(height) else f"Rise {high}"
        )
    name = text_of(site, "hard_name")
    return (
        "At the toe of "
        + (name or "a man-made structure")
        + (f", {high} high" if not math.isnan(height) else "")
    )


def _falls(site: Mapping[Any, Any], unit: str) -> str:
    """The plain fall of a face and the distance over which it falls."""
    drop, run = number_of(site, "drop_m"), number_of(site, "run_m")
    known = not math.isnan(drop) and not math.isnan(run)
    return f", falling {length_words(drop, unit)} in {far_words(run, unit)}" if known else ""


def _facing(degrees: float) -> str:
    return "" if math.isnan(degrees) else f", facing {compass_words(degrees)}"


def _net(site: Mapping[Any, Any], asked: _Asked) -> str:
    """Where the net would lie: stand-off, depth and floor."""
    off, depth, slope, about = (
        number_of(site, name) for name in ("off_m", "depth_m", "slope_deg", "position_m")
    )
    unit, clear = asked.unit, not lost_in_doubt(off, about)
    where = "inside it" if site["kind"] == "trough" else "beside it"
    if off > 0 and site["kind"] == "trough":
        only = "only " if off < asked.off_min_m else ""
        where += f", on a floor {only}{far_words(2 * off, unit)} wide" if clear else ""
    elif off > 0:
        rock = "waterline" if site["kind"] == "man-made" else "foot"
        where = f"{far_words(off, unit)} off its {rock}" if clear else f"close to its {rock}"
    water = f" in {length_words(depth, unit)} of water" if not math.isnan(depth) else ""
    ground = f" on ground sloping {slope:.0f}°" if slope >= 1 else (" on level ground" if slope >= 0 else "")
    doubted = f" ({MAY_LAND})" if lost_in_doubt(off, lands_within_m(about, asked.score.fix_m)) else ""
    return f"net {where}{water}{ground}{doubted}"


def lost_in_doubt(off_m: float, position_m: float) -> bool:
    """True where a net's distance to the rock is less than the doubt of its position: a number would say more than is known.

    The page asks the same (``Words.lost``).

    Examples
    --------
    >>> lost_in_doubt(0.5, 17.7), lost_in_doubt(4.0, 1.4), lost_in_doubt(4.0, math.nan)
    (True, False, False)
    """
    return off_m < position_m


def lands_within_m(position_m: Any, fix_m: float) -> Any:
    """How far from the spot meant a net may land, metres: the doubt of the grid's position, and of the boat's fix and the sinking.

    The root of the sum of squares: neither knows of the other. Unknown (NaN) where the grid's is; numbers or arrays.

    Examples
    --------
    >>> round(float(lands_within_m(1.4, 5.0)), 1), round(float(lands_within_m(17.7, 5.0)), 1)
    (5.2, 18.4)
    """
    return np.hypot(position_m, fix_m)


MAY_LAND = "may land on the rock"
"""What is said where the distance to the rock is less than that."""

WITHIN_DOUBT = "closer than the position is sure"
"""What a card and the page say in place of such a distance."""


def _balance(
    site: Mapping[Any, Any],
    memberships: Mapping[str, float],
    unknown: list[str],
    score: Score,
    usual: Mapping[str, float],
) -> tuple[list[str], list[str]]:
    """What carries the score, best first, and what costs it, dearest first (two of each at most).

    In a list what sets the site apart from the others goes first, and a cost that most of them share is not named.
    """
    good: list[tuple[float, int, str]] = []
    bad: list[tuple[float, int, str]] = []
    whole = sum(t.weight for t in score.terms.values() if not t.bonus and not t.penalty)
    for place, (name, mu) in enumerate(memberships.items()):
        term = score.terms[name]
        if math.isnan(mu) or name in unknown:
            continue
        if term.bonus:
            if mu > 0:
                good.append((term.weight * mu, -place, _words(name).carries or name.replace("_", " ")))
        elif term.penalty:
            # what it takes off the score, in the same coin as the weights of the mean
            kept, others = 1.0 - term.weight * (1.0 - mu), 1.0 - term.weight * (1.0 - usual.get(name, 1.0))
            loss = whole * math.log(others / max(kept, 1e-6))
            if mu < CARRIES and loss >= (APART * whole if usual else 0.0):
                bad.append((loss, -place, _cost(name, site, term)))
        elif mu >= (CARRIES_OF_MORE if term.half > 0 else CARRIES):
            # A band with hard edges says the same of every listed site: it is named last.
            gain = 0.0 if term.half == 0 and term.a == term.b and term.c == term.d else term.weight
            gain *= 1.0 + 10.0 * max(0.0, mu - usual.get(name, mu))
            good.append((gain, -place, _gain(name, site, term)))
        else:
            loss = -term.weight * math.log(
                max(mu, score.optional_floor) / max(usual.get(name, 1.0), score.optional_floor)
            )
            if usual and loss < APART * whole:
                continue
            bad.append((loss, -place, _cost(name, site, term)))
    return [w for _, _, w in sorted(good, reverse=True)[:2]], [w for _, _, w in sorted(bad, reverse=True)[:2]]


def _gain(name: str, site: Mapping[Any, Any], term: Term) -> str:
    """What a term that carries the score is called: of what is good while there is little of it, the words for little."""
    words = _words(name)
    little = words.carries_little if math.isfinite(term.c) else ""
    return little or words.carries or f"{name.replace('_', ' ')} ({number_of(site, term.column):g})"


def _cost(name: str, site: Mapping[Any, Any], term: Term) -> str:
    """What a term that costs the score is called: its own words for too little or too much, if it has some."""
    low = number_of(site, term.column) < term.b or term.half > 0
    return (_words(name).low if low else _words(name).high) or _other(name, site, term)


def _other(name: str, site: Mapping[Any, Any], term: Term) -> str:
    value = number_of(site, term.column)
    side = "low" if value < term.b else "high"
    return f"{side} {name.replace('_', ' ')} ({value:g})"


def _points(what: str, words: list[str]) -> str:
    return f"{what} point{'s' if len(words) > 1 else ''}: {', '.join(words)}"


def length_words(metres: float, unit: str = "m") -> str:
    """Say a length: ``9.3 m``, ``31 ft``, ``5.1 fathoms``.

    Examples
    --------
    >>> length_words(9.3), length_words(9.3, "ft"), length_words(9.3, "fathom")
    ('9.3 m', '31 ft', '5.1 fathoms')
    """
    if unit == "ft":
        feet = metres / 0.3048
        return f"{feet:.1f} ft" if abs(feet) < 9.95 else f"{feet:.0f} ft"
    if unit == "fathom":
        return f"{metres / 1.8288:.1f} fathoms"
    return f"{metres:.1f} m" if abs(metres) < 99.95 else f"{metres:.0f} m"


def far_words(metres: float, unit: str = "m") -> str:
    """Say a distance over the ground: who counts depths in fathoms counts these in feet, as the page does.

    Examples
    --------
    >>> far_words(9.3), far_words(9.3, "ft"), far_words(9.3, "fathom")
    ('9.3 m', '31 ft', '31 ft')
    """
    return length_words(metres, far_unit(unit))


def sure_words(probability: float) -> str:
    """Say a probability in whole percent; nothing that was measured from a boat is ever 0 or 100 %.

    Examples
    --------
    >>> sure_words(0.97), sure_words(1.0), sure_words(0.0)
    ('97 %', '>99 %', '<1 %')
    """
    percent = round(probability * 100)
    return ">99 %" if percent > 99 else "<1 %" if percent < 1 else f"{percent} %"


def compass_words(degrees: float) -> str:
    """Name the nearest of eight compass points.

    Examples
    --------
    >>> compass_words(225), compass_words(359)
    ('south-west', 'north')
    """
    return _POINTS[int(((degrees % 360) + 22.5) // 45) % 8]


def axis_words(degrees: float) -> str:
    """Name an axis (0-180) by its two ends, in steps of 22.5 degrees.

    Examples
    --------
    >>> axis_words(0), axis_words(47), axis_words(179)
    ('north-south', 'north-east to south-west', 'north-south')
    """
    return _AXES[int(((degrees % 180) + 11.25) // 22.5) % 8]
