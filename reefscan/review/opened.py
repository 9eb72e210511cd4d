"""A finished run opened to be looked at: its table, list, recipe, grids and features in one place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.base.datum import Datum, datum_of
from reefscan.base.recipe import Recipe
from reefscan.base.units import check_unit
from reefscan.io.grids.of_run import open_run_grids, read_features
from reefscan.io.out.runfolder import RunFolder
from reefscan.io.out.surroundings import read_surroundings
from reefscan.score.limits import limits_of_run
from reefscan.score.listing import Listing, list_sites
from reefscan.score.ranking import best_first
from reefscan.score.reasons import Reasons, explain, lands_within_m
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
        return self.limits_in(self.unit)

    def limits_in(self, unit: str) -> str:
        """What the grid could not have shown, in a unit."""
        return " ".join(limits_of_run(self.run.info, self.recipe, unit))

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

    def explained(self, units: Sequence[str] = ()) -> pd.DataFrame:
        """All candidates, best first, with ``why``, ``flags`` and ``lands_within_m``; ``why_ft`` and the like for more ``units``; see `sentences`."""
        if not len(self.table):
            return self.table
        order, reasons = self.sentences(self.unit)
        flags = [reason.flags for reason in reasons]
        lands = lands_within_m(self.table["position_m"].iloc[order], self.recipe.score.fix_m)
        return self.table.iloc[order].assign(
            lands_within_m=lands.round(1),
            why=[reason.why for reason in reasons],
            flags=pd.Series(flags, dtype=object).to_numpy(),
            **{
                f"why_{unit}": [reason.why for reason in self.sentences(unit)[1]]
                for unit in units
                if unit != self.unit
            },
        )

    def sentences(self, unit: str) -> tuple[NDArray[np.intp], list[Reasons]]:
        """Rows of the table, best first, and why each is where it is, in a unit: on the first `MOST_REASONS`, nothing on the others.

        A listed site says what it says in the list: its strong points are those that set it apart there.
        """
        find, scored = self.recipe.find, self.listing.scored
        asked: dict[str, Any] = {
            "score": self.recipe.score,
            "unit": unit,
            "widest_m": 2.0 * find.trough_radius_m,
            "off_min_m": find.off_min_m,
        }
        order, listed = best_first(scored, self.table), np.array(self.listing.rows, dtype=np.intp)
        first = explain(self.table, scored, order[:MOST_REASONS], **asked)
        said = dict(zip(order.tolist(), first, strict=False))
        said.update(zip(self.listing.rows, explain(self.table, scored, listed, **asked), strict=True))
        nothing = Reasons({}, [], "")
        return order, [said.get(row, nothing) for row in order.tolist()]


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
