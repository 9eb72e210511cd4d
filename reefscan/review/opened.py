"""A finished run opened to be looked at: its table, list, recipe, grids and features in one place."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from reefscan.base.datum import Datum, datum_of
from reefscan.base.recipe import Recipe
from reefscan.base.units import check_unit
from reefscan.io.grids.of_run import open_run_grids, read_features
from reefscan.io.out.runfolder import RunFolder
from reefscan.io.out.surroundings import read_surroundings
from reefscan.score.listing import Listing, list_sites
from reefscan.score.ranking import best_first
from reefscan.score.reasons import explain, lands_within_m
from reefscan.surroundings.known import Surroundings, closed_words

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from reefscan.base.model import GridSource

MOST_REASONS = 5000
"""Sites beyond this many carry no sentence in the page: nobody reads so far, and the file stays small."""


@dataclass(frozen=True)
class OpenedRun:
    """What the pictures of a run are made from.

    Parameters
    ----------
    run : RunFolder
    recipe : Recipe
    table : DataFrame
        All candidates with raw measures.
    listing : Listing
        The ranked list under the run's own recipe.
    unit : str
        The unit the person spoke when scanning.
    known : Surroundings or None
        What the run knows from outside its grid.
    """

    run: RunFolder
    recipe: Recipe
    table: pd.DataFrame
    listing: Listing
    unit: str
    known: Surroundings | None = None
    memory: dict[str, Any] = field(default_factory=dict, compare=False)

    @property
    def name(self) -> str:
        """Name of the run folder."""
        return self.run.path.resolve().name

    @property
    def limits(self) -> str:
        """What the grid could not have shown."""
        limits = self.run.info.get("limits") or ()
        return limits if isinstance(limits, str) else " ".join(str(line) for line in limits)

    @property
    def closed_words(self) -> str:
        """The sentence about closed ground that stands at the top of everything."""
        return closed_words(self.run.info)

    @property
    def datum(self) -> Datum:
        """What the depths are counted from."""
        return datum_of(self.run.info)

    @property
    def warnings(self) -> list[str]:
        """Warnings of the run."""
        return [str(w) for w in self.run.info.get("warnings") or ()]

    @property
    def sources(self) -> list[GridSource]:
        """The grids, opened on first use."""
        if "sources" not in self.memory:
            self.memory["sources"] = open_run_grids(self.run)
        sources: list[GridSource] = self.memory["sources"]
        return sources

    @property
    def features(self) -> dict[str, GeoDataFrame]:
        """Feature layers by name."""
        return read_features(self.run)

    @property
    def listed(self) -> pd.DataFrame:
        """The ranked list as a table; its columns stand even where it is empty."""
        if self.listing.sites:
            return pd.DataFrame(self.listing.sites)
        return pd.DataFrame(
            columns=[
                "rank",
                "second_to",
                *self.table.columns,
                "score",
                "confidence",
                "lands_within_m",
                "flags",
                "why",
            ]
        )

    def explained(self) -> pd.DataFrame:
        """All candidates, best first, with ``why`` and ``flags`` on the first `MOST_REASONS`.

        A listed site says what it says in the list: its strong points are those that set it apart there.
        """
        if not len(self.table):
            return self.table
        order = best_first(self.listing.scored, self.table)
        reasons = explain(
            self.table,
            self.listing.scored,
            order[:MOST_REASONS],
            score=self.recipe.score,
            unit=self.unit,
            widest_m=2.0 * self.recipe.find.trough_radius_m,
            off_min_m=self.recipe.find.off_min_m,
        )
        said = [(r.why, list(r.flags)) for r in reasons] + [("", [])] * (len(order) - len(reasons))
        listed = dict(zip(self.listing.rows, self.listing.sites, strict=True))
        said = [
            (listed[row]["why"], listed[row]["flags"]) if row in listed else words
            for row, words in zip(order.tolist(), said, strict=True)
        ]
        return self.table.iloc[order].assign(
            lands_within_m=lands_within_m(
                self.table["position_m"].iloc[order], self.recipe.score.fix_m
            ).round(1),
            why=[why for why, _ in said],
            flags=pd.Series([flags for _, flags in said], dtype=object).to_numpy(),
        )


def open_run(path: Path | str, *, unit: str | None = None) -> OpenedRun:
    """Open a finished run, its words in ``unit`` (that of the scan if not given); raises as `RunFolder.open` does."""
    if unit is not None:
        check_unit(unit)
    run = RunFolder.open(path)
    recipe, table = run.recipe(), run.candidates()
    unit = unit or run.info.get("depth_unit")
    unit = unit if unit in ("m", "ft", "fathom") else "m"
    known = read_surroundings(run.path, run.info)
    return OpenedRun(run, recipe, table, list_sites(table, recipe, unit=unit), unit, known)
