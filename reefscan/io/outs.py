"""Where ``--out`` may write: to a new name, or over an earlier file of ours of the same kind; never over anything else or an input."""

from __future__ import annotations

import mmap
import os
from collections.abc import Iterable
from pathlib import Path

from reefscan.base.errors import RunFolderError
from reefscan.io.whole import refuse_odd, write_whole

CSV_HEAD = "name,lon,lat,depth_m,kind,text"
"""First columns of a table of sites, by which it is known again."""

_MARKS = (b"reefscan", b"RECIPE_FIND", CSV_HEAD.encode())
_BEGINS: dict[str, tuple[bytes, ...]] = {
    ".tif": (b"II", b"MM"),
    ".tiff": (b"II", b"MM"),
    ".png": (b"\x89PNG",),
    ".pdf": (b"%PDF",),
    ".gpkg": (b"SQLite format 3",),
    ".json": (b"{",),
    ".geojson": (b"{",),
    ".csv": (CSV_HEAD.encode(),),
    ".txt": (b"FLOAT PLAN",),
}
_TEXT = (b"<",)  # HTML, SVG, GPX, KML


def refuse_foreign(out: Path, inputs: Iterable[Path | str] = ()) -> None:
    """Refuse to write over anything but an earlier file of ours; called before the work, and again before writing.

    Parameters
    ----------
    out : Path
        Where a file is to go.
    inputs : iterable of path
        What is read for it: files, and folders with all that is in them.

    Raises
    ------
    RunFolderError
        Saying what is there.
    """
    refuse_odd(out)
    if not os.path.lexists(out):
        return
    for path in inputs:
        there = Path(path)
        if _same(out, there) or (there.is_dir() and out.resolve().is_relative_to(there.resolve())):
            raise RunFolderError(f"{out}: is what is read, and would be written over; choose another --out.")
    if not _ours(out):
        raise RunFolderError(
            f"{out}: exists already and is not a {out.suffix.lower() or 'file'} that reefscan wrote, so it is left alone; "
            "choose another --out, or remove it first."
        )


def numbered(out: Path, count: int) -> list[Path]:
    """Names of the files that a result of several parts goes into: ``cards-1.png``, ``cards-2.png``; the name itself for one part."""
    return (
        [out] if count == 1 else [out.with_name(f"{out.stem}-{k}{out.suffix}") for k in range(1, count + 1)]
    )


def write_out(path: Path, data: bytes | str) -> Path:
    """Write a whole file to the name that the user gave; only an earlier one of ours is replaced.

    Raises
    ------
    RunFolderError
        As `refuse_foreign` and `reefscan.io.whole.write_whole`.
    """
    refuse_foreign(path)
    return write_whole(path, data)


def _same(one: Path, other: Path) -> bool:
    try:
        return os.path.samefile(one, other)
    except (OSError, ValueError):
        return False


def _ours(path: Path) -> bool:
    """True if a file begins as its name says and carries our mark; all of it is looked through, which is quick."""
    try:
        with open(path, "rb") as file:
            begin = file.read(64).lstrip(b"\xef\xbb\xbf")
            if not begin.startswith(_BEGINS.get(path.suffix.lower(), _TEXT)):
                return False
            with mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as whole:
                return any(whole.find(mark) >= 0 for mark in _MARKS)
    except (OSError, ValueError):
        return False
