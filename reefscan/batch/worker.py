"""The one function that every engine runs for a tile, and what a worker process sets up before it.

Whatever the engine, a tile is done by `run_tile`. It never raises for a tile's own sake: it returns a
`Reply` that says what happened, so a failure travels like a result and no error type has to survive pickling.
"""

from __future__ import annotations

import contextlib
import os
import signal
import threading
import time
import traceback
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from multiprocessing.connection import Connection

from reefscan.batch.result import TileResult, encode
from reefscan.batch.store import TileStore
from reefscan.errors import DiskFullError, ReefscanError, RunFolderError
from reefscan.model import Window

THREAD_VARIABLES = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "NUMBA_NUM_THREADS",
    "GDAL_NUM_THREADS",
    "BLOSC_NTHREADS",
)
"""Libraries read these when they load; set before a worker starts, threads times workers fit the cores."""


@dataclass(frozen=True)
class Job:
    """What all tiles of a run share.

    Parameters
    ----------
    work : callable
        ``work(core) -> TileResult``; picklable for engines with processes.
    store : TileStore or None
        Where results go; None hands them back in memory.
    same_inputs : callable or None
        ``same_inputs(core, hashes) -> bool``: are the tile's input blocks still what they were?
    release : str
        Version of the package that planned the run; a worker of another version refuses.
    """

    work: Callable[[Window], TileResult]
    store: TileStore | None
    same_inputs: Callable[[Window, Mapping[str, str]], bool] | None
    release: str


@dataclass(frozen=True)
class Task:
    """One tile to do: its cells, its name and stamp in the store, and whether a stale copy is there."""

    core: Window
    name: str
    stamp: str
    stale: bool = False


@dataclass(frozen=True)
class Reply:
    """What came of a task.

    ``state`` is ``done`` (in the store, or in ``result`` or ``data``), ``carried`` (the stale copy is still
    right), ``failed`` (this tile), ``full`` or ``unwritable`` (no tile can go on), ``release`` (a foreign
    version).
    """

    state: str
    seconds: float = 0.0
    result: TileResult | None = None
    data: bytes | None = None
    message: str = ""
    detail: str = ""


def run_tile(job: Job, task: Task) -> Reply:
    """Do one tile, and put it into the store if this process can reach it."""
    started = time.perf_counter()
    if job.release != release():
        return Reply("release", message=f"runs version {release()}, the run was started by {job.release}")
    try:
        store = job.store
        if _still_right(job, task):
            return Reply("carried", time.perf_counter() - started)
        result = job.work(task.core)
        if result.core != task.core:
            raise AssertionError(f"work({task.core}) answered for {result.core}")
        if store is None:
            return Reply("done", time.perf_counter() - started, result=result)
        if store.reachable():
            store.save(task.name, task.stamp, result)
            return Reply("done", time.perf_counter() - started)
        return Reply("done", time.perf_counter() - started, data=encode(result, task.stamp))
    except DiskFullError as error:
        return Reply("full", time.perf_counter() - started, message=str(error))
    except RunFolderError as error:
        return Reply("unwritable", time.perf_counter() - started, message=str(error))
    except Exception as error:  # one tile's failure, whatever it is, must not stop the rest
        text = str(error) if isinstance(error, ReefscanError) else f"{type(error).__name__}: {error}"
        line = " ".join(text.split()) or type(error).__name__
        return Reply("failed", time.perf_counter() - started, message=line, detail=traceback.format_exc())


def _still_right(job: Job, task: Task) -> bool:
    """True if the input blocks of the stale copy read the same today; it then carries today's stamp."""
    if not task.stale or job.store is None or job.same_inputs is None:
        return False
    inputs = job.store.look(task.name, task.stamp).inputs
    if not inputs or not job.store.reachable():
        return False
    return job.same_inputs(task.core, inputs) and job.store.restamp(task.name, task.stamp)


def release() -> str:
    """Version of the package that this process runs."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("reefscan")
    except PackageNotFoundError:
        return "unknown"


def start_worker(life: Connection) -> None:
    """Set up a local worker process: it ends with its parent, and leaves ^C to it.

    Parameters
    ----------
    life : Connection
        Reading end of a pipe whose other end only the parent holds. Nothing is ever sent: when the parent
        closes it, or is killed, the pipe ends and so does the worker, at once. A pool's workers would
        otherwise wait for work for ever, since each of them holds the task queue open.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def watch() -> None:
        with contextlib.suppress(EOFError, OSError):
            life.recv_bytes()
        os._exit(1)

    threading.Thread(target=watch, name="reefscan-life", daemon=True).start()


def ready() -> int:
    """Answer a first call, so that a worker that cannot start is found out before any tile is blamed."""
    return os.getpid()
