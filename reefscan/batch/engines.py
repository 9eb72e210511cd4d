"""Where tiles run: in this process, in local worker processes, or on an existing Dask cluster.

Each engine opens a `Session` that takes tasks and gives futures; everything else (what is in flight, retries,
the store, events) is in `reefscan.batch.run` and the same for all. There is no scheduler here.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Protocol

from reefscan.base.errors import EngineError, InputError
from reefscan.batch.compiling import compile_once
from reefscan.batch.worker import Job, Reply, Task, run_tile


class Session(Protocol):
    """Workers that are up, and know the job. Used from one thread."""

    slots: int
    """Most tasks in flight: enough to keep every worker busy, few enough to keep memory flat."""

    deadly: tuple[type[BaseException], ...]
    """What a future raises when a worker died under the task (or beside it)."""

    strikes: int
    """How many deaths one such error stands for."""

    shared_fate: bool
    """True if one worker's death fails every task in flight."""

    def submit(self, task: Task) -> Future[Reply]:
        """Hand over one tile."""

    def recover(self) -> None:
        """After a deadly error: have working workers again, or raise `EngineError`."""

    def check(self) -> None:
        """Raise `EngineError` if the engine as a whole is gone."""

    def close(self) -> None:
        """Drop what is not finished and let the workers go, at once."""


class Engine(Protocol):
    """A way to run tiles."""

    def open(self, job: Job, tiles: int) -> Session:
        """Start the workers for a job of this many tiles.

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

    def open(self, job: Job, tiles: int) -> Session:
        """Return the session; nothing to bring up but the kernels."""
        if self.prepare is not None:
            compile_once(self.prepare)
        return _InlineSession(job) if self.threads <= 1 else _ThreadSession(job, self.threads)


@dataclass(frozen=True)
class LocalProcesses:
    """Run in worker processes on this machine.

    Workers are fresh interpreters, since a fork would copy locks that threads of GDAL and numba hold; see
    `reefscan.batch.processes`.

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

    def open(self, job: Job, tiles: int) -> Session:
        """Start the workers; a single tile is done here, since starting one costs more than it could save."""
        if self.prepare is not None:
            compile_once(self.prepare)
        if tiles == 1 and self.workers > 1:
            return _InlineSession(job)
        from reefscan.batch.processes import ProcessSession

        return ProcessSession(job, min(self.workers, tiles), self.threads)


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

    def __post_init__(self) -> None:
        # Dask itself needs half a minute and a traceback for an address without a port.
        if not re.fullmatch(r"(\w+://)?([^\s/:\[\]]+|\[[0-9a-fA-F:.%]+\]):\d+", self.scheduler):
            raise EngineError(
                f"--scheduler {self.scheduler!r}: is not the address of a Dask scheduler; say for example tcp://HOST:8786."
            )

    def open(self, job: Job, tiles: int) -> Session:
        """Connect."""
        from reefscan.batch.dask_session import DaskSession

        return DaskSession(job, self.scheduler, self.timeout_s, self.prepare)


def choose_engine(
    *, workers: int | None = None, scheduler: str | None = None, prepare: Callable[[], None] | None = None
) -> Engine:
    """Choose the engine by the user's options.

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
    EngineError
        An address that is none.
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


class _InlineSession:
    """The calling thread does the task when it is submitted."""

    slots = 1
    strikes = 1
    shared_fate = False
    deadly: tuple[type[BaseException], ...] = ()

    def __init__(self, job: Job) -> None:
        self._job = job

    def submit(self, task: Task) -> Future[Reply]:
        future: Future[Reply] = Future()
        future.set_result(run_tile(self._job, task))
        return future

    def recover(self) -> None:
        raise EngineError("the engine in this process has no workers to replace.")

    def check(self) -> None:
        return None

    def close(self) -> None:
        return None


class _ThreadSession(_InlineSession):
    """Threads of this process."""

    def __init__(self, job: Job, threads: int) -> None:
        super().__init__(job)
        self.slots = threads + 1
        self._pool: Executor = ThreadPoolExecutor(threads, thread_name_prefix="reefscan")

    def submit(self, task: Task) -> Future[Reply]:
        return self._pool.submit(run_tile, self._job, task)

    def close(self) -> None:
        self._pool.shutdown(wait=True, cancel_futures=True)
