"""Compiled code on disk that other sources made is thrown away.

numba keeps what it compiled beside the sources and looks, before it loads a function, at the file of that function
alone: not at those of the functions and constants that were compiled into it. After an update that touched only
those, the old code would run on, and give the old numbers without a word.
"""

from __future__ import annotations

import contextlib
import os

STAMP = "sources.stamp"


def discard_stale(folder: str, sources: list[str]) -> bool:
    """Remove compiled code that was not made from these sources, as they are.

    Parameters
    ----------
    folder : str
        Where numba keeps it.
    sources : list of str
        All files that any of it may hold something of.

    Returns
    -------
    bool
        True if something was removed. What cannot be read or written is left as it is.
    """
    now = "\n".join(f"{os.path.basename(path)} {_facts(path)}" for path in sorted(sources))
    stamp = os.path.join(folder, STAMP)
    try:
        with open(stamp, encoding="ascii") as file:
            if file.read() == now:
                return False
    except (OSError, ValueError):
        pass
    removed = False
    try:
        os.makedirs(folder, exist_ok=True)  # before numba makes it: else what it compiles now has no stamp
        # an index without its code is compiled anew, code without an index is never found
        for name in os.listdir(folder):
            if name.endswith(".nbi"):
                with contextlib.suppress(FileNotFoundError):  # another process was faster
                    os.unlink(os.path.join(folder, name))
                    removed = True
        part = f"{stamp}.{os.getpid()}"
        with open(part, "w", encoding="ascii") as file:
            file.write(now)
        os.replace(part, stamp)
    except OSError:
        return removed
    return removed


def _facts(path: str) -> str:
    try:
        facts = os.stat(path)
    except OSError:
        return "-"
    return f"{facts.st_size} {facts.st_mtime_ns}"


def sources_beside(path: str) -> list[str]:
    """Return the source files in the folder of one of them, and the module of constants above it."""
    here = os.path.dirname(os.path.abspath(path))
    names = [os.path.join(here, name) for name in os.listdir(here) if name.endswith(".py")]
    return [*names, os.path.join(os.path.dirname(here), "model.py")]
