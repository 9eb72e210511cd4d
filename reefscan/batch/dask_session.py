"""Tiles on an existing Dask cluster, through its executor interface.

Dask itself moves tasks off a worker that died and gives up on one that has killed several workers; what is
left to do here is to notice a scheduler that is not there or goes away, and to say so.
"""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable
from concurrent.futures import CancelledError, Future
from typing import Any

from reefscan.base.errors import EngineError, one_line
from reefscan.batch.compiling import compile_once
from reefscan.batch.worker import Job, Reply, Task, run_tile

logger = logging.getLogger(__name__)


_GONE = (OSError, TimeoutError, CancelledError, asyncio.CancelledError)
"""What Dask raises when its scheduler has gone; asyncio's own cancellation is not even an `Exception`."""


class DaskSession:
    """A client of a scheduler; see `reefscan.batch.engines.Session`."""

    strikes = 2
    """Dask has tried a task on several workers before it blames it; one more look alone is enough."""

    shared_fate = False

    def __init__(
        self, job: Job, scheduler: str, timeout_s: float, prepare: Callable[[], None] | None = None
    ) -> None:
        try:
            import distributed
        except ImportError as error:
            raise EngineError("--scheduler needs Dask: pip install 'reefscan[cluster]'.") from error
        client: Any = distributed.Client  # untyped upstream
        self._job, self._scheduler, self._prepare = job, scheduler, prepare
        self.deadly: tuple[type[BaseException], ...] = (distributed.KilledWorker,)
        try:
            self._client: Any = client(scheduler, timeout=timeout_s, set_as_default=False)
        except (OSError, ValueError, TimeoutError) as error:
            raise EngineError(
                f"{scheduler}: no Dask scheduler answers within {timeout_s:g} s ({one_line(error)}); "
                "is it running, and is the address tcp://HOST:8786?"
            ) from error
        self._executor: Any = None
        self.slots = 1
        self._look()
        # pure=False: two runs of one tile are two tasks, never a remembered answer.
        self._executor = self._client.get_executor(pure=False)

    def submit(self, task: Task) -> Future[Reply]:
        try:
            future: Future[Reply] = self._executor.submit(_prepared_run, self._prepare, self._job, task)
        except (*_GONE, RuntimeError):
            self.check()  # says so if the scheduler is gone
            raise
        return future

    def recover(self) -> None:
        self._look()

    def check(self) -> None:
        if self._client.status != "running":
            raise EngineError(
                f"{self._scheduler}: the Dask scheduler went away; finished tiles are kept: "
                "give the same command again when it is back."
            )
        self._look()

    def close(self) -> None:
        try:
            if self._executor is not None and self._client.status == "running":
                self._executor.shutdown(wait=False)
        except (*_GONE, RuntimeError) as error:
            logger.debug("closing the executor: %s", error)
        finally:
            try:
                self._client.close(timeout=2)
            except (*_GONE, RuntimeError) as error:
                logger.debug("closing the client: %s", error)

    def _look(self) -> None:
        """Set `slots` from the workers that are there now; they may come and go."""
        try:
            workers = self._client.scheduler_info(n_workers=-1)["workers"]
        except (*_GONE, KeyError, RuntimeError) as error:
            raise EngineError(
                f"{self._scheduler}: the Dask scheduler does not answer "
                f"({one_line(error)}); finished tiles are kept."
            ) from error
        self.slots = max(2, 2 * sum(int(about["nthreads"]) for about in workers.values()))


def _prepared_run(prepare: Callable[[], None] | None, job: Job, task: Task) -> Reply:
    if prepare is not None:
        compile_once(prepare)
    return run_tile(job, task)
