"""Run many tiles: what is kept, what is in flight, what is tried again, what is given up.

One loop for every engine. A fixed small number of tasks is in flight; a finished tile goes into the store
before it counts; a dead worker costs its tiles one more try, alone, so that a tile that kills
workers is found out and innocent ones are not blamed for having run beside it.
"""

from __future__ import annotations

import logging
import uuid
from collections import deque
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, wait
from dataclasses import dataclass, field, replace

from reefscan.base.errors import DiskFullError, EngineError, RunFolderError, one_line
from reefscan.base.model import Window
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
from reefscan.batch.memory import give_back
from reefscan.batch.pack import SMALL, TilePack
from reefscan.batch.result import DamagedTileError, TileFailure, TileResult, stamp_in
from reefscan.batch.store import TileStore
from reefscan.batch.worker import Job, Reply, Task, Work, release

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
    pack: TilePack | None = None
    result: TileResult | None = None

    def load(self) -> TileResult:
        """Return the result, read from the store and checked again.

        Raises
        ------
        RunFolderError
            If the file was damaged or removed since it was finished.
        """
        found = self.result
        if found is None and self.pack is not None:
            found = self.pack.load(self.name)
        elif found is None and self.store is not None:
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


def finish_tiles(
    work: Work,
    tiles: Sequence[Window],
    *,
    engine: Engine,
    store: TileStore | None,
    name_of: Callable[[Window], str],
    stamp_of: Callable[[Window], str] = lambda core: "",
    on_event: Callable[[Event], None] = lambda event: None,
    skip: Callable[[Window], bool] | None = None,
) -> Iterator[Finished | TileFailure]:
    """Run ``work`` on every tile and yield a light record of each, in order of arrival.

    Parameters
    ----------
    work : Work
        ``work(core, old) -> TileResult``; see `reefscan.batch.worker.Work`.
    tiles : sequence of Window
        See `reefscan.batch.tiles.plan_tiles`.
    engine : Engine
        See `reefscan.batch.engines`.
    store : TileStore or None
        Finished tiles found there are kept, new ones are written there. None keeps everything in memory.
    name_of : callable
        ``name_of(core) -> str``: names what is asked of which place; see `reefscan.batch.store.tile_key`.
    stamp_of : callable, optional
        ``stamp_of(core) -> str``: names what the answer is made from. A stored tile of another stamp is handed
        to ``work`` as ``old``, which may find that it still holds: so one more file in a mosaic costs a
        reading of the tiles it touches, not a new scan.
    on_event : callable, optional
        Gets every `Event`, in the calling thread.
    skip : callable, optional
        ``skip(core) -> bool``: the cheap look; a skipped tile yields nothing.

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
    job = Job(work, store, release(), uuid.uuid4().hex)
    pack = None if store is None else TilePack.open(store.folder)
    plan = _Plan(store, pack, name_of, stamp_of, skip, on_event)
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
            session = engine.open(job, len(todo))
            yield from _drive(session, plan, todo)
    finally:
        if session is not None:
            session.close()
            give_back()


@dataclass(frozen=True)
class _Plan:
    store: TileStore | None
    pack: TilePack | None
    name_of: Callable[[Window], str]
    stamp_of: Callable[[Window], str]
    skip: Callable[[Window], bool] | None
    on_event: Callable[[Event], None]

    def look(self, core: Window) -> Task | Finished | None:
        """Decide on one tile: kept, to do, or (None) skipped."""
        name, stamp = self.name_of(core), self.stamp_of(core)
        small = "absent" if self.pack is None else self.pack.look(name, stamp)
        if small == "good":
            self.on_event(TileKept(core, _cells(core)))
            return Finished(core, name, stamp, self.store, self.pack)
        found = "absent" if self.store is None else self.store.look(name, stamp)
        if found == "good":
            self.on_event(TileKept(core, _cells(core)))
            return Finished(core, name, stamp, self.store)
        if found == "damaged":
            self.on_event(TileDamaged(core))
        if self.skip is not None and self.skip(core):
            self.on_event(TileSkipped(core, _cells(core)))
            return None
        old = self.pack.load(name) if self.pack is not None and small == "stale" else None
        return Task(core, name, stamp, found == "stale", old)

    def settle(self, one: _Try, reply: Reply) -> Finished | TileFailure:
        """Keep what a worker answered; raise if no tile can go on."""
        task = one.task
        if reply.state == "full":
            raise DiskFullError(reply.message)
        if reply.state == "unwritable":
            raise RunFolderError(reply.message)
        if reply.state == "release":
            raise EngineError(f"a worker {reply.message}; install the same version on every worker.")
        if reply.state == "failed":
            return _give_up(one, reply, self.on_event)
        pack = None
        if reply.data is not None and self.store is not None:
            try:
                stamp_in(reply.data)  # what came over a wire is checked before it is kept
            except DamagedTileError as error:
                return _give_up(one, Reply("failed", message=f"came back damaged: {error}"), self.on_event)
            if len(reply.data) <= SMALL and self.pack is not None:
                pack = self.pack
                pack.save(task.name, reply.data)
            else:
                self.store.save_bytes(task.name, reply.data)
        if reply.state == "carried":
            self.on_event(TileKept(task.core, _cells(task.core), carried=True))
        else:
            self.on_event(TileDone(task.core, _cells(task.core), reply.seconds))
        return Finished(task.core, task.name, task.stamp, self.store, pack, reply.result)


def _drive(session: Session, plan: _Plan, todo: list[Task]) -> Iterator[Finished | TileFailure]:
    queue = _Queue(_Try(task) for task in todo)
    flying: dict[Future[Reply], _Try] = {}
    while True:
        broken: list[tuple[_Try, BaseException]] = []
        while (one := queue.next(flying.values(), session.slots)) is not None:
            try:
                flying[session.submit(one.task)] = one
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
                yield plan.settle(one, end)
        if broken:
            yield from _after_deaths(session, queue, broken, alone, plan.on_event)


def _died(session: Session, future: Future[Reply]) -> bool:
    return not future.cancelled() and isinstance(future.exception(), session.deadly)


def _outcome(session: Session, future: Future[Reply]) -> Reply | BaseException:
    """Return the reply, or the error by which a worker's death shows; raise if the engine is gone."""
    error = None if future.cancelled() else future.exception()
    if error is None and not future.cancelled():
        return future.result()
    # which is no concurrent one; its library takes a while to be imported, so only here
    from asyncio import CancelledError

    if future.cancelled() or isinstance(error, CancelledError):
        session.check()
        raise EngineError(
            "the engine dropped a tile it had taken; finished tiles are kept: give the same command again."
        )
    if isinstance(error, session.deadly):
        return error
    if isinstance(error, Exception):
        # run_tile returns its failures, so this came from carrying the task or the reply.
        session.check()
        return Reply("failed", message=f"{type(error).__name__}: {error}")
    assert error is not None
    raise error


def _after_deaths(
    session: Session,
    queue: _Queue,
    broken: list[tuple[_Try, BaseException]],
    alone: bool,
    on_event: Callable[[Event], None],
) -> Iterator[TileFailure]:
    """Count a death for each tile that was in flight; give up the guilty, line the rest up to run alone."""
    on_event(WorkersReplaced(one_line(broken[0][1]), len(broken)))
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
