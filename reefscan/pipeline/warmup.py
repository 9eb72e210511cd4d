"""Every kernel compiled once (or loaded from the cache) before workers start together."""

from __future__ import annotations

import functools
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
from numba.core import event

from reefscan.base.arraysource import ArraySource
from reefscan.base.model import GridBlock, Window
from reefscan.base.recipe import Recipe
from reefscan.batch.events import Compiling, Event
from reefscan.find import candidates
from reefscan.find.localnoise import LocalNoise
from reefscan.join.features import distinct, trace
from reefscan.kernels.measure.section import measure_faces
from reefscan.kernels.order import median
from reefscan.pipeline.tilework import TileWork


def telling(on_event: Callable[[Event], None]) -> Callable[[], None]:
    """`warm_up` that tells how far it is, as `Compiling` events; the same work by the same name, done once a process."""

    @functools.wraps(warm_up)
    def tell() -> None:
        with _told(on_event):
            warm_up()

    return tell


@contextmanager
def _told(on_event: Callable[[Event], None]) -> Iterator[None]:
    """Count the functions of this package as they are compiled; what is loaded from disk does not count."""
    done = 0

    class Listener(event.Listener):  # type: ignore[misc]
        def on_start(self, happened: Any) -> None:
            if done == 0:
                on_event(Compiling(0))

        def on_end(self, happened: Any) -> None:
            nonlocal done
            done += 1
            on_event(Compiling(done))

    with event.install_listener("numba:compile", Listener()):
        yield


def warm_up() -> None:
    """Compile every kernel, or load it from the cache.

    Where nothing is cached yet a second process compiles the noise meanwhile. Two processes that compile one function at the same
    moment could spoil its cache, so what both need (`reefscan.kernels.order`) is there before the second starts, and they
    share nothing else.
    """
    with _without_matrices():
        _lines()
    if _cached():
        _tile()
        return
    with _second_compiler():
        compile_stations()
    _tile()


@contextmanager
def _without_matrices() -> Iterator[None]:
    """Load a first kernel without the library of linear algebra, which numba imports to see that it is there (0.13 s of CPU).

    No kernel here multiplies matrices; one of someone else's that does finds it when it is compiled.
    """
    name = "scipy.linalg.cython_blas"
    asked = name not in sys.modules
    if asked:
        sys.modules[name] = ModuleType(name)
    try:
        yield
    finally:
        if asked:
            del sys.modules[name]


def compile_stations() -> None:
    """Compile what measures stations, as `TileWork` calls it."""
    source, find = _source(), Recipe.default().find
    window = source.extent.grow(8)
    block = GridBlock(window, np.ascontiguousarray(source.read(window).elev_mm))
    seeds = candidates.Seeds(np.array([window.row + 108]), np.array([window.col + 100]), np.array([0.0]))
    candidates.find_stations(block, source.sheet, find, seeds, LocalNoise.none(1))


def compile_noise() -> None:
    """Compile what tells the noise; run by the second process."""
    source = _source()
    window = source.extent.grow(8)
    block = GridBlock(window, np.ascontiguousarray(source.read(window).elev_mm))
    seeds = candidates.Seeds(np.array([window.row + 108]), np.array([window.col + 100]), np.array([0.0]))
    candidates.noise_near(block, source.sheet.cell_m, seeds)


def _lines() -> None:
    """What joins stations in the merge, and `reefscan.kernels.order`."""
    x = np.arange(4.0)
    distinct(x, x, x, 1.0)
    trace(x, x, np.zeros(4, np.intp), np.ones(1), 1.0)
    median(x)


def _source() -> ArraySource:
    z = np.full((256, 256), -10.0)
    z[100:140, 60:200] -= 2.0
    return ArraySource.from_metres(z, cell_m=2.0)


def _tile() -> None:
    source, recipe = _source(), Recipe.default()
    TileWork(source, recipe.find, recipe.score)(Window(source.extent.row, source.extent.col, 256, 256))


def _cached() -> bool:
    """True if numba has what measures stations on disk, or if that cannot be known."""
    stats = getattr(measure_faces, "stats", None)
    folder = getattr(stats, "cache_path", None)
    return folder is None or any(Path(folder).glob("section.measure_faces-*.nbi"))


@contextmanager
def _second_compiler() -> Iterator[None]:
    """Let another process compile the noise's kernels meanwhile; where it cannot, this one will."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if cores < 2 or not sys.executable:
        yield
        return
    root = str(Path(__file__).resolve().parents[2])
    path = os.pathsep.join(p for p in (root, os.environ.get("PYTHONPATH", "")) if p)
    try:
        other = subprocess.Popen(
            [sys.executable, "-c", "from reefscan.pipeline.warmup import compile_noise; compile_noise()"],
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
