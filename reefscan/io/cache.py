"""Where what was found out about files is kept between runs."""

from __future__ import annotations

import functools
import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import platformdirs

from reefscan.base.errors import InputError
from reefscan.io.whole import put_in_place


def cache_folder() -> Path:
    """Where indexes and converted point files are kept (``REEFSCAN_CACHE`` or the system's cache folder)."""
    return Path(os.environ.get("REEFSCAN_CACHE") or platformdirs.user_cache_path("reefscan", appauthor=False))


@functools.cache
def reader_rules() -> str:
    """Name the reader's own source as it is installed: read by other rules, a file may say something else."""
    root = Path(__file__).parent
    files = sorted(root.rglob("*.py"))
    facts = [(str(path.relative_to(root)), path.stat().st_size, path.stat().st_mtime_ns) for path in files]
    return hashlib.sha256(repr(facts).encode()).hexdigest()[:16]


def sidecars(path: str) -> tuple[str, ...]:
    """Names of the files that may stand beside a raster and change what it says, always in one order."""
    stem = os.path.splitext(path)[0]
    return f"{path}.aux.xml", f"{path}.msk", f"{stem}.prj", f"{stem}.PRJ"


def made_of(path: str, what: str) -> Path:
    """Name what is made of a file and kept: another name for each state of it and for other rules.

    Parameters
    ----------
    path : str
        A file of this machine.
    what : str
        Beginning and ending of the name, such as ``points.tif``.
    """
    files = [path, *filter(os.path.isfile, sidecars(path))]
    facts = [(stat.st_size, stat.st_mtime_ns) for stat in map(os.stat, files)]
    key = f"{os.path.realpath(path)}|{facts}|{reader_rules()}"
    begin, ending = os.path.splitext(what)
    return cache_folder() / f"{begin}-{hashlib.sha256(os.fsencode(key)).hexdigest()[:24]}{ending}"


@contextmanager
def keeping(target: Path) -> Iterator[Path]:
    """Give a name to write to, and keep it as ``target`` if the block ends well.

    Raises
    ------
    InputError
        If the cache cannot be written.
    """
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with put_in_place(target) as part:
            yield part
    except OSError as error:
        raise InputError(
            f"{target.parent}: cannot be written ({error}); set REEFSCAN_CACHE to a folder that can"
        ) from error
