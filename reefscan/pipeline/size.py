"""How much memory a scan takes, told before it begins."""

from __future__ import annotations

from collections.abc import Sequence

from reefscan.base.model import BLOCK, GridSource
from reefscan.base.recipe import Find
from reefscan.batch.engines import usable_cores
from reefscan.batch.tiles import DEFAULT_TILE
from reefscan.find import candidates
from reefscan.io.room import refuse_memory

_BYTES_A_CELL = 50
"""Of a tile and what lies around it, in one worker (on rough ground a worker's peak of 600 MB less 350 at rest, over 5.6 million cells, is 45)."""


def refuse_size(
    sources: Sequence[GridSource], find: Find, *, tile: int | None, workers: int | None, kept: bool
) -> None:
    """Refuse a scan that does not fit into memory.

    Parameters
    ----------
    sources : sequence of GridSource
    find : Find
    tile, workers : int or None
        As they were asked for.
    kept : bool
        True if there is a run folder; without one all scores stay in memory.

    Raises
    ------
    InputError
        With the options that would help.
    """
    for source in sources:
        extent, cell = source.extent, source.sheet.cell_m
        if not kept:
            refuse_memory(
                float(extent.height) * extent.width,
                f"the scores of {extent.height:,} x {extent.width:,} cells ({source.name})",
                "give a run folder with --out, which keeps them on the disk, or a part of it with --bbox",
            )
        halo = max(candidates.halo(find, cell), candidates.search_halo(find, cell))
        side = min(tile or DEFAULT_TILE, -(-max(extent.height, extent.width) // BLOCK) * BLOCK)
        tiles = -(-extent.height // side) * -(-extent.width // side)
        refuse_memory(
            _BYTES_A_CELL * float(side + 2 * halo) ** 2 * min(workers or usable_cores(), tiles),
            f"looking {halo * cell:,.0f} m around each place of {source.name} ({halo:,} cells of {cell:g} m)",
            "shorten the lengths of [find] in the recipe, or say --workers 1 or a smaller --tile",
        )
