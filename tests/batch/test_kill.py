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

from reefscan.io.runfolder import RunFolder
from tests.batch.run_bytes import contents, differences, rough, sites, write_native

ROOT = Path(__file__).resolve().parents[2]
ENV = {**os.environ, "PYTHONPATH": str(ROOT)}

SERVER = """
import os, sys
import numpy as np
from reefscan.cli import main
from reefscan.pipeline import scan
from reefscan.recipe import Recipe
# Imports and kernels are loaded once here; each trial is a fork that runs the scan and may be killed.
scan([sys.argv[1]], Recipe.default(), out=sys.argv[2], tile=512, workers=1)
print("ready", flush=True)
for line in sys.stdin:
    out, after = line.split()
    pid = os.fork()
    if pid == 0:
        os.setpgid(0, 0)
        if int(after) >= 0:
            left, replace = [int(after)], os.replace
            def dying(source, target, *rest, **more):
                # Die just before or just after a file is moved into place, by turns.
                left[0] -= 1
                if left[0] == 0:
                    os.kill(os.getpid(), 9)
                replace(source, target, *rest, **more)
                left[0] -= 1
                if left[0] == 0:
                    os.kill(os.getpid(), 9)
            os.replace = dying
        code = 1
        try:
            scan([sys.argv[1]], Recipe.default(), out=out, tile=512, workers=1)
            code = 0
        finally:
            os._exit(code)
    print("pid", pid, flush=True)
    _, status = os.waitpid(pid, 0)
    print("end", os.waitstatus_to_exitcode(status), flush=True)
"""


class Server:
    """A process that forks scans of one grid on demand."""

    def __init__(self, grid: Path, first: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-c", SERVER, str(grid), str(first)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=ENV,
            text=True,
        )
        assert self._line() == ["ready"]

    def _line(self) -> list[str]:
        assert self._process.stdout is not None
        return self._process.stdout.readline().split()

    def start(self, out: Path, *, die_at: int = -1) -> int:
        """Start a scan; ``die_at`` counts moments before and after each file is moved into place."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{out} {die_at}\n")
        self._process.stdin.flush()
        word, pid = self._line()
        assert word == "pid"
        return int(pid)

    def end(self) -> int:
        """Wait for it; return its exit code (negative: the signal)."""
        word, code = self._line()
        assert word == "end"
        return int(code)

    def close(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.communicate()


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


def tiles(run: Path) -> int:
    """Tiles in the store."""
    return sum(1 for _ in run.glob("store/??/*.tile"))


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


def running_yet(pid: int) -> bool:
    """True until the process ends."""
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except FileNotFoundError:
        return False


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
