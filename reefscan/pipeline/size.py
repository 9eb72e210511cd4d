"""How much memory and time a scan or a grid of soundings takes, said before it begins."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from reefscan.base.errors import InputError
from reefscan.base.model import BLOCK, GridSource
from reefscan.base.recipe import Find
from reefscan.batch.engines import usable_cores
from reefscan.batch.tiles import DEFAULT_TILE
from reefscan.io.room import refuse_memory

if TYPE_CHECKING:
    from reefscan.survey.build import SurveySurface

_BYTES_A_CELL = 50
"""Of a tile and what lies around it, in one worker (on rough ground a worker's peak of 600 MB less 350 at rest, over 5.6 million cells, is 45)."""

_EMPTY_NS = 7.0
"""CPU time a cell where nothing is (910 empty tiles of 2048: 29 s)."""

_NETS_A_CELL, _NET_NS, _RING_NS, _LINE_NS = 0.026, 270e3, 1.0, 900.0
"""Of ground that is rough all over: places measured (17 to 31 in 1 000 cells), CPU time of one, of each cell of the discs
in which its relief and its position index are taken, and of each cell of the lines along which it is looked at."""

_AROUND_NS = 26.0
"""CPU time of a cell that a tile reads, of its own or around it: with lengths of 5 km and cells of 2 m 130 million cells a tile."""

_LOOKED_NS, _DRAWN_NS, _BLOCK_NS = 100.0, 500.0, 17e3
"""CPU time of a grid of soundings for each cell looked at for a part of it (measured: 49 to 108), each cell of the part itself, and each
sounding among those triangulated for it (15 to 19, flat or smooth, in microseconds); cells of 0.05 to 4 m, reaches of 15 to 900 m."""

LONGEST_H = 1000.0
"""So long a scan may take at the worst; so many hours two cores take for a million million rough cells."""


@dataclass(frozen=True)
class Expected:
    """How long a scan takes, before it begins: the event of its beginning.

    Attributes
    ----------
    cells : float
        Of all sheets.
    least_s, most_s : float
        Where nothing lies in the band, and where all of it is rough ground in it.
    workers : int
        That the times are shared among.
    """

    cells: float
    least_s: float
    most_s: float
    workers: int


def expect(
    sources: Sequence[GridSource], find: Find, *, workers: int | None, tile: int | None = None
) -> Expected:
    """Tell how long a scan takes on this machine, and refuse what would take more than `LONGEST_H`.

    Parameters
    ----------
    sources : sequence of GridSource
    find : Find
    workers, tile : int or None
        As asked for.

    Raises
    ------
    InputError
        With the options that would help.
    """
    from reefscan.find import candidates  # with the kernels, for the lengths that a tile looks around it

    hands = min(workers or usable_cores(), usable_cores())
    cells = most = 0.0
    slow, worst = "", 0.0
    for source in sources:
        cell, here = source.sheet.cell_m, float(source.extent.height) * source.extent.width
        asked, search = candidates.asked_of(find, cell), candidates.search_of(find, cell)
        rings = math.pi * (asked.relief**2 + asked.broad[1] ** 2)
        line = (search.trough_m + search.rise_m + search.longest_m) / cell
        side, halo, tiles = _tiles(source, find, tile)
        read = tiles * float(side + 2 * halo) ** 2
        took = (
            here * _NETS_A_CELL * (_NET_NS + _RING_NS * rings + _LINE_NS * line) + read * _AROUND_NS
        ) * 1e-9
        cells, most = cells + here, most + took
        if took > worst:
            worst, slow = took, f"{source.name} has {source.extent.height:,} x {source.extent.width:,} cells"
    expected = Expected(cells, cells * _EMPTY_NS * 1e-9 / hands, most / hands, hands)
    if expected.most_s > 3600 * LONGEST_H:
        raise InputError(
            f"{slow}: where all of it is rough ground a scan would take {hours(expected.most_s)} with {hands} at work; name a part of it with "
            "--bbox or --area, shorten the longest lengths of [find], or use a cluster with --scheduler"
        )
    return expected


def expect_grid(surface: SurveySurface, *, times: int) -> float:
    """Tell how long (s) soundings take to be drawn as a grid, and refuse what would take more than `LONGEST_H`.

    Parameters
    ----------
    surface : SurveySurface
    times : int
        How often all of it is drawn: twice where its bias to another grid is looked for first.

    Raises
    ------
    InputError
        With the options that would help.
    """
    wide = 2 * surface.margin
    sides = np.array([(w.height, w.width) for w in surface.windows()], dtype=np.float64)
    looked = (sides + wide).prod(axis=1).sum()
    # each sounding is triangulated for every part that it lies in or beside
    beside = surface.blocks.x.size * (1.0 + wide / BLOCK) ** 2
    seconds = times * (looked * _LOOKED_NS + sides.prod(axis=1).sum() * _DRAWN_NS + beside * _BLOCK_NS) * 1e-9
    if seconds > 3600 * LONGEST_H:
        raise InputError(
            f"a grid of {surface.sheet.cell_m:g} m cells with a reach of {surface.reach_m:g} m would take {hours(seconds)}; "
            "say a larger --cell or a shorter --reach, or grid the areas one by one"
        )
    return float(seconds)


def _tiles(source: GridSource, find: Find, tile: int | None) -> tuple[int, int, int]:
    """Side of a tile and how far around it is read (cells), and how many there are."""
    extent, cell = source.extent, source.sheet.cell_m
    from reefscan.find import candidates

    halo = max(candidates.halo(find, cell), candidates.search_halo(find, cell))
    side = min(tile or DEFAULT_TILE, -(-max(extent.height, extent.width) // BLOCK) * BLOCK)
    return side, halo, -(-extent.height // side) * -(-extent.width // side)


def hours(seconds: float) -> str:
    """Write a long time as a person says it.

    Examples
    --------
    >>> hours(20), hours(90), hours(5400), hours(4e6)
    ('under a minute', '1.5 minutes', '1.5 hours', '46 days')
    """
    for unit, name in ((86_400.0, "days"), (3600.0, "hours"), (60.0, "minutes")):
        if seconds >= 1.45 * unit:
            return f"{seconds / unit:,.{0 if seconds >= 9.5 * unit else 1}f} {name}".replace(".0 ", " ")
    return "under a minute" if seconds < 60.0 else "a minute"


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
        side, halo, tiles = _tiles(source, find, tile)
        refuse_memory(
            _BYTES_A_CELL * float(side + 2 * halo) ** 2 * min(workers or usable_cores(), tiles),
            f"looking {halo * cell:,.0f} m around each place of {source.name} ({halo:,} cells of {cell:g} m)",
            "shorten the lengths of [find] in the recipe, or say --workers 1 or a smaller --tile",
        )
