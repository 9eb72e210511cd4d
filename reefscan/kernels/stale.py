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
    now = "\n".join(f"{os.path.abspath(path)} {_facts(path)}" for path in sorted(sources))
    stamp = os.path.join(folder, STAMP)
    try:
        with open(stamp, encoding="utf-8") as file:
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
        with open(part, "w", encoding="utf-8", errors="replace") as file:
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


def discard_stale_below(root: str) -> None:
    """Remove, from every folder of a package of kernels, compiled code that its sources as they are did not make.

    A kernel of one folder may call those of any other, so all sources below count for each folder, and with them the
    module of constants that all share (``base/model.py`` beside the package).

    Parameters
    ----------
    root : str
        Folder of the package.
    """
    folders: list[str] = []
    sources = [os.path.join(os.path.dirname(root), "base", "model.py")]
    for folder, below, names in os.walk(root):
        below[:] = [name for name in below if name != "__pycache__"]
        folders.append(folder)
        sources += [os.path.join(folder, name) for name in names if name.endswith(".py")]
    for folder in folders:
        discard_stale(os.path.join(folder, "__pycache__"), sources)
