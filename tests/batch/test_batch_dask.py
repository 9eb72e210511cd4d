"""A real Dask cluster on this machine: one scheduler, two worker processes, and what may befall them."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from reefscan.base.errors import EngineError, InputError
from reefscan.base.model import Window
from reefscan.base.recipe import Recipe
from reefscan.batch import (
    DaskCluster,
    InProcess,
    TileFailure,
    TileResult,
    TileStore,
    plan_tiles,
    tile_key,
)
from reefscan.batch.result import encode
from reefscan.pipeline.scan import scan
from tests.batch.run_bytes import contents, differences, rough, sites, write_native
from tests.batch.toy_work import Counted, checker, run_tiles

pytest.importorskip("distributed", reason="Dask is not installed")

ROOT = Path(__file__).resolve().parents[2]
TILES = plan_tiles(Window(0, 0, 1000, 5000), 512)


def key(core: Window) -> str:
    """Name a tile."""
    return tile_key(core, "x")


@dataclass
class Cluster:
    """Processes that the test started, and may kill."""

    address: str
    scheduler: subprocess.Popen[bytes]
    workers: list[subprocess.Popen[bytes]]


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    """Bring up a scheduler and two workers; end what is left of them."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    address = f"tcp://127.0.0.1:{port}"
    log = open(tmp_path / "dask.log", "wb")  # noqa: SIM115 - closed below
    common = {"env": {**os.environ, "PYTHONPATH": str(ROOT)}, "stdout": log, "stderr": log, "cwd": tmp_path}
    scheduler = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "distributed.cli.dask_scheduler",
            "--host",
            "127.0.0.1",
            "--port",
            str(port),
            "--no-dashboard",
        ],
        **common,
    )
    workers = [
        subprocess.Popen(
            [
                sys.executable,
                "-m",
                "distributed.cli.dask_worker",
                address,
                "--nthreads",
                "1",
                "--no-nanny",
                "--no-dashboard",
            ],
            **common,
        )
        for _ in range(2)
    ]
    try:
        wait_for_workers(address, 2)
        yield Cluster(address, scheduler, workers)
    finally:
        for process in [*workers, scheduler]:
            process.kill()
            process.wait()
        log.close()


def wait_for_workers(address: str, count: int) -> None:
    from distributed import Client

    with Client(address, timeout=30, set_as_default=False) as client:
        client.wait_for_workers(count, timeout=30)


def test_a_worker_killed_in_the_middle_costs_no_tile_and_changes_no_byte(
    cluster: Cluster, tmp_path: Path
) -> None:
    marks = tmp_path / "marks"
    marks.mkdir()
    store = TileStore.open(tmp_path / "store")
    work = Counted(marks, seconds=0.1)
    ends: list[TileResult | TileFailure] = []
    for end in run_tiles(work, TILES, engine=DaskCluster(cluster.address), store=store, name_of=key):
        ends.append(end)
        if len(ends) == 3:
            cluster.workers[0].kill()
    assert cluster.workers[0].wait() != 0
    assert len(work.pids()) == 2
    alone = run_tiles(checker, TILES, engine=InProcess(), store=None, name_of=key)
    assert {end.core: encode(end, "") for end in ends} == {end.core: encode(end, "") for end in alone}
    assert len(list(store.names())) == len(TILES)


def test_a_failing_tile_and_a_store_that_workers_cannot_reach(cluster: Cluster, tmp_path: Path) -> None:
    """Results then come back over the wire and are written here."""
    marks = tmp_path / "marks"
    marks.mkdir()
    store = TileStore.open(tmp_path / "store")
    elsewhere = TileStore(tmp_path / "store", "another machine's token")
    work = Counted(marks, bad=TILES[1])
    ends = list(run_tiles(work, TILES[:6], engine=DaskCluster(cluster.address), store=elsewhere, name_of=key))
    failed = [end for end in ends if isinstance(end, TileFailure)]
    assert [end.core for end in failed] == [TILES[1]]
    assert "planted fault" in failed[0].message
    assert len(list(store.names())) == 5
    done = next(end for end in ends if isinstance(end, TileResult) and end.core == TILES[3])
    np.testing.assert_array_equal(done.rasters["score"], checker(TILES[3]).rasters["score"])


def test_a_scheduler_that_goes_away_is_one_clear_error_and_the_next_run_goes_on(
    cluster: Cluster, tmp_path: Path
) -> None:
    marks = tmp_path / "marks"
    marks.mkdir()
    store = TileStore.open(tmp_path / "store")
    work = Counted(marks, seconds=0.1)
    ends = run_tiles(work, TILES, engine=DaskCluster(cluster.address), store=store, name_of=key)
    for _ in range(3):
        next(ends)
    threading.Timer(0.2, cluster.scheduler.kill).start()
    begun = time.monotonic()
    with pytest.raises(EngineError, match=r"scheduler .*finished tiles are kept"):
        list(ends)
    assert time.monotonic() - begun < 60
    for process in cluster.workers:
        process.kill()
        process.wait()
    kept = len(list(store.names()))
    assert 3 <= kept < len(TILES)
    calls = work.calls()
    rest = list(run_tiles(work, TILES, engine=InProcess(), store=TileStore.open(store.folder), name_of=key))
    assert len(rest) == len(TILES)
    assert work.calls() == calls + len(TILES) - kept


def test_a_scheduler_that_is_not_there_is_named_with_what_to_check() -> None:
    engine = DaskCluster("tcp://127.0.0.1:9", timeout_s=1)
    with pytest.raises(EngineError, match=r"tcp://127.0.0.1:9: no Dask scheduler answers within 1 s"):
        list(run_tiles(checker, TILES, engine=engine, store=None, name_of=key))


@pytest.mark.parametrize("address", ["head", "head:port", "nonsense://x", "tcp://head:8786/x", ""])
def test_an_address_that_is_none_is_refused_before_anything_is_written(address: str, tmp_path: Path) -> None:
    grid = write_native(tmp_path / "g.tif", rough(40, 40, seed=3), row=-3_000_000, col=200_100)
    with pytest.raises(
        EngineError, match=r"is not the address of a Dask scheduler; say for example tcp://HOST:8786"
    ):
        scan(grid, out=tmp_path / "run", scheduler=address)
    assert not (tmp_path / "run").exists()


@pytest.mark.parametrize(
    "address", ["head:8786", "tcp://10.0.0.7:8786", "tls://[::1]:80", "tcp://a-b.example:1"]
)
def test_an_address_of_any_usual_form_is_taken(address: str) -> None:
    assert DaskCluster(address).scheduler == address


def test_options_that_cannot_be_leave_a_finished_run_as_it_is(tmp_path: Path) -> None:
    grid = write_native(tmp_path / "g.tif", rough(40, 40, seed=3), row=-3_000_000, col=200_100)
    scan(grid, out=tmp_path / "run", workers=1)
    before = (tmp_path / "run" / "run.json").read_bytes()
    other = Recipe.default().with_depth(5.0, 12.0)
    for bad in ({"workers": 0}, {"workers": 2, "scheduler": "tcp://h:1"}, {"tile": 7}, {"tile": 0}):
        with pytest.raises(InputError):
            scan(grid, other, out=tmp_path / "run", **bad)
    assert (tmp_path / "run" / "run.json").read_bytes() == before


def test_a_worker_of_another_version_refuses(monkeypatch: pytest.MonkeyPatch) -> None:
    from reefscan.batch import run

    monkeypatch.setattr(run, "release", lambda: "9.9")
    with pytest.raises(EngineError, match=r"started by 9\.9; install the same version"):
        list(run_tiles(checker, TILES, engine=InProcess(), store=None, name_of=key))


def test_a_scan_on_the_cluster_gives_the_same_bytes_as_one_here(cluster: Cluster, tmp_path: Path) -> None:
    grid = write_native(tmp_path / "g.tif", rough(500, 600, seed=3), row=-3_000_000, col=200_100)
    scan(grid, out=tmp_path / "here", workers=1, tile=1024)
    scan(grid, out=tmp_path / "there", scheduler=cluster.address, tile=512)
    assert sites(tmp_path / "here") > 3
    assert differences(contents(tmp_path / "here"), contents(tmp_path / "there")) == []
