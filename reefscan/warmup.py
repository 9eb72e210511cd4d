"""Every kernel compiled once (or loaded from the cache) before workers start together."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reefscan import candidates
from reefscan.arraysource import ArraySource
from reefscan.kernels.lines import level_runs, near_pairs, way_from
from reefscan.kernels.measure import measure_stations
from reefscan.kernels.order import median
from reefscan.localnoise import LocalNoise
from reefscan.model import GridBlock, Window
from reefscan.recipe import Recipe
from reefscan.tilework import TileWork, heights_near, score_core


def warm_up() -> None:
    """Compile every kernel, or load it from the cache.

    Compiling takes one core most of a minute, so where nothing is cached yet a second process compiles what measures
    stations while this one compiles the search and the noise. Two processes that compile one function at the same moment
    could spoil its cache, so what both need (`reefscan.kernels.order`) is there before the second starts, and they share
    nothing else.
    """
    _lines()
    if _cached():
        _tile(2.0)
        return
    with _second_compiler():
        # too shallow for a station: the search alone
        _tile(0.3)
        _beside_the_search()
    _tile(2.0)


def compile_stations() -> None:
    """Compile what measures stations, as `TileWork` calls it; run by the second process."""
    source, block, above, seeds = _trough()
    candidates.find_stations(
        block,
        above,
        source.sheet,
        Recipe.default().find,
        seeds,
        lambda rows, cols: LocalNoise.none(len(rows)),
    )


def _beside_the_search() -> None:
    """Compile what a tile with structure asks for and the second process does not."""
    source, block, _, seeds = _trough()
    rows, cols = next(iter(seeds.values()))
    window = block.window
    candidates.noise_near(block, source.sheet.cell_m, seeds)(rows - window.row, cols - window.col)
    recipe, core, cell = Recipe.default(), source.extent, source.sheet.cell_m
    rim = candidates.search_halo(recipe.find, cell)
    elev = np.ascontiguousarray(source.read(core.grow(rim)).elev_mm)
    around = heights_near(candidates.fields(elev, cell, recipe.find), elev, rim, core, cell, recipe.find)
    score_core(elev, around, rim, core, cell, recipe.find, recipe.score)


def _trough() -> tuple[ArraySource, GridBlock, NDArray[np.int32], candidates.Seeds]:
    """A trough, its cells below water and as they are, and a station of each kind in it."""
    source = _source(2.0)
    above = np.ascontiguousarray(source.read(source.extent.grow(8)).elev_mm)
    block = GridBlock(source.extent.grow(8), np.minimum(above, np.int32(candidates.SEA_MM)))
    row, col = source.extent.row + 120, source.extent.col + 128
    seeds = {kind: (np.array([row], np.int64), np.array([col], np.int64)) for kind in candidates.KINDS}
    return source, block, above, seeds


def _lines() -> None:
    """What the merge walks along, and `reefscan.kernels.order`."""
    x, used = np.arange(4.0), np.arange(4) == 0
    way_from(np.arange(4, dtype=np.int32), np.arange(-1, 3, dtype=np.int32), x, x, used)
    level_runs(x, 1.0)
    median(x)
    near_pairs(x, x, x, 1.0)


def _source(deep_m: float) -> ArraySource:
    z = np.full((256, 256), -10.0)
    z[100:140, 60:200] -= deep_m
    return ArraySource.from_metres(z, cell_m=2.0)


def _tile(deep_m: float) -> None:
    source, recipe = _source(deep_m), Recipe.default()
    TileWork(source, recipe.find, recipe.score)(Window(source.extent.row, source.extent.col, 256, 256))


def _cached() -> bool:
    """True if numba has what measures stations on disk, or if it cannot be told."""
    stats = getattr(measure_stations, "stats", None)
    folder = getattr(stats, "cache_path", None)
    return folder is None or any(Path(folder).glob("measure.measure_stations-*.nbi"))


@contextmanager
def _second_compiler() -> Iterator[None]:
    """Let another process compile the stations' kernels meanwhile; where it cannot, this one will."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if cores < 2 or not sys.executable:
        yield
        return
    root = str(Path(__file__).resolve().parents[1])
    path = os.pathsep.join(p for p in (root, os.environ.get("PYTHONPATH", "")) if p)
    try:
        other = subprocess.Popen(
            [sys.executable, "-c", "from reefscan.warmup import compile_stations; compile_stations()"],
            env={**os.environ, "PYTHONPATH": path},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except OSError:
        yield
        return
    try:
        yield
    except BaseException:
        other.kill()
        raise
    finally:
        other.wait()
