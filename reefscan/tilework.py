"""What is done with one tile: read, set fliers aside, derive, find, score the cells.

One function for every engine; its result depends on the source, ``[find]`` and (for the score raster)
``[score]``, and on nothing else.
"""

from __future__ import annotations

import hashlib
import time
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from reefscan import candidates
from reefscan.batch.result import TileResult
from reefscan.kernels.gradient import slope_deg
from reefscan.kernels.spread import spread
from reefscan.kernels.stations import set_aside_fliers
from reefscan.model import BLOCK, NODATA_MM, GridBlock, GridSource, Window
from reefscan.overview import Thinning
from reefscan.recipe import Find, Score
from reefscan.scoring import score_cells

NO_SCORE = 255


@dataclass(frozen=True)
class TileWork:
    """Picklable ``work(core) -> TileResult``.

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

    def __call__(self, core: Window) -> TileResult:
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
        stats: dict[str, float | int] = {"known": int(np.count_nonzero(known))}
        stats["in_band"] = int(
            np.count_nonzero((here <= -1000 * find.depth_min_m) & (here >= -1000 * find.depth_max_m) & known)
        )
        wanted = bool(((here >= low) & (here <= high)).any())
        if wanted and seen is not None:
            block = self.source.read(core.grow(margin))
        stats["read_s"] = time.perf_counter() - started
        inputs = block_hashes(block, core)
        if not wanted:
            score = np.full((core.height, core.width), NO_SCORE, np.uint8)
            table = candidates.find_stations_none()
        else:
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
            step = time.perf_counter()
            near = candidates.seek_halo(find, sheet.cell_m)
            middle = slice(margin - near, near - margin or None)
            heights = candidates.fields(np.ascontiguousarray(clean[middle, middle]), sheet.cell_m, find)
            stats["heights_s"] = time.perf_counter() - step
            step = time.perf_counter()
            table = candidates.find_stations(block, core, sheet, find, heights)
            stats["stations_s"] = time.perf_counter() - step
            step = time.perf_counter()
            score = score_core(clean, heights, margin, near, core, sheet.cell_m, find, self.score)
            stats["score_s"] = time.perf_counter() - step
        stats["tile_s"] = time.perf_counter() - started
        rasters: dict[str, NDArray[Any]] = {"score": score}
        if self.shown is not None:
            rasters[self.shown.name] = self.shown.pick(here, core)
        return TileResult(
            core, {"stations": pa.Table.from_pandas(table, preserve_index=False)}, rasters, stats, inputs
        )


def block_hashes(block: GridBlock, core: Window) -> dict[str, str]:
    """Hash of the input cells of every canonical block in the core."""
    out = {}
    for row in range(core.row - core.row % BLOCK, core.row_end, BLOCK):
        for col in range(core.col - core.col % BLOCK, core.col_end, BLOCK):
            part = Window(row, col, BLOCK, BLOCK).intersect(core)
            cells = np.ascontiguousarray(block.elev_mm[part.slices_in(block.window)])
            digest = hashlib.blake2b(cells.view(np.uint8).data, digest_size=8)
            if block.sigma_mm is not None:
                sigma = np.ascontiguousarray(block.sigma_mm[part.slices_in(block.window)])
                digest.update(sigma.view(np.uint8).data)
            out[f"{row // BLOCK},{col // BLOCK}"] = digest.hexdigest()
    return out


def score_core(
    elev_mm: NDArray[np.int32],
    heights: tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]],
    margin: int,
    near: int,
    core: Window,
    cell_m: float,
    find: Find,
    score: Score,
) -> NDArray[np.uint8]:
    """Score of every cell of the core where a net could lie, by the terms a cell can answer.

    Depth and slope are the cell's own; the height is the highest structure of a kind within the
    farthest stand-off; ``elev_mm`` has ``margin`` cells around the core, ``heights`` have ``near``. Known cells in the search band without structure near get 0, all others 255.
    """
    inner = (slice(margin, margin + core.height), slice(margin, margin + core.width))
    here = elev_mm[inner]
    in_band = (here != NODATA_MM) & (here <= -1000 * find.depth_min_m) & (here >= -1000 * find.depth_max_m)
    out = np.where(in_band, np.uint8(0), np.uint8(NO_SCORE))
    reach = max(1, round(find.off_max_m / cell_m))
    slope: NDArray[np.float32] | None = None
    pad = reach + 1
    wide = (
        slice(near - pad, near + core.height + pad),
        slice(near - pad, near + core.width + pad),
    )
    floors = (find.trough_min_m, find.ledge_min_m, find.rise_min_m)
    for kind, height, floor in zip(candidates.KINDS, heights, floors, strict=True):
        part = height[wide]
        if int(part.max()) < 1000 * floor:
            continue
        around = spread(np.ascontiguousarray(part), reach)[pad:-pad, pad:-pad]
        cells = in_band & (around >= 1000 * floor)
        if not bool(cells.any()):
            continue
        if slope is None:
            ring = (slice(margin - 1, margin + core.height + 1), slice(margin - 1, margin + core.width + 1))
            slope = slope_deg(np.ascontiguousarray(elev_mm[ring]), cell_m)[1:-1, 1:-1]
        points = score_cells(
            {
                "depth_m": here[cells] * -0.001,
                "height_m": around[cells] * 0.001,
                "slope_deg": slope[cells],
            },
            kind=kind,
            score=score,
        )
        points[points == NO_SCORE] = 0
        out[cells] = np.maximum(out[cells], points)
    return out
