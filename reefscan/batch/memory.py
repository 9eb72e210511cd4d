"""Memory that was freed, handed back to the system."""

from __future__ import annotations

import contextlib
import ctypes


def give_back() -> None:
    """Hand freed memory back, where the C library can: it keeps what tiles used (some 300 MB), and what follows wants other sizes.

    Some milliseconds; called between stages.
    """
    with contextlib.suppress(OSError, TypeError, AttributeError):
        ctypes.CDLL(None).malloc_trim(0)
