"""How much memory there is, and a plain refusal of what will not fit, before any work is done."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from reefscan.base.errors import InputError

SHARE = 0.6
"""Part of the machine's memory that one answer may take: the rest is the system's and the libraries'."""

_CGROUP = ("/sys/fs/cgroup/memory.max", "/sys/fs/cgroup/memory/memory.limit_in_bytes")


def memory_bytes() -> int:
    """Memory that this process may use: the machine's, or what its container or its user is allowed."""
    limits = [16 << 30]  # where the system does not tell
    if hasattr(os, "sysconf") and "SC_PHYS_PAGES" in os.sysconf_names:
        limits = [os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")]
    for place in _CGROUP:
        try:
            limits.append(int(Path(place).read_text(encoding="ascii")))
        except (OSError, ValueError):
            continue
    if sys.platform != "win32":
        import resource

        soft, _ = resource.getrlimit(resource.RLIMIT_AS)
        if soft != resource.RLIM_INFINITY:
            limits.append(soft)
    return min(limits)


def bytes_words(count: float) -> str:
    """Write a number of bytes as a person reads it.

    Examples
    --------
    >>> bytes_words(2.6e9), bytes_words(81e6)
    ('2.6 GB', '81 MB')
    """
    for unit, name in ((1e12, "TB"), (1e9, "GB"), (1e6, "MB")):
        if count >= unit:
            return f"{count / unit:.3g} {name}"
    return f"{count / 1e3:.3g} kB"


def refuse_memory(need: float, what: str, do: str) -> None:
    """Refuse work that takes more memory than there is.

    Parameters
    ----------
    need : float
        Bytes.
    what, do : str
        What would take it, and what to say instead.

    Raises
    ------
    InputError
    """
    have = memory_bytes()
    if need > SHARE * have:
        raise InputError(
            f"{what} would take about {bytes_words(need)} of memory, and there are {bytes_words(have)} here; {do}"
        )
