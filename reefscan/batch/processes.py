"""Tiles in local worker processes: fresh interpreters that know the job and end with their parent.

A pool is broken whole by the death of one worker, so it is built anew. Workers do not import the script that
started the scan, as spawned processes otherwise do: it would begin the scan again in each of them unless it
were written for that.
"""

from __future__ import annotations

import logging
import os
import pickle
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager
from multiprocessing.context import SpawnContext, SpawnProcess
from types import ModuleType
from typing import Any

from reefscan.base.errors import EngineError
from reefscan.batch.worker import THREAD_VARIABLES, Job, Reply, Task, hold_job, ready, run_held

logger = logging.getLogger(__name__)

_STARTS = 3
"""How often a pool may fail to start before the run gives up."""

_main = threading.Lock()


class ProcessSession:
    """A process pool; see `reefscan.batch.engines.Session`."""

    strikes = 1
    shared_fate = True
    deadly: tuple[type[BaseException], ...] = (BrokenProcessPool,)

    def __init__(self, job: Job, workers: int, threads: int) -> None:
        self.slots = 2 * workers
        self._workers = workers
        # Once for each worker and not with every tile: a mosaic of many files is long.
        self._job = pickle.dumps(job)
        self._context = FreshContext(threads, script=b"__main__" in self._job)
        self._pool: ProcessPoolExecutor | None = None
        self._life: Any = None
        self._start()

    def submit(self, task: Task) -> Future[Reply]:
        if self._pool is None:
            raise BrokenProcessPool("no pool")
        return self._pool.submit(run_held, task)

    def recover(self) -> None:
        self.close()
        self._start()

    def check(self) -> None:
        return None

    def close(self) -> None:
        # Closing our end of the pipe ends every worker at once, busy or not (see worker.hold_job).
        if self._life is not None:
            self._life.close()
            self._life = None
        if self._pool is not None:
            self._pool.shutdown(wait=True, cancel_futures=True)
            self._pool = None

    def _start(self) -> None:
        for left in reversed(range(_STARTS)):
            theirs, self._life = self._context.Pipe(duplex=False)
            self._pool = ProcessPoolExecutor(
                self._workers, mp_context=self._context, initializer=hold_job, initargs=(theirs, self._job)
            )
            try:
                for first in [self._pool.submit(ready) for _ in range(self._workers)]:
                    first.result()
            except BrokenProcessPool as error:
                self.close()
                if not left:
                    raise EngineError(
                        f"worker processes do not start ({_STARTS} tries): {error} Say --workers 1 to go on "
                        "without them."
                    ) from error
                logger.warning("worker processes did not start; trying again")
            except BaseException:
                self.close()
                raise
            else:
                return
            finally:
                theirs.close()


class FreshContext(SpawnContext):
    """Makes processes whose libraries start with a given number of threads, and that do not import the script.

    Parameters
    ----------
    threads : int
    script : bool
        Let them import the script all the same: what they are to do is defined in it.
    """

    def __init__(self, threads: int, *, script: bool) -> None:
        self._threads, self._script = threads, script

    def Process(self, *args: Any, **more: Any) -> SpawnProcess:  # type: ignore[override]
        """Make a process that is not started yet."""
        process = _Fresh(*args, **more)
        process.threads, process.script = self._threads, self._script
        return process


class _Fresh(SpawnProcess):
    threads = 1
    script = False

    def start(self) -> None:
        with ExitStack() as stack:
            stack.enter_context(thread_limit(self.threads))
            if not self.script:
                stack.enter_context(_without_script())
            super().start()


@contextmanager
def _without_script() -> Iterator[None]:
    """Hide the script, so that a starting process does not import it."""
    with _main:
        script = sys.modules["__main__"]
        sys.modules["__main__"] = ModuleType("__main__")
        try:
            yield
        finally:
            sys.modules["__main__"] = script


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
