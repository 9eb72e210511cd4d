"""A command is one short process: what pays off only in long ones is left out."""

from __future__ import annotations

import atexit
import gc
import os

YOUNG = 50_000
"""Objects made and kept from which rubbish is looked for. The libraries make half a million while they are imported, none of it
rubbish: the usual 700 looks through all of it dozens of times (0.2 s of CPU of a small scan)."""


def lean() -> None:
    """Spare this process the threads, and the looking for rubbish, that take longer than they save.

    Called before a library is imported. No matrix here is large enough for a second thread of the linear algebra library, which
    spins while it waits for work; who set their number keeps it.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gc.set_threshold(YOUNG, 10, 10)
    atexit.register(gc.freeze)  # the last look, through all that goes anyway


def figures() -> None:
    """Load the figure library without the help texts that it writes for a hundred classes (0.1 s of CPU), which a command never shows.

    Called by a command that draws, before it imports what draws.
    """
    from matplotlib.artist import Artist

    Artist._update_set_signature_and_docstring = classmethod(lambda cls: None)  # type: ignore[attr-defined]
