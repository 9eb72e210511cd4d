"""How a scan grows: time and memory for grids of 2^8 to 2^14 cells a side, and two workers against one.

``python scripts/bench_growth.py`` prints one line a size; ``--most 14`` sets the largest. It passes if the
CPU time one more cell takes is the same within 15 % from size to size, and no worker takes more than 600 MB.
``--blank`` measures instead what a tile with nothing in it costs the engine, and ``--pair`` how much faster two
workers are than one. ``--around`` scans the largest without and with 10 000 shapes handed over: at most 10 % more CPU.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import shapely
from rough_ground import CRS, NORTH, WEST, fractal, write_grid, write_mosaic

from reefscan.base.model import Window
from reefscan.batch import (
    Finished,
    InProcess,
    LocalProcesses,
    TileResult,
    TileStore,
    finish_tiles,
    plan_tiles,
    tile_key,
)

LINEAR = 0.15
MOST_MB = 600.0
MOST_BLANK_MS = 1.0
MOST_AROUND = 0.10
MAIN = """
import resource, sys
from reefscan.cli import main
try:
    main()
finally:
    for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN):
        print(resource.getrusage(who).ru_maxrss)
"""


@dataclass(frozen=True)
class Cost:
    """What one scan took."""

    wall_s: float
    cpu_s: float
    main_mb: float
    worker_mb: float


def scan(grid: Path, out: Path, *, workers: int, tile: int, more: Sequence[str] = ()) -> Cost:
    """Scan in a process of its own; the peaks are those of the main process and of its largest worker."""
    started = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-c", MAIN, "scan", str(grid), "--out", str(out), "--workers", str(workers)]
        + ["--tile", str(tile), *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    assert process.stdout is not None
    said = process.stdout.read()
    _, status, usage = os.wait4(process.pid, 0)
    if os.waitstatus_to_exitcode(status):
        raise SystemExit(f"{grid}: the scan failed: {status}")
    main_kb, worker_kb = (int(line) for line in said.splitlines()[-2:])
    seconds = time.perf_counter() - started
    return Cost(seconds, usage.ru_utime + usage.ru_stime, main_kb / 1024, worker_kb / 1024)


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--least", type=int, default=8)
    parser.add_argument("--most", type=int, default=14)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--tile", type=int, default=2048)
    parser.add_argument("--absent", type=int, default=4, help="every so-manieth square kilometre is empty")
    parser.add_argument("--blank", action="store_true", help="only what a tile with nothing in it costs")
    parser.add_argument("--pair", action="store_true", help="only two workers against one, at --most")
    parser.add_argument("--around", action="store_true", help="only what shapes around add, at --most")
    parser.add_argument("--turns", type=int, default=2, help="how often --pair runs each")
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        return (blank if said.blank else pair if said.pair else around if said.around else bench)(
            Path(name), said
        )


def bench(folder: Path, said: argparse.Namespace) -> int:
    """Print the table; return 1 if a limit is broken."""
    base = write_grid(folder / "base.tif", fractal(1024))
    scan(base, folder / "warm", workers=1, tile=512)  # compiles the kernels
    print(
        f"{'side':>6} {'Mcell':>8} {'wall s':>8} {'CPU s':>8} {'Mcell/s':>8} {'main MB':>8} {'worker MB':>10}"
        f"   ({said.workers} workers)"
    )
    costs: dict[int, Cost] = {}
    for power in range(said.least, said.most + 1):
        grid = write_mosaic(folder / f"{power}.vrt", base, 2**power, absent=said.absent)
        cost = costs[power] = scan(grid, folder / f"run{power}", workers=said.workers, tile=said.tile)
        cells = 4.0**power / 1e6
        print(
            f"{2**power:6d} {cells:8.2f} {cost.wall_s:8.2f} {cost.cpu_s:8.2f} {cells / cost.wall_s:8.2f} "
            f"{cost.main_mb:8.0f} {cost.worker_mb:10.0f}",
            flush=True,
        )
    broken = 0
    # What one more cell costs, from size to size: start-up and the map are the same for all.
    powers = sorted(costs)[-4:]
    each = [
        (costs[high].cpu_s - costs[low].cpu_s) / (4.0**high - 4.0**low) * 1e9
        for low, high in itertools.pairwise(powers)
    ]
    told = (
        f"2^{low} to 2^{high}: {ns:.0f}"
        for (low, high), ns in zip(itertools.pairwise(powers), each, strict=True)
    )
    print("CPU ns one more cell takes, " + ", ".join(told))
    if len(each) > 1 and max(each[1:]) > min(each) * (1 + LINEAR):
        print(f"not linear within {LINEAR:.0%}")
        broken = 1
    peak = max(cost.worker_mb for cost in costs.values())
    if peak > MOST_MB:
        print(f"a worker took {peak:.0f} MB; the limit is {MOST_MB:.0f}")
        broken = 1
    last = folder / f"{said.most}.vrt"
    again = scan(last, folder / f"run{said.most}", workers=said.workers, tile=said.tile)
    print(f"the finished run again: {again.wall_s:.2f} s clock, {again.cpu_s:.2f} s CPU")
    return broken


def pair(folder: Path, said: argparse.Namespace) -> int:
    """Time two workers against one, in turns; the machine must be quiet for the clock to mean anything."""
    base = write_grid(folder / "base.tif", fractal(1024))
    grid = write_mosaic(folder / "ground.vrt", base, 2**said.most, absent=said.absent)
    scan(base, folder / "warm", workers=1, tile=512)
    walls: dict[int, list[float]] = {1: [], 2: []}
    cpus: dict[int, list[float]] = {1: [], 2: []}
    tiles: dict[int, list[float]] = {1: [], 2: []}
    for turn in range(said.turns):
        for workers in (1, 2):
            out = folder / f"run{turn}_{workers}"
            cost = scan(grid, out, workers=workers, tile=said.tile)
            walls[workers].append(cost.wall_s)
            cpus[workers].append(cost.cpu_s)
            tiles[workers].append(json.loads((out / "run.json").read_text())["timings"]["tiles_s"])
            print(
                f"{workers} worker{'s' * (workers > 1)}: {cost.wall_s:.1f} s, of it tiles {tiles[workers][-1]:.1f} s, "
                f"CPU {cost.cpu_s:.1f} s (shares of a core: {cost.cpu_s / cost.wall_s:.2f})",
                flush=True,
            )
            shutil.rmtree(out)
    print(f"two workers against one, tiles with start-up: {min(tiles[1]) / min(tiles[2]):.2f} x")
    print(f"two workers against one, the whole scan: {min(walls[1]) / min(walls[2]):.2f} x")
    # What two would give if each had a core to itself: the tiles' share of the time halves, the rest stays.
    serial = min(cpus[1]) * (1.0 - min(tiles[1]) / min(walls[1]))
    parallel = min(cpus[2]) - serial
    print(
        f"by CPU time: one takes {min(cpus[1]):.1f} s, two {min(cpus[2]):.1f} s together, {serial:.1f} s of it one "
        f"after the other: at best {min(cpus[1]) / (serial + parallel / 2):.2f} x with two cores to themselves"
    )
    return 0


def shapes_over(folder: Path, side_m: float) -> list[str]:
    """Options that hand over 10 000 invented shapes on a grid of that side: 8 800 closed squares, fairways, walls, land."""
    rng = np.random.default_rng(5)

    def squares(count: int, low: float, high: float) -> Any:
        x, y = WEST + rng.uniform(0, side_m, count), NORTH - rng.uniform(0, side_m, count)
        half = rng.uniform(low, high, count)
        return shapely.box(x - half, y - half, x + half, y + half)

    given = {
        "closed": squares(8800, 20.0, 60.0),
        "caution": squares(1000, 50.0, 500.0),
        "hard": shapely.boundary(squares(100, 50.0, 200.0)),
        "land": squares(100, 100.0, 400.0),
    }
    options = []
    for role, shapes in given.items():
        file = folder / f"{role}.gpkg"
        kind = "breakwater" if role == "hard" else role
        geopandas.GeoDataFrame({"kind": [kind] * len(shapes)}, geometry=shapes, crs=CRS).to_file(file)
        options += [f"--{role}", str(file)]
    return options


def around(folder: Path, said: argparse.Namespace) -> int:
    """Compare the CPU time of a scan without and with shapes around; return 1 if they add over a tenth."""
    base = write_grid(folder / "base.tif", fractal(1024))
    grid = write_mosaic(folder / "ground.vrt", base, 2**said.most, absent=said.absent)
    scan(base, folder / "warm", workers=1, tile=512, more=shapes_over(folder, 2048.0))
    bare = scan(grid, folder / "bare", workers=said.workers, tile=said.tile)
    options = shapes_over(folder, 2.0 * 2**said.most)
    full = scan(grid, folder / "full", workers=said.workers, tile=said.tile, more=options)
    info = json.loads((folder / "full" / "run.json").read_text())
    more = full.cpu_s / bare.cpu_s - 1.0
    print(
        f"{4.0**said.most / 1e6:.0f} Mcell: {bare.cpu_s:.1f} s of CPU without, {full.cpu_s:.1f} s with 10 000 shapes "
        f"({more:+.1%}); main process {bare.main_mb:.0f} and {full.main_mb:.0f} MB; {info['candidates']} candidates, "
        f"{info['around']['closed']['removed']} in closed ground, {info['around']['man_made']} at walls"
    )
    return int(more > MOST_AROUND)


def blank(folder: Path, said: argparse.Namespace) -> int:
    """Time the engine on tiles whose work finds nothing."""
    tiles = plan_tiles(Window(0, 0, 512 * 100, 512 * 100), 512)
    broken = 0
    for name, engine in (
        ("this process", InProcess()),
        (f"{said.workers} workers", LocalProcesses(said.workers)),
    ):
        store = TileStore.open(folder / name)
        for what in ("done", "kept"):
            before = os.times()
            ends = finish_tiles(
                nothing,
                tiles,
                engine=engine,
                store=store,
                name_of=lambda core: tile_key(core, "find", "program"),
            )
            for end in ends:
                if isinstance(end, Finished):
                    end.load()
            after = os.times()
            ms = sum(after[i] - before[i] for i in range(4)) / len(tiles) * 1e3
            print(
                f"{len(tiles)} tiles {what} in {name}: {ms:.3f} ms CPU a tile, workers and their start with it"
            )
            broken |= ms > MOST_BLANK_MS
    return int(broken)


def nothing(core: Window, old: TileResult | None) -> TileResult:
    """Find nothing."""
    return TileResult(core, stats={"known": 0, "in_band": 0, "read_s": 0.0, "tile_s": 0.0})


if __name__ == "__main__":
    sys.exit(main())
