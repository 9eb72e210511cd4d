"""``reefscan status``: how far a run has come."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from reefscan.cli.options import Json

_WORDS = {
    "done": "done",
    "partial": "done, but some tiles failed; give the same scan again to try them once more",
    "failed": "failed",
    "interrupted": "interrupted; give the same scan again to go on from there",
}


def command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="A run folder.")],
    as_json: Json = False,
) -> None:
    """Say whether a run is done, running, failed or interrupted, and what it has found."""
    from reefscan.batch.store import TileStore
    from reefscan.io.lock import FolderLock
    from reefscan.io.out.runfolder import STORE, RunFolder

    folder = RunFolder.open(run, finished=False)
    info = folder.info
    running = FolderLock(folder.path).held()
    tiles = TileStore(folder.file(STORE), "").count()
    if as_json:
        sys.stdout.write(
            json.dumps({**info, "running": running, "stored_tiles": tiles}, indent=1, ensure_ascii=False)
            + "\n"
        )
        return
    state = str(info.get("state"))
    if state == "started":
        words = (
            "running" if running else "stopped before its end; give the same scan again to go on from there"
        )
    else:
        words = _WORDS.get(state, state)
    print(f"{run}: {words}")
    print(f"  {info.get('command')} started {info.get('started')}, ended {info.get('finished') or '-'}")
    if info.get("error") and state != "interrupted":
        print(f"  error: {info['error']}")
    for name, what in (("candidates", "candidates found"), ("listed", "sites listed")):
        if name in info:
            print(f"  {info[name]} {what}")
    if tiles:
        print(f"  {tiles} finished tiles in the store")
    for line in info.get("warnings", ()):
        print(f"  warning: {line}")
