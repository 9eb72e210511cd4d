"""A plain script that scans works as it stands: its workers do not run it again."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests.batch.run_bytes import rough, write_native

ROOT = Path(__file__).resolve().parents[2]
ENV = {**os.environ, "PYTHONPATH": str(ROOT)}

TILES = """
import os
print("begun", flush=True)
from pathlib import Path
from reefscan.batch import LocalProcesses, plan_tiles, tile_key
from reefscan.base.model import Window
from tests.batch.toy_work import Counted, run_tiles
work = Counted(Path({marks!r}))
ends = run_tiles(work, plan_tiles(Window(0, 0, 512, 2048), 512), engine=LocalProcesses(2), store=None, name_of=tile_key)
print(len(list(ends)), "tiles;", "here" if os.getpid() in work.pids() else "in other processes")
"""


def test_a_script_without_a_guard_scans_once_in_several_processes(tmp_path: Path) -> None:
    grid = write_native(tmp_path / "g.tif", rough(400, 1100, seed=4), row=-3_000_000, col=200_300)
    script = tmp_path / "mine.py"
    script.write_text(
        "print('begun', flush=True)\n"
        "import reefscan\n"
        f"run = reefscan.scan({str(grid)!r}, workers=2, tile=512)\n"
        "print(run.info['state'], run.info['sheets'][0]['tiles'])\n"
    )
    out = subprocess.run(
        [sys.executable, str(script)], env=ENV, capture_output=True, text=True, check=False, cwd=tmp_path
    )
    assert out.returncode == 0, out.stderr
    assert out.stdout.splitlines()[0] == "begun"
    assert out.stdout.splitlines()[1:] == ["done 6"]


def test_a_script_read_from_standard_input_scans_too(tmp_path: Path) -> None:
    """Processes that import the script look for a file of the name ``<stdin>``."""
    out = subprocess.run(
        [sys.executable, "-"],
        input=TILES.format(marks=str(tmp_path)),
        env=ENV,
        capture_output=True,
        text=True,
        check=False,
    )
    assert out.returncode == 0, out.stderr
    assert out.stdout.splitlines() == ["begun", "4 tiles; in other processes"]


def test_work_that_the_script_itself_defines_is_done_where_the_script_is_guarded(tmp_path: Path) -> None:
    (tmp_path / "marks").mkdir()
    script = tmp_path / "mine.py"
    body = TILES.format(marks=str(tmp_path / "marks")).replace(
        "from tests.batch.toy_work import Counted, run_tiles", "from tests.batch.toy_work import run_tiles"
    )
    lines = body.replace("Counted(", "Mine(").strip().splitlines()
    script.write_text(
        "from tests.batch.toy_work import Counted\n"
        "class Mine(Counted):\n    pass\n"
        "if __name__ == '__main__':\n" + "".join(f"    {line}\n" for line in lines)
    )
    out = subprocess.run([sys.executable, str(script)], env=ENV, capture_output=True, text=True, check=False)
    assert out.returncode == 0, out.stderr
    assert out.stdout.splitlines() == ["begun", "4 tiles; in other processes"]
