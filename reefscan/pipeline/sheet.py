"""One sheet: its tiles through the engine, the score raster as they come, one merge of their tables."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import GridSource, Window
from reefscan.base.overview import Thinning
from reefscan.base.recipe import Recipe
from reefscan.batch.result import TileFailure
from reefscan.batch.run import Finished, finish_tiles
from reefscan.batch.store import TileStore, tile_key
from reefscan.batch.tiles import DEFAULT_TILE, outside_band, plan_tiles
from reefscan.find import candidates
from reefscan.io.out.runfolder import RunFolder, score_name
from reefscan.io.out.scoreraster import blanked, publish, score_raster
from reefscan.pipeline.borders import EarlierStations
from reefscan.pipeline.engineoptions import EngineOptions
from reefscan.pipeline.finished import program
from reefscan.pipeline.interpolated import mark_interpolated
from reefscan.pipeline.sheet_names import lonlat_of, sheet_name
from reefscan.pipeline.tilework import TileWork, raster_terms
from reefscan.score.limits import Limits, limits_of
from reefscan.surroundings.onsheet import areas_on
from reefscan.surroundings.shapes import no_shapes

if TYPE_CHECKING:
    import pandas as pd

    from reefscan.join.merge import Features, Merged
    from reefscan.surroundings.known import Surroundings

LEAST_STEP = 3
"""From this thinning on the tiles hand over the map's picture; a smaller grid is read again in a moment."""


@dataclass(frozen=True)
class SheetFiles:
    """Where what a sheet gives is kept: the run's folder, its tiles, and who packs its score raster meanwhile.

    Attributes
    ----------
    folder : RunFolder
    store : TileStore
    executor : Executor
        Finishes the score raster (overviews, packing) while what follows is joined, listed and drawn.
    """

    folder: RunFolder
    store: TileStore
    executor: Executor


@dataclass(frozen=True)
class SheetRun:
    """What the scan of one sheet gives; ``score`` only where no run folder was there to write it into.

    ``picture`` is the grid thinned for the map, None where reading it anew is cheap or nobody draws it; ``writing`` is
    done, or raises, when the score raster lies in the folder.
    """

    candidates: pd.DataFrame
    features: tuple[Features, ...]
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
    options: EngineOptions,
    files: SheetFiles | None,
    earlier: EarlierStations | None,
    known: Surroundings | None = None,
) -> SheetRun:
    """Scan one sheet.

    Parameters
    ----------
    source : GridSource
    number : int
        Which sheet of the run, from 0; part of the score raster's name.
    recipe : Recipe
    options : EngineOptions
    files : SheetFiles or None
        Where score raster and tiles go.
    earlier : EarlierStations or None
        What earlier sheets of the run found; None where this is the only one.
    known : Surroundings, optional
        What lies around: no score is given in closed ground.
    """
    clock: dict[str, float] = {}
    step = time.perf_counter()
    tiles = plan_tiles(source.extent, options.tile or DEFAULT_TILE)
    thinning = Thinning.of(source.extent)
    shown = thinning if files is not None and thinning.step >= LEAST_STEP else None
    ends = list(_tiles(source, recipe, tiles, None if files is None else files.store, options, shown))
    finished = [end for end in ends if isinstance(end, Finished)]
    failures = [end for end in ends if isinstance(end, TileFailure)]
    clock["tiles_s"] = time.perf_counter() - step
    step = time.perf_counter()
    gathered = _gather(source, number, finished, files, shown, known)
    if shown is not None and gathered.picture is not None:
        seen = {end.core for end in ends}
        _fill_in(gathered.picture, shown, source, [core for core in tiles if core not in seen])
    clock["merge_read_s"] = time.perf_counter() - step
    step = time.perf_counter()
    merged, stations = _merge(gathered.stations, source, recipe, earlier)
    clock["merge_s"] = time.perf_counter() - step
    sheet = source.sheet
    # one file may lie on two sheets, and two files on one
    place = sheet.crs if len(sheet.crs) < 20 else sheet_name(sheet)
    name = f"{source.name} ({place})" if earlier is not None else source.name
    sigma = stations["uncertainty_m"].dropna()
    sigma_m = float(sigma.median()) if len(sigma) else None
    facts = {
        **_facts(source, gathered),
        "tiles": len(tiles),
        "measured_a_candidate": round(gathered.totals.get("measured", 0) / max(1, len(merged.candidates)), 2),
        "stations": len(stations),
        "name": name,
        "uncertainty_m": sigma_m,
        "between_m": source.between_m,
    }
    return SheetRun(
        merged.candidates,
        merged.features,
        failures,
        limits_of(name, sheet.cell_m, recipe, sigma_m=sigma_m, between_m=source.between_m),
        facts,
        clock,
        gathered.score,
        None if shown is None or gathered.picture is None else (gathered.picture, shown),
        gathered.writing,
    )


def _tiles(
    source: GridSource,
    recipe: Recipe,
    tiles: Sequence[Window],
    store: TileStore | None,
    options: EngineOptions,
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
        engine=options.engine(len(tiles)),
        store=store,
        name_of=lambda core: tile_key(core, *asked),
        stamp_of=lambda core: f"{source.fingerprint_of(core.grow(margin))} {terms}" if store else "",
        on_event=options.on_event,
        skip=outside_band(source.depth_range, -high / 1000.0, -low / 1000.0),
    )


@dataclass(frozen=True)
class _Gathered:
    """What the tiles of a sheet gave: stations of all, sums of their counts, one hash of the cells that they read, the
    score raster where there is no folder to write it into, the picture, and when the raster will be written."""

    stations: pd.DataFrame
    totals: dict[str, float]
    cells_read: str
    score: NDArray[np.uint8] | None
    picture: NDArray[np.int32] | None
    writing: Future[None] | None


def _gather(
    source: GridSource,
    number: int,
    finished: list[Finished],
    files: SheetFiles | None,
    shown: Thinning | None,
    known: Surroundings | None,
) -> _Gathered:
    """Load the tiles in their order, one at a time."""
    import pyarrow as pa

    sheet, extent = source.sheet, source.extent
    parts: list[pa.Table] = []
    totals: dict[str, float] = {}
    read = hashlib.blake2b(digest_size=16)
    picture = None if shown is None else shown.blank()
    score = np.full((extent.height, extent.width), 255, np.uint8) if files is None else None
    path = None if files is None else files.folder.file(score_name(number))
    closed = areas_on(sheet, (no_shapes() if known is None else known.of("closed")).shapes)
    with ExitStack() as stack:
        raster = None if path is None else stack.enter_context(score_raster(path, sheet, extent))
        for end in sorted(finished, key=lambda end: end.core):
            result = end.load()
            for key, value in result.stats.items():
                totals[key] = totals.get(key, 0.0) + value
            read.update(f"{end.core} {result.inputs.get('cells', '')}\n".encode())
            table = result.tables.get("stations")
            if table is not None and table.num_rows:
                parts.append(table)
            cells = result.rasters.get("score")  # a tile that is unknown all over has none
            if cells is not None:
                cells = blanked(cells, end.core, sheet, closed)
            if cells is not None and raster is not None:
                raster.put(end.core, cells)
            elif cells is not None and score is not None:
                inside = end.core.intersect(extent)
                score[inside.slices_in(extent)] = cells[inside.slices_in(end.core)]
            if shown is not None and picture is not None:
                if shown.name in result.rasters:
                    shown.put(picture, end.core, result.rasters[shown.name])
                else:  # an earlier run's tile, thinned for another extent
                    _fill_in(picture, shown, source, [end.core])
    stations = candidates.find_stations_none()
    if parts:
        joined = pa.concat_tables(parts)
        parts.clear()  # so that what is copied can go
        stations = joined.to_pandas(split_blocks=True, self_destruct=True)
        pa.default_memory_pool().release_unused()
    writing = None if files is None or path is None else files.executor.submit(publish, path)
    return _Gathered(stations, totals, read.hexdigest(), score, picture, writing)


def _facts(source: GridSource, gathered: _Gathered) -> dict[str, Any]:
    """What ``run.json`` says of a sheet's grid and of the work in its tiles."""
    sheet, extent, totals = source.sheet, source.extent, gathered.totals
    return {
        "sheet": sheet_name(sheet),
        "crs": sheet.crs,
        "cell_m": sheet.cell_m,
        "extent": [extent.row, extent.col, extent.height, extent.width],
        "known_cells": int(totals.get("known", 0)),
        "cells_in_band": int(totals.get("in_band", 0)),
        "spikes": int(totals.get("spikes", 0)),
        "measured": int(totals.get("measured", 0)),
        "cells_read": gathered.cells_read,
        "seconds_in_tiles": {
            name: round(totals.get(name, 0.0), 3)
            for name in ("read_s", "edges_s", "stations_s", "score_s", "tile_s")
        },
    }


def _fill_in(
    picture: NDArray[np.int32], shown: Thinning, source: GridSource, cores: Sequence[Window]
) -> None:
    """Read for the picture what no tile handed over: tiles that were passed by, for what they cannot hold."""
    for core in cores:
        part = core.intersect(source.extent)
        if source.depth_range(part) is not None:
            shown.put(picture, part, shown.pick(source.read(part).elev_mm, part))


def _merge(
    stations: pd.DataFrame, source: GridSource, recipe: Recipe, earlier: EarlierStations | None
) -> tuple[Merged, pd.DataFrame]:
    """Join the stations that are this sheet's own, and name the file that each candidate comes from."""
    from reefscan.join.merge import merge

    sheet = source.sheet
    if len(stations):
        mine = source.owns(stations["seed_row"].to_numpy(), stations["seed_col"].to_numpy())
        stations = stations if mine.all() else stations[mine].reset_index(drop=True)
    if earlier is not None and len(stations):
        stations = earlier.new(stations, source, recipe.find.station_m)
    merged = merge(stations, sheet, recipe.find, sheet_name=sheet_name(sheet), lonlat=lonlat_of(sheet))
    table = merged.candidates
    table["source"] = np.asarray(
        source.source_at(table["row"].to_numpy(), table["col"].to_numpy()), dtype=object
    )
    mark_interpolated(table, sheet, source.filled_at)
    return merged, stations
