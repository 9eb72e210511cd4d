"""A scan killed at any moment goes on where it stopped and ends with the same bytes."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from reefscan.io.out.runfolder import RunFolder
from tests.batch.forked import ENV, Server, running_yet, tiles
from tests.batch.run_bytes import contents, differences, rough, sites, write_native


@pytest.fixture(scope="module")
def grid(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Rough ground over three by three tiles."""
    path = tmp_path_factory.mktemp("ground") / "ground.tif"
    return write_native(path, rough(820, 900, seed=11, power=1.93), row=-3_000_000, col=200_100)


@pytest.fixture(scope="module")
def server(grid: Path, tmp_path_factory: pytest.TempPathFactory) -> object:
    """The forking server, and the folder of a run that was left alone."""
    alone = tmp_path_factory.mktemp("alone") / "run"
    server = Server(grid, alone)
    yield server, alone
    server.close()


def test_killed_at_random_moments_from_the_first_tile_on_it_ends_with_the_same_bytes(
    server: tuple[Server, Path], tmp_path: Path
) -> None:
    forks, alone = server
    wanted = contents(alone)
    assert sites(alone) > 3
    assert tiles(alone) >= 6
    chance = random.Random(20)
    started = time.monotonic()
    forks.start(tmp_path / "timed")
    assert forks.end() == 0
    whole_s = time.monotonic() - started
    killed = 0
    for trial in range(14):
        out = tmp_path / f"run{trial}"
        pid = forks.start(out)
        while not tiles(out) and running_yet(pid):
            time.sleep(0.002)
        time.sleep(chance.uniform(0, whole_s))
        if running_yet(pid):
            os.kill(pid, signal.SIGKILL)
        killed += forks.end() == -signal.SIGKILL
        forks.start(out)
        assert forks.end() == 0
        assert differences(wanted, contents(out)) == [], f"trial {trial}"
    assert killed >= 5


def test_killed_just_before_or_after_any_file_is_moved_into_place_it_ends_with_the_same_bytes(
    server: tuple[Server, Path], tmp_path: Path
) -> None:
    """Those are the moments at which what a later run finds changes; random ones rarely meet them."""
    forks, alone = server
    wanted = contents(alone)
    moments = 2 * (tiles(alone) + 8)
    met = 0
    for die_at in random.Random(3).sample(range(1, moments), 6):
        out = tmp_path / f"run{die_at}"
        forks.start(out, die_at=die_at)
        met += forks.end() == -signal.SIGKILL
        forks.start(out)
        assert forks.end() == 0
        assert differences(wanted, contents(out)) == [], f"died at moment {die_at}"
        assert RunFolder.open(out).info["state"] == "done"
    assert met >= 3


@pytest.mark.slow
def test_the_command_with_two_workers_killed_in_the_middle_ends_with_the_same_bytes(
    server: tuple[Server, Path], grid: Path, tmp_path: Path
) -> None:
    _, alone = server
    out = tmp_path / "run"
    command = [sys.executable, "-c", "from reefscan.cli import main; main()", "scan", str(grid)]
    command += ["--out", str(out), "--tile", "512", "--workers", "2"]
    first = subprocess.Popen(command, env=ENV, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while tiles(out) < 2 and first.poll() is None:
        time.sleep(0.005)
    first.kill()
    first.wait()
    had = tiles(out)
    assert had < tiles(alone)
    again = subprocess.run(command, env=ENV, capture_output=True, text=True, check=False)
    assert again.returncode == 0, again.stderr
    assert differences(contents(alone), contents(out)) == []


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM], ids=["ctrl-c", "terminated"])
def test_asked_to_end_it_says_what_is_kept_and_leaves_no_process(
    server: tuple[Server, Path], grid: Path, tmp_path: Path, how: signal.Signals
) -> None:
    _, alone = server
    out = tmp_path / "run"
    command = [sys.executable, "-m", "reefscan", "scan", str(grid), "--out", str(out), "--tile", "512"]
    process = subprocess.Popen(
        [*command, "--workers", "2"],
        env=ENV,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    while tiles(out) < 2 and process.poll() is None:
        time.sleep(0.005)
    process.send_signal(how)
    _, said = process.communicate()
    assert process.returncode == 130
    assert "what was finished is kept" in said
    assert RunFolder.open(out, finished=False).info["state"] == "interrupted"
    deadline = time.monotonic() + 10
    while group_lives(process.pid) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not group_lives(process.pid)
    assert 2 <= tiles(out) < tiles(alone)


def group_lives(group: int) -> bool:
    """True while any process of the group is there."""
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True
