"""One sheet: its tiles through the engine, the score raster as they come, one merge of their tables."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import GridSource, Window
from reefscan.base.overview import Thinning
from reefscan.base.recipe import Recipe
from reefscan.batch.engines import Engine, InProcess, choose_engine, usable_cores
from reefscan.batch.result import TileFailure
from reefscan.batch.run import Finished, finish_tiles
from reefscan.batch.store import TileStore, tile_key
from reefscan.batch.tiles import DEFAULT_TILE, check_tile, outside_band, plan_tiles
from reefscan.find import candidates
from reefscan.io.out.runfolder import RunFolder, score_name
from reefscan.io.out.scoreraster import blanked, closed_on, publish, score_raster
from reefscan.pipeline.borders import ToldStations
from reefscan.pipeline.finished import program
from reefscan.pipeline.interpolated import told_filled
from reefscan.pipeline.sheet_names import lonlat_of, sheet_name
from reefscan.pipeline.tilework import TileWork, raster_terms
from reefscan.pipeline.warmup import telling, warm_up
from reefscan.score.limits import Limits, limits_of

if TYPE_CHECKING:
    import pandas as pd

    from reefscan.batch.events import Event
    from reefscan.join.merge import Feature, Merged
    from reefscan.surroundings.known import Surroundings

FEW_TILES = 64
"""Up to so many a few threads of this process do the tiles: a worker process costs 1.3 CPU seconds before its
first cell (imports, compiled kernels), as much as 20 million cells. Kernels and decoding release the lock."""

LEAST_STEP = 3
"""From this thinning on the tiles hand over the map's picture; a smaller grid is read again in a moment."""

MOST_THREADS = 4
"""With more cores than this, processes: threads would wait for each other, and share one memory."""


@dataclass(frozen=True)
class Means:
    """With what the tiles are run. The result does not depend on it.

    Attributes
    ----------
    workers : int or None
        Processes; if not given, threads of this process for a few tiles, else one process per core.
    scheduler : str or None
        Address of a Dask scheduler to work on instead.
    tile : int or None
        Side of a tile in cells.
    on_event : callable
        Gets the engine's events.
    """

    workers: int | None
    scheduler: str | None
    tile: int | None
    on_event: Callable[[Event], None]

    def __post_init__(self) -> None:
        """Refuse what cannot be, before anything is written."""
        choose_engine(workers=self.workers, scheduler=self.scheduler)
        check_tile(DEFAULT_TILE if self.tile is None else self.tile)

    def engine(self, tiles: int) -> Engine:
        """Choose the engine for so many tiles."""
        cores = usable_cores()
        if (
            self.workers is None
            and self.scheduler is None
            and (tiles == 1 or (tiles <= FEW_TILES and cores <= MOST_THREADS))
        ):
            return InProcess(min(cores, tiles), prepare=telling(self.on_event))
        # a cluster's machines compile by themselves, out of sight
        prepare = telling(self.on_event) if self.scheduler is None else warm_up
        return choose_engine(workers=self.workers, scheduler=self.scheduler, prepare=prepare)


@dataclass(frozen=True)
class SheetRun:
    """What the scan of one sheet gives; ``score`` only where no run folder was there to write it into.

    ``picture`` is the grid thinned for the map, None where reading it anew is cheap or nobody draws it; ``writing`` is
    done, or raises, when the score raster lies in the folder.
    """

    candidates: pd.DataFrame
    features: tuple[Feature, ...]
    failures: list[TileFailure]
    limits: Limits
    facts: dict[str, Any]
    clock: dict[str, float]
    score: NDArray[np.uint8] | None
    picture: tuple[NDArray[np.int32], Thinning] | None
    writing: Future[None] | None


def scan_sheet(
    source: GridSource,
    number: int,
    recipe: Recipe,
    *,
    folder: RunFolder | None,
    store: TileStore | None,
    means: Means,
    told: ToldStations | None,
    beside: Executor,
    known: Surroundings | None = None,
) -> SheetRun:
    """Scan one sheet.

    Parameters
    ----------
    source : GridSource
    number : int
        Which sheet of the run, from 0; part of the score raster's name.
    recipe : Recipe
    folder, store : RunFolder and TileStore, or None
        Where score raster and tiles go; both or none.
    means : Means
    told : ToldStations or None
        What earlier sheets of the run found; None where this is the only one.
    beside : Executor
        Finishes the score raster (overviews, packing) while what follows is joined, listed and drawn.
    known : Surroundings, optional
        What lies around: no score is told in closed ground.
    """
    clock: dict[str, float] = {}
    step = time.perf_counter()
    tiles = plan_tiles(source.extent, means.tile or DEFAULT_TILE)
    finished: list[Finished] = []
    failures: list[TileFailure] = []
    thinning = Thinning.of(source.extent)
    shown = thinning if folder is not None and thinning.step >= LEAST_STEP else None
    for end in _tiles(source, recipe, tiles, store, means, shown):
        if isinstance(end, TileFailure):
            failures.append(end)
        else:
            finished.append(end)
    clock["tiles_s"] = time.perf_counter() - step
    step = time.perf_counter()
    stations, totals, read, score, picture, writing = _gather(
        source, number, finished, folder, shown, beside, known
    )
    if shown is not None and picture is not None:
        seen = {end.core for end in finished} | {failure.core for failure in failures}
        _fill_in(picture, shown, source, [core for core in tiles if core not in seen])
    clock["merge_read_s"] = time.perf_counter() - step
    step = time.perf_counter()
    merged, stations = _merge(stations, source, recipe, told)
    clock["merge_s"] = time.perf_counter() - step
    sheet, extent = source.sheet, source.extent
    # one file may lie on two sheets, and two files on one
    said = (
        f"{source.name} ({sheet.crs if len(sheet.crs) < 20 else sheet_name(sheet)})"
        if told is not None
        else source.name
    )
    sigma = stations["uncertainty_m"].dropna()
    sigma_m = float(sigma.median()) if len(sigma) else None
    between_m = float(getattr(source, "between_m", 0.0))  # a grid that is no file says nothing of tracks
    limits = limits_of(said, sheet.cell_m, recipe, sigma_m=sigma_m, between_m=between_m)
    facts = {
        "sheet": sheet_name(sheet),
        "crs": sheet.crs,
        "cell_m": sheet.cell_m,
        "extent": [extent.row, extent.col, extent.height, extent.width],
        "tiles": len(tiles),
        "known_cells": int(totals.get("known", 0)),
        "cells_in_band": int(totals.get("in_band", 0)),
        "fliers": int(totals.get("fliers", 0)),
        "measured": int(totals.get("measured", 0)),
        "measured_a_candidate": round(totals.get("measured", 0) / max(1, len(merged.candidates)), 2),
        "stations": len(stations),
        "cells_read": read,
        "name": said,
        "uncertainty_m": sigma_m,
        "between_m": between_m,
        "seconds_in_tiles": {
            name: round(totals.get(name, 0.0), 3)
            for name in ("read_s", "edges_s", "stations_s", "score_s", "tile_s")
        },
    }
    drawn = None if shown is None or picture is None else (picture, shown)
    return SheetRun(merged.candidates, merged.features, failures, limits, facts, clock, score, drawn, writing)


def _tiles(
    source: GridSource,
    recipe: Recipe,
    tiles: Sequence[Window],
    store: TileStore | None,
    means: Means,
    shown: Thinning | None,
) -> Iterator[Finished | TileFailure]:
    find = recipe.find
    low, high = candidates.seek_band(find)
    margin = candidates.halo(find, source.sheet.cell_m)
    asked = [find.key(), program(), source.lattice_key()]
    terms = raster_terms(recipe.score)
    return finish_tiles(
        TileWork(source, find, recipe.score, shown),
        tiles,
        engine=means.engine(len(tiles)),
        store=store,
        name_of=lambda core: tile_key(core, *asked),
        stamp_of=lambda core: f"{source.fingerprint_of(core.grow(margin))} {terms}" if store else "",
        on_event=means.on_event,
        skip=outside_band(source.depth_range, -high / 1000.0, -low / 1000.0),
    )


def _gather(
    source: GridSource,
    number: int,
    finished: list[Finished],
    folder: RunFolder | None,
    shown: Thinning | None,
    beside: Executor,
    known: Surroundings | None,
) -> tuple[
    pd.DataFrame,
    dict[str, float],
    str,
    NDArray[np.uint8] | None,
    NDArray[np.int32] | None,
    Future[None] | None,
]:
    """Load the tiles in their order, one at a time: stations of all, sums of their counts, one hash of the cells that
    they read, score raster, picture, and when the raster will be written."""
    import pandas as pd

    sheet, extent = source.sheet, source.extent
    parts: list[pd.DataFrame] = []
    totals: dict[str, float] = {}
    read = hashlib.blake2b(digest_size=16)
    score: NDArray[np.uint8] | None = None
    picture = None if shown is None else shown.blank()
    closed = [] if known is None else closed_on(sheet, known.of("closed").shapes)
    with ExitStack() as stack:
        raster, path = None, None
        if folder is not None:
            path = folder.file(score_name(number))
            raster = stack.enter_context(score_raster(path, sheet, extent))
        else:
            score = np.full((extent.height, extent.width), 255, np.uint8)
        for end in sorted(finished, key=lambda end: end.core):
            result = end.load()
            for key, value in result.stats.items():
                totals[key] = totals.get(key, 0.0) + value
            read.update(f"{end.core} {result.inputs.get('cells', '')}\n".encode())
            table = result.tables.get("stations")
            if table is not None and table.num_rows:
                parts.append(table.to_pandas())
            cells = result.rasters.get("score")  # a tile that is unknown all over has none
            if cells is not None:
                cells = blanked(cells, end.core, sheet, closed)
            if cells is not None and raster is not None:
                raster.write(end.core, cells)
            elif cells is not None and score is not None:
                inside = end.core.intersect(extent)
                score[inside.slices_in(extent)] = cells[inside.slices_in(end.core)]
            if shown is not None and picture is not None:
                if shown.name in result.rasters:
                    shown.put(picture, end.core, result.rasters[shown.name])
                else:  # an earlier run's tile, thinned for another extent
                    _fill_in(picture, shown, source, [end.core])
    writing = None if path is None else beside.submit(publish, path)
    stations = pd.concat(parts, ignore_index=True) if parts else candidates.find_stations_none()
    return stations, totals, read.hexdigest(), score, picture, writing


def _fill_in(
    picture: NDArray[np.int32], shown: Thinning, source: GridSource, cores: Sequence[Window]
) -> None:
    """Read for the picture what no tile handed over: tiles that were passed by, for what they cannot hold."""
    for core in cores:
        part = core.intersect(source.extent)
        if source.depth_range(part) is not None:
            shown.put(picture, part, shown.pick(source.read(part).elev_mm, part))


def _merge(
    stations: pd.DataFrame, source: GridSource, recipe: Recipe, told: ToldStations | None
) -> tuple[Merged, pd.DataFrame]:
    """Join the stations that are this sheet's own, and name the file that each candidate comes from."""
    from reefscan.join.merge import merge

    sheet = source.sheet
    if len(stations):
        mine = source.owns(stations["seed_row"].to_numpy(), stations["seed_col"].to_numpy())
        stations = stations[mine].reset_index(drop=True)
    if told is not None and len(stations):
        stations = told.new(stations, source, recipe.find.station_m)
    merged = merge(stations, sheet, recipe.find, sheet_name=sheet_name(sheet), lonlat=lonlat_of(sheet))
    table = merged.candidates
    table["source"] = np.asarray(
        source.source_at(table["row"].to_numpy(), table["col"].to_numpy()), dtype=object
    )
    told_filled(table, sheet, source.filled_at)
    return merged, stations
