"""With what the tiles of a scan are run: threads, processes or a cluster. The result does not depend on it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from reefscan.batch.engines import Engine, InProcess, choose_engine, usable_cores
from reefscan.batch.tiles import DEFAULT_TILE, check_tile

if TYPE_CHECKING:
    from reefscan.batch.events import Event
    from reefscan.pipeline.size import Expected

FEW_TILES = 64
"""Up to so many a few threads of this process do the tiles: a worker process costs 1.3 CPU seconds before its
first cell (imports, compiled kernels), as much as 20 million cells. Kernels and decoding release the lock."""

MOST_THREADS = 4
"""With more cores than this, processes: threads would wait for each other, and share one memory."""


@dataclass(frozen=True)
class EngineOptions:
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

    workers: int | None = None
    scheduler: str | None = None
    tile: int | None = None
    on_event: Callable[[Event | Expected], None] = lambda event: None

    def __post_init__(self) -> None:
        """Refuse what cannot be, before anything is written."""
        choose_engine(workers=self.workers, scheduler=self.scheduler)
        check_tile(DEFAULT_TILE if self.tile is None else self.tile)

    def engine(self, tiles: int) -> Engine:
        """Choose the engine for so many tiles."""
        from reefscan.pipeline.warmup import telling, warm_up  # compiled code, .5 s to import

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
