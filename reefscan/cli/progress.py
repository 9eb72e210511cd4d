"""The progress bar: drawn from the engine's events, on standard error, only for a person watching."""

from __future__ import annotations

import sys
from types import TracebackType
from typing import Any, Self


class ProgressBar:
    """Callable that takes the engine's events and draws them; a context manager.

    Parameters
    ----------
    quiet : bool
        Draw nothing. Nothing is drawn either where standard error is not a terminal.
    """

    def __init__(self, *, quiet: bool = False) -> None:
        self._on = not quiet and sys.stderr.isatty()
        self._bar: Any = None
        self._task: Any = None
        self._failed = 0

    def __enter__(self) -> Self:
        if self._on:
            from rich.console import Console
            from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn, TimeRemainingColumn

            self._bar = Progress(
                TextColumn("{task.description}"),
                BarColumn(),
                TextColumn("{task.percentage:3.0f} %"),
                TimeElapsedColumn(),
                TextColumn("left"),
                TimeRemainingColumn(),
                console=Console(stderr=True),
                transient=True,
            )
            self._bar.start()
            self._task = self._bar.add_task("reading", total=None)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._bar is not None:
            self._bar.stop()

    def __call__(self, event: object) -> None:
        """Take one event; unknown ones are let pass."""
        if self._bar is None:
            return
        name = type(event).__name__
        cells = getattr(event, "cells", 0)
        if name == "Planned":
            self._bar.update(self._task, total=cells, description="scanning")
        elif name in ("TileDone", "TileKept", "TileSkipped"):
            self._bar.advance(self._task, cells)
        elif name == "TileFailed":
            self._failed += 1
            self._bar.update(self._task, advance=cells, description=f"scanning ({self._failed} failed)")
