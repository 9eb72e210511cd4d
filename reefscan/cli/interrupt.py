"""Ctrl-C and a request to end (SIGTERM), noticed at the latest after the next tile.

An interrupt is an exception. If it comes while an object is being freed, no code can catch it: Python prints it on the
screen and goes on. One in twenty was lost so in the bench that kills scans.
"""

from __future__ import annotations

import signal
from types import FrameType

_asked = False


def listen() -> None:
    """Take both for the same thing from now on; one that the caller has switched off stays so."""
    for number in (signal.SIGINT, signal.SIGTERM):
        if signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _stop)


def check() -> None:
    """Raise the interrupt again if it came and was lost.

    Raises
    ------
    KeyboardInterrupt
    """
    if _asked:
        raise KeyboardInterrupt


def _stop(number: int, frame: FrameType | None) -> None:
    global _asked
    _asked = True
    raise KeyboardInterrupt
