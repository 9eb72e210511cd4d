"""The one function that every engine runs for a tile, and what a worker process sets up before it.

Whatever the engine, a tile is done by `run_tile`. It never raises for a tile's own sake: it returns a
`Reply` that says what happened, so a failure travels like a result and no error type has to survive pickling.
"""

from __future__ import annotations

import contextlib
import functools
import os
import pickle
import signal
import threading
import time
import traceback
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Protocol

from reefscan.base.errors import DiskFullError, ReefscanError, RunFolderError
from reefscan.base.model import Window
from reefscan.batch.pack import SMALL
from reefscan.batch.result import TileResult, encode
from reefscan.batch.store import TileStore
from reefscan.io import handles

THREAD_VARIABLES = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "NUMBA_NUM_THREADS",
    "GDAL_NUM_THREADS",
    "BLOSC_NTHREADS",
)
"""Libraries read these when they load; set before a worker starts, threads times workers fit the cores."""


class Work(Protocol):
    """What is done with one tile: a pure function of the input, picklable for engines with processes."""

    def __call__(self, core: Window, old: TileResult | None) -> TileResult:
        """Do a tile.

        Parameters
        ----------
        core : Window
        old : TileResult or None
            What the store has of that name, made from something else (another input, say). Whatever of
            it still holds may be taken over.
        """


@dataclass(frozen=True)
class Job:
    """What all tiles of a run share.

    Parameters
    ----------
    work : Work
    store : TileStore or None
        Where results go; None hands them back in memory.
    release : str
        Version of the package that planned the run; a worker of another version refuses.
    run : str
        Tells the run from every other one.
    """

    work: Work
    store: TileStore | None
    release: str
    run: str


@dataclass(frozen=True)
class Task:
    """One tile to do: its cells, its name and stamp in the store, and whether a stale copy is there.

    ``old`` is that copy where workers cannot see it (a small tile).
    """

    core: Window
    name: str
    stamp: str
    stale: bool = False
    old: TileResult | None = None


@dataclass(frozen=True)
class Reply:
    """What came of a task.

    ``state`` is ``done`` or ``carried`` (from a stale copy), in the store already or in ``result`` or ``data``;
    ``failed`` (this tile); ``full`` or ``unwritable`` (no tile can go on); ``release`` (a foreign version).
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
        _forget_other_runs(job.run)
        store = job.store
        old = task.old
        if old is None and task.stale and store is not None and store.reachable():
            old = store.load_stale(task.name)
        result = job.work(task.core, old)
        if result.core != task.core:
            raise AssertionError(f"work({task.core}) answered for {result.core}")
        state = "carried" if result.carried else "done"
        if store is None:
            return Reply(state, time.perf_counter() - started, result=result)
        data = encode(result, task.stamp)
        if len(data) <= SMALL or not store.reachable():
            return Reply(state, time.perf_counter() - started, data=data)
        store.save_bytes(task.name, data)
        return Reply(state, time.perf_counter() - started)
    except DiskFullError as error:
        return Reply("full", time.perf_counter() - started, message=str(error))
    except RunFolderError as error:
        return Reply("unwritable", time.perf_counter() - started, message=str(error))
    except Exception as error:  # one tile's failure, whatever it is, must not stop the rest
        if _interrupted(error):
            raise KeyboardInterrupt from error
        text = str(error) if isinstance(error, ReefscanError) else f"{type(error).__name__}: {error}"
        line = " ".join(text.split()) or type(error).__name__
        return Reply("failed", time.perf_counter() - started, message=line, detail=traceback.format_exc())


def _interrupted(error: BaseException | None) -> bool:
    """True if Ctrl-C is behind an error: where it meets a compiled kernel's return it comes out as a SystemError."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt):
            return True
        error = error.__cause__ or error.__context__
    return False


_here = threading.local()


def _forget_other_runs(run: str) -> None:
    """Close what this thread opened for an earlier run: a cluster's workers live on between runs.

    A virtual mosaic's handle would go on giving the old cells of a part that was replaced meanwhile.
    """
    if getattr(_here, "run", None) != run:
        handles.close_all()
        _here.run = run


@functools.cache
def release() -> str:
    """Version of the package that this process runs."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("reefscan")
    except PackageNotFoundError:
        return "unknown"


_held: bytes = b""
"""The job of this worker process, pickled."""


def hold_job(life: Connection, job: bytes) -> None:
    """Set up a local worker process: it knows its job, ends with its parent, and leaves ^C to it.

    Parameters
    ----------
    job : bytes
        A pickled `Job`.
    life : Connection
        Reading end of a pipe whose other end only the parent holds. Nothing is ever sent: when the parent
        closes it, or is killed, the pipe ends and so does the worker, at once. A pool's workers would
        otherwise wait for work for ever, since each of them holds the task queue open.
    """
    global _held
    _held = job
    signal.signal(signal.SIGINT, signal.SIG_IGN)

    def watch() -> None:
        with contextlib.suppress(EOFError, OSError):
            life.recv_bytes()
        os._exit(1)

    threading.Thread(target=watch, name="reefscan-life", daemon=True).start()


def ready() -> int:
    """Answer a first call, so that a worker that cannot start is found out before any tile is blamed."""
    return os.getpid()


@functools.cache
def _unpickled(job: bytes) -> Job:
    found: Job = pickle.loads(job)
    return found


def run_held(task: Task) -> Reply:
    """Do one tile of the job that this worker process was started with."""
    try:
        job = _unpickled(_held)
    except Exception as error:  # say what it was: a worker that dies of it could not
        line = " ".join(f"{type(error).__name__}: {error}".split())
        return Reply("failed", message=f"a worker process cannot load the job ({line})")
    return run_tile(job, task)
