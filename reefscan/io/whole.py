"""Files written whole or not at all: write beside the place, fsync, rename.

After a power cut or Ctrl-C there is the old file or the new one, never half of one.
"""

from __future__ import annotations

import errno
import os
import shutil
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from reefscan.errors import DiskFullError, ReefscanError, RunFolderError

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_NO_ROOM = 1 << 20


def write_whole(path: Path | str, data: bytes | str) -> Path:
    """Write bytes (or text, as UTF-8 with ``\\n``) to ``path`` in one step.

    Raises
    ------
    RunFolderError
        If it cannot be written; `DiskFullError` if the disk is full. An older file stays as it was.
    """
    with replacing(path) as part, open(part, "wb") as file:
        file.write(data.encode("utf-8") if isinstance(data, str) else data)
    return Path(path)


@contextmanager
def replacing(path: Path | str) -> Iterator[Path]:
    """Give a name beside ``path`` to write to; move it into place if the block ends well.

    The name keeps the suffix, since drivers choose by it. For writers that want a file name. What goes wrong in the
    block is told as a failure to write ``path``, so it should hold nothing but the writing.
    """
    with telling(path), put_in_place(path) as part:
        yield part


@contextmanager
def put_in_place(path: Path | str) -> Iterator[Path]:
    """As `replacing`, for blocks that also read or compute: only the move itself is told as a failure to write.

    What writes inside such a block wants `telling` around it.
    """
    path = Path(path)
    part = path.with_name(f".{path.stem}.{uuid.uuid4().hex[:8]}.part{path.suffix}")
    try:
        yield part
        with telling(path):
            with open(part, "rb+") as file:
                os.fsync(file.fileno())
            os.replace(part, path)
            _sync_folder(path.parent)
    finally:
        # where nothing could be written nothing is left, and the reason is told elsewhere
        with suppress(OSError):
            part.unlink(missing_ok=True)


@contextmanager
def telling(path: Path | str) -> Iterator[None]:
    """Name the file in what goes wrong while it is written, and in nothing else: an input may fail to be read meanwhile."""
    try:
        yield
    except ReefscanError:
        raise
    except Exception as error:
        told = write_error(Path(path), error)
        if told is error:
            raise
        raise told from error


def write_error(path: Path, error: Exception) -> ReefscanError | Exception:
    """Turn a failed write into the package's error; give back what is not about writing."""
    code = getattr(error, "errno", None)
    if code in _FULL or "No space left" in str(error) or (code is None and _disk_is_full(path)):
        return DiskFullError(f"{path}: the disk is full; free some space and give the same command again.")
    if isinstance(error, OSError) or type(error).__module__.startswith(("rasterio", "pyogrio")):
        reason = getattr(error, "strerror", None) or str(error).splitlines()[0]
        return RunFolderError(f"{path}: cannot be written ({reason}); check the path and its rights.")
    return error


def _disk_is_full(path: Path) -> bool:
    # GDAL reports a short write as a bare "write error": ask the disk itself.
    try:
        return shutil.disk_usage(path.parent).free < _NO_ROOM
    except OSError:
        return False


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":  # Windows cannot open a folder, and journals renames
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
