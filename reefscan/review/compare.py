"""Two runs side by side: which sites came, went, rose or fell, and what did it.

Sites are the same where their ids are (the same grid), else where they are of one kind and nearest to each other
within ``within_m`` (another survey). A site that is a candidate in both runs and listed in one only is explained
by its terms, or by the spacing and the cut.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from reefscan.base.recipe import Recipe
from reefscan.base.terms import called
from reefscan.base.units import METRES_PER, far_unit
from reefscan.score.listing import Listing
from reefscan.score.ranking import on_ellipsoid
from reefscan.surroundings.known import Surroundings

SCHEMA = "reefscan-compare/1"
VERTICAL = ("depth_m", "height_m")
"""Measures told in the unit of depths; all other lengths lie along the ground."""


@dataclass(frozen=True)
class Side:
    """One run of the two: all candidates, their listing, the recipe it was made with, and what it knows from outside its grid.

    ``unit`` is the one that lengths are shown in.
    """

    name: str
    table: pd.DataFrame
    listing: Listing
    recipe: Recipe
    known: Surroundings | None = None
    unit: str = "m"


@dataclass(frozen=True)
class Change:
    """What became of one site between run A and run B.

    ``what`` is came, went, rose, fell or same; scores and ranks are None where it is not listed.
    """

    what: str
    id: str
    kind: str
    lon: float
    lat: float
    rank_a: int | None
    rank_b: int | None
    score_a: float | None
    score_b: float | None
    term: str
    because: str


def compare_runs(a: Side, b: Side, *, within_m: float = 30.0) -> list[Change]:
    """Compare the listed sites of two runs.

    Parameters
    ----------
    a, b : Side
        Before and after.
    within_m : float
        How far apart the same site may lie in two surveys.

    Returns
    -------
    list of Change
        First what came, then rose, fell, went and stayed, each by rank.
    """
    rows_a, rows_b = a.listing.rows, b.listing.rows
    to_b = _match(a.table, b.table, within_m)
    to_a = {j: i for i, j in to_b.items()}
    rank_b = {row: k + 1 for k, row in enumerate(rows_b)}
    rank_a = {row: k + 1 for k, row in enumerate(rows_a)}
    out: list[Change] = []
    for row in rows_a:
        other = to_b.get(row)
        if other in rank_b and other is not None:
            out.append(_stayed(a, b, row, other, rank_a[row], rank_b[other]))
        else:
            term, because = _why_missing(a, b, row, other)
            out.append(_change("went", a, row, rank_a[row], None, term, because))
    for row in rows_b:
        before = to_a.get(row)
        if before is None or before not in rank_a:
            term, because = _why_missing(b, a, row, before)
            out.append(_change("came", b, row, None, rank_b[row], term, because))
    order = ("came", "rose", "fell", "went", "same")
    return sorted(out, key=lambda c: (order.index(c.what), c.rank_b or c.rank_a or 0))


def _match(a: pd.DataFrame, b: pd.DataFrame, within_m: float) -> dict[int, int]:
    """Row of B for each row of A that is the same site."""
    if not len(a) or not len(b):
        return {}
    ids = {str(v): n for n, v in enumerate(b["id"])}
    out = {n: ids[str(v)] for n, v in enumerate(a["id"]) if str(v) in ids}
    used = set(out.values())
    from scipy.spatial import cKDTree

    for kind in set(a["kind"].astype(str)) & set(b["kind"].astype(str)):
        mine = [n for n in np.flatnonzero((a["kind"].astype(str) == kind).to_numpy()) if n not in out]
        theirs = [n for n in np.flatnonzero((b["kind"].astype(str) == kind).to_numpy()) if n not in used]
        if not mine or not theirs:
            continue
        places_a, places_b = (
            on_ellipsoid(t["lon"].to_numpy(float), t["lat"].to_numpy(float))
            for t in (a.iloc[mine], b.iloc[theirs])
        )
        pairs = cKDTree(places_a).sparse_distance_matrix(
            cKDTree(places_b), within_m, output_type="coo_matrix"
        )
        taken_a: set[int] = set()
        taken_b: set[int] = set()
        for k in np.lexsort((pairs.col, pairs.row, pairs.data)):
            i, j = int(pairs.row[k]), int(pairs.col[k])
            if i not in taken_a and j not in taken_b:
                taken_a.add(i)
                taken_b.add(j)
                out[int(mine[i])] = int(theirs[j])
    return out


def _parts(side: Side, row: int) -> dict[str, float]:
    """What each term adds to the logarithm of the score (0 = nothing lost)."""
    score, scored = side.recipe.score, side.listing.scored
    logs: dict[str, float] = {}
    total = 0.0
    for name, mu in scored.memberships.items():
        term = score.terms[name]
        unknown = bool(scored.unknown[name][row])
        value = score.unknown if unknown else float(mu[row])
        if math.isnan(value):
            continue
        if term.penalty:
            logs[name] = math.log(max(1.0 - term.weight * (1.0 - value), 1e-9))
        elif term.bonus:
            logs[name] = 0.0 if unknown else 0.01 * term.weight * value
        else:
            total += term.weight
            logs[name] = term.weight * math.log(max(value, 1e-9 if term.required else score.optional_floor))
    soft = {n for n in logs if score.terms[n].penalty or score.terms[n].bonus}
    return {n: v if n in soft or not total else v / total for n, v in logs.items()}


def _measure(side: Side, name: str, row: int) -> str:
    """The measure a term judges at a site, in words."""
    column = side.recipe.score.terms[name].column if name in side.recipe.score.terms else ""
    value = side.table[column].iloc[row] if column in side.table else None
    if not isinstance(value, (int, float)) or not math.isfinite(value):
        return "unknown"
    if column.endswith("_m"):
        unit = side.unit if column in VERTICAL else far_unit(side.unit)
        return f"{value / METRES_PER[unit]:.1f} {unit}"
    return f"{value:g}°" if column.endswith("_deg") else f"{value:g}"


def _far(metres: float, unit: str) -> str:
    """A distance on the map in whole metres or feet."""
    return f"{metres / METRES_PER[far_unit(unit)]:.0f} {far_unit(unit)}"


def _stayed(a: Side, b: Side, row: int, other: int, rank_a: int, rank_b: int) -> Change:
    points = int(b.listing.scored.points[other]) - int(a.listing.scored.points[row])
    better = points or rank_a - rank_b
    what = "rose" if better > 0 else "fell" if better < 0 else "same"
    term = ""
    because = "its score is the same; others changed places with it" if better else "nothing changed"
    if points:
        before, after = _parts(a, row), _parts(b, other)
        gain = {n: after.get(n, 0.0) - before.get(n, 0.0) for n in dict.fromkeys([*before, *after])}
        sign = 1 if points > 0 else -1
        term = max(gain, key=lambda n: sign * gain[n]) if gain else ""
        if term:
            mine, theirs = _measure(a, term, row), _measure(b, term, other)
            because = (
                f"{called(term)}: {theirs}, was {mine}"
                if mine != theirs
                else f"{called(term)}: still {theirs}, but the recipe asks for something else"
            )
    return _change(what, b, other, rank_a, rank_b, term, because, score_a=float(a.listing.scored.score[row]))


def _why_missing(here: Side, there: Side, row: int, other: int | None) -> tuple[str, str]:
    """The term and the reason why a site listed here is not listed there."""
    if other is None:
        site = here.table.iloc[row]
        why = "" if there.known is None else there.known.why_closed(float(site["lon"]), float(site["lat"]))
        if why:
            return "", f"{why}, as {there.name} knows it"
        return "", f"no such structure was found in {there.name}"
    scored = there.listing.scored
    if not scored.listed[other]:
        for name, mu in scored.memberships.items():
            if there.recipe.score.terms[name].required and float(mu[other]) == 0.0:
                return (
                    name,
                    f"{called(name)}: {_measure(there, name, other)} is outside what the recipe of {there.name} asks for",
                )
    if scored.doubted[other]:
        terms = there.recipe.score.terms
        cost = {
            name: terms[name].weight * (1.0 - float(mu[other]))
            for name, mu in scored.memberships.items()
            if terms[name].penalty and np.isfinite(mu[other])
        }
        dearest = max(cost, key=lambda name: cost[name])
        return dearest, f"{called(dearest)}: too little of its score is left in {there.name}"
    said = f"score {float(scored.score[other]):.1f} in {there.name}"
    rows = [int(listed) for listed in there.listing.rows]
    spacing = there.recipe.rank.spacing_m
    if rows and spacing > 0:
        # a site that stands near a listed one was passed over for it: the other way round it would be listed itself
        near_by = there.table.iloc[[other, *rows]]
        places = on_ellipsoid(near_by["lon"].to_numpy(float), near_by["lat"].to_numpy(float))
        apart = np.linalg.norm(places[1:] - places[0], axis=1)
        nearest = int(apart.argmin())
        if apart[nearest] < spacing:
            return (
                "",
                f"{said}: {_far(apart[nearest], here.unit)} from its number {nearest + 1}, nearer than the "
                f"{_far(spacing, here.unit)} between sites",
            )
    return "", f"{said}: below the {len(rows)} that are listed"


def _change(
    what: str,
    side: Side,
    row: int,
    rank_a: int | None,
    rank_b: int | None,
    term: str,
    because: str,
    *,
    score_a: float | None = None,
) -> Change:
    site = side.table.iloc[row]
    own = float(side.listing.scored.score[row])
    return Change(
        what=what,
        id=str(site["id"]),
        kind=str(site["kind"]),
        lon=float(site["lon"]),
        lat=float(site["lat"]),
        rank_a=rank_a,
        rank_b=rank_b,
        score_a=own if what == "went" else score_a,
        score_b=None if what == "went" else own,
        term=term,
        because=because,
    )


def as_json(changes: list[Change], *, name_a: str, name_b: str) -> dict[str, Any]:
    """The comparison as a JSON document."""
    return {
        "schema": SCHEMA,
        "a": name_a,
        "b": name_b,
        "counts": {w: sum(c.what == w for c in changes) for w in ("came", "went", "rose", "fell", "same")},
        "changes": [vars(c) for c in changes],
    }
