"""Two runs and one folder; a killed run leaves no lock behind, whatever its workers are doing."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from reefscan.base.errors import LockedError
from reefscan.base.model import Window
from reefscan.batch import InProcess, TileStore, plan_tiles, tile_key
from reefscan.io.out.runfolder import RunFolder
from tests.batch.toy_work import Counted, run_tiles

ROOT = Path(__file__).resolve().parents[2]
TILES = plan_tiles(Window(0, 0, 512, 512 * 12), 512)

SCAN = """
import sys
from pathlib import Path
from reefscan.batch import LocalProcesses, TileStore, tile_key
from reefscan.io.out.runfolder import RunFolder
from tests.batch.test_batch_lock import TILES, key
from tests.batch.toy_work import Counted, run_tiles
if __name__ == "__main__":
    with RunFolder.create(sys.argv[1]) as run:
        store = TileStore.open(run.file("store"))
        work = Counted(Path(sys.argv[2]), seconds=0.25)
        for end in run_tiles(work, TILES, engine=LocalProcesses(2), store=store, name_of=key):
            pass
        run.finish()
"""


def key(core: Window) -> str:
    """Name a tile."""
    return tile_key(core, "x")


def test_a_second_run_is_refused_and_a_killed_one_frees_the_folder_at_once(tmp_path: Path) -> None:
    marks, folder = tmp_path / "marks", tmp_path / "run"
    marks.mkdir()
    script = tmp_path / "scan.py"
    script.write_text(SCAN)
    first = subprocess.Popen(
        [sys.executable, str(script), str(folder), str(marks)], env={**os.environ, "PYTHONPATH": str(ROOT)}
    )
    try:
        store = TileStore(folder / "store", "")
        while len(list(store.names())) < 2:
            assert first.poll() is None
            time.sleep(0.02)
        with pytest.raises(LockedError, match=f"process {first.pid}"):
            RunFolder.create(folder)
    finally:
        first.kill()
        first.wait()
    kept = len(list(store.names()))
    assert 2 <= kept < len(TILES)
    with RunFolder.create(folder) as run:
        work = Counted(marks)
        store = TileStore.open(run.file("store"))
        before = len(list(store.names()))
        calls = work.calls()
        assert len(list(run_tiles(work, TILES, engine=InProcess(), store=store, name_of=key))) == len(TILES)
        # Workers of the killed run are gone: nobody else added a tile meanwhile.
        assert work.calls() == calls + len(TILES) - before
        run.finish()
