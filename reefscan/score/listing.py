"""From the stored candidates to the ranked, explained list: the part that a rescore repeats.

A fresh scan and a rescore both come through here with the same stored, rounded table, so they give
the same list to the last digit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import pandas as pd

from reefscan.base.columns import OUTSIDE
from reefscan.base.recipe import Recipe
from reefscan.base.terms import called
from reefscan.base.units import both
from reefscan.score.ranking import rank_sites, second_to
from reefscan.score.reasons import explain, lands_within_m
from reefscan.score.scoring import Scored, score_table


@dataclass(frozen=True)
class Listing:
    """A ranked list.

    Attributes
    ----------
    sites : list of dict
        In rank order: every column of the table with ``rank``, ``second_to`` (the rank of the best site of its
        place, None for that one), ``score``, ``confidence``, ``lands_within_m``, ``terms``, ``flags`` and ``why``.
    scored : Scored
        Scores of the whole table, row for row.
    rows : list of int
        Row of the table that each listed site stands in.
    warnings : list of str
        What the reader should know.
    """

    sites: list[dict[str, Any]]
    scored: Scored
    rows: list[int]
    warnings: list[str]


def list_sites(table: pd.DataFrame, recipe: Recipe, *, unit: str = "m") -> Listing:
    """Score, rank and explain a candidate table.

    Parameters
    ----------
    table : DataFrame
        Stored, rounded candidates (`reefscan.io.out.tables.rounded`). Not modified.
    recipe : Recipe
        Its ``[score]`` and ``[rank]`` parts are used.
    unit : {"m", "ft", "fathom"}
        The user's unit in the sentences.

    Returns
    -------
    Listing
        Empty with a reason in ``warnings`` where nothing can be listed.
    """
    scored = score_table(table, recipe.score)
    rows = rank_sites(table, scored, recipe.rank)
    reasons = explain(
        table,
        scored,
        rows,
        score=recipe.score,
        unit=unit,
        widest_m=2.0 * recipe.find.trough_radius_m,
        off_min_m=recipe.find.off_min_m,
    )
    sites: list[dict[str, Any]] = []
    records = table.iloc[rows].to_dict("records")
    seconds = second_to(table, rows, recipe.rank) if len(rows) else []
    for i, (record, reason, row) in enumerate(zip(records, reasons, rows, strict=True)):
        sites.append(
            {
                "rank": i + 1,
                "second_to": seconds[i],
                **{str(name): value for name, value in record.items()},
                "score": float(scored.score[row]),
                "confidence": float(scored.confidence[row]),
                "lands_within_m": _rounded(
                    lands_within_m(record.get("position_m", math.nan), recipe.score.fix_m)
                ),
                "terms": reason.terms,
                "flags": reason.flags,
                "why": reason.why,
            }
        )
    return Listing(sites, scored, [int(row) for row in rows], _warnings(table, scored, recipe, len(sites)))


def _rounded(metres: float) -> float | None:
    return round(float(metres), 1) if math.isfinite(metres) else None


def rescore(
    table: pd.DataFrame, stored: Recipe, recipe: Recipe, *, unit: str = "m"
) -> tuple[Recipe, Listing]:
    """List stored candidates anew under another recipe; no raster is touched.

    Returns
    -------
    recipe : Recipe
        As used: the given ``[score]`` and ``[rank]`` on the stored ``[find]``.
    listing : Listing

    Raises
    ------
    NeedsScanError
        If the recipe reaches outside what the stored run searched.
    """
    used = recipe.with_find_of(stored)
    return used, list_sites(table, used, unit=unit)


def _warnings(table: pd.DataFrame, scored: Scored, recipe: Recipe, listed: int) -> list[str]:
    out = []
    for name in scored.dropped:
        column = recipe.score.terms[name].column
        if column in OUTSIDE and column not in table:
            continue  # nobody gave a file that tells it
        out.append(f"{called(name)} (term {name}) does not count: {column} is not known anywhere in this run")
    doubted = int(scored.doubted.sum())
    if doubted and listed < recipe.rank.top:  # a list that is full would not have had them
        many = doubted > 1
        out.append(
            f"{doubted} candidate{'s are' if many else ' is'} too doubtful to be listed ({'they look' if many else 'it looks'} like a cut, a "
            f"seam between surveys or ground that does not hang together); rescore with least_kept = 0 under [score] to see {'them' if many else 'it'}"
        )
    rest = len(table) - doubted
    if not listed and rest > 0:
        low, high = recipe.depth_band
        out.append(
            f"{rest}{' other' if rest < len(table) else ''} candidates were found, but none fits the recipe's required terms "
            f"(depths {both(low)} to {both(high)}, heights)"
        )
    return out
