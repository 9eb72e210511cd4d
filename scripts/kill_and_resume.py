"""Kill a scan at random moments, go on, and compare every byte with a run that was left alone.

``python scripts/kill_and_resume.py`` does so 200 times, by turns of chance: the scan itself is killed (SIGKILL) or
interrupted (SIGINT), in this process or with two workers, at any moment from its first tile on, up to five times before
it may end; or one of its workers is killed, and the scan has to go on by itself.
"""

from __future__ import annotations

import argparse
import collections
import random
import shutil
import signal
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parent)]

from rough_ground import fractal, write_grid  # noqa: E402

from reefscan.batch import TileStore  # noqa: E402
from tests.batch.forked import Server, cpu_s, kill, running_yet, workers_of  # noqa: E402
from tests.batch.run_bytes import contents, differences, sites  # noqa: E402

KINDS = ("killed", "interrupted", "worker killed")
SHARES = (0.6, 0.25, 0.15)
MOST_IN_A_ROW = 5


@dataclass
class Toll:
    """What was done so far: kills that found a scan running by kind, and in which state they found it."""

    kinds: collections.Counter[str] = field(default_factory=collections.Counter)
    found: collections.Counter[str] = field(default_factory=collections.Counter)

    def kills(self) -> int:
        """All of them."""
        return sum(self.kinds.values())


@dataclass(frozen=True)
class Whole:
    """A run left alone: its tiles, CPU seconds a tile and from the last tile to the end."""

    tiles: int
    tile_s: float
    rest_s: float

    @classmethod
    def of(cls, server: Server, out: Path, tiles: int) -> Whole:
        """Time a run."""
        pid = server.start(out)
        at_tiles = at_end = 0.0
        while running_yet(pid):
            at_end = max(at_end, cpu_s(pid, []))
            if stored(out) < tiles:
                at_tiles = at_end
            time.sleep(0.01)
        server.end()
        return cls(tiles, at_tiles / tiles, at_end - at_tiles)


def stored(out: Path) -> int:
    """How many tiles a run has finished."""
    return TileStore(out / "store", "").count()


def strike(server: Server, out: Path, kind: str, whole: Whole, chance: random.Random, toll: Toll) -> bool:
    """Start a scan and strike it once; True if it came to its end."""
    workers = 2 if kind == "worker killed" or chance.random() < 0.1 else 1
    had = stored(out)
    pid = server.start(out, workers=workers)
    # Most strikes fall among the tiles, if any are left; those on the rest by CPU time and not by the
    # clock, since on a busy machine a moment on the clock is anywhere.
    among = had < whole.tiles - 1 and (kind == "worker killed" or chance.random() < 0.85)
    wanted = chance.randint(had + 1, whole.tiles - 1) if among else min(had + 1, whole.tiles)
    while running_yet(pid) and stored(out) < wanted:
        time.sleep(0.01)
    theirs = workers_of(pid) if workers > 1 else []
    part = whole.tile_s if among else whole.rest_s
    moment = cpu_s(pid, theirs) + chance.uniform(0.0, part)
    while running_yet(pid) and cpu_s(pid, theirs) < moment:
        time.sleep(0.01)
    state = "among the tiles" if stored(out) < whole.tiles else "after them"
    if kind == "worker killed":
        victims = workers_of(pid)
        hit = bool(victims) and kill(chance.choice(victims))
    else:
        hit = running_yet(pid) and kill(pid, signal.SIGKILL if kind == "killed" else signal.SIGINT)
    code = server.end()
    wanted = {"killed": (0, -signal.SIGKILL), "interrupted": (0, 130), "worker killed": (0,)}[kind]
    if code not in wanted:
        raise SystemExit(f"{out}: {kind}, the scan ended with {code}; wanted one of {wanted}")
    if hit and (code or kind == "worker killed"):
        toll.kinds[kind] += 1
        toll.found[state] += 1
    return code == 0


def trial(server: Server, out: Path, whole: Whole, chance: random.Random, toll: Toll) -> None:
    """Strike one run once or several times, then let it end."""
    for _ in range(chance.randint(1, MOST_IN_A_ROW)):
        if strike(server, out, chance.choices(KINDS, SHARES)[0], whole, chance, toll):
            return
    server.start(out)
    if code := server.end():
        raise SystemExit(f"{out}: left alone, the scan ended with {code}")


def main() -> int:
    """Run the trials."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--side", type=int, default=1100, help="of the grid, 2048 at most; tiles have 512")
    said = parser.parse_args()
    chance, toll = random.Random(said.seed), Toll()
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ground = np.tile(fractal(1024), (2, 2))[: said.side, : said.side]
        grid = write_grid(folder / "ground.tif", ground)
        server = Server(grid, folder / "alone")
        wanted = contents(folder / "alone")
        if sites(folder / "alone") < 3:
            raise SystemExit("the run left alone lists too little to compare")
        whole = Whole.of(server, folder / "timed", stored(folder / "alone"))
        print(
            f"left alone: {whole.tiles} tiles of {whole.tile_s:.2f} s CPU, then {whole.rest_s:.1f} s; "
            f"{sites(folder / 'alone')} sites, {len(wanted)} things to compare",
            flush=True,
        )
        number = 0
        try:
            while toll.kills() < said.kills:
                number += 1
                out = folder / f"trial{number}"
                trial(server, out, whole, chance, toll)
                differ = differences(wanted, contents(out))
                if differ:
                    print(f"trial {number} (seed {said.seed}): {', '.join(differ)} differ")
                    return 1
                shutil.rmtree(out)
                if number % 10 == 0:
                    print(f"{number} trials, {toll.kills()} kills, same bytes", flush=True)
        finally:
            server.close()
    kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(toll.kinds.items()))
    found = ", ".join(f"{count} {state}" for state, count in sorted(toll.found.items()))
    print(
        f"{number} trials, {toll.kills()} kills ({kinds}; {found}) in {(time.monotonic() - begun) / 60:.1f} minutes: "
        "every byte as in the run left alone"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
