"""What is done with one tile: read, set spikes aside, derive, find, score the cells.

One function for every engine; its result depends on the source, ``[find]`` and (for the score raster)
``[score]``, and on nothing else. A stored tile of the same ``[find]`` whose cells read as they did keeps all that
follows from the cells; of other weights, only its score raster is made anew.
"""

from __future__ import annotations

import hashlib
import json
import math
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from reefscan.base.model import GridBlock, GridSource, Window
from reefscan.base.overview import Thinning
from reefscan.base.recipe import Find, Score
from reefscan.batch.result import TileResult
from reefscan.find import candidates
from reefscan.kernels.census import census, mark_band
from reefscan.kernels.digest import digest
from reefscan.kernels.find.bridge import bridge
from reefscan.kernels.find.spikes import set_aside, spikes_around, spikes_on
from reefscan.kernels.layers.gradient import slope_deg
from reefscan.kernels.layers.spread import keep_near, spread
from reefscan.score.scoring import CELL_COLUMNS, cell_terms, raise_cells

if TYPE_CHECKING:
    import pandas as pd

NO_SCORE = 255


@dataclass(frozen=True)
class TileWork:
    """Picklable ``work(core, old) -> TileResult``; see `reefscan.batch.worker.Work`.

    Parameters
    ----------
    source : GridSource
    find : Find
    score : Score
        Used for the score raster only.
    shown : Thinning or None
        Which cells the map's picture shows; handed over as a raster of that name.
    """

    source: GridSource
    find: Find
    score: Score
    shown: Thinning | None = None

    def __call__(self, core: Window, old: TileResult | None = None) -> TileResult:
        """Scan one tile."""
        started = time.perf_counter()
        find, cell = self.find, self.source.sheet.cell_m
        rim = candidates.search_halo(find, cell)
        window = core.grow(rim)
        elev, whole = self._first_look(core, window)
        sides = (rim, rim + core.height), (rim, rim + core.width)
        known, in_band, sought = census(elev, *sides, _search_band(find), candidates.seek_band(find))
        stats: dict[str, float | int] = {
            "known": known, "in_band": in_band, "read_s": time.perf_counter() - started
        }  # fmt: skip
        here = elev[core.slices_in(window)]
        picture: dict[str, NDArray[Any]] = {} if self.shown is None else {self.shown.name: self.shown.pick(here, core)}  # fmt: skip
        if not sought:
            stats["tile_s"] = time.perf_counter() - started
            return TileResult(
                core, rasters=picture, stats=stats, carried=old is not None and "score" not in old.rasters
            )
        made_from = {"cells": cell_hash(elev), "terms": raster_terms(self.score)}
        kept, whole = self._as_before(core, elev, whole, old, made_from)
        if kept is not None and (NEAR not in kept.rasters or kept.inputs == made_from):
            return replace(kept, rasters={**lasting(kept), **picture}, inputs=made_from, carried=True)
        spikes = spikes_on(elev, cell)
        clean = np.minimum(elev, np.int32(candidates.SEA_MM))
        set_aside(clean, spikes, candidates.SEA_MM)
        r, c = spikes[:, 0] - rim, spikes[:, 1] - rim
        inside = (r >= 0) & (r < core.height) & (c >= 0) & (c < core.width)
        stats["spikes"] = int(np.count_nonzero(inside)) + self.source.spikes_in(core)
        bridge(clean)
        if kept is not None:
            picture["score"] = score_core(clean, kept.rasters[NEAR], rim, core, cell, find, self.score)
            return replace(kept, rasters={**lasting(kept), **picture}, inputs=made_from, carried=True)
        step = time.perf_counter()
        seeds, edges = candidates.find_seeds(clean, window, core, find, cell)
        stats["edges_s"] = time.perf_counter() - step
        step = time.perf_counter()
        near = height_near(edges, elev, rim, core, cell, find)
        score = score_core(clean, near, rim, core, cell, find, self.score)
        stats["score_s"] = time.perf_counter() - step
        del edges, clean  # each as large as the tile, and what follows reads more ground
        step, stats["measured"] = time.perf_counter(), len(seeds.rows)
        if len(seeds.rows):
            whole = whole or self._surroundings(core, elev)
            del elev, here
            made_from[AROUND] = cell_hash(whole.elev_mm, whole.sigma_mm)
            table = self._stations(whole, window.slices_in(whole.window), seeds, spikes)
        else:
            table = candidates.find_stations_none()
        stats["stations_s"] = time.perf_counter() - step
        stats["tile_s"] = time.perf_counter() - started
        if not len(table) and bool((score == NO_SCORE).all()):
            return TileResult(core, rasters=picture, stats=stats, inputs=made_from)
        return TileResult(
            core,
            {"stations": pa.Table.from_pandas(table, preserve_index=False)},
            {**picture, "score": score, NEAR: near},
            stats,
            made_from,
        )

    def _first_look(self, core: Window, window: Window) -> tuple[NDArray[np.int32], GridBlock | None]:
        """Read the elevations of the core and a narrow rim.

        The uncertainty, and the wide surroundings by which a station is measured, are read only where there is one; or at once,
        where reading them later would cost as much again.
        """
        elev = self.source.first_look(window)
        if elev is not None:
            return elev, None
        whole = self._surroundings(core, None)
        return whole.elev_mm[window.slices_in(whole.window)].copy(), whole

    def _as_before(
        self,
        core: Window,
        elev: NDArray[np.int32],
        whole: GridBlock | None,
        old: TileResult | None,
        made_from: dict[str, str],
    ) -> tuple[TileResult | None, GridBlock | None]:
        """A stored tile whose cells, and all that its stations depend on, read as they did, else None; and what was read for it."""
        if old is None or old.inputs.get("cells") != made_from["cells"]:
            return None, whole
        if AROUND not in old.inputs:
            return old, whole
        whole = whole or self._surroundings(core, elev)
        made_from[AROUND] = cell_hash(whole.elev_mm, whole.sigma_mm)
        return (old if old.inputs[AROUND] == made_from[AROUND] else None), whole

    def _stations(
        self, whole: GridBlock, inner: tuple[slice, slice], seeds: candidates.Seeds, spikes: NDArray[np.int32]
    ) -> pd.DataFrame:
        """Measure what stands at the seeds; ``whole`` is used up, ``spikes`` are those of its ``inner`` part."""
        cell, wide = self.source.sheet.cell_m, whole.elev_mm
        every = spikes_around(wide, cell, inner, spikes)
        np.minimum(wide, np.int32(candidates.SEA_MM), out=wide)
        as_read = wide.copy()
        set_aside(wide, every, candidates.SEA_MM)
        local = candidates.noise_near(GridBlock(whole.window, wide), cell, seeds)
        bridge(wide)
        block = GridBlock(whole.window, wide, whole.sigma_mm)
        return candidates.find_stations(block, as_read, self.source.sheet, self.find, seeds, local)

    def _surroundings(self, core: Window, elev_mm: NDArray[np.int32] | None) -> GridBlock:
        """Read all that the stations of a core can depend on; of elevations alone, what is not in hand.

        ``elev_mm`` is the core with the rim of the search, None if it was not read yet.
        """
        find, cell = self.find, self.source.sheet.cell_m
        rim = candidates.search_halo(find, cell)
        margin = max(candidates.halo(find, cell), rim)
        window, inner = core.grow(margin), core.grow(rim)
        if elev_mm is None or self.source.has_uncertainty or margin == rim:
            return self.source.read(window)
        whole = np.empty((window.height, window.width), np.int32)
        whole[inner.slices_in(window)] = elev_mm
        beside = margin - rim
        for part in (
            Window(window.row, window.col, beside, window.width),
            Window(inner.row_end, window.col, beside, window.width),
            Window(inner.row, window.col, inner.height, beside),
            Window(inner.row, inner.col_end, inner.height, beside),
        ):
            whole[part.slices_in(window)] = self.source.read(part).elev_mm
        return GridBlock(window, whole, None)


AROUND = "around"
"""Input of a tile that has something to measure: the cells around, with their uncertainty."""

NEAR = "near"
"""Raster of a tile: the structure within reach of every cell where a net could lie, so that new weights search nothing again."""


def lasting(result: TileResult) -> dict[str, NDArray[Any]]:
    """Return the rasters of a stored tile that follow from its cells, whatever picture it was asked for."""
    return {name: cells for name, cells in result.rasters.items() if name in ("score", NEAR)}


def cell_hash(*arrays: NDArray[np.int32] | None) -> str:
    """Hash of all cells of some arrays; one that is not there counts too."""
    hashed = hashlib.blake2b(digest_size=16)
    for cells in arrays:
        hashed.update(b"none" if cells is None else repr(cells.shape).encode())
        if cells is not None:
            hashed.update(digest(np.ascontiguousarray(cells).reshape(-1)).tobytes())
    return hashed.hexdigest()


def _search_band(find: Find) -> tuple[int, int]:
    """Lowest and highest elevation (mm) of the search band."""
    return math.ceil(-1000 * find.depth_max_m), math.floor(-1000 * find.depth_min_m)


def raster_terms(score: Score) -> str:
    """Hash of what the score raster takes from ``[score]``: all but the terms that only a site can answer."""
    asked = score.model_dump(mode="json")
    asked["terms"] = {
        name: asked["terms"][name] for name, term in score.terms.items() if term.column in CELL_COLUMNS
    }
    return hashlib.blake2b(json.dumps(asked, sort_keys=True).encode(), digest_size=16).hexdigest()


PART = 128
"""Side of the parts of a tile that are looked at or passed by as a whole: at 64 their rims cost what they save."""


def _parts(core: Window) -> Iterator[tuple[slice, slice]]:
    for top in range(0, core.height, PART):
        for left in range(0, core.width, PART):
            yield slice(top, min(core.height, top + PART)), slice(left, min(core.width, left + PART))


def _moved(part: tuple[slice, slice], by: int, grown: int = 0) -> tuple[slice, slice]:
    rows, cols = part
    return (
        slice(rows.start + by - grown, rows.stop + by + grown),
        slice(cols.start + by - grown, cols.stop + by + grown),
    )


def height_near(
    edges_mm: NDArray[np.int32], elev_mm: NDArray[np.int32], rim: int, core: Window, cell_m: float, find: Find
) -> NDArray[np.uint16]:
    """How much stands up and falls away within the farthest stand-off of every cell where a net could lie.

    Parameters
    ----------
    edges_mm : ndarray of int32
        From `reefscan.find.candidates.find_seeds`, with ``rim`` cells around the core.
    elev_mm : ndarray of int32
        As read, with ``rim`` cells around the core.
    rim : int
    core : Window
    cell_m : float
    find : Find

    Returns
    -------
    ndarray of uint16, shape of the core
        Whole centimetres (two bytes a cell, and finer than any grid shows), 0 outside the band and where nothing near
        is as high as the least height.
    """
    reach = max(1, round(find.off_max_m / cell_m))
    out = np.zeros((core.height, core.width), np.uint16)
    for part in _parts(core):
        wide = edges_mm[_moved(part, rim, reach + 1)]
        if wide.any():
            around = spread(np.ascontiguousarray(wide), reach)[reach + 1 : -reach - 1, reach + 1 : -reach - 1]
            keep_near(
                elev_mm[_moved(part, rim)],
                around,
                _search_band(find),
                1000.0 * candidates.least_height(find),
                out[part],
            )
    return out


def score_core(
    elev_mm: NDArray[np.int32],
    near: NDArray[np.uint16],
    rim: int,
    core: Window,
    cell_m: float,
    find: Find,
    score: Score,
) -> NDArray[np.uint8]:
    """Score of every cell of the core where a net could lie, by the terms a cell can answer.

    Depth and slope are the cell's own; the height is that of the highest edge within the farthest stand-off (``near``, from
    `height_near`), taken for the kind that it would be worth most as; ``elev_mm`` has ``rim`` cells around the core. Known
    cells in the search band without structure near get 0, all others 255.
    """
    out = np.empty((core.height, core.width), np.uint8)
    mark_band(elev_mm, rim, rim, _search_band(find), 0, NO_SCORE, out)
    highest = int(near.max(initial=0))
    kinds = [cell_terms(score, kind, highest) for kind in candidates.KINDS] if highest else []
    for part in _parts(core):
        if not near[part].any():
            continue
        ring = np.ascontiguousarray(elev_mm[_moved(part, rim, 1)])
        slope = slope_deg(ring, cell_m)[1:-1, 1:-1]
        for terms in kinds:
            raise_cells(out[part], terms, elev_mm=ring[1:-1, 1:-1], height_cm=near[part], slope_deg=slope)
    return out
