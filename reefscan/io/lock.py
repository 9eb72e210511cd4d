"""One process at a time in a run folder.

The operating system holds the lock, so it goes with the process however that ends; a lock file left
behind by a killed run locks nothing.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import IO

from reefscan.base.errors import LockedError

NAME = "lock"


class FolderLock:
    """An exclusive lock on a folder, held until `release`."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / NAME
        self._file: IO[str] | None = None

    def acquire(self) -> None:
        """Take the lock at once.

        Raises
        ------
        LockedError
            If another process holds it; the message names it.
        OSError
            If the lock file cannot be written.
        """
        file = open(self._path, "a+", encoding="ascii")  # noqa: SIM115 - held until release
        try:
            _take(file)
        except OSError:
            file.seek(0)
            holder = file.read(40).strip() if os.name == "posix" else ""
            file.close()
            who = f" (process {holder})" if holder else ""
            raise LockedError(
                f"{self._path.parent}: in use by another run{who}; wait for it, or choose another --out."
            ) from None
        file.seek(0)
        file.truncate()
        file.write(f"{os.getpid()}\n")
        file.flush()
        self._file = file

    def held(self) -> bool:
        """True if some process holds the lock now."""
        if not self._path.exists():
            return False
        try:
            with open(self._path, "r+", encoding="ascii") as file:
                _take(file)
                _give(file)
        except PermissionError:
            return False  # a folder that cannot be written is not being written
        except OSError:
            return True
        return False

    def release(self) -> None:
        """Give the lock back; the file stays, empty."""
        if self._file is None:
            return
        self._file.seek(0)
        self._file.truncate()
        _give(self._file)
        self._file.close()
        self._file = None


if sys.platform == "win32":
    import msvcrt

    def _take(file: IO[str]) -> None:
        file.seek(0x7FFF0000)  # a byte far beyond the text, so that others can still read who holds it
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)

    def _give(file: IO[str]) -> None:
        file.seek(0x7FFF0000)
        msvcrt.locking(file.fileno(), msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _take(file: IO[str]) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)

    def _give(file: IO[str]) -> None:
        fcntl.flock(file.fileno(), fcntl.LOCK_UN)
