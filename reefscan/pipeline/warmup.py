"""Every kernel compiled once (or loaded from the cache) before workers start together."""

from __future__ import annotations

import functools
import gc
import math
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
from numba.core import event
from numpy.typing import NDArray

from reefscan.base.arraysource import ArraySource
from reefscan.base.model import GridBlock, Window
from reefscan.base.recipe import Recipe
from reefscan.batch.events import Compiling, Event
from reefscan.find import candidates
from reefscan.find.localnoise import LocalNoise
from reefscan.join.features import distinct, trace
from reefscan.kernels.measure import measured
from reefscan.kernels.measure.ground_at import Whole
from reefscan.kernels.measure.net import ground_of_net
from reefscan.kernels.measure.section import measure_faces
from reefscan.kernels.order import median, put_in_order
from reefscan.kernels.stray import strays
from reefscan.pipeline.tilework import TileWork

if TYPE_CHECKING:
    import pandas as pd


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

    Where nothing is cached yet this process compiles what measures stations, and a second one meanwhile all else and the ground
    around a net, which makes two halves of it. Two processes that compile one function for different types at the same moment
    could spoil its cache, so what both need for several (`reefscan.kernels.order`) is there before the second starts; a
    function of one type may be compiled by both, and is the same.
    """
    if _cached():
        _order()
    else:
        with _few_collections(), _second_compiler() as begin:
            _order()
            begin()
            compile_stations()
    _lines()
    _tile()


@contextmanager
def _few_collections() -> Iterator[None]:
    """Let the collector of garbage look less often: numba makes millions of objects that live on (a tenth of its CPU)."""
    often = gc.get_threshold()
    gc.set_threshold(50_000, 20, 100)
    try:
        yield
    finally:
        gc.set_threshold(*often)


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
    block, seeds = _one_seed(source)
    candidates.find_stations(block, block.elev_mm, source.sheet, find, seeds, LocalNoise.none(1))


def _one_seed(source: ArraySource) -> tuple[GridBlock, candidates.Seeds]:
    window = source.extent.grow(150)  # wider than the patch that a station is measured in
    seeds = candidates.Seeds(np.array([window.row + 250]), np.array([window.col + 250]), np.array([math.pi]))
    return GridBlock(window, np.ascontiguousarray(source.read(window).elev_mm)), seeds


def compile_ground() -> None:
    """Compile what reads the ground around a net, as what measures stations calls it."""
    source, find = _source(), Recipe.default().find
    cell = source.sheet.cell_m
    elev = np.zeros((42, 42), np.int32)
    patch, whole = elev[1:-1, 1:-1], Whole(elev, np.zeros((0, 1), np.int64), 1, 1)  # nobody summed
    ground_of_net(patch, whole, candidates.asked_of(find, cell), cell, np.zeros(len(measured.FIELDS)))
    place = np.full(1, 20.0)
    strays(elev, place, place, place)


class _WithoutStations(TileWork):
    """A tile on which nothing but the noise is told where a station would be."""

    def _stations(
        self, whole: GridBlock, inner: tuple[slice, slice], seeds: candidates.Seeds, spikes: NDArray[np.int32]
    ) -> pd.DataFrame:
        candidates.noise_near(whole, self.source.sheet.cell_m, seeds)
        return candidates.find_stations_none()


def compile_rest() -> None:
    """Compile all that a tile needs but what measures stations; run by the second process."""
    with _few_collections(), _without_matrices():
        compile_ground()
        _tile(_WithoutStations)
        _lines()


def _lines() -> None:
    """What joins stations in the merge."""
    x = np.arange(4.0)
    distinct(x, x, x, 1.0)
    trace(x, x, np.zeros(4, np.intp), np.ones(1), 1.0)


def _order() -> None:
    """What both processes need for several types."""
    x = np.arange(4.0)
    with _without_matrices():
        median(x)
    for kind in (np.float64, np.int64, np.int32):
        put_in_order(x.astype(kind))


def _source() -> ArraySource:
    z = np.full((256, 256), -10.0)
    z[100:140, 60:200] -= 2.0
    return ArraySource.from_metres(z, cell_m=2.0)


def _tile(work: type[TileWork] = TileWork) -> None:
    source, recipe = _source(), Recipe.default()
    work(source, recipe.find, recipe.score)(Window(source.extent.row, source.extent.col, 256, 256))


def _cached() -> bool:
    """True if numba has what measures stations on disk, or if that cannot be known."""
    stats = getattr(measure_faces, "stats", None)
    folder = getattr(stats, "cache_path", None)
    return folder is None or any(Path(folder).glob("section.measure_faces-*.nbi"))


@contextmanager
def _second_compiler() -> Iterator[Callable[[], None]]:
    """Let another process compile the rest meanwhile, as soon as it is told to begin; where it cannot, this one will."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    if cores < 2 or not sys.executable:
        yield lambda: None
        return
    root = str(Path(__file__).resolve().parents[2])
    path = os.pathsep.join(p for p in (root, os.environ.get("PYTHONPATH", "")) if p)
    code = "import sys; from reefscan.pipeline import warmup; sys.stdin.read(1) and warmup.compile_rest()"
    try:
        other = subprocess.Popen(
            [sys.executable, "-c", code],
            env={**os.environ, "PYTHONPATH": path},
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
    except OSError:
        yield lambda: None
        return
    try:
        yield lambda: _begin(other)
    except BaseException:
        other.kill()
        raise
    finally:
        other.communicate()


def _begin(other: subprocess.Popen[bytes]) -> None:
    assert other.stdin is not None
    with suppress(OSError):  # it may have ended
        other.stdin.write(b".")
        other.stdin.flush()
