"""Kill a scan at random moments, go on, and compare every byte with a run that was left alone.

``python scripts/kill_and_resume.py`` does so 200 times, by turns of chance: the scan itself is killed (SIGKILL) or
interrupted (SIGINT), in this process or with two workers, at any moment from its first tile on, up to four times before
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

from tests.batch.forked import Server, kill, running_yet, tiles, workers_of  # noqa: E402
from tests.batch.run_bytes import contents, differences, sites  # noqa: E402

KINDS = ("killed", "interrupted", "worker killed")
SHARES = (0.6, 0.25, 0.15)
MOST_IN_A_ROW = 4


@dataclass
class Toll:
    """What was done so far: kills that found a scan running by kind, and in which state they found it."""

    kinds: collections.Counter[str] = field(default_factory=collections.Counter)
    found: collections.Counter[str] = field(default_factory=collections.Counter)

    def kills(self) -> int:
        """All of them."""
        return sum(self.kinds.values())


def strike(server: Server, out: Path, kind: str, whole_s: float, chance: random.Random, toll: Toll) -> bool:
    """Start a scan and strike it once; True if it came to its end."""
    workers = 2 if kind == "worker killed" or chance.random() < 0.1 else 1
    had = tiles(out)
    pid = server.start(out, workers=workers)
    while running_yet(pid) and tiles(out) <= had and not (out / "candidates.geojson").exists():
        time.sleep(0.002)
    time.sleep(chance.uniform(0.0, whole_s * (0.5 if kind == "worker killed" else 1.0)))
    state = "among the tiles" if not (out / "score.tif").exists() else "at the files after them"
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


def trial(server: Server, out: Path, whole_s: float, chance: random.Random, toll: Toll) -> None:
    """Strike one run once or several times, then let it end."""
    for _ in range(chance.randint(1, MOST_IN_A_ROW)):
        if strike(server, out, chance.choices(KINDS, SHARES)[0], whole_s, chance, toll):
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
        step = time.monotonic()
        server.start(folder / "timed")
        server.end()
        whole_s = time.monotonic() - step
        print(
            f"left alone: {whole_s:.1f} s, {tiles(folder / 'alone')} tiles, {sites(folder / 'alone')} sites, "
            f"{len(wanted)} things to compare",
            flush=True,
        )
        number = 0
        while toll.kills() < said.kills:
            number += 1
            out = folder / f"trial{number}"
            trial(server, out, whole_s, chance, toll)
            differ = differences(wanted, contents(out))
            if differ:
                print(f"trial {number} (seed {said.seed}): {', '.join(differ)} differ")
                return 1
            shutil.rmtree(out)
            if number % 10 == 0:
                print(f"{number} trials, {toll.kills()} kills, same bytes", flush=True)
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
