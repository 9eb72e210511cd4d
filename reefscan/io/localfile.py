"""Files of this machine that can be read: not pipes, which wait for ever, nor devices, which never end."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from reefscan.base.errors import InputError, MissingInputError, UnreadableError

_KINDS = {
    stat.S_IFIFO: "a pipe",
    stat.S_IFSOCK: "a socket",
    stat.S_IFBLK: "a device",
    stat.S_IFCHR: "a device",
    stat.S_IFDIR: "a folder",
}


def odd_kind(path: str | Path) -> str:
    """What a name stands for, if it is neither a file nor gone: ``a pipe``, ``a broken link``; empty if it is a file."""
    try:
        return _KINDS.get(stat.S_IFMT(os.stat(path).st_mode), "")
    except FileNotFoundError:
        return "a broken link" if os.path.islink(path) else ""
    except (OSError, ValueError) as error:
        return f"a name that leads nowhere ({getattr(error, 'strerror', None) or error})"


MOST_ENTRIES = 100_000
"""Files and folders that a folder may hold down to its bottom: 50,000 tiles with a file beside each. So many are listed in
a second on a disk and in minutes over a network; the disk of a small machine has twice as many."""


def too_many(folder: Path) -> InputError:
    """Refusal of a folder that holds more than `MOST_ENTRIES`: a whole disk, or somebody's home."""
    return InputError(
        f"{folder}: holds more than {MOST_ENTRIES:,} files and folders, and no more of it is looked through; "
        "name those of its folders that are meant (there may be several), or the files"
    )


def require_file(path: str | Path) -> None:
    """Refuse what is no file.

    Raises
    ------
    MissingInputError
        Nothing is there.
    UnreadableError
        A pipe, a device, a folder, a broken link, or a file that may not be read.
    """
    kind = odd_kind(path)
    if kind:
        raise UnreadableError(f"{path}: is {kind}, not a file; name a file")
    if not os.path.exists(path):
        raise MissingInputError(f"{path}: no such file; check how its name is written")
    if not os.access(path, os.R_OK):
        raise UnreadableError(f"{path}: may not be read by you; change its rights, or name another file")


def read_small_text(path: Path, *, most: int = 20_000_000) -> str:
    """Text of a small file that a person hands in: picks, a recipe, settings.

    Raises
    ------
    MissingInputError, UnreadableError
        If it is not there, no file, not text or absurdly large.
    """
    require_file(path)
    try:
        with open(path, "rb") as file:
            data = file.read(most + 1)
        if len(data) > most:
            raise UnreadableError(f"{path}: is larger than {most / 1e6:.0f} MB; wanted a small file of text")
        return data.decode("utf-8-sig")  # some editors begin a file with a mark
    except (OSError, UnicodeDecodeError) as error:
        raise UnreadableError(f"{path}: cannot be read as text ({error}); save it as UTF-8") from None
