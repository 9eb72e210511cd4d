"""Compile the kernels once a machine, however many processes start at the same time.

numba's cache on disk survives many readers, but two processes that compile different signatures of one
function at the same moment may both name their code ``.1``, and the index then points one signature at the
other's code. So whoever compiles holds a lock; the others wait, and load.
"""

from __future__ import annotations

import getpass
import hashlib
import logging
import os
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

logger = logging.getLogger(__name__)

_prepared: set[tuple[int, str]] = set()


def compile_once(prepare: Callable[[], None]) -> None:
    """Call ``prepare`` under the machine-wide lock, the first time this process is asked to.

    Parameters
    ----------
    prepare : callable
        Uses every kernel once, with the types a scan uses; quick when all is in the cache.
    """
    # A forked child has its parent's memory and compiled code, so it is asked for by process too.
    key = (os.getpid(), f"{getattr(prepare, '__module__', '')}.{getattr(prepare, '__qualname__', prepare)}")
    if key in _prepared:
        return
    with machine_lock("compile"):
        prepare()
    _prepared.add(key)


@contextmanager
def machine_lock(name: str) -> Iterator[None]:
    """Hold a lock that one process of this user and installation can hold at a time; wait for it.

    The operating system gives it back when the process ends, however that happens. Where no lock file can be
    made the block runs without: a rare race is better than no scan.
    """
    place = hashlib.blake2b(str(Path(__file__).parent).encode(), digest_size=4).hexdigest()
    path = Path(tempfile.gettempdir()) / f"reefscan-{_user()}-{place}-{name}.lock"
    try:
        file = open(path, "a+", encoding="ascii")  # noqa: SIM115 - held to the end of the block
    except OSError as error:
        logger.debug("%s: %s; going on without the lock", path, error)
        yield
        return
    with file:
        _take(file)
        yield


def _user() -> str:
    try:
        return "".join(letter if letter.isalnum() else "_" for letter in getpass.getuser())
    except (OSError, KeyError, ImportError):  # a container may run as a number without a name
        return "user"


if sys.platform == "win32":
    import msvcrt
    import time

    def _take(file: IO[str]) -> None:
        while True:
            try:
                file.seek(0)
                msvcrt.locking(file.fileno(), msvcrt.LK_LOCK, 1)  # tries for ten seconds
                return
            except OSError:
                time.sleep(0.1)

else:
    import fcntl

    def _take(file: IO[str]) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX)
