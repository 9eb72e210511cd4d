"""Where tiles run: in this process, in local worker processes, or on an existing Dask cluster.

Each engine opens a `Session` that takes tasks and gives futures; everything else (what is in flight, retries,
the store, events) is in `reefscan.batch.run` and the same for all. There is no scheduler here.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Protocol

from reefscan.batch.compiling import compile_once
from reefscan.batch.worker import THREAD_VARIABLES, Reply, ready, start_worker
from reefscan.errors import EngineError, InputError

logger = logging.getLogger(__name__)

_STARTS = 3
"""How often a pool may fail to start before the run gives up."""


class Session(Protocol):
    """Workers that are up. Used from one thread."""

    slots: int
    """Most tasks in flight: enough to keep every worker busy, few enough to keep memory flat."""

    deadly: tuple[type[BaseException], ...]
    """What a future raises when a worker died under the task (or beside it)."""

    strikes: int
    """How many deaths one such error stands for."""

    shared_fate: bool
    """True if one worker's death fails every task in flight."""

    def submit(self, call: Callable[[], Reply]) -> Future[Reply]:
        """Hand over one task."""

    def recover(self) -> None:
        """After a deadly error: have working workers again, or raise `EngineError`."""

    def check(self) -> None:
        """Raise `EngineError` if the engine as a whole is gone."""

    def close(self) -> None:
        """Drop what is not finished and let the workers go, at once."""


class Engine(Protocol):
    """A way to run tiles."""

    def open(self, tiles: int) -> Session:
        """Bring the workers up for so many tiles.

        Raises
        ------
        EngineError
            If they cannot be.
        """


@dataclass(frozen=True)
class InProcess:
    """Run in this process: one after another, or in threads (kernels and decoding release the GIL).

    Parameters
    ----------
    threads : int
        1 runs everything in the calling thread.
    prepare : callable or None
        Compiles the kernels; see `reefscan.batch.compiling.compile_once`.
    """

    threads: int = 1
    prepare: Callable[[], None] | None = None

    def open(self, tiles: int) -> Session:
        """Return the session; nothing to bring up but the kernels."""
        if self.prepare is not None:
            compile_once(self.prepare)
        return _InlineSession() if self.threads <= 1 else _ThreadSession(self.threads)


@dataclass(frozen=True)
class LocalProcesses:
    """Run in worker processes on this machine.

    Workers are fresh interpreters (spawn), since a fork would copy locks that threads of GDAL and numba hold.
    So a script that scans needs the usual ``if __name__ == "__main__":``.

    Parameters
    ----------
    workers : int
        Processes; each keeps to ``threads`` threads.
    threads : int
        Threads in each worker's libraries.
    prepare : callable or None
        Called in this process before any worker starts: compile the kernels once, into the cache, and not
        once in every worker at the same time.
    """

    workers: int
    threads: int = 1
    prepare: Callable[[], None] | None = None

    def open(self, tiles: int) -> Session:
        """Start the workers; a single tile is done here, since starting one costs more than it could save."""
        if self.prepare is not None:
            compile_once(self.prepare)
        if tiles == 1 and self.workers > 1:
            return _InlineSession()
        return _PoolSession(min(self.workers, tiles), self.threads)


@dataclass(frozen=True)
class DaskCluster:
    """Run on a Dask cluster that is up already.

    Parameters
    ----------
    scheduler : str
        Its address, ``tcp://head:8786``. The workers must have this version of the package.
    timeout_s : float
        How long to wait for it to answer.
    prepare : callable or None
        Called once in each worker process before its first tile; see `LocalProcesses`. Picklable.
    """

    scheduler: str
    timeout_s: float = 10.0
    prepare: Callable[[], None] | None = None

    def open(self, tiles: int) -> Session:
        """Connect."""
        from reefscan.batch.dask_session import DaskSession

        return DaskSession(self.scheduler, self.timeout_s, self.prepare)


def choose_engine(
    *, workers: int | None = None, scheduler: str | None = None, prepare: Callable[[], None] | None = None
) -> Engine:
    """Pick the engine from what the user said.

    Parameters
    ----------
    workers : int, optional
        Worker processes on this machine; 1 runs in this process; None takes one per usable core.
    scheduler : str, optional
        Address of a Dask scheduler; excludes ``workers``.
    prepare : callable, optional
        See `LocalProcesses`.

    Raises
    ------
    InputError
        Workers below 1, or both given.
    """
    if scheduler is not None:
        if workers is not None:
            raise InputError("--scheduler and --workers: a cluster has its own workers; say one of the two.")
        return DaskCluster(scheduler, prepare=prepare)
    if workers is None:
        workers = usable_cores()
    if workers < 1:
        raise InputError(
            f"--workers {workers}: wants 1 or more; leave it out for one per core ({usable_cores()})."
        )
    if workers == 1:
        return InProcess(prepare=prepare)
    return LocalProcesses(workers, max(1, usable_cores() // workers), prepare)


def usable_cores() -> int:
    """Cores this process may use (a container or ``taskset`` may allow fewer than the machine has)."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def thread_limit(threads: int) -> Iterator[None]:
    """Set the thread variables for processes that start inside the block, and put them back."""
    before = {name: os.environ.get(name) for name in THREAD_VARIABLES}
    os.environ.update(dict.fromkeys(THREAD_VARIABLES, str(threads)))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


class _InlineSession:
    """The calling thread does the task when it is submitted."""

    slots = 1
    strikes = 1
    shared_fate = False
    deadly: tuple[type[BaseException], ...] = ()

    def submit(self, call: Callable[[], Reply]) -> Future[Reply]:
        future: Future[Reply] = Future()
        future.set_result(call())
        return future

    def recover(self) -> None:
        raise EngineError("the engine in this process has no workers to replace.")

    def check(self) -> None:
        return None

    def close(self) -> None:
        return None


class _ThreadSession(_InlineSession):
    """Threads of this process."""

    def __init__(self, threads: int) -> None:
        self.slots = threads + 1
        self._pool: Executor = ThreadPoolExecutor(threads, thread_name_prefix="reefscan")

    def submit(self, call: Callable[[], Reply]) -> Future[Reply]:
        return self._pool.submit(call)

    def close(self) -> None:
        self._pool.shutdown(wait=True, cancel_futures=True)


class _PoolSession:
    """A process pool that is built anew when a worker's death has broken it."""

    strikes = 1
    shared_fate = True
    deadly: tuple[type[BaseException], ...] = (BrokenProcessPool,)

    def __init__(self, workers: int, threads: int) -> None:
        self.slots = 2 * workers
        self._workers, self._threads = workers, threads
        self._pool: ProcessPoolExecutor | None = None
        self._life: Any = None
        self._start()

    def submit(self, call: Callable[[], Reply]) -> Future[Reply]:
        if self._pool is None:
            raise BrokenProcessPool("no pool")
        return self._pool.submit(call)

    def recover(self) -> None:
        self.close()
        self._start()

    def check(self) -> None:
        return None

    def close(self) -> None:
        # Closing our end of the pipe ends every worker at once, busy or not (see worker.start_worker).
        if self._life is not None:
            self._life.close()
            self._life = None
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
            self._pool = None

    def _start(self) -> None:
        context = multiprocessing.get_context("spawn")
        for left in reversed(range(_STARTS)):
            theirs, self._life = context.Pipe(duplex=False)
            self._pool = ProcessPoolExecutor(
                self._workers, mp_context=context, initializer=start_worker, initargs=(theirs,)
            )
            try:
                with thread_limit(self._threads):
                    for first in [self._pool.submit(ready) for _ in range(self._workers)]:
                        first.result()
            except BrokenProcessPool as error:
                self.close()
                if not left:
                    raise EngineError(
                        f"worker processes do not start ({_STARTS} tries): {error} If a script of yours "
                        'started the scan, keep it under if __name__ == "__main__":; else say --workers 1.'
                    ) from error
                logger.warning("worker processes did not start; trying again")
            except BaseException:
                self.close()
                raise
            else:
                return
            finally:
                theirs.close()
