"""A run listed anew from its folder: open, rescore, write. No grid is read.

This composes ``io`` and the listing, as `reefscan.pipeline.scan` does for a scan.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from reefscan.base.errors import RunFolderError
from reefscan.base.recipe import Recipe
from reefscan.io.out.runfolder import RunFolder
from reefscan.io.out.surroundings import SURROUNDINGS, read_surroundings, write_surroundings
from reefscan.pipeline.places import site_points, summary, summary_html
from reefscan.score.limits import limits_of_run
from reefscan.score.listing import Listing, rescore

if TYPE_CHECKING:
    import geopandas

_CARRIED = (
    "inputs", "grids", "sheets", "limits", "depth_unit", "datum_shift_m", "datum", "positive", "crs", "variable", "value_unit",
    "prefer", "cells", "area", "bbox", "around",
)  # fmt: skip
"""Facts of the scan that stay true of its candidates, whatever the recipe."""


@dataclass(frozen=True, repr=False, eq=False)
class Rerun:
    """A rescored run: the recipe as used, the list, all candidates, what ``run.json`` knows, where it was written, and the unit of its sentences."""

    recipe: Recipe
    listing: Listing
    table: pd.DataFrame
    info: dict[str, Any]
    folder: Path | None
    unit: str = "m"

    @cached_property
    def sites(self) -> geopandas.GeoDataFrame:
        """The ranked list: drop points (WGS 84), as `reefscan.Run.sites`."""
        return site_points(self.listing.sites, self.table)

    def _said(self) -> tuple[str, list[str]]:
        head = f"Rerun: {len(self.listing.sites)} sites of {len(self.table):,} candidates"
        return head, [f"folder: {self.folder}"] * (self.folder is not None)

    def __repr__(self) -> str:
        return summary(self.listing.sites, *self._said())

    def _repr_html_(self) -> str:
        return summary_html(self.listing.sites, *self._said())


def rescore_run(
    folder: Path | str,
    recipe: Recipe | None = None,
    *,
    out: Path | str | None = None,
    unit: str | None = None,
) -> Rerun:
    """List the candidates of a finished run under another recipe.

    Parameters
    ----------
    folder : path
        A run folder; it is only read.
    recipe : Recipe, optional
        The run's own if not given.
    out : path, optional
        Run folder to write: candidates, list, recipe, ``run.json``. Nothing is written if not given.
    unit : {"m", "ft", "fathom"}, optional
        Unit of the sentences; the scan's own if not given.

    Raises
    ------
    NeedsScanError
        If the recipe reaches outside what the run searched.
    RunFolderError
        If the folder is not a finished run, or ``out`` is that very run or not ours.
    """
    run = RunFolder.open(folder)
    if out is not None and Path(out).resolve() == Path(folder).resolve():
        raise RunFolderError(
            f"{out}: is the run itself, whose map and score.tif would no longer fit; choose another"
        )
    table, stored = run.candidates(), run.recipe()
    known = read_surroundings(run.path, run.info)
    started = time.perf_counter()
    said = unit or str(run.info.get("depth_unit", "m"))
    used, listing = rescore(table, stored, recipe or stored, unit=said)
    seconds = round(time.perf_counter() - started, 3)
    carried = {name: run.info[name] for name in _CARRIED if name in run.info}
    carried["limits"] = limits_of_run(run.info, used, said)
    if out is None:
        return Rerun(used, listing, table, {**carried, "warnings": listing.warnings}, None, said)
    with RunFolder.create(out, command="rescore") as new:
        if known is not None:
            write_surroundings(new.file(SURROUNDINGS), known)
        new.write_candidates(table)
        new.write_recipe(used)
        new.write_listed(listing.sites, run.info)
        new.warn(*listing.warnings)
        new.finish(
            str(run.info["state"]), **{**carried, "depth_unit": said}, rescored_from=str(folder),
            candidates=len(table), listed=len(listing.sites), timings={"rescore_s": seconds},
        )  # fmt: skip
        return Rerun(used, listing, table, new.info, new.path, said)
