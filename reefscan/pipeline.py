"""The composition: sources in, tiles through the engine, one merge, one list, files out.

A small grid and a whole coast take the same path. Stages know nothing of each other; they meet here.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from reefscan import candidates
from reefscan.arraysource import ArraySource
from reefscan.batch.engines import choose_engine
from reefscan.batch.result import TileFailure
from reefscan.batch.run import Finished, finish_tiles
from reefscan.batch.store import TileStore, tile_key
from reefscan.batch.tiles import DEFAULT_TILE, check_tile, outside_band, plan_tiles
from reefscan.features_out import feature_tables
from reefscan.finished import program, read_answer, run_key, sizes
from reefscan.io import tables
from reefscan.io.runfolder import FEATURES, MAP, SCORE, STORE, RunFolder
from reefscan.io.scoreraster import score_raster
from reefscan.limits import Limits, limits_of
from reefscan.listing import Listing, list_sites
from reefscan.merge import Feature, merge
from reefscan.model import NODATA_MM, GridSource, Sheet, Window
from reefscan.overview import overview
from reefscan.recipe import Recipe
from reefscan.tilework import TileWork

if TYPE_CHECKING:
    import geopandas

    from reefscan.batch.events import Event

log = logging.getLogger(__name__)


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
        Files, folders or addresses of bathymetry; see `reefscan.io.rasters.open_grids`.
    recipe : Recipe, optional
        `Recipe.default` if not given.
    out : path, optional
        Run folder to write. Finished tiles in it are kept. Nothing is written if not given.
    positive, crs, variable, value_unit, datum_shift_m, prefer, area, bbox
        How the files are read; see `open_grids`. ``area`` may be the path of an outline.
    workers : int, optional
        Worker processes; one per core by default, none for a grid of one tile.
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
        See `reefscan.errors`; inputs are opened before anything is written.
    """
    from reefscan.io.areas import read_area
    from reefscan.io.rasters import open_grids

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
        "bbox": list(bbox) if bbox is not None else None,
        "area": str(area) if isinstance(area, (str, Path)) else None,
        "grids": [str(Path(g).resolve()) if Path(str(g)).exists() else str(g) for g in many],
    }
    return scan_sources(
        sources, recipe, out=out, workers=workers, scheduler=scheduler, tile=tile, unit=unit, on_event=on_event,
        facts=facts, opened_s=time.perf_counter() - started,
    )  # fmt: skip


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
    clock = {"open_s": opened_s}
    key = run_key(sources, recipe, {**(facts or {}), "unit": unit}) if out is not None else ""
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
            folder.note(inputs=[source.fingerprint() for source in sources], **(facts or {}))
            folder.write_recipe(recipe)
            store = TileStore.open(folder.file(STORE))
        told = _Told()
        sheets = [
            _scan_sheet(
                source, i, recipe, folder=folder, store=store, workers=workers, scheduler=scheduler, tile=tile,
                on_event=on_event, many=len(sources) > 1, told=told,
            )
            for i, source in enumerate(sources)
        ]  # fmt: skip
        for sheet in sheets:
            for name, seconds in sheet.clock.items():
                clock[name] = clock.get(name, 0.0) + seconds
        step = time.perf_counter()
        table = tables.rounded(pd.concat([sheet.candidates for sheet in sheets], ignore_index=True))
        listing = list_sites(table, recipe, unit=unit)
        features = feature_tables(
            [(source.sheet, sheet.features) for source, sheet in zip(sources, sheets, strict=True)]
        )
        clock["list_s"] = time.perf_counter() - step
        warnings = [*_notes(sources), *_said(sheets, recipe, table), *listing.warnings]
        failures = [failure for sheet in sheets for failure in sheet.failures]
        warnings += [f"tile {_where(f.core)} failed: {f.message}" for f in failures]
        limits = [sheet.limits.sentence() for sheet in sheets]
        info: dict[str, Any] = {
            **(facts or {}),
            "state": "partial" if failures else "done",
            "sheets": [sheet.facts for sheet in sheets],
            "cells": sum(int(sheet.facts["known_cells"]) for sheet in sheets),
            "candidates": len(table),
            "listed": len(listing.sites),
            "limits": limits,
            "failed_tiles": [{"tile": _where(f.core), "why": f.message} for f in failures],
            "warnings": warnings,
        }
        path = None
        if folder is not None:
            step = time.perf_counter()
            path = folder.path
            folder.write_candidates(table)
            folder.write_listed(listing.sites)
            tables.write_features(folder.file(FEATURES), features)
            folder.write(MAP, _map(sources, recipe, listing, features, limits, unit))
            folder.warn(*warnings)
            clock["write_s"] = time.perf_counter() - step
            done = {k: v for k, v in info.items() if k not in ("state", "warnings")}
            done |= {"run_key": key, "files": sizes(folder)}
            folder.finish(str(info["state"]), **done, timings={k: round(v, 3) for k, v in clock.items()})
            info = dict(folder.info)
        else:
            info["timings"] = {k: round(v, 3) for k, v in clock.items()}
        return Run(
            listing.sites, _with_scores(table, listing), features, recipe, info, path,
            [sheet.score for sheet in sheets if sheet.score is not None],
        )  # fmt: skip


@dataclass(frozen=True)
class _SheetRun:
    candidates: pd.DataFrame
    features: tuple[Feature, ...]
    failures: list[TileFailure]
    limits: Limits
    facts: dict[str, Any]
    clock: dict[str, float]
    score: NDArray[np.uint8] | None


@dataclass
class _Told:
    """Seeds of the stations found so far, by kind: sheets overlap a little at their borders.

    The two lattices of a border put the top of one rock on cells a little apart, so both sheets own a strip
    of some cells there, and what an earlier sheet has told is left out of the next.
    """

    seeds: dict[str, list[NDArray[np.float64]]] = field(default_factory=dict)

    def new(self, stations: pd.DataFrame, source: GridSource, station_m: float) -> pd.DataFrame:
        """Return the stations that no earlier sheet has within a station's spacing, and remember them."""
        near_m = max(2.5 * source.sheet.cell_m, station_m)
        lon, lat = lonlat_of(source.sheet)(stations["seed_row"].to_numpy(), stations["seed_col"].to_numpy())
        lon, lat = np.radians(lon), np.radians(lat)
        # points in space, metres: no seam at the antimeridian, none at a pole
        places = 6_371_008.8 * np.column_stack(
            [np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)]
        )
        fresh = np.ones(len(stations), dtype=bool)
        for kind, rows in stations.groupby("kind", sort=True).indices.items():
            for earlier in self.seeds.get(kind, []):
                away, _ = cKDTree(earlier).query(places[rows], distance_upper_bound=near_m)
                fresh[rows] &= ~np.isfinite(away)
            if fresh[rows].any():
                self.seeds.setdefault(kind, []).append(places[rows][fresh[rows]])
        return stations[fresh].reset_index(drop=True)


def _scan_sheet(
    source: GridSource,
    number: int,
    recipe: Recipe,
    *,
    folder: RunFolder | None,
    store: TileStore | None,
    workers: int | None,
    scheduler: str | None,
    tile: int | None,
    on_event: Callable[[Event], None],
    many: bool,
    told: _Told,
) -> _SheetRun:
    find, sheet, extent = recipe.find, source.sheet, source.extent
    work = TileWork(source, find, recipe.score)
    tiles = plan_tiles(extent, tile or DEFAULT_TILE)
    low, high = candidates.seek_band(find)
    skip = outside_band(source.depth_range, -high / 1000.0, -low / 1000.0)
    seen = tile_key(Window(0, 0, 0, 0), source.fingerprint(), program())  # once, not for every tile
    raster_terms = recipe.score.model_dump_json()

    def key_of(core: Window) -> str:
        return tile_key(core, seen, find.key(), raster_terms)

    if workers is None and scheduler is None and len(tiles) < 3:
        engine = choose_engine(workers=1)  # starting processes would cost more than they save
    else:
        engine = choose_engine(workers=workers, scheduler=scheduler, prepare=warm_up)
    step = time.perf_counter()
    finished: list[Finished] = []
    failures: list[TileFailure] = []
    for end in finish_tiles(
        work, tiles, engine=engine, store=store, key_of=key_of, on_event=on_event, skip=skip
    ):
        if isinstance(end, TileFailure):
            failures.append(end)
        else:
            finished.append(end)
    clock = {"tiles_s": time.perf_counter() - step}
    step = time.perf_counter()
    finished.sort(key=lambda end: end.core)
    parts: list[pd.DataFrame] = []
    totals: dict[str, float] = {}
    score: NDArray[np.uint8] | None = None
    with ExitStack() as stack:
        raster = None
        if folder is not None:
            name = SCORE if number == 0 else SCORE.replace(".tif", f"_{number + 1}.tif")
            raster = stack.enter_context(score_raster(folder.file(name), sheet, extent))
        else:
            score = np.full((extent.height, extent.width), 255, np.uint8)
        for end in finished:
            result = end.load()
            parts.append(result.tables["stations"].to_pandas())
            for key, value in result.stats.items():
                totals[key] = totals.get(key, 0.0) + value
            if raster is not None:
                raster.write(end.core, result.rasters["score"])
            elif score is not None:
                inside = end.core.intersect(extent)
                score[inside.slices_in(extent)] = result.rasters["score"][inside.slices_in(end.core)]
    parts = [part for part in parts if len(part)]
    stations = pd.concat(parts, ignore_index=True) if parts else candidates.find_stations_none()
    clock["merge_read_s"] = time.perf_counter() - step
    step = time.perf_counter()
    owned = getattr(source, "owns", None)
    if owned is not None and len(stations):
        mine = owned(stations["seed_row"].to_numpy(), stations["seed_col"].to_numpy())
        stations = stations[mine].reset_index(drop=True)
    if many and len(stations):
        stations = told.new(stations, source, find.station_m)
    merged = merge(stations, sheet, find, sheet_name=sheet_name(sheet), lonlat=lonlat_of(sheet))
    table = merged.candidates
    named = getattr(source, "source_at", None)
    if named is not None and len(table):
        table["source"] = np.asarray(named(table["row"].to_numpy(), table["col"].to_numpy()), dtype=object)
    else:
        table["source"] = source.name
    filled = getattr(source, "filled_at", None)
    if filled is not None and len(table):
        told_filled(table, sheet, filled)
    clock["merge_s"] = time.perf_counter() - step
    sigma = stations["uncertainty_m"].dropna()
    width = recipe.score.terms.get("width")
    limits = limits_of(
        sheet_name(sheet) if many else source.name,
        sheet.cell_m,
        recipe,
        sigma_m=float(sigma.median()) if len(sigma) else None,
        widest_asked_m=width.c if width is not None else float("inf"),
    )
    facts = {
        "sheet": sheet_name(sheet),
        "crs": sheet.crs,
        "cell_m": sheet.cell_m,
        "extent": [extent.row, extent.col, extent.height, extent.width],
        "tiles": len(tiles),
        "known_cells": int(totals.get("known", 0)),
        "cells_in_band": int(totals.get("in_band", 0)),
        "fliers": int(totals.get("fliers", 0)),
        "stations": len(stations),
        "seconds_in_tiles": {
            name: round(totals.get(name, 0.0), 3)
            for name in ("read_s", "heights_s", "stations_s", "score_s", "tile_s")
        },
    }
    return _SheetRun(table, merged.features, failures, limits, facts, clock, score)


def told_filled(
    table: pd.DataFrame, sheet: Sheet, filled_at: Callable[[Any, Any], NDArray[np.bool_]]
) -> None:
    """Mark candidates whose drop point or structure the file itself says was filled in between soundings.

    What the cells' own smoothness says stays where it says more.
    """
    from reefscan.io.georef import transformer

    x, y = transformer("EPSG:4326", sheet.crs).transform(
        table["structure_lon"].to_numpy(), table["structure_lat"].to_numpy()
    )
    rock_row = np.nan_to_num(np.asarray(sheet.row_of(np.asarray(y)))).round().astype(np.int64)
    rock_col = np.nan_to_num(np.asarray(sheet.col_of(np.asarray(x)))).round().astype(np.int64)
    filled = filled_at(table["row"].to_numpy(), table["col"].to_numpy()) | filled_at(rock_row, rock_col)
    table.loc[filled, "interpolated"] = 1.0
    table["position_m"] = np.maximum(
        table["position_m"], np.where(filled, candidates.position_m(sheet.cell_m, 1.0), 0.0)
    )


def warm_up() -> None:
    """Compile every kernel once (or load it from the cache) before workers start together."""
    z = np.full((256, 256), -10.0)
    z[100:140, 60:200] -= 2.0
    source = ArraySource.from_metres(z, cell_m=2.0)
    TileWork(source, Recipe.default().find, Recipe.default().score)(
        Window(source.extent.row, source.extent.col, 256, 256)
    )


def sheet_name(sheet: Sheet) -> str:
    """Short name of a sheet, part of every id: the CRS code and the cell."""
    code = sheet.crs.rsplit(":", 1)[-1] if len(sheet.crs) < 20 else "local"
    return f"{code}-{sheet.cell_m:g}m"


def lonlat_of(sheet: Sheet) -> Callable[[Any, Any], tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """Longitudes and latitudes of fractional lattice positions."""
    from reefscan.io.georef import transformer

    def lonlat(rows: Any, cols: Any) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        x = np.asarray(sheet.x_of(np.asarray(cols, dtype=np.float64)))
        y = np.asarray(sheet.y_of(np.asarray(rows, dtype=np.float64)))
        lon, lat = transformer(sheet.crs, "EPSG:4326").transform(x, y)
        return np.atleast_1d(np.asarray(lon)), np.atleast_1d(np.asarray(lat))

    return lonlat


def _where(core: Window) -> str:
    return f"rows {core.row} to {core.row_end - 1}, columns {core.col} to {core.col_end - 1}"


def _notes(sources: Iterable[GridSource]) -> list[str]:
    return [note for source in sources for note in getattr(source, "notes", ())]


def _said(sheets: Sequence[_SheetRun], recipe: Recipe, table: pd.DataFrame) -> list[str]:
    out = []
    low, high = recipe.depth_band
    known = sum(int(sheet.facts["known_cells"]) for sheet in sheets)
    in_band = sum(int(sheet.facts["cells_in_band"]) for sheet in sheets)
    fliers = sum(int(sheet.facts["fliers"]) for sheet in sheets)
    if not in_band:
        out.append(
            f"no cell lies in the search band of {recipe.find.depth_min_m:g} to {recipe.find.depth_max_m:g} m; "
            f"the grid has {known} known cells, all of them land, shallower or deeper"
        )
    elif not len(table):
        out.append(f"no structure of the recipe's least height was found between {low:g} and {high:g} m")
    if fliers:
        out.append(f"{fliers} isolated bad cells were set aside and not taken for structure")
    for sheet in sheets:
        if sheet.limits.too_coarse:
            out.append(
                f"cells of {sheet.limits.cell_m:g} m are too coarse for this recipe: narrower troughs than "
                f"{sheet.limits.trough_width_m:g} m cannot be seen"
            )
    return out


def _with_scores(table: pd.DataFrame, listing: Listing) -> pd.DataFrame:
    out = table.copy()
    out["score"], out["confidence"] = listing.scored.score, listing.scored.confidence
    out["rank"] = np.nan
    out["why"] = None
    out.loc[listing.rows, "rank"] = np.arange(1, len(listing.rows) + 1, dtype=np.float64)
    out.loc[listing.rows, "why"] = [site["why"] for site in listing.sites]
    return out


def _map(
    sources: Sequence[GridSource],
    recipe: Recipe,
    listing: Listing,
    features: dict[str, geopandas.GeoDataFrame],
    limits: list[str],
    unit: str,
) -> bytes:
    from reefscan.render.map import draw_map

    count = {sheet_name(source.sheet): 0 for source in sources}
    for site in listing.sites:
        count[str(site["sheet"])] = count.get(str(site["sheet"]), 0) + 1
    source = max(sources, key=lambda s: (count[sheet_name(s.sheet)], s.extent.height * s.extent.width))
    elev_mm, window, step = overview(source)
    elev = np.where(elev_mm == NODATA_MM, np.nan, elev_mm / 1000.0)
    sites = (
        pd.DataFrame(listing.sites)
        if listing.sites
        else pd.DataFrame({name: [] for name in ("lon", "lat", "kind", "score", "rank")})
    )
    west, _, _, north = source.sheet.bounds(window)
    return draw_map(
        elev,
        west_m=west,
        north_m=north,
        cell_m=source.sheet.cell_m * step,
        crs=source.sheet.crs,
        candidates=sites,
        features=features,
        depth_band_m=recipe.depth_band,
        limits_text=limits[0] if limits else "",
        title=source.name,
        unit=unit,
    )
