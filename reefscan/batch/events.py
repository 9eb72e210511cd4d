"""What the engine reports while it runs: one small frozen type for each kind of event.

The engine never prints; the command line draws the bar from these, the record of the run adds them up.
Seconds are for the record alone: nothing is decided by them, so a clock that jumps changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

from reefscan.base.model import Window


@dataclass(frozen=True)
class Planned:
    """The work is planned: the number of tiles and of cells."""

    tiles: int
    cells: int


@dataclass(frozen=True)
class TileDone:
    """A tile was computed, in ``seconds`` of a worker's time (monotonic)."""

    core: Window
    cells: int
    seconds: float


@dataclass(frozen=True)
class TileKept:
    """A tile was in the store already; ``carried`` if the input changed but not these cells."""

    core: Window
    cells: int
    carried: bool = False


@dataclass(frozen=True)
class TileSkipped:
    """A tile has no cell in the search band, by one cheap look."""

    core: Window
    cells: int


@dataclass(frozen=True)
class TileFailed:
    """A tile could not be done; the rest goes on."""

    core: Window
    cells: int
    message: str
    attempts: int


@dataclass(frozen=True)
class TileDamaged:
    """A stored tile did not pass its checksum and is computed again."""

    core: Window


@dataclass(frozen=True)
class WorkersReplaced:
    """Workers died and were started again; their tiles are tried again."""

    reason: str
    tiles: int


@dataclass(frozen=True)
class Packing:
    """Everything else is done, and the raster is still being compressed; ``known`` of its cells have ground."""

    cells: int
    known: int


@dataclass(frozen=True)
class Compiling:
    """The program is being compiled for this machine, before its first tile: so many of its functions are done."""

    functions: int


Event = (
    Compiling
    | Planned
    | TileDone
    | TileKept
    | TileSkipped
    | TileFailed
    | TileDamaged
    | WorkersReplaced
    | Packing
)
"""Anything the engine may report."""
