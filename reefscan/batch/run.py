"""Run many tiles: what is kept, what is in flight, what is tried again, what is given up.

One loop for every engine. A fixed small number of tasks is in flight; a finished tile goes into the store
before it counts; a dead worker costs its tiles one more try, alone, so that a tile that kills
workers is found out and innocent ones are not blamed for having run beside it.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass, field, replace
from functools import partial

from reefscan.batch.engines import Engine, Session
from reefscan.batch.events import (
    Event,
    Planned,
    TileDamaged,
    TileDone,
    TileFailed,
    TileKept,
    TileSkipped,
    WorkersReplaced,
)
from reefscan.batch.result import TileFailure, TileResult, decode
from reefscan.batch.store import TileStore
from reefscan.batch.worker import Job, Reply, Task, release, run_tile
from reefscan.errors import DiskFullError, EngineError, RunFolderError
from reefscan.model import Window

logger = logging.getLogger(__name__)

MAX_DEATHS = 3
"""A tile is given up when workers have died under it this often, the last time with no other tile running."""

_LOOK_S = 2.0
"""How often a silent engine is asked whether it is still there."""


@dataclass(frozen=True)
class Finished:
    """A tile that is done; `load` gives its result, from the store where there is one."""

    core: Window
    name: str
    stamp: str
    store: TileStore | None
    result: TileResult | None = None

    def load(self) -> TileResult:
        """Return the result, read and checked anew from the store.

        Raises
        ------
        RunFolderError
            If the file was damaged or removed since it was finished.
        """
        found = self.result
        if found is None and self.store is not None:
            found = self.store.load(self.name, self.stamp)
        if found is None:
            raise RunFolderError(
                f"{self.store.path(self.name) if self.store else self.core}: this finished tile can no "
                "longer be read; give the same command again and it is computed anew."
            )
        return found


@dataclass
class _Try:
    task: Task
    deaths: int = 0


@dataclass
class _Queue:
    """Tasks not yet in flight: fresh ones, and suspects that run alone."""

    fresh: Iterator[_Try]
    suspects: deque[_Try] = field(default_factory=deque)
    ended: bool = False

    def next(self, flying: Collection[_Try], slots: int) -> _Try | None:
        """Return what may start now beside what is flying; None if nothing may."""
        if self.suspects:
            return None if flying else self.suspects.popleft()
        if self.ended or len(flying) >= slots or any(one.deaths for one in flying):
            return None
        found = next(self.fresh, None)
        self.ended = found is None
        return found


def run_tiles(
    work: Callable[[Window], TileResult],
    tiles: Sequence[Window],
    *,
    engine: Engine,
    store: TileStore | None,
    key_of: Callable[[Window], str],
    on_event: Callable[[Event], None] = lambda event: None,
    skip: Callable[[Window], bool] | None = None,
    place_of: Callable[[Window], str] | None = None,
    same_inputs: Callable[[Window, Mapping[str, str]], bool] | None = None,
) -> Iterator[TileResult | TileFailure]:
    """Run ``work`` on every tile and yield what comes of each, in order of arrival.

    As `finish_tiles`, with every result loaded as it arrives (none is held after it is taken). To go through
    the results in the order of the tiles, use `finish_tiles` and load one by one.
    """
    for end in finish_tiles(
        work,
        tiles,
        engine=engine,
        store=store,
        key_of=key_of,
        on_event=on_event,
        skip=skip,
        place_of=place_of,
        same_inputs=same_inputs,
    ):
        yield end if isinstance(end, TileFailure) else end.load()


def finish_tiles(
    work: Callable[[Window], TileResult],
    tiles: Sequence[Window],
    *,
    engine: Engine,
    store: TileStore | None,
    key_of: Callable[[Window], str],
    on_event: Callable[[Event], None] = lambda event: None,
    skip: Callable[[Window], bool] | None = None,
    place_of: Callable[[Window], str] | None = None,
    same_inputs: Callable[[Window, Mapping[str, str]], bool] | None = None,
) -> Iterator[Finished | TileFailure]:
    """Run ``work`` on every tile and yield a light record of each, in order of arrival.

    Parameters
    ----------
    work : callable
        ``work(core) -> TileResult``, a pure function of the input; picklable unless the engine is in process.
    tiles : sequence of Window
        See `reefscan.batch.tiles.plan_tiles`.
    engine : Engine
        See `reefscan.batch.engines`.
    store : TileStore or None
        Finished tiles found there are kept, new ones are written there. None keeps everything in memory.
    key_of : callable
        ``key_of(core) -> str``: names all that the result depends on; see `reefscan.batch.store.tile_key`.
    on_event : callable, optional
        Gets every `Event`, in the calling thread.
    skip : callable, optional
        ``skip(core) -> bool``: the cheap look; a skipped tile yields nothing.
    place_of, same_inputs : callable, optional
        With both, a tile whose key changed may be kept all the same. ``place_of(core)`` names what is asked
        of which place, without the input; ``same_inputs(core, hashes)`` reads the tile's input blocks and
        says whether they are as they were (it runs in the workers). So one more file in a mosaic costs a
        reading of the others, not a new scan.

    Yields
    ------
    Finished or TileFailure
        One for every tile that was not skipped.

    Raises
    ------
    DiskFullError, RunFolderError
        The store cannot be written; what is in it is kept.
    EngineError
        Scheduler or workers failed as a whole; what is in the store is kept.
    """
    on_event(Planned(len(tiles), sum(_cells(core) for core in tiles)))
    job = Job(work, store, same_inputs if place_of is not None else None, release())
    plan = _Plan(store, key_of, place_of, skip, on_event)
    session: Session | None = None
    try:
        # Kept tiles go first and need no workers: a finished run is gone through without starting any.
        todo: list[Task] = []
        for core in tiles:
            step = plan.look(core)
            if isinstance(step, Finished):
                yield step
            elif step is not None:
                todo.append(step)
        if todo:
            session = engine.open(len(todo))
            yield from _drive(session, job, todo, on_event)
    finally:
        if session is not None:
            session.close()


@dataclass(frozen=True)
class _Plan:
    store: TileStore | None
    key_of: Callable[[Window], str]
    place_of: Callable[[Window], str] | None
    skip: Callable[[Window], bool] | None
    on_event: Callable[[Event], None]

    def look(self, core: Window) -> Task | Finished | None:
        """Decide on one tile: kept, to do, or (None) skipped."""
        stamp = self.key_of(core)
        name = stamp if self.place_of is None else self.place_of(core)
        stale = False
        if self.store is not None:
            found = self.store.look(name, stamp)
            if found.state == "good":
                self.on_event(TileKept(core, _cells(core)))
                return Finished(core, name, stamp, self.store)
            if found.state == "damaged":
                self.on_event(TileDamaged(core))
            stale = found.state == "stale"
        if self.skip is not None and self.skip(core):
            self.on_event(TileSkipped(core, _cells(core)))
            return None
        return Task(core, name, stamp, stale)


def _drive(
    session: Session, job: Job, todo: list[Task], on_event: Callable[[Event], None]
) -> Iterator[Finished | TileFailure]:
    queue = _Queue(_Try(task) for task in todo)
    flying: dict[Future[Reply], _Try] = {}
    while True:
        broken: list[tuple[_Try, BaseException]] = []
        while (one := queue.next(flying.values(), session.slots)) is not None:
            try:
                flying[session.submit(partial(run_tile, job, one.task))] = one
            except session.deadly as error:
                broken.append((one, error))
                break
        alone = len(flying) + len(broken) == 1
        if not flying and not broken:
            return
        done: set[Future[Reply]] = set()
        if not broken:
            done, _ = wait(flying, timeout=_LOOK_S, return_when=FIRST_COMPLETED)
            if not done:
                session.check()
                continue
        if session.shared_fate and (broken or any(_died(session, future) for future in done)):
            done, _ = wait(flying)  # one death fails them all, if not yet then in a moment
        for future in done:
            one = flying.pop(future)
            end = _outcome(session, future)
            if isinstance(end, BaseException):
                broken.append((one, end))
            else:
                yield _settle(job, one, end, on_event)
        if broken:
            yield from _after_deaths(session, queue, broken, alone, on_event)


def _died(session: Session, future: Future[Reply]) -> bool:
    return not future.cancelled() and isinstance(future.exception(), session.deadly)


def _outcome(session: Session, future: Future[Reply]) -> Reply | BaseException:
    """Return the reply, or the error by which a worker's death shows; raise if the engine is gone."""
    if future.cancelled():
        session.check()
        raise EngineError(
            "the engine dropped a tile it had taken; finished tiles are kept: give the same command again."
        )
    error = future.exception()
    if error is None:
        return future.result()
    if isinstance(error, session.deadly):
        return error
    if isinstance(error, Exception):
        # run_tile returns its failures, so this came from carrying the task or the reply.
        session.check()
        return Reply("failed", message=f"{type(error).__name__}: {error}")
    raise error


def _settle(job: Job, one: _Try, reply: Reply, on_event: Callable[[Event], None]) -> Finished | TileFailure:
    task = one.task
    if reply.state == "full":
        raise DiskFullError(reply.message)
    if reply.state == "unwritable":
        raise RunFolderError(reply.message)
    if reply.state == "release":
        raise EngineError(f"a worker {reply.message}; install the same version on every worker.")
    if reply.state == "failed":
        return _give_up(one, reply, on_event)
    result = reply.result
    if reply.data is not None and job.store is not None:
        decode(reply.data)  # what came over the wire is checked before it is kept
        job.store.save_bytes(task.name, reply.data)
    if reply.state == "carried":
        on_event(TileKept(task.core, _cells(task.core), carried=True))
    else:
        on_event(TileDone(task.core, _cells(task.core), reply.seconds))
    return Finished(task.core, task.name, task.stamp, job.store, result)


def _after_deaths(
    session: Session,
    queue: _Queue,
    broken: list[tuple[_Try, BaseException]],
    alone: bool,
    on_event: Callable[[Event], None],
) -> Iterator[TileFailure]:
    """Count a death for each tile that was in flight; give up the guilty, line the rest up to run alone."""
    on_event(WorkersReplaced(" ".join(str(broken[0][1]).split()), len(broken)))
    logger.warning("a worker died; %d tiles are tried again", len(broken))
    for one, _ in broken:
        tried = replace(one, deaths=one.deaths + session.strikes)
        if alone and tried.deaths >= MAX_DEATHS:
            line = (
                f"the worker process died each of {tried.deaths} times on this tile (killed, or out of "
                "memory); try a smaller --tile."
            )
            yield _give_up(tried, Reply("failed", message=line), on_event)
        else:
            queue.suspects.append(tried)
    session.recover()


def _give_up(one: _Try, reply: Reply, on_event: Callable[[Event], None]) -> TileFailure:
    core, attempts = one.task.core, max(1, one.deaths + (reply.detail != ""))
    on_event(TileFailed(core, _cells(core), reply.message, attempts))
    return TileFailure(core, reply.message, reply.detail, attempts)


def _cells(core: Window) -> int:
    return core.height * core.width
