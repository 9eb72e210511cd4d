"""Compiled kernels stay right when many processes start at once on an empty cache."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from reefscan.batch.compiling import compile_once, machine_lock

ROOT = Path(__file__).resolve().parents[2]

KERNEL = """
import sys
import numpy as np
from numba import njit

@njit(cache=True)
def total(cells):
    s = cells[0] - cells[0]
    for one in cells:
        s += one
    return s
"""

START = """
import os
import sys
import numpy as np
from reefscan.batch.compiling import compile_once
import kernel

kind = sys.argv[1]
def prepare():
    os.mkdir(sys.argv[2])  # fails if another process is in here too
    for dtype in ("int32", "float32") if kind == "int32" else ("float32", "int32"):
        kernel.total(np.ones(3, dtype))
    os.rmdir(sys.argv[2])
sys.stdin.readline()
compile_once(prepare)
print(kernel.total(np.array([1, 2, 2**20], "int32")), kernel.total(np.array([0.5, 0.25], "float32")))
"""


def test_many_processes_on_an_empty_cache_all_get_the_right_code(tmp_path: Path) -> None:
    """Half of them compile in the other order, which is what confuses numba's index without the lock."""
    (tmp_path / "kernel.py").write_text(KERNEL)
    env = {
        **os.environ,
        "NUMBA_CACHE_DIR": str(tmp_path / "cache"),
        "TMPDIR": str(tmp_path),
        "PYTHONPATH": os.pathsep.join([str(ROOT), str(tmp_path)]),
    }
    starts = [
        subprocess.Popen(
            [sys.executable, "-c", START, ("int32", "float32")[number % 2], str(tmp_path / "busy")],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=env,
            text=True,
        )
        for number in range(4)
    ]
    for process in starts:
        assert process.stdin is not None
        process.stdin.write("\n")
        process.stdin.flush()
    said = [process.communicate(timeout=120)[0].strip() for process in starts]
    assert said == ["1048579 0.75"] * 4
    names = sorted(path.name.rsplit(".", 2)[1] for path in (tmp_path / "cache").rglob("*.nbc"))
    assert names == ["1", "2"]


def test_the_kernels_are_prepared_once_a_process() -> None:
    calls: list[int] = []

    def prepare() -> None:
        calls.append(1)

    for _ in range(3):
        compile_once(prepare)
    assert calls == [1]


def test_the_lock_goes_with_a_killed_process(tmp_path: Path) -> None:
    code = "from reefscan.batch.compiling import machine_lock\nwith machine_lock('t'):\n print(1, flush=True)\n input()"
    holder = subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert holder.stdout is not None
    assert holder.stdout.readline() == b"1\n"
    holder.kill()
    holder.communicate()
    with machine_lock("t"):
        pass


def test_without_a_place_for_the_lock_the_work_goes_on(tmp_path: Path) -> None:
    import tempfile

    import pytest

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tempfile, "gettempdir", lambda: str(tmp_path / "not there"))
        with machine_lock("t"):
            pass
