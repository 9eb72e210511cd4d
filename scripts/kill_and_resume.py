"""Kill a scan at random moments, go on, and compare every byte with a run that was left alone.

``python scripts/kill_and_resume.py --times 200`` does so with ``reefscan scan`` as a person runs it. Each
trial starts afresh, is killed with SIGKILL at a random moment after its first tile (or from the very start
with ``--from-start``), now and then a second and a third time, and is then run to its end.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import rasterio
from rough_ground import fractal, write_grid

MAIN = "from reefscan.cli import main; main()"
SAME = ("candidates.geojson", "features.gpkg", "candidates.parquet")


def start(grid: Path, out: Path, said: argparse.Namespace) -> subprocess.Popen[bytes]:
    """Start a scan."""
    return subprocess.Popen(
        [sys.executable, "-c", MAIN, "scan", str(grid), "--out", str(out)]
        + ["--tile", str(said.tile), "--workers", str(said.workers)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )


def finish(grid: Path, out: Path, said: argparse.Namespace) -> float:
    """Run a scan to its end; return the seconds."""
    begun = time.perf_counter()
    code = start(grid, out, said).wait()
    if code:
        raise SystemExit(f"{out}: the scan ended with {code}")
    return time.perf_counter() - begun


def tiles(out: Path) -> int:
    """How many tiles are in the store."""
    return sum(1 for _ in out.glob("store/??/*.tile"))


def contents(out: Path) -> dict[str, bytes]:
    """What must not differ."""
    found = {name: (out / name).read_bytes() for name in SAME if (out / name).exists()}
    for path in sorted(out.glob("score*.tif")):
        with rasterio.open(path) as src:
            found[path.name] = src.read().tobytes() + repr((src.transform, src.crs)).encode()
    return found


def trial(grid: Path, out: Path, said: argparse.Namespace, whole_s: float, chance: random.Random) -> int:
    """Kill a run one to three times, then let it end; return the number of kills that found it running."""
    kills = 0
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        process = start(grid, out, said)
        if not said.from_start:
            had = tiles(out)
            while process.poll() is None and tiles(out) <= had:
                time.sleep(0.005)
        try:
            process.wait(chance.uniform(0, whole_s * (1.0 if said.from_start else 0.6)))
        except subprocess.TimeoutExpired:
            process.kill()
            kills += 1
        process.wait()
    finish(grid, out, said)
    return kills


def main() -> int:
    """Run the trials."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--times", type=int, default=20)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--tile", type=int, default=512)
    parser.add_argument("--side", type=int, default=2048)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--from-start", action="store_true")
    parser.add_argument("--grid", type=Path)
    said = parser.parse_args()
    chance = random.Random(said.seed)
    kills = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        grid = said.grid or write_grid(folder / "ground.tif", fractal(said.side))
        finish(grid, folder / "warm", said)
        whole_s = finish(grid, folder / "alone", said)
        wanted = contents(folder / "alone")
        if not wanted:
            raise SystemExit("the run left alone wrote nothing to compare")
        print(f"left alone: {whole_s:.1f} s, {tiles(folder / 'alone')} tiles, {len(wanted)} files to compare")
        for number in range(said.times):
            out = folder / f"trial{number}"
            kills += trial(grid, out, said, whole_s, chance)
            differ = [name for name, data in wanted.items() if contents(out).get(name) != data]
            if differ:
                print(f"trial {number} (seed {said.seed}): {', '.join(differ)} differ")
                return 1
            print(f"trial {number + 1}/{said.times}: {kills} kills so far, same bytes", flush=True)
    print(f"{said.times} trials, {kills} kills: every byte as in the run left alone")
    return 0


if __name__ == "__main__":
    sys.exit(main())
