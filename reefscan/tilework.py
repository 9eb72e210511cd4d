"""What is done with one tile: read, set fliers aside, derive, find, score the cells.

One function for every engine; its result depends on the source, ``[find]`` and (for the score raster)
``[score]``, and on nothing else. A stored tile of the same ``[find]`` whose cells read as they did keeps all that
follows from the cells; of other weights, only its score raster is made anew.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from reefscan import candidates
from reefscan.batch.result import TileResult
from reefscan.kernels.digest import digest
from reefscan.kernels.gradient import slope_deg
from reefscan.kernels.spread import spread
from reefscan.kernels.stations import set_aside_fliers
from reefscan.model import NODATA_MM, GridBlock, GridSource, Window
from reefscan.overview import Thinning
from reefscan.recipe import Find, Score
from reefscan.scoring import score_cells

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
        sheet, find = self.source.sheet, self.find
        margin = candidates.halo(find, sheet.cell_m)
        # The core's elevations first: where nothing is in the band, neither the halo nor the uncertainty is read.
        seen = self.source.first_look(core)
        block = GridBlock(core, seen) if seen is not None else self.source.read(core.grow(margin))
        here = block.elev_mm[core.slices_in(block.window)]
        known = here != NODATA_MM
        low, high = candidates.seek_band(find)
        in_band = known & (here <= -1000 * find.depth_min_m) & (here >= -1000 * find.depth_max_m)
        wanted = bool(((here >= low) & (here <= high)).any())
        if wanted and seen is not None:
            block = self.source.read(core.grow(margin))
        stats: dict[str, float | int] = {
            "known": int(np.count_nonzero(known)),
            "in_band": int(np.count_nonzero(in_band)),
            "read_s": time.perf_counter() - started,
        }
        picture = {} if self.shown is None else {self.shown.name: self.shown.pick(here, core)}
        if not wanted:
            stats["tile_s"] = time.perf_counter() - started
            return TileResult(
                core, rasters=picture, stats=stats, carried=old is not None and "score" not in old.rasters
            )
        made_from = {"cells": cell_hash(block), "terms": raster_terms(self.score)}
        kept = old if old is not None and old.inputs.get("cells") == made_from["cells"] else None
        if kept is not None and ("score" not in kept.rasters or kept.inputs == made_from):
            return replace(kept, rasters={**lasting(kept), **picture}, inputs=made_from, carried=True)
        clean, fliers = set_aside_fliers(block.elev_mm, candidates.FLIER_FLOOR_MM)
        stats["fliers"] = int(
            np.count_nonzero(
                (fliers[:, 0] >= margin)
                & (fliers[:, 0] < margin + core.height)
                & (fliers[:, 1] >= margin)
                & (fliers[:, 1] < margin + core.width)
            )
        )
        clean = candidates.under_water(clean)
        block = GridBlock(block.window, clean, block.sigma_mm)
        if kept is not None:
            score = score_core(clean, near_of(kept), margin, core, sheet.cell_m, find, self.score)
            rasters = {**lasting(kept), **picture, "score": score}
            return replace(kept, rasters=rasters, inputs=made_from, carried=True)
        step = time.perf_counter()
        near = candidates.seek_halo(find, sheet.cell_m)
        middle = slice(margin - near, near - margin or None)
        heights = candidates.fields(np.ascontiguousarray(clean[middle, middle]), sheet.cell_m, find)
        stats["heights_s"] = time.perf_counter() - step
        step = time.perf_counter()
        table = candidates.find_stations(block, core, sheet, find, heights)
        stats["stations_s"] = time.perf_counter() - step
        step = time.perf_counter()
        around = heights_near(heights, in_band, near, core, sheet.cell_m, find)
        score = score_core(clean, around, margin, core, sheet.cell_m, find, self.score)
        stats["score_s"] = time.perf_counter() - step
        stats["tile_s"] = time.perf_counter() - started
        if not len(table) and bool((score == NO_SCORE).all()):
            return TileResult(core, rasters=picture, stats=stats, inputs=made_from)
        return TileResult(
            core,
            {"stations": pa.Table.from_pandas(table, preserve_index=False)},
            {**picture, "score": score, **{NEAR + kind: cells for kind, cells in around.items()}},
            stats,
            made_from,
        )


NEAR = "near_"
"""Start of the name under which a tile keeps the heights within reach, by kind."""

CELL_TERMS = ("depth_m", "height_m", "slope_deg")
"""Columns that a cell can answer by itself."""

CM = 0.01
"""Heights within reach are kept in whole centimetres: two bytes a cell, and finer than any grid shows."""


def near_of(result: TileResult) -> dict[str, NDArray[np.uint16]]:
    """Return what `heights_near` gave, from a stored tile."""
    return {kind: result.rasters[NEAR + kind] for kind in candidates.KINDS if NEAR + kind in result.rasters}


def lasting(result: TileResult) -> dict[str, NDArray[Any]]:
    """Return the rasters of a stored tile that follow from its cells, whatever picture it was asked for."""
    return {name: cells for name, cells in result.rasters.items() if name == "score" or name.startswith(NEAR)}


def cell_hash(block: GridBlock) -> str:
    """Hash of all cells of a block, its uncertainty with it."""
    told = hashlib.blake2b(repr(block.elev_mm.shape).encode(), digest_size=16)
    for cells in (block.elev_mm, block.sigma_mm):
        told.update(b"none" if cells is None else digest(np.ascontiguousarray(cells).reshape(-1)).tobytes())
    return told.hexdigest()


def raster_terms(score: Score) -> str:
    """Hash of what the score raster takes from ``[score]``: all but the terms that only a site can answer."""
    told = score.model_dump(mode="json")
    told["terms"] = {
        name: told["terms"][name] for name, term in score.terms.items() if term.column in CELL_TERMS
    }
    return hashlib.blake2b(json.dumps(told, sort_keys=True).encode(), digest_size=16).hexdigest()


def heights_near(
    heights: tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]],
    in_band: NDArray[np.bool_],
    near: int,
    core: Window,
    cell_m: float,
    find: Find,
) -> dict[str, NDArray[np.uint16]]:
    """Highest structure of each kind within the farthest stand-off, for the cells where a net could lie.

    Parameters
    ----------
    heights : tuple of ndarray of int32
        From `reefscan.candidates.fields`, with ``near`` cells around the core.
    in_band : ndarray of bool, shape of the core
    near : int
    core : Window
    cell_m : float
    find : Find

    Returns
    -------
    dict of str to ndarray of uint16, shape of the core
        Centimetres, 0 outside the band and where nothing near is as high as the kind's floor. Kinds of
        which there is nothing are left out.
    """
    reach = max(1, round(find.off_max_m / cell_m))
    pad = reach + 1
    wide = (
        slice(near - pad, near + core.height + pad),
        slice(near - pad, near + core.width + pad),
    )
    floors = (find.trough_min_m, find.ledge_min_m, find.rise_min_m)
    out = {}
    for kind, height, floor in zip(candidates.KINDS, heights, floors, strict=True):
        part = height[wide]
        if int(part.max()) < 1000 * floor:
            continue
        around = spread(np.ascontiguousarray(part), reach)[pad:-pad, pad:-pad]
        cells = in_band & (around >= 1000 * floor)
        if bool(cells.any()):
            found = np.zeros(cells.shape, np.uint16)
            found[cells] = np.minimum(np.rint(around[cells] * 0.1), np.iinfo(np.uint16).max)
            out[kind] = found
    return out


def score_core(
    elev_mm: NDArray[np.int32],
    around: Mapping[str, NDArray[np.uint16]],
    margin: int,
    core: Window,
    cell_m: float,
    find: Find,
    score: Score,
) -> NDArray[np.uint8]:
    """Score of every cell of the core where a net could lie, by the terms a cell can answer.

    Depth and slope are the cell's own; the height is the highest structure of a kind within the
    farthest stand-off (``around``, from `heights_near`); ``elev_mm`` has ``margin`` cells around the core. Known
    cells in the search band without structure near get 0, all others 255.
    """
    here = elev_mm[margin : margin + core.height, margin : margin + core.width]
    in_band = (here != NODATA_MM) & (here <= -1000 * find.depth_min_m) & (here >= -1000 * find.depth_max_m)
    out = np.where(in_band, np.uint8(0), np.uint8(NO_SCORE))
    if not around:
        return out
    ring = (slice(margin - 1, margin + core.height + 1), slice(margin - 1, margin + core.width + 1))
    slope = slope_deg(np.ascontiguousarray(elev_mm[ring]), cell_m)[1:-1, 1:-1]
    for kind, height in around.items():
        cells = height > 0
        points = score_cells(
            {
                "depth_m": here[cells] * -0.001,
                "height_m": height[cells] * CM,
                "slope_deg": slope[cells],
            },
            kind=kind,
            score=score,
        )
        points[points == NO_SCORE] = 0
        out[cells] = np.maximum(out[cells], points)
    return out
