"""Libraries in C write their own messages to standard error, which is for ours.

The HDF5 library prints a stack for every damaged file, the raster and network libraries their own words, all of which
come as errors too and are printed in one line. What Python writes to `sys.stderr` still arrives.
"""

from __future__ import annotations

import logging
import os
import sys
from typing import Any


def hush() -> None:
    """Give `sys.stderr` a channel of its own and take the old one from the libraries, for the rest of this process."""
    try:
        sys.stderr.flush()
        if sys.stderr.fileno() != 2:
            return
        mine = os.dup(2)
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 2)
        os.close(nothing)
    except (OSError, ValueError, AttributeError):  # no such channel: nothing is written to it either
        return
    sys.unraisablehook = (
        _noted  # raised where no code can catch it, as by words of a library that are no UTF-8
    )
    sys.stderr = open(  # noqa: SIM115 - held to the end
        mine, "w", buffering=1, encoding=sys.stderr.encoding or "utf-8", errors="replace"
    )


def _noted(unraised: Any) -> None:
    logging.getLogger(__name__).debug("%s: %r", unraised.err_msg, unraised.exc_value)
