"""How far a scan has come, on standard error: a bar for a person watching, now and then a line for a log."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Any, Self

from reefscan.cli import interrupt
from reefscan.pipeline.size import Expected, hours

FIRST_LINE_S = 10.0
"""When a log gets its first line; each next one waits a tenth of the time so far longer, so that a night's log stays short."""

MANY_TILES = 1000
"""A scan of so many tiles prints its size before it begins."""

LONG_S = 600.0
"""A scan that may take so long has its time shown before it begins."""

LONG_PACK = 2_000_000_000
"""Cells of a raster from which packing it is worth a line in a log: about 10 s (90 Gcell took 7 minutes, nearly all of them empty)."""

SPARSE = 20
"""Cells to each that has ground from which the empty ones are the reason of the wait."""

ONCE = "preparing the program for this machine, the first time only"

NARROW = 60
"""Terminals of fewer columns get the numbers without the bar."""


def many(cells: float) -> str:
    """Say how many, in millions from a million on.

    Examples
    --------
    >>> many(250_000), many(4_400_000), many(90e9)
    ('250,000', '4.4 million', '90,000 million')
    """
    return f"{float(f'{cells / 1e6:.3g}'):,.15g} million" if cells >= 1e6 else f"{cells:,.0f}"


class Progress:
    """Callable that takes the engine's events and shows them; a context manager.

    Parameters
    ----------
    quiet : bool
        Show nothing.
    """

    def __init__(self, *, quiet: bool = False) -> None:
        self._bar: Any = None
        self._task: Any = None
        self._quiet = quiet
        self._plain = not quiet and not sys.stderr.isatty()
        self._tiles = self._ended = self._failed = 0
        self._cells = self._gone = self._computed = 0
        self._begun = time.monotonic()
        self._next = self._begun + FIRST_LINE_S
        self._compiling = 0.0

    def __enter__(self) -> Self:
        if not self._quiet and not self._plain:
            from rich.console import Console
            from rich.progress import BarColumn, TextColumn
            from rich.progress import Progress as Bar

            console = Console(stderr=True)
            columns: list[Any] = [TextColumn("{task.description}")]
            if console.width >= NARROW:
                columns.insert(0, BarColumn())
            self._bar = Bar(*columns, console=console, transient=True)
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
        interrupt.check()
        name = type(event).__name__
        cells = int(getattr(event, "cells", 0))
        if name == "Compiling":
            self._compile(int(getattr(event, "functions", 0)))
            return
        if self._compiling:  # the clock of the tiles, and of the lines, starts when the compiling is over
            now = time.monotonic()
            self._begun, self._next = self._begun + now - self._compiling, now + FIRST_LINE_S
            self._compiling = 0.0
        if name == "Packing":
            self._pack(cells, int(getattr(event, "known", 0)))
            return
        if isinstance(event, Expected):
            if event.most_s >= LONG_S and not self._quiet:
                print(
                    f"reefscan: {many(event.cells)} cells: {hours(event.least_s)} if nothing lies in the depths searched, {hours(event.most_s)} "
                    f"if all of it is rough ground, with {event.workers} processes; a part of it is done sooner (--bbox, --area)",
                    file=sys.stderr,
                    flush=True,
                )
            return
        if name == "Planned":  # once for every sheet
            if not self._tiles:
                self._begun = time.monotonic()
            self._tiles += int(getattr(event, "tiles", 0))
            self._cells += cells
            if self._plain and self._tiles >= MANY_TILES:
                print(
                    f"reefscan: {many(self._cells)} cells in {self._tiles:,} tiles",
                    file=sys.stderr,
                    flush=True,
                )
        elif name in ("TileDone", "TileKept", "TileSkipped", "TileFailed"):
            self._ended += 1
            self._gone += cells
            self._computed += cells if name == "TileDone" else 0
            self._failed += name == "TileFailed"
        else:
            return
        if self._bar is not None:
            self._bar.update(self._task, total=self._cells, completed=self._gone, description=self.words())
        elif self._plain and time.monotonic() >= self._next:
            now = time.monotonic()
            self._next = now + max(FIRST_LINE_S, 0.1 * (now - self._begun))
            print(f"reefscan: {self.words()}", file=sys.stderr, flush=True)

    def _compile(self, functions: int) -> None:
        """Say what the first scan on a machine waits for."""
        now = time.monotonic()
        if not self._compiling:
            self._compiling = now
            if self._plain:
                print(f"reefscan: {ONCE}, about a minute", file=sys.stderr, flush=True)
                self._next = now + FIRST_LINE_S
        elif self._plain and now >= self._next:
            self._next = now + FIRST_LINE_S
            print(
                f"reefscan: {ONCE}: {functions} functions, {now - self._compiling:.0f} s",
                file=sys.stderr,
                flush=True,
            )
        if self._bar is not None:
            self._bar.update(self._task, total=None, description=f"{ONCE}: {functions} functions")

    def _pack(self, cells: int, known: int) -> None:
        """Say what is waited for: overviews of a raster that spans far-apart grids take minutes."""
        said = f"writing score.tif, {many(cells)} cells"
        if cells > SPARSE * known:
            said += (
                f", of which {many(known)} have ground: grids that lie far apart are done sooner one by one"
            )
        if self._bar is not None:
            self._bar.update(self._task, description=said)
        elif self._plain and cells >= LONG_PACK:
            print(f"reefscan: {said}", file=sys.stderr, flush=True)

    def words(self) -> str:
        """Say tiles done, how fast, time left."""
        said = f"{self._ended}/{self._tiles} tiles"
        seconds = time.monotonic() - self._begun
        if self._ended == self._tiles:
            said += ", joining what they found"
        elif self._computed and seconds > 0:
            rate = self._computed / seconds
            left = max(0, round((self._cells - self._gone) / rate))
            minutes, rest = divmod(left, 60)
            hours, minutes = divmod(minutes, 60)
            clock = f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"
            said += f", {many(rate)} cells a second, {clock} left"
        return said + (f", {self._failed} failed" if self._failed else "")
