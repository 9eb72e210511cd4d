"""Scans that start at once and may be killed: forks of one process that has loaded all it needs."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ENV = {**os.environ, "PYTHONPATH": str(ROOT)}

SERVER = """
import os, signal, sys
from reefscan.pipeline.scan import scan
# Imports and kernels are loaded once here; each trial is a fork that runs the scan and may be killed.
scan([sys.argv[1]], out=sys.argv[2], tile=512, workers=1)
print("ready", flush=True)
for line in sys.stdin:
    out, workers, after = line.split()
    pid = os.fork()
    if pid == 0:
        os.setpgid(0, 0)
        signal.signal(signal.SIGINT, signal.default_int_handler)
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
            run = scan([sys.argv[1]], out=out, tile=512, workers=int(workers))
            code = 0 if run.info["state"] == "done" else 3
        except KeyboardInterrupt:
            code = 130
        finally:
            os._exit(code)
    print("pid", pid, flush=True)
    _, status = os.waitpid(pid, 0)
    print("end", os.waitstatus_to_exitcode(status), flush=True)
"""


class Server:
    """A process that forks scans of one grid on demand; the first one it runs itself, to its end."""

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

    def start(self, out: Path, *, workers: int = 1, die_at: int = -1) -> int:
        """Start a scan; ``die_at`` counts moments before and after each file is moved into place."""
        assert self._process.stdin is not None
        self._process.stdin.write(f"{out} {workers} {die_at}\n")
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


def tiles(run: Path) -> int:
    """Tiles in the store that have a file of their own."""
    return sum(1 for _ in run.glob("store/??/[!.]*.tile"))


def running_yet(pid: int) -> bool:
    """True until the process ends."""
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except FileNotFoundError:
        return False


def workers_of(pid: int) -> list[int]:
    """Worker processes that a scan has started."""
    found = []
    for path in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((path / "stat").read_text().rsplit(")", 1)[1].split()[1])
            if parent == pid and b"spawn_main" in (path / "cmdline").read_bytes():
                found.append(int(path.name))
        except (OSError, ValueError):
            continue
    return found


def cpu_s(pid: int, workers: list[int]) -> float:
    """CPU seconds of a scan and its workers: a clock that does not run while others do."""
    total = 0.0
    for one in (pid, *workers):
        try:
            times = Path(f"/proc/{one}/stat").read_text().rsplit(")", 1)[1].split()[11:13]
        except OSError:
            continue
        total += sum(map(int, times)) / os.sysconf("SC_CLK_TCK")
    return total


def kill(pid: int, how: int = signal.SIGKILL) -> bool:
    """Send a signal; False if the process had ended."""
    try:
        os.kill(pid, how)
    except ProcessLookupError:
        return False
    return True
