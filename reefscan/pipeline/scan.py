"""The composition: sources in, tiles through the engine, one merge, one list, files out.

A small grid and a whole coast take the same path. Stages know nothing of each other; they meet here and, for
one sheet, in `reefscan.pipeline.sheet`.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.base.arraysource import ArraySource
from reefscan.base.model import GridSource
from reefscan.base.recipe import Recipe
from reefscan.batch.events import Packing
from reefscan.batch.store import TileStore
from reefscan.batch.tiles import check_tile
from reefscan.find.candidates import check_reach
from reefscan.io.out import tables
from reefscan.io.out.runfolder import FEATURES, MAP, STORE, RunFolder
from reefscan.io.out.surroundings import SURROUNDINGS, write_surroundings
from reefscan.pipeline.around import around_key, compared_words, open_around, surround
from reefscan.pipeline.borders import ToldStations
from reefscan.pipeline.feature_tables import feature_tables
from reefscan.pipeline.finished import program, read_answer, run_key, sizes
from reefscan.pipeline.notes import failures_of, warnings_of, where
from reefscan.pipeline.run_map import draw_run_map
from reefscan.pipeline.sheet import Means, SheetRun, scan_sheet
from reefscan.pipeline.size import refuse_size
from reefscan.score.listing import Listing, list_sites

if TYPE_CHECKING:
    import geopandas

    from reefscan.batch.events import Event


@dataclass(frozen=True)
class Run:
    """What a scan found.

    Attributes
    ----------
    sites : list of dict
        The ranked list: every measure with ``rank``, ``score``, ``confidence``, ``terms``, ``flags``, ``why``.
    candidates : DataFrame
        Every candidate with its raw, rounded measures, and ``score``, ``confidence``, ``rank`` (NaN if not
        listed).
    features : dict of str to GeoDataFrame
        ``troughs``, ``ledges``, ``rises``.
    recipe : Recipe
        As used.
    info : dict
        What ``run.json`` holds.
    folder : Path or None
        Run folder, if one was written.
    score : list of ndarray
        Score raster of each sheet (uint8, 255 unknown), only where nothing was written.
    """

    sites: list[dict[str, Any]]
    candidates: pd.DataFrame
    features: dict[str, geopandas.GeoDataFrame]
    recipe: Recipe
    info: dict[str, Any]
    folder: Path | None = None
    score: list[NDArray[np.uint8]] = field(default_factory=list)


def scan(
    grids: str | Path | Sequence[str | Path],
    recipe: Recipe | None = None,
    *,
    out: str | Path | None = None,
    positive: str | None = None,
    crs: str | None = None,
    variable: str | None = None,
    value_unit: str | None = None,
    datum_shift_m: float = 0.0,
    prefer: Sequence[str] | None = None,
    area: Any = None,
    bbox: Sequence[float] | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    tile: int | None = None,
    unit: str = "m",
    on_event: Callable[[Event], None] = lambda event: None,
) -> Run:
    """Scan seabed grids and list drop points.

    Parameters
    ----------
    grids : path or list of paths
        Files, folders or addresses of bathymetry; see `reefscan.io.grids.rasters.open_grids`.
    recipe : Recipe, optional
        `Recipe.default` if not given.
    out : path, optional
        Run folder to write. Finished tiles in it are kept. Nothing is written if not given.
    positive, crs, variable, value_unit, datum_shift_m, prefer, area, bbox
        How the files are read; see `open_grids`. ``area`` may be the path of an outline.
    workers : int, optional
        Worker processes; by default one per core, or for a few tiles as many threads of this process.
    scheduler : str, optional
        Address of a Dask scheduler to work on instead.
    tile : int, optional
        Side of a tile in cells, a multiple of 512.
    unit : {"m", "ft", "fathom"}
        The user's unit, in the sentences.
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
    from reefscan.io.grids.rasters import open_grids

    recipe = recipe or Recipe.default()
    if tile is not None:
        check_tile(tile)
    many = [grids] if isinstance(grids, (str, Path)) else list(grids)
    started = time.perf_counter()
    sources = open_grids(
        many,
        crs=crs,
        positive=positive,
        variable=variable,
        unit=value_unit,
        datum_shift_m=datum_shift_m,
        prefer=list(prefer) if prefer else None,
        bbox=bbox,
        area=read_area(area) if isinstance(area, (str, Path)) else area,
    )
    facts = {
        "depth_unit": unit,
        "datum_shift_m": datum_shift_m,
        "positive": positive,
        "crs": crs,
        "variable": variable,
        "value_unit": value_unit,
        "prefer": list(prefer) if prefer else None,
        "bbox": list(bbox) if bbox is not None else None,
        "area": _named(area),
        "grids": [str(Path(g).resolve()) if Path(str(g)).exists() else str(g) for g in many],
    }
    return scan_sources(
        sources, recipe, out=out, workers=workers, scheduler=scheduler, tile=tile, unit=unit, on_event=on_event,
        facts=facts, opened_s=time.perf_counter() - started,
    )  # fmt: skip


def _named(area: Any) -> str | None:
    """How ``run.json`` records the outline: its file, or the outline itself where it came as a shape."""
    if area is None:
        return None
    return str(Path(area).resolve()) if isinstance(area, (str, Path)) else str(area.wkt)


def scan_elevation(
    elev: NDArray[np.floating],
    *,
    cell_m: float,
    sigma: NDArray[np.floating] | None = None,
    recipe: Recipe | None = None,
    crs: str = "EPSG:32631",
    origin: tuple[float, float] = (500_000.0, 0.0),
    tile: int | None = None,
) -> Run:
    """Scan an array of elevations; see `ArraySource.from_metres` and `scan`. Writes nothing."""
    source = ArraySource.from_metres(elev, cell_m=cell_m, sigma=sigma, crs=crs, origin=origin)
    return scan_sources([source], recipe or Recipe.default(), workers=1, tile=tile)


def scan_sources(
    sources: Sequence[GridSource],
    recipe: Recipe,
    *,
    out: str | Path | None = None,
    workers: int | None = None,
    scheduler: str | None = None,
    tile: int | None = None,
    unit: str = "m",
    on_event: Callable[[Event], None] = lambda event: None,
    facts: Mapping[str, Any] | None = None,
    opened_s: float = 0.0,
) -> Run:
    """Scan opened sources: the path that every scan takes. Parameters as in `scan`."""
    means = Means(workers, scheduler, tile, on_event)
    recipe = recipe.searched_as_asked()
    facts = dict(facts or {})
    for source in sources:
        check_reach(recipe.find, source.sheet.cell_m)
    if scheduler is None:  # a cluster's machines are not this one
        refuse_size(sources, recipe.find, tile=tile, workers=workers, kept=out is not None)
    known = open_around(sources, recipe)
    asked = {**facts, "unit": unit, "around": around_key(known, recipe)}
    key = run_key(sources, recipe, asked) if out is not None else ""
    if out is not None and (answer := read_answer(out, key)) is not None:
        listing = list_sites(answer.candidates, recipe, unit=unit)
        return Run(
            listing.sites, _with_scores(answer.candidates, listing), answer.features, recipe, answer.info,
            answer.folder,
        )  # fmt: skip
    with ExitStack() as stack:
        folder = stack.enter_context(RunFolder.create(out)) if out is not None else None
        store = None
        if folder is not None:
            folder.note(inputs=[source.fingerprint() for source in sources], **facts)
            folder.write_recipe(recipe)
            store = TileStore.open(folder.file(STORE), program=program())
        told = ToldStations() if len(sources) > 1 else None
        beside = stack.enter_context(ThreadPoolExecutor(1, thread_name_prefix="beside"))
        sheets = [
            scan_sheet(
                source,
                i,
                recipe,
                folder=folder,
                store=store,
                means=means,
                told=told,
                beside=beside,
                known=known,
            )
            for i, source in enumerate(sources)
        ]
        step = time.perf_counter()
        table = tables.rounded(pd.concat([sheet.candidates for sheet in sheets], ignore_index=True))
        table, around = surround(table, known, recipe, sources)
        listing = list_sites(table, recipe, unit=unit)
        features = feature_tables(
            [(source.sheet, sheet.features) for source, sheet in zip(sources, sheets, strict=True)]
        )
        clock = {"open_s": opened_s, **_added(sheets), "list_s": time.perf_counter() - step}
        info = {**facts, **_facts_of(sources, sheets, recipe, table, listing), "around": around}
        info["warnings"] += [*(() if known is None else known.notes), *compared_words(around)]
        if folder is not None:
            step = time.perf_counter()
            if known is not None:
                write_surroundings(folder.file(SURROUNDINGS), known)
            else:  # an earlier run's
                folder.file(SURROUNDINGS).unlink(missing_ok=True)
            folder.write_candidates(table)
            folder.write_listed(listing.sites, info)
            tables.write_features(folder.file(FEATURES), features)
            pictures = [sheet.picture for sheet in sheets]
            folder.write(MAP, draw_run_map(sources, recipe, listing, features, info, unit, pictures, known))
            folder.warn(*info["warnings"])
            for sheet in sheets:
                if sheet.writing is not None:
                    if not sheet.writing.done():
                        *_, height, width = sheet.facts["extent"]
                        on_event(Packing(height * width, int(sheet.facts["known_cells"])))
                    sheet.writing.result()
            clock["write_s"] = time.perf_counter() - step
            done = {k: v for k, v in info.items() if k not in ("state", "warnings")}
            done |= {"run_key": key, "files": sizes(folder)}
            folder.finish(str(info["state"]), **done, timings={k: round(v, 3) for k, v in clock.items()})
            info = dict(folder.info)
        else:
            info["timings"] = {k: round(v, 3) for k, v in clock.items()}
        return Run(
            listing.sites, _with_scores(table, listing), features, recipe, info,
            None if folder is None else folder.path,
            [sheet.score for sheet in sheets if sheet.score is not None],
        )  # fmt: skip


def _facts_of(
    sources: Sequence[GridSource],
    sheets: Sequence[SheetRun],
    recipe: Recipe,
    table: pd.DataFrame,
    listing: Listing,
) -> dict[str, Any]:
    """What ``run.json`` tells of the answer."""
    failures = [failure for sheet in sheets for failure in sheet.failures]
    return {
        "state": "partial" if failures else "done",
        "sheets": [sheet.facts for sheet in sheets],
        "cells": sum(int(sheet.facts["known_cells"]) for sheet in sheets),
        "candidates": len(table),
        "listed": len(listing.sites),
        "limits": [sheet.limits.sentence() for sheet in sheets],
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


def _with_scores(table: pd.DataFrame, listing: Listing) -> pd.DataFrame:
    out = table.copy()
    out["score"], out["confidence"] = listing.scored.score, listing.scored.confidence
    out["rank"] = np.nan
    out["why"] = None
    out.loc[listing.rows, "rank"] = np.arange(1, len(listing.rows) + 1, dtype=np.float64)
    out.loc[listing.rows, "why"] = [site["why"] for site in listing.sites]
    return out
