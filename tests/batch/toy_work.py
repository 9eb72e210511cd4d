"""Work functions for the engine's tests: at module level, so that worker processes can import them."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from reefscan.base.model import Window
from reefscan.batch import TileFailure, TileResult, finish_tiles
from reefscan.batch.worker import Work


def run_tiles(work: Work, tiles: Sequence[Window], **more: Any) -> Iterator[TileResult | TileFailure]:
    """Run the tiles as `finish_tiles` does, each result loaded as it arrives."""
    for end in finish_tiles(work, tiles, **more):
        yield end if isinstance(end, TileFailure) else end.load()


def closed_form(rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """A number for every cell that does not pack, below 251."""
    mixed = (rows * 7919 + cols * 104_729 + rows * cols) * 2_654_435_761
    return ((mixed >> 16) % 251).astype(np.uint8)


def checker(core: Window, old: TileResult | None = None) -> TileResult:
    """A result that any cell's row and column give in closed form."""
    rows, cols = np.mgrid[core.row : core.row_end, core.col : core.col_end]
    raster = closed_form(rows, cols)
    table = pa.table({"row": [core.row], "sum": [int(raster.sum())]})
    return TileResult(core, {"candidates": table}, {"score": raster}, {"cells": raster.size}, {"b": "1"})


@dataclass(frozen=True)
class Counted:
    """`checker` that leaves a mark in a folder each time it is called, and may do worse on one tile."""

    marks: Path
    bad: Window | None = None
    how: str = "raise"
    seconds: float = 0.0

    def __call__(self, core: Window, old: TileResult | None = None) -> TileResult:
        """Do the tile, or what ``how`` says if it is the bad one."""
        name = f"{core.row}_{core.col}_{os.getpid()}_{time.monotonic_ns()}"
        (self.marks / name).write_text(str(os.getpid()))
        time.sleep(self.seconds)
        if core == self.bad:
            if self.how == "raise":
                raise ValueError("planted fault\nin two lines")
            if self.how == "die":
                os.kill(os.getpid(), signal.SIGKILL)
            if self.how == "die once" and not (self.marks / "died").exists():
                (self.marks / "died").write_text("")
                os.kill(os.getpid(), signal.SIGKILL)
        return checker(core)

    def calls(self) -> int:
        """How many tiles were begun."""
        return sum(1 for mark in self.marks.iterdir() if mark.name != "died")

    def pids(self) -> set[int]:
        """Which processes began tiles."""
        return {int(mark.read_text()) for mark in self.marks.iterdir() if mark.name != "died"}


def never(core: Window, old: TileResult | None = None) -> TileResult:
    """Work that must not be called."""
    raise AssertionError(f"called for {core}")


@dataclass(frozen=True)
class SameExceptWest:
    """Work after a change of the input's first column of tiles: it takes over the old ones elsewhere."""

    marks: Path

    def __call__(self, core: Window, old: TileResult | None = None) -> TileResult:
        """Do the tile, or take the old one over."""
        if old is not None and core.col >= 512 and old.inputs == {"b": "1"}:
            return replace(old, carried=True)
        return Counted(self.marks)(core)


@dataclass(frozen=True)
class Empty:
    """Work that finds nothing anywhere, and leaves a mark."""

    marks: Path

    def __call__(self, core: Window, old: TileResult | None = None) -> TileResult:
        """Look at the tile."""
        Counted(self.marks)(core)
        return TileResult(core, stats={"known": 7}, inputs={"cells": "ab"})
