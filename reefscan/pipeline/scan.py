"""The composition: sources in, tiles through the engine, one merge, one list, files out.

A small grid and a whole coast take the same path. Stages know nothing of each other; they meet here and, for
one sheet, in `reefscan.pipeline.sheet`.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.datum import datum_name
from reefscan.base.model import GridSource, Sheet, Window
from reefscan.base.recipe import Recipe
from reefscan.batch.events import Packing
from reefscan.batch.memory import give_back
from reefscan.batch.store import TileStore
from reefscan.io.out.runfolder import FEATURES, MAP, STORE, RunFolder, score_name
from reefscan.io.whole import replacing
from reefscan.pipeline.engineoptions import EngineOptions
from reefscan.pipeline.finished import Answer, program, read_answer, run_key, sizes
from reefscan.pipeline.run import Run

if TYPE_CHECKING:
    import geopandas
    import pandas as pd
    import xarray

    from reefscan.batch.events import Event
    from reefscan.io.grids.source import SheetSource
    from reefscan.pipeline.sheet import SheetRun
    from reefscan.pipeline.size import Expected
    from reefscan.score.listing import Listing
    from reefscan.surroundings.known import Surroundings


def scan(
    grids: str | Path | xarray.DataArray | Sequence[str | Path | xarray.DataArray],
    recipe: Recipe | None = None,
    *,
    out: str | Path | None = None,
    positive: str | None = None,
    crs: str | None = None,
    variable: str | None = None,
    value_unit: str | None = None,
    datum_shift_m: float = 0.0,
    datum: str | None = None,
    prefer: Sequence[str] | None = None,
    area: Any = None,
    bbox: Sequence[float] | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    tile: int | None = None,
    unit: str = "m",
    draw: bool = True,
    on_event: Callable[[Event | Expected], None] = lambda event: None,
) -> Run:
    """Scan seabed grids and list drop points.

    Parameters
    ----------
    grids : path or DataArray, or list of these
        Files, folders or addresses of bathymetry (see `reefscan.io.grids.rasters.open_grids`), or arrays of depth or
        elevation. Where an array lies is read off its coordinates (centres of evenly spaced cells, in any order) and
        its CRS (``.rio.crs``), its sign off its attributes (``positive``, ``standard_name``), its name or its
        numbers, its unit off ``units``: as of a file. What it does not say, ``positive``, ``crs`` and ``value_unit`` do.
    recipe : Recipe, optional
        `Recipe.default` if not given.
    out : path, optional
        Run folder to write, with a copy of each array. Finished tiles in it are kept. Nothing is written if not given.
    positive, crs, variable, value_unit, datum_shift_m, prefer, area, bbox
        How the files are read; see `open_grids`. ``area`` may be the path of an outline.
    datum : str, optional
        Name of the level that depths are counted from after any shift, such as ``mean low water``; what the files
        state if not given. It stands beside every depth and moves none.
    workers : int, optional
        Worker processes; by default one per core, or for a few tiles as many threads of this process.
    scheduler : str, optional
        Address of a Dask scheduler to work on instead; arrays lie in this machine's temporary folder, which its
        workers must see.
    tile : int, optional
        Side of a tile in cells, a multiple of 512.
    unit : {"m", "ft", "fathom"}
        The user's unit, in the sentences.
    draw : bool
        Draw the map into the run folder: a third of the time that a small grid takes.
    on_event : callable, optional
        Gets the engine's events.

    Returns
    -------
    Run

    Raises
    ------
    ReefscanError
        See `reefscan.base.errors`; inputs are opened before anything is written.
    """
    from reefscan.io.areas import read_area
    from reefscan.io.grids.array import as_files
    from reefscan.io.grids.rasters import open_grids

    recipe = recipe or Recipe.default()
    options = EngineOptions(workers, scheduler, tile, on_event)
    with as_files(grids) as (paths, arrays):
        started = time.perf_counter()
        sources = open_grids(
            paths,
            crs=crs,
            positive=positive,
            variable=variable,
            unit=value_unit,
            datum_shift_m=datum_shift_m,
            prefer=list(prefer) if prefer else None,
            bbox=bbox,
            area=read_area(area) if isinstance(area, (str, Path)) else area,
        )
        names = {str(path): path.name for path in arrays}  # in the run folder, which they go into
        facts = {
            "depth_unit": unit,
            "datum_shift_m": datum_shift_m,
            "datum": datum_name(datum, _stated(sources), moved_m=datum_shift_m),
            "positive": positive,
            "crs": crs,
            "variable": variable,
            "value_unit": value_unit,
            "prefer": list(prefer) if prefer else None,
            "bbox": list(bbox) if bbox is not None else None,
            "area": _named(area),
            "grids": [names.get(p) or (str(Path(p).resolve()) if Path(p).exists() else p) for p in paths],
        }
        run = scan_sources(
            sources, recipe, out=out, options=options, unit=unit, draw=draw,
            facts=facts, opened_s=time.perf_counter() - started,
        )  # fmt: skip
        if run.folder is not None:
            for path in arrays:
                with replacing(run.folder / path.name) as part:
                    shutil.copy2(path, part)
        return run


def _stated(sources: Sequence[SheetSource]) -> str:
    """The vertical datums that the files state."""
    return ", ".join(dict.fromkeys(source.vertical for source in sources if source.vertical))


def _named(area: Any) -> str | None:
    """How ``run.json`` records the outline: its file, or the outline itself where it came as a shape."""
    if area is None:
        return None
    return str(Path(area).resolve()) if isinstance(area, (str, Path)) else str(area.wkt)


def scan_sources(
    sources: Sequence[GridSource],
    recipe: Recipe,
    *,
    out: str | Path | None = None,
    options: EngineOptions | None = None,
    unit: str = "m",
    draw: bool = True,
    facts: Mapping[str, Any] | None = None,
    opened_s: float = 0.0,
) -> Run:
    """Scan opened sources: the path that every scan takes.

    Parameters
    ----------
    sources : sequence of GridSource
        One a sheet.
    recipe, out, unit, draw
        As in `scan`.
    options : EngineOptions, optional
        With what the tiles are run.
    facts : dict, optional
        How the sources were opened, for ``run.json``.
    opened_s : float
        Seconds which that took.
    """
    # what follows wants 0.8 s of CPU to be imported; a word typed wrong is answered before
    from reefscan.find.candidates import check_reach
    from reefscan.pipeline.around import around_key, open_around
    from reefscan.pipeline.borders import EarlierStations
    from reefscan.pipeline.sheet import SheetFiles, scan_sheet
    from reefscan.pipeline.size import expect, refuse_size

    recipe, options, facts = recipe.searched_as_asked(), options or EngineOptions(), dict(facts or {})
    for source in sources:
        check_reach(recipe.find, source.sheet.cell_m)
    if options.scheduler is None:  # a cluster's machines are not this one
        refuse_size(sources, recipe.find, tile=options.tile, workers=options.workers, kept=out is not None)
    known = open_around(sources, recipe)
    key = ""
    if out is not None:
        key = run_key(sources, recipe, {**facts, "unit": unit, "around": around_key(known, recipe)})
        if (answer := read_answer(out, key, draw=draw)) is not None:
            return _read_again(answer, sources, recipe, unit)
    if options.scheduler is None:
        options.on_event(expect(sources, recipe.find, workers=options.workers, tile=options.tile))
    with ExitStack() as stack:
        folder = stack.enter_context(RunFolder.create(out)) if out is not None else None
        files = None
        if folder is not None:
            folder.note(inputs=[source.fingerprint() for source in sources], **facts)
            folder.write_recipe(recipe)
            executor = stack.enter_context(ThreadPoolExecutor(1, thread_name_prefix="raster"))
            files = SheetFiles(folder, TileStore.open(folder.file(STORE), program=program()), executor)
        earlier = EarlierStations() if len(sources) > 1 else None
        sheets = [
            scan_sheet(source, i, recipe, options=options, files=files, earlier=earlier, known=known)
            for i, source in enumerate(sources)
        ]
        give_back()
        found = _listed(sources, sheets, recipe, known, unit=unit, facts=facts)
        found.clock["open_s"] = opened_s
        if folder is not None:
            _write(folder, found, key, unit=unit, draw=draw, on_event=options.on_event)
        return found.run(folder)


def _read_again(answer: Answer, sources: Sequence[GridSource], recipe: Recipe, unit: str) -> Run:
    """Give the answer of a finished run anew."""
    from reefscan.score.listing import list_sites

    scores = [answer.folder / score_name(i) for i in range(len(sources))]
    return Run(
        list_sites(answer.candidates, recipe, unit=unit), answer.candidates, answer.features, recipe, answer.info,
        answer.folder, _rasters(sources, scores),
    )  # fmt: skip


def _listed(
    sources: Sequence[GridSource],
    sheets: Sequence[SheetRun],
    recipe: Recipe,
    known: Surroundings | None,
    *,
    unit: str,
    facts: Mapping[str, Any],
) -> _Found:
    """Bring the candidates of all sheets into one table, with what surrounds them, and list the best."""
    import pandas as pd  # what follows wants 0.5 s of CPU to be imported; a word typed wrong is answered before

    from reefscan.io.out import tables
    from reefscan.pipeline.around import surround
    from reefscan.pipeline.charted import compared_words
    from reefscan.pipeline.feature_tables import feature_tables
    from reefscan.score.listing import list_sites

    step = time.perf_counter()
    table = tables.rounded(pd.concat([sheet.candidates for sheet in sheets], ignore_index=True))
    table, around = surround(table, known, recipe, sources)
    listing = list_sites(table, recipe, unit=unit)
    features = feature_tables(
        [(source.sheet, sheet.features) for source, sheet in zip(sources, sheets, strict=True)]
    )
    clock = {**_added(sheets), "list_s": time.perf_counter() - step}
    info = {**facts, **_facts_of(sources, sheets, recipe, table, listing, unit), "around": around}
    info["warnings"] += [*(() if known is None else known.notes), *compared_words(around)]
    return _Found(sources, sheets, recipe, table, listing, features, info, known, clock)


@dataclass(frozen=True)
class _Found:
    """All that a scan found, before it is written."""

    sources: Sequence[GridSource]
    sheets: Sequence[SheetRun]
    recipe: Recipe
    table: pd.DataFrame
    listing: Listing
    features: dict[str, geopandas.GeoDataFrame]
    info: dict[str, Any]
    known: Surroundings | None
    clock: dict[str, float]

    def timings(self) -> dict[str, float]:
        """Seconds of each step so far, in whole milliseconds."""
        return {name: round(seconds, 3) for name, seconds in self.clock.items()}

    def run(self, folder: RunFolder | None) -> Run:
        """Hand over what was found, and where it was written."""
        scores: list[NDArray[np.uint8] | Path | None]
        if folder is None:
            path, info = None, {**self.info, "timings": self.timings()}
            scores = [sheet.score for sheet in self.sheets]
        else:
            path, info = folder.path, dict(folder.info)
            scores = [folder.file(score_name(i)) for i in range(len(self.sheets))]
        return Run(
            self.listing, self.table, self.features, self.recipe, info, path, _rasters(self.sources, scores)
        )


def _write(
    folder: RunFolder,
    found: _Found,
    key: str,
    *,
    unit: str,
    draw: bool,
    on_event: Callable[[Event | Expected], None],
) -> None:
    """Write tables, features, what lies around and the map, and mark the run as finished.

    What an earlier run left of those that are not written goes.
    """
    from reefscan.io.out import tables
    from reefscan.io.out.surroundings import SURROUNDINGS, write_surroundings
    from reefscan.pipeline.run_map import draw_run_map

    step = time.perf_counter()
    if found.known is not None:
        write_surroundings(folder.file(SURROUNDINGS), found.known)
    else:
        folder.file(SURROUNDINGS).unlink(missing_ok=True)
    folder.write_candidates(found.table)
    folder.write_listed(found.listing.sites, found.info)
    tables.write_features(folder.file(FEATURES), found.features)
    if draw:
        pictures = [sheet.picture for sheet in found.sheets]
        picture = draw_run_map(
            found.sources, found.recipe, found.listing, found.features, found.info, unit, pictures, found.known
        )  # fmt: skip
        folder.write(MAP, picture)
    else:
        folder.file(MAP).unlink(missing_ok=True)
    folder.warn(*found.info["warnings"])
    _wait_for_rasters(found.sheets, on_event)
    found.clock["write_s"] = time.perf_counter() - step
    done = {name: value for name, value in found.info.items() if name not in ("state", "warnings")}
    done |= {"run_key": key, "files": sizes(folder)}
    folder.finish(str(found.info["state"]), **done, timings=found.timings())


def _wait_for_rasters(sheets: Sequence[SheetRun], on_event: Callable[[Event | Expected], None]) -> None:
    """Wait until every sheet's score raster is packed, and say so where that takes time."""
    for sheet in sheets:
        if sheet.writing is None:
            continue
        if not sheet.writing.done():
            *_, height, width = sheet.facts["extent"]
            on_event(Packing(height * width, int(sheet.facts["known_cells"])))
        sheet.writing.result()


def _rasters(
    sources: Sequence[GridSource], scores: Sequence[NDArray[np.uint8] | Path | None]
) -> tuple[tuple[Sheet, Window, NDArray[np.uint8] | Path], ...]:
    return tuple(
        (source.sheet, source.extent, score)
        for source, score in zip(sources, scores, strict=True)
        if score is not None
    )


def _facts_of(
    sources: Sequence[GridSource],
    sheets: Sequence[SheetRun],
    recipe: Recipe,
    table: pd.DataFrame,
    listing: Listing,
    unit: str,
) -> dict[str, Any]:
    """What ``run.json`` tells of the answer."""
    from reefscan.pipeline.notes import failures_of, warnings_of, where

    failures = [failure for sheet in sheets for failure in sheet.failures]
    return {
        "state": "partial" if failures else "done",
        "sheets": [sheet.facts for sheet in sheets],
        "cells": sum(int(sheet.facts["known_cells"]) for sheet in sheets),
        "candidates": len(table),
        "listed": len(listing.sites),
        "limits": [sheet.limits.sentence(unit) for sheet in sheets],
        "failed_tiles": [{"tile": where(f.core), "why": f.message} for f in failures],
        "warnings": [
            *warnings_of(sources, sheets, recipe, table),
            *listing.warnings,
            *failures_of(sheets),
        ],
    }


def _added(sheets: Sequence[SheetRun]) -> dict[str, float]:
    """Seconds of all sheets, by step."""
    total: dict[str, float] = {}
    for sheet in sheets:
        for name, seconds in sheet.clock.items():
            total[name] = total.get(name, 0.0) + seconds
    return total
