"""Files written whole or not at all: write beside the place, fsync, read back, rename.

After a power cut or Ctrl-C there is the old file or the new one, never half of one; on a full disk the old one.
"""

from __future__ import annotations

import errno
import itertools
import os
import platform
import shutil
import stat
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from reefscan.base.errors import DiskFullError, ReefscanError, RunFolderError

_FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
_NO_ROOM = 1 << 20


def write_whole(path: Path | str, data: bytes | str) -> Path:
    """Write bytes (or text, as UTF-8 with ``\\n``) to ``path`` in one step.

    Raises
    ------
    RunFolderError
        If it cannot be written; `DiskFullError` if the disk is full. An older file stays as it was.
    """
    data = data.encode("utf-8", "replace") if isinstance(data, str) else data
    with replacing(path) as part:
        part.write_bytes(data)
        if part.read_bytes() != data:
            raise unwritten(Path(path))
    return Path(path)


@contextmanager
def replacing(path: Path | str) -> Iterator[Path]:
    """Give a name beside ``path`` to write to; move it into place if the block ends well.

    The name keeps the suffix, since drivers choose by it. For writers that want a file name. Every error in the
    block becomes a failure to write ``path``, so it should hold nothing but the writing.
    """
    with telling(path), put_in_place(path) as part:
        yield part


@contextmanager
def put_in_place(path: Path | str) -> Iterator[Path]:
    """As `replacing`, for blocks that also read or compute: only an error of the move itself becomes a failure to write.

    What writes inside such a block wants `telling` around it.
    """
    path = Path(path)
    refuse_odd(path)
    _clear(path)
    part = path.with_name(f"{_passing(path)}{os.getpid()}-{next(_numbers)}.part{path.suffix[:16]}")
    try:
        yield part
        with telling(path):
            with open(part, "rb+") as file:
                os.fsync(file.fileno())
            os.replace(part, path)
            _sync_folder(path.parent)
    finally:
        # where nothing could be written there is nothing to remove, and the first error says why
        with suppress(OSError):
            part.unlink(missing_ok=True)


_numbers = itertools.count(1)


def _passing(path: Path) -> str:
    """How the passing names of a file begin: short, however long its own, and telling this machine's from another's."""
    return f".{zlib.crc32(os.fsencode(path.name)):08x}-{zlib.crc32(platform.node().encode()):08x}-"


def _clear(path: Path) -> None:
    """Remove what writers of this file left behind that were killed on this machine."""
    for left in path.parent.glob(f"{_passing(path)}*.part*"):
        writer = left.name.split("-")[2]
        if writer.isdigit() and int(writer) != os.getpid() and not _alive(int(writer)):
            with suppress(OSError):
                left.unlink()


def _alive(process: int) -> bool:
    if os.name != "posix":  # there a signal would end it
        return True
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        return True
    return True


def refuse_odd(path: Path) -> None:
    """Refuse to put a file in the place of anything but a file.

    Raises
    ------
    RunFolderError
        For a folder, a device, a pipe, a link to one; and for a name that is no UTF-8, which no library takes.
    """
    try:
        os.fspath(path).encode("utf-8")
        mode = os.stat(path).st_mode
    except UnicodeEncodeError:
        raise RunFolderError(
            f"{path}: its name holds letters that are not UTF-8; give it another name"
        ) from None
    except OSError:  # nothing there, or nothing that can be looked at: writing will say why
        return
    if not stat.S_ISREG(mode):
        kind = "a folder" if stat.S_ISDIR(mode) else "a device or a pipe"
        raise RunFolderError(f"{path}: cannot be written: it is {kind}; name a new file.")


@contextmanager
def telling(path: Path | str) -> Iterator[None]:
    """Name the file in errors of writing it, and in no others: reading an input may fail in the same block."""
    try:
        yield
    except ReefscanError:
        raise
    except Exception as error:
        failure = write_error(Path(path), error)
        if failure is error:
            raise
        raise failure from error


def write_error(path: Path, error: Exception) -> ReefscanError | Exception:
    """Turn a failed write into the package's error; give back what is not about writing."""
    code = getattr(error, "errno", None)
    if code in _FULL or "No space left" in str(error) or (code is None and _disk_is_full(path)):
        return unwritten(path)
    if isinstance(error, OSError) or type(error).__module__.startswith(("rasterio", "pyogrio")):
        reason = getattr(error, "strerror", None) or str(error).splitlines()[0]
        return RunFolderError(f"{path}: cannot be written ({reason}); check the path and its rights.")
    return error


def unwritten(path: Path) -> DiskFullError:
    """The error for a file that there was no room for; what was there before is unchanged."""
    return DiskFullError(
        f"{path}: cannot be written to its end: a limit on space or on the size of files is met, or the disk is full; "
        "free some space and give the same command again."
    )


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
