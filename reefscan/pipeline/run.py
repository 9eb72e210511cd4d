"""What a scan gives: the list, every candidate, the features, the score of every cell."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import InputError
from reefscan.base.model import Sheet, Window
from reefscan.base.recipe import Recipe
from reefscan.io.out.scoreraster import SCORE_LABELS, read_score, with_gaps
from reefscan.pipeline.labelled import labelled
from reefscan.pipeline.places import candidate_points, site_points, summary, summary_html

if TYPE_CHECKING:
    import geopandas
    import pandas as pd
    import xarray

    from reefscan.score.listing import Listing


@dataclass(frozen=True, repr=False, eq=False)
class Run:
    """What a scan found.

    Attributes
    ----------
    listing : Listing
        The ranked list as it is written.
    table : DataFrame
        Every candidate with its raw, rounded measures.
    features : dict of str to GeoDataFrame
        ``troughs`` and ``ledges`` as lines, ``rises`` as outlines of their foot.
    recipe : Recipe
        As used.
    info : dict
        What ``run.json`` holds.
    folder : Path or None
        Run folder, if one was written.
    rasters : tuple
        Of each sheet its lattice, extent, and scores (uint8, 255 unknown) or the file that holds them.
    """

    listing: Listing
    table: pd.DataFrame
    features: dict[str, geopandas.GeoDataFrame]
    recipe: Recipe
    info: dict[str, Any]
    folder: Path | None = None
    rasters: tuple[tuple[Sheet, Window, NDArray[np.uint8] | Path], ...] = ()

    @cached_property
    def sites(self) -> geopandas.GeoDataFrame:
        """The ranked list: drop points (WGS 84) with every measure, ``rank``, ``score``, ``confidence``, ``terms``,
        ``flags`` and ``why``."""
        return site_points(self.listing.sites, self.table)

    @cached_property
    def candidates(self) -> geopandas.GeoDataFrame:
        """Every candidate: drop points (WGS 84) with raw measures, ``score``, ``confidence``, and ``rank`` and ``why``
        where it is listed."""
        return candidate_points(_with_scores(self.table, self.listing))

    @cached_property
    def scores(self) -> dict[str, xarray.DataArray]:
        """Score (0-100, NaN where no net can lie) of every cell, by the name of the sheet; see ``info["sheets"]``."""
        names = [str(facts["sheet"]) for facts in self.info["sheets"]]
        out = {}
        for name, (sheet, extent, cells) in zip(names, self.rasters, strict=True):
            values = with_gaps(read_score(cells) if isinstance(cells, Path) else cells)
            out[name] = labelled(sheet, extent, {"score": (values, SCORE_LABELS)}, source=name)["score"]
        return out

    @property
    def score(self) -> xarray.DataArray:
        """Score of every cell of a run of one sheet.

        Raises
        ------
        InputError
            If there are several sheets: `scores` has them by name.
        """
        if len(self.scores) != 1:
            raise InputError(
                f"this run has {len(self.scores)} sheets; take .scores[name] of {', '.join(self.scores)}"
            )
        return next(iter(self.scores.values()))

    def _said(self) -> tuple[str, list[str]]:
        """First and last lines of what a person sees of it."""
        low, high = self.recipe.depth_band
        head = (
            f"Run: {len(self.listing.sites)} sites of {len(self.table):,} candidates at {low:g} to {high:g} m"
        )
        found = ", ".join(f"{len(frame)} {name}" for name, frame in self.features.items())
        tail = [f"features: {found}", *(str(line) for line in self.info.get("limits", ()))]
        warnings = len(self.info.get("warnings", ()))
        tail += [f"{warnings} warnings in .info['warnings']"] * bool(warnings)
        tail += [f"folder: {self.folder}"] * (self.folder is not None)
        return head, [line if len(line) <= _WIDE else f"{line[: _WIDE - 3]}..." for line in tail]

    def __repr__(self) -> str:
        return summary(self.listing.sites, *self._said())

    def _repr_html_(self) -> str:
        return summary_html(self.listing.sites, *self._said())


_WIDE = 110
"""Letters of a line that a prompt shows without a break."""


def _with_scores(table: pd.DataFrame, listing: Listing) -> pd.DataFrame:
    out = table.copy()
    out["score"], out["confidence"] = listing.scored.score, listing.scored.confidence
    out["rank"] = np.nan
    out["why"] = None
    out.loc[listing.rows, "rank"] = np.arange(1, len(listing.rows) + 1, dtype=np.float64)
    out.loc[listing.rows, "why"] = [site["why"] for site in listing.sites]
    return out
