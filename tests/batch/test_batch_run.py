"""Runs: every engine gives the same, keeps what is finished, and outlives what goes wrong."""

from __future__ import annotations

import asyncio
import errno
import os
import signal
import subprocess
import sys
import threading
import time
from collections import Counter
from concurrent.futures import Future
from pathlib import Path

import numpy as np
import pytest

from reefscan.base.errors import DiskFullError, EngineError, InputError
from reefscan.base.model import Window
from reefscan.batch import (
    Finished,
    InProcess,
    LocalProcesses,
    TileFailure,
    TileResult,
    TileStore,
    choose_engine,
    finish_tiles,
    plan_tiles,
    tile_key,
)
from reefscan.batch.engines import DaskCluster, Session, usable_cores
from reefscan.batch.events import Event, TileDamaged, TileFailed, TileKept, TileSkipped, WorkersReplaced
from reefscan.batch.pack import TilePack
from reefscan.batch.processes import thread_limit
from reefscan.batch.result import encode
from reefscan.batch.worker import Job, Reply, Task
from tests.batch.toy_work import Counted, Empty, SameExceptWest, checker, closed_form, never, run_tiles

TILES = plan_tiles(Window(0, 0, 1000, 1500), 512)
BAD = TILES[2]
KEY = lambda core: tile_key(core, "x")  # noqa: E731


@pytest.fixture
def marks(tmp_path: Path) -> Path:
    """A folder where work leaves a mark for each call."""
    (tmp_path / "marks").mkdir()
    return tmp_path / "marks"


@pytest.fixture
def store(tmp_path: Path) -> TileStore:
    """A fresh store."""
    return TileStore.open(tmp_path / "store")


def whole(ends: list[TileResult | TileFailure]) -> np.ndarray:
    """Paint the tiles into one array; a cell painted twice or never shows as 255."""
    out = np.full((1024, 1536), 255, np.uint8)
    for end in ends:
        assert isinstance(end, TileResult)
        rows, cols = end.core.slices_in(Window(0, 0, 1024, 1536))
        assert (out[rows, cols] == 255).all()
        out[rows, cols] = end.rasters["score"]
    return out


def expected() -> np.ndarray:
    """The closed form over the whole extent."""
    rows, cols = np.mgrid[0:1024, 0:1536]
    return closed_form(rows, cols)


@pytest.mark.parametrize("engine", [InProcess(), InProcess(threads=2), LocalProcesses(2)], ids=str)
@pytest.mark.parametrize("kept", [True, False], ids=["with a store", "in memory"])
def test_every_engine_gives_every_cell_once(engine: InProcess, kept: bool, store: TileStore) -> None:
    ends = list(run_tiles(checker, TILES, engine=engine, store=store if kept else None, name_of=KEY))
    np.testing.assert_array_equal(whole(ends), expected())


def test_a_finished_run_is_gone_through_without_any_work(store: TileStore) -> None:
    first = list(run_tiles(checker, TILES, engine=InProcess(), store=store, name_of=KEY))
    events: list[Event] = []
    again = list(
        run_tiles(never, TILES, engine=LocalProcesses(2), store=store, name_of=KEY, on_event=events.append)
    )
    assert [encode(end, "") for end in again] == [encode(end, "") for end in first]
    assert sum(isinstance(event, TileKept) for event in events) == len(TILES)


def test_a_run_that_is_left_in_the_middle_goes_on_where_it_stopped(store: TileStore, marks: Path) -> None:
    work = Counted(marks)
    ends = run_tiles(work, TILES, engine=InProcess(), store=store, name_of=KEY)
    for _ in range(2):
        next(ends)
    ends.close()
    begun = work.calls()
    assert begun < len(TILES)
    rest = list(run_tiles(work, TILES, engine=InProcess(), store=store, name_of=KEY))
    assert work.calls() == len(TILES)
    np.testing.assert_array_equal(whole(rest), expected())


def test_only_the_damaged_tile_is_computed_again(store: TileStore, marks: Path) -> None:
    list(run_tiles(checker, TILES, engine=InProcess(), store=store, name_of=KEY))
    path = store.path(KEY(BAD))
    path.write_bytes(path.read_bytes()[:-3])
    work, events = Counted(marks), list[Event]()
    ends = list(run_tiles(work, TILES, engine=InProcess(), store=store, name_of=KEY, on_event=events.append))
    assert work.calls() == 1
    assert TileDamaged(BAD) in events
    np.testing.assert_array_equal(whole(ends), expected())


def test_a_changed_recipe_computes_everything_and_the_old_one_is_still_there(
    store: TileStore, marks: Path
) -> None:
    list(run_tiles(checker, TILES, engine=InProcess(), store=store, name_of=KEY))
    work = Counted(marks)
    other = list(
        run_tiles(work, TILES, engine=InProcess(), store=store, name_of=lambda core: tile_key(core, "y"))
    )
    assert (len(other), work.calls()) == (len(TILES), len(TILES))
    assert len(list(run_tiles(never, TILES, engine=InProcess(), store=store, name_of=KEY))) == len(TILES)


@pytest.mark.parametrize("engine", [InProcess(), LocalProcesses(2)], ids=str)
def test_after_a_changed_input_only_tiles_whose_blocks_changed_are_computed(
    engine: InProcess, store: TileStore, marks: Path
) -> None:
    for text in ("old input", "new input"):
        events: list[Event] = []
        ends = list(
            run_tiles(
                SameExceptWest(marks),
                TILES,
                engine=engine,
                store=store,
                name_of=KEY,
                stamp_of=lambda core, text=text: text,
                on_event=events.append,
            )
        )
    west = sum(core.col < 512 for core in TILES)
    assert Counted(marks).calls() == len(TILES) + west
    assert sum(isinstance(event, TileKept) and event.carried for event in events) == len(TILES) - west
    np.testing.assert_array_equal(whole(ends), expected())
    last = run_tiles(
        never, TILES, engine=InProcess(), store=store, name_of=KEY, stamp_of=lambda core: "new input"
    )
    assert len(list(last)) == len(TILES)


@pytest.mark.parametrize("engine", [InProcess(), LocalProcesses(2)], ids=str)
def test_small_tiles_are_kept_in_one_file_and_never_looked_at_again(
    engine: InProcess, store: TileStore, marks: Path
) -> None:
    first = list(run_tiles(Empty(marks), TILES, engine=engine, store=store, name_of=KEY))
    assert list(store.names()) == []
    assert TilePack.read(store.folder).places.keys() == {KEY(core) for core in TILES}
    again = list(run_tiles(never, TILES, engine=engine, store=store, name_of=KEY))
    assert {encode(end, "") for end in first} == {encode(end, "") for end in again}
    assert {end.stats["known"] for end in again} == {7}
    # another input: the work is asked again, with the small tile as the old one
    asked: list[TileResult | None] = []

    def work(core: Window, old: TileResult | None) -> TileResult:
        asked.append(old)
        return checker(core)

    full = list(
        run_tiles(work, TILES, engine=InProcess(), store=store, name_of=KEY, stamp_of=lambda core: "new")
    )
    assert sorted(old.core for old in asked if old) == sorted(TILES)
    np.testing.assert_array_equal(whole(full), expected())
    kept = run_tiles(never, TILES, engine=InProcess(), store=store, name_of=KEY, stamp_of=lambda core: "new")
    np.testing.assert_array_equal(whole(list(kept)), expected())


def test_a_thousand_tiles_with_nothing_in_them_cost_the_engine_no_file_each(store: TileStore) -> None:
    tiles = plan_tiles(Window(0, 0, 512 * 20, 512 * 50), 512)
    for work in (found_nothing, never):
        ends = list(finish_tiles(work, tiles, engine=InProcess(), store=store, name_of=KEY))
        assert len(ends) == len(tiles) == 1000
        # the time of it is measured by scripts/bench_growth.py --blank
        assert len(list(store.folder.rglob("*"))) < 10


def found_nothing(core: Window, old: TileResult | None) -> TileResult:
    """Work on a tile of land."""
    return TileResult(core, stats={"known": 0, "tile_s": 0.1})


@pytest.mark.parametrize("harm", ["cut", "flip", "zeros"])
def test_a_torn_end_of_the_small_tiles_costs_only_what_is_torn(
    harm: str, store: TileStore, marks: Path
) -> None:
    list(run_tiles(Empty(marks), TILES, engine=InProcess(), store=store, name_of=KEY))
    path = store.folder / "small.tiles"
    data = path.read_bytes()
    path.write_bytes(
        {
            "cut": data[:-5],
            "flip": data[:-20] + bytes([data[-20] ^ 1]) + data[-19:],
            "zeros": data + b"\0" * 300,
        }[harm]
    )
    calls = Counted(marks).calls()
    list(run_tiles(Empty(marks), TILES, engine=InProcess(), store=store, name_of=KEY))
    assert Counted(marks).calls() == calls + (0 if harm == "zeros" else 1)
    list(run_tiles(never, TILES, engine=InProcess(), store=store, name_of=KEY))


@pytest.mark.parametrize("engine", [InProcess(), InProcess(threads=2), LocalProcesses(2)], ids=str)
def test_one_failing_tile_is_named_and_does_not_stop_the_rest(
    engine: InProcess, store: TileStore, marks: Path
) -> None:
    events: list[Event] = []
    ends = list(
        run_tiles(Counted(marks, BAD), TILES, engine=engine, store=store, name_of=KEY, on_event=events.append)
    )
    failed = [end for end in ends if isinstance(end, TileFailure)]
    assert [end.core for end in failed] == [BAD]
    assert failed[0].message == "ValueError: planted fault in two lines"
    assert "toy_work.py" in failed[0].detail
    assert len(ends) == len(TILES)
    assert [event.core for event in events if isinstance(event, TileFailed)] == [BAD]
    # The next run tries that tile again, and only that one.
    calls = Counted(marks).calls()
    ends = list(run_tiles(Counted(marks), TILES, engine=engine, store=store, name_of=KEY))
    assert Counted(marks).calls() == calls + 1
    np.testing.assert_array_equal(whole(ends), expected())


def test_a_tile_that_kills_its_worker_once_is_done_in_the_end(store: TileStore, marks: Path) -> None:
    work, events = Counted(marks, BAD, "die once"), list[Event]()
    ends = list(
        run_tiles(work, TILES, engine=LocalProcesses(2), store=store, name_of=KEY, on_event=events.append)
    )
    np.testing.assert_array_equal(whole(ends), expected())
    assert sum(isinstance(event, WorkersReplaced) for event in events) == 1


def test_a_tile_that_always_kills_its_worker_is_isolated_and_the_rest_is_done(
    store: TileStore, marks: Path
) -> None:
    ends = list(
        run_tiles(Counted(marks, BAD, "die"), TILES, engine=LocalProcesses(2), store=store, name_of=KEY)
    )
    failed = [end for end in ends if isinstance(end, TileFailure)]
    assert [(end.core, end.attempts) for end in failed] == [(BAD, 3)]
    assert "out of memory" in failed[0].message
    assert len(ends) == len(TILES)
    # A suspect runs alone: the others were each begun at most twice, once beside it and once more.
    begun = Counter(mark.name.rsplit("_", 2)[0] for mark in marks.iterdir())
    assert begun.pop(f"{BAD.row}_{BAD.col}") == 3
    assert max(begun.values()) <= 2


def test_workers_killed_from_outside_cost_a_retry_and_not_a_tile(store: TileStore, marks: Path) -> None:
    tiles = plan_tiles(Window(0, 0, 512, 512 * 40), 512)
    work = Counted(marks, seconds=0.03)
    stop = threading.Event()

    def killer() -> None:
        while not stop.wait(0.7):
            for pid in work.pids() - {os.getpid()}:
                try:
                    os.kill(pid, signal.SIGKILL)
                    break
                except ProcessLookupError:
                    continue
            else:
                continue
            return

    thread = threading.Thread(target=killer)
    thread.start()
    events: list[Event] = []
    ends = list(
        run_tiles(work, tiles, engine=LocalProcesses(2), store=store, name_of=KEY, on_event=events.append)
    )
    stop.set()
    thread.join()
    assert Counter(type(end) for end in ends) == {TileResult: len(tiles)}
    assert any(isinstance(event, WorkersReplaced) for event in events)


def test_skipped_tiles_yield_nothing_and_are_told(store: TileStore) -> None:
    events: list[Event] = []
    ends = list(
        run_tiles(
            checker,
            TILES,
            engine=InProcess(),
            store=store,
            name_of=KEY,
            skip=lambda core: core == BAD,
            on_event=events.append,
        )
    )
    assert sorted(end.core for end in ends) == sorted(set(TILES) - {BAD})
    assert [event.core for event in events if isinstance(event, TileSkipped)] == [BAD]


def test_a_disk_that_fills_stops_the_run_and_keeps_what_is_finished(
    store: TileStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    ends = finish_tiles(checker, TILES, engine=InProcess(), store=store, name_of=KEY)
    done = [next(ends), next(ends)]
    monkeypatch.setattr(os, "fsync", _no_space)
    with pytest.raises(DiskFullError, match="give the same command again"):
        next(ends)
    monkeypatch.undo()
    assert sorted(store.names()) == sorted(end.name for end in done)
    rest = list(run_tiles(checker, TILES, engine=InProcess(), store=store, name_of=KEY))
    np.testing.assert_array_equal(whole(rest), expected())


def _no_space(handle: int) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def test_a_disk_that_fills_under_a_worker_process_stops_the_run_too(store: TileStore) -> None:
    with pytest.raises(DiskFullError, match="give the same command again"):
        list(run_tiles(LittleRoom(300), TILES, engine=LocalProcesses(2), store=store, name_of=KEY))
    rest = list(run_tiles(checker, TILES, engine=InProcess(), store=store, name_of=KEY))
    np.testing.assert_array_equal(whole(rest), expected())


class LittleRoom:
    """Work after which this process may write no file of more than so many bytes: as good as a full disk."""

    def __init__(self, limit: int) -> None:
        self.limit = limit

    def __call__(self, core: Window, old: TileResult | None = None) -> TileResult:
        """Do the tile."""
        import resource

        resource.setrlimit(resource.RLIMIT_FSIZE, (self.limit, resource.RLIM_INFINITY))
        return checker(core)


def test_a_result_is_loaded_from_the_store_when_wanted_and_not_held(store: TileStore) -> None:
    ends = list(finish_tiles(checker, TILES, engine=InProcess(), store=store, name_of=KEY))
    assert all(isinstance(end, Finished) and end.result is None for end in ends)
    ordered = [end.load() for end in sorted(ends, key=lambda end: end.core)]
    np.testing.assert_array_equal(whole(ordered), expected())


def test_more_tiles_than_slots_are_never_all_in_flight(marks: Path, store: TileStore) -> None:
    """A consumer that stops taking holds the work back: memory does not grow with the number of tiles."""
    tiles = plan_tiles(Window(0, 0, 512, 512 * 30), 512)
    work = Counted(marks)
    ends = run_tiles(work, tiles, engine=LocalProcesses(2), store=store, name_of=KEY)
    next(ends)
    time.sleep(0.5)
    assert work.calls() <= 8
    ends.close()


def test_nothing_depends_on_the_clock(store: TileStore, monkeypatch: pytest.MonkeyPatch) -> None:
    jumps = iter(range(10**6, 0, -1000))
    monkeypatch.setattr(time, "time", lambda: float(next(jumps)))
    monkeypatch.setattr(time, "perf_counter", lambda: float(next(jumps)))
    ends = list(run_tiles(checker, TILES, engine=InProcess(), store=store, name_of=KEY))
    for path in store.folder.rglob("*.tile"):
        os.utime(path, (4e9, 4e9))  # written in a far future
    again = list(run_tiles(never, TILES, engine=InProcess(), store=store, name_of=KEY))
    np.testing.assert_array_equal(whole(ends), whole(again))


def test_workers_end_when_their_parent_is_killed(tmp_path: Path) -> None:
    marks = tmp_path / "marks"
    marks.mkdir()
    code = f"""
import sys
from pathlib import Path
from reefscan.batch import LocalProcesses, TileStore, plan_tiles, tile_key
from reefscan.base.model import Window
from tests.batch.toy_work import Counted, run_tiles
if __name__ == "__main__":
    work = Counted(Path({str(marks)!r}), seconds=0.5)
    tiles = plan_tiles(Window(0, 0, 512, 512 * 100), 512)
    list(run_tiles(work, tiles, engine=LocalProcesses(2), store=None, name_of=lambda core: tile_key(core)))
"""
    script = tmp_path / "scan.py"
    script.write_text(code)
    root = Path(__file__).resolve().parents[2]
    parent = subprocess.Popen([sys.executable, str(script)], env={**os.environ, "PYTHONPATH": str(root)})
    work = Counted(marks)
    deadline = time.monotonic() + 60
    while len(work.pids()) < 2 and time.monotonic() < deadline:
        time.sleep(0.05)
    pids = work.pids()
    assert len(pids) == 2
    parent.kill()
    parent.wait()
    deadline = time.monotonic() + 10
    while any(alive(pid) for pid in pids) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not [pid for pid in pids if alive(pid)]


def alive(pid: int) -> bool:
    """True if a process of that number runs (one that ended and waits to be collected does not)."""
    try:
        os.kill(pid, 0)
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except (ProcessLookupError, FileNotFoundError):
        return False


def test_workers_that_cannot_start_are_one_clear_error(
    monkeypatch: pytest.MonkeyPatch, store: TileStore
) -> None:
    from reefscan.batch import processes

    monkeypatch.setattr(processes, "hold_job", _die_at_start)
    with pytest.raises(EngineError, match="do not start"):
        list(run_tiles(checker, TILES, engine=LocalProcesses(1), store=store, name_of=KEY))


def _die_at_start(life: object, job: bytes) -> None:
    os._exit(3)


def test_the_parent_compiles_before_any_worker_starts(store: TileStore) -> None:
    order: list[str] = []
    engine = LocalProcesses(1, prepare=lambda: order.append("prepared"))
    for end in run_tiles(checker, TILES[:2], engine=engine, store=store, name_of=KEY):
        order.append(type(end).__name__)
    assert order == ["prepared", "TileResult", "TileResult"]


def test_threads_in_workers_times_workers_fit_the_cores() -> None:
    engine = choose_engine(workers=2)
    assert isinstance(engine, LocalProcesses)
    assert engine.threads * engine.workers <= max(2, usable_cores())
    before = dict(os.environ)
    with thread_limit(1):
        assert os.environ["NUMBA_NUM_THREADS"] == os.environ["OMP_NUM_THREADS"] == "1"
    assert dict(os.environ) == before


def test_the_engine_follows_from_what_was_said() -> None:
    assert choose_engine(workers=1) == InProcess()
    assert choose_engine(scheduler="tcp://head:8786") == DaskCluster("tcp://head:8786")
    with pytest.raises(InputError, match="--workers 0: wants 1 or more"):
        choose_engine(workers=0)
    with pytest.raises(InputError, match="--scheduler and --workers"):
        choose_engine(workers=2, scheduler="tcp://head:8786")


@pytest.mark.parametrize("lost", [asyncio.CancelledError(), None], ids=["in asyncio", "in futures"])
def test_a_tile_that_the_engine_drops_is_one_clear_error(
    lost: BaseException | None, store: TileStore
) -> None:
    """What a cluster's client does with what is in flight when its scheduler goes away."""

    class Dropping(InProcess):
        def open(self, job: Job, tiles: int) -> Session:
            session = super().open(job, tiles)

            def submit(task: Task) -> Future[Reply]:
                future: Future[Reply] = Future()
                if lost is None:
                    future.cancel()
                    future.set_running_or_notify_cancel()
                else:
                    future.set_exception(lost)
                return future

            session.submit = submit  # type: ignore[method-assign]
            return session

    with pytest.raises(EngineError, match="finished tiles are kept: give the same command again"):
        list(run_tiles(checker, TILES, engine=Dropping(), store=store, name_of=KEY))


def test_an_interrupt_that_a_compiled_kernel_disguises_stops_the_run_and_blames_no_tile(
    store: TileStore,
) -> None:
    """Met by a kernel's return it comes out as a SystemError, which is an ordinary `Exception`."""

    def work(core: Window, old: TileResult | None) -> TileResult:
        try:
            raise KeyboardInterrupt
        except KeyboardInterrupt as stop:
            raise SystemError("a kernel returned a result with an exception set") from stop

    with pytest.raises(KeyboardInterrupt):
        list(run_tiles(work, TILES, engine=InProcess(), store=store, name_of=KEY))
