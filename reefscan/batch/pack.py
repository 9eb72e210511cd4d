"""Finished tiles of a few bytes, one after the other in one file beside the others.

Most tiles of a coast are land, too deep or empty. A file of its own for each, synced to the disk, would cost
more than looking at it did. A tile is appended in one step with its length and checksum: a process killed at any
moment loses none. The file is synced to the disk every `SYNC_S`, so a power cut loses at most the tiles of that
time, and the torn end it may leave is cut off.
"""

from __future__ import annotations

import errno
import logging
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from reefscan.batch.result import DamagedTileError, TileResult, decode, stamp_in
from reefscan.io.whole import write_error, write_whole

logger = logging.getLogger(__name__)

NAME = "small.tiles"

SMALL = 32 * 1024
"""Largest tile in bytes that goes in here: one without structure packs to 17 kB at 2048 cells a side."""

SYNC_S = 1.0

_NAME_BYTES = 32
_HEAD_BYTES = _NAME_BYTES + 10
"""Name of the tile, then its length as ten digits."""


@dataclass
class TilePack:
    """The small tiles of a store, known to the process that plans the run and written by it alone.

    Parameters
    ----------
    path : Path
        The file.
    places : dict of str to (str, int, int)
        Stamp, offset and length of every tile by its name.
    """

    path: Path
    places: dict[str, tuple[str, int, int]] = field(default_factory=dict)
    _end: int = 0
    _synced: float = field(default_factory=time.monotonic)

    @classmethod
    def read(cls, folder: Path) -> TilePack:
        """Go through what is there, up to the first place that is torn or damaged."""
        pack = cls(folder / NAME)
        try:
            with open(pack.path, "rb") as file:
                while pack._take(file.read(_HEAD_BYTES), file.read):
                    pass
        except OSError as error:
            if not isinstance(error, FileNotFoundError):
                logger.warning("%s: %s; tiles beyond are computed again", pack.path, error)
        return pack

    @classmethod
    def open(cls, folder: Path) -> TilePack:
        """Go through what is there and make it ready to be added to. Call it with the run folder locked.

        What is torn or damaged is cut off; where more than half no longer counts, the rest is written anew.

        Raises
        ------
        RunFolderError
            If it cannot be written; `DiskFullError` if the disk is full.
        """
        pack = cls.read(folder)
        counts = sum(_HEAD_BYTES + length for _, _, length in pack.places.values())
        try:
            if pack._end > 2 * counts + (1 << 20):
                live = {name: pack._bytes(name) for name in pack.places}
                write_whole(pack.path, b"".join(_head(name, data) + data for name, data in live.items()))
                return cls.read(folder)
            if pack.path.exists() and pack.path.stat().st_size > pack._end:
                os.truncate(pack.path, pack._end)
        except OSError as error:
            raise write_error(pack.path, error) from error
        return pack

    def _take(self, head: bytes, read: Callable[[int], bytes]) -> bool:
        name, digits = head[:_NAME_BYTES], head[_NAME_BYTES:]
        if len(head) < _HEAD_BYTES or not digits.isdigit():
            return False
        data = read(int(digits))
        try:
            stamp = stamp_in(data)
        except DamagedTileError:
            return False
        self._add(name.decode("ascii", "replace").rstrip(), stamp, len(data))
        return True

    def _add(self, name: str, stamp: str, length: int) -> None:
        self.places[name] = (stamp, self._end + _HEAD_BYTES, length)
        self._end += _HEAD_BYTES + length

    def look(self, name: str, stamp: str) -> str:
        """Tell ``good``, ``stale`` or ``absent``."""
        if name not in self.places:
            return "absent"
        return "good" if self.places[name][0] == stamp else "stale"

    def load(self, name: str) -> TileResult | None:
        """Return the tile, whatever it was made from, or None if it is not here or can no longer be read."""
        if name not in self.places:
            return None
        try:
            return decode(self._bytes(name))[0]
        except (OSError, DamagedTileError):
            return None

    def _bytes(self, name: str) -> bytes:
        _, offset, length = self.places[name]
        with open(self.path, "rb") as file:
            file.seek(offset)
            return file.read(length)

    def save(self, name: str, data: bytes) -> None:
        """Add the bytes of `reefscan.batch.result.encode`; an older tile of that name no longer counts.

        Raises
        ------
        RunFolderError
            If it cannot be written; `DiskFullError` if the disk is full.
        """
        line = _head(name, data) + data
        try:
            handle = os.open(self.path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o666)
            try:
                if os.write(handle, line) < len(line):
                    os.ftruncate(handle, self._end)
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                if time.monotonic() - self._synced > SYNC_S:
                    os.fsync(handle)
                    self._synced = time.monotonic()
            finally:
                os.close(handle)
        except OSError as error:
            raise write_error(self.path, error) from error
        self._add(name, stamp_in(data), len(data))


def _head(name: str, data: bytes) -> bytes:
    return name.encode("ascii").ljust(_NAME_BYTES)[:_NAME_BYTES] + b"%010d" % len(data)
