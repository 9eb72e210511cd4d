"""How a scan grows: time and memory for grids of 2^8 to 2^14 cells a side, and two workers against one.

``python scripts/bench_growth.py`` prints one line a size; ``--most 14`` sets the largest. It passes if the
CPU time a cell takes, start-up aside, is the same within 15 % for the three largest sizes, and no process
takes more than 600 MB.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from rough_ground import fractal, write_grid, write_mosaic

LINEAR = 0.15
MOST_MB = 600.0
MAIN = "from reefscan.cli import main; main()"


@dataclass(frozen=True)
class Cost:
    """What one scan took."""

    wall_s: float
    cpu_s: float
    peak_mb: float


def scan(grid: Path, out: Path, *, workers: int, tile: int) -> Cost:
    """Scan in a process of its own; the peak is that of the largest single process."""
    started = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-c", MAIN, "scan", str(grid), "--out", str(out), "--workers", str(workers)]
        + ["--tile", str(tile)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    said = process.stderr.read()
    _, status, usage = os.wait4(process.pid, 0)
    if os.waitstatus_to_exitcode(status):
        raise SystemExit(
            f"{grid}: the scan failed: {said.strip().splitlines()[-1] if said.strip() else status}"
        )
    return Cost(time.perf_counter() - started, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024)


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--least", type=int, default=8)
    parser.add_argument("--most", type=int, default=14)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--tile", type=int, default=2048)
    parser.add_argument("--absent", type=int, default=4, help="every so-manieth square kilometre is empty")
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        return bench(Path(name), said)


def bench(folder: Path, said: argparse.Namespace) -> int:
    """Print the table; return 1 if a limit is broken."""
    base = write_grid(folder / "base.tif", fractal(1024))
    scan(base, folder / "warm", workers=1, tile=512)  # compiles the kernels
    print(
        f"{'side':>6} {'Mcell':>8} {'wall s':>8} {'CPU s':>8} {'Mcell/s':>8} {'MB':>6}"
        f"   ({said.workers} workers)"
    )
    costs: dict[int, Cost] = {}
    for power in range(said.least, said.most + 1):
        grid = write_mosaic(folder / f"{power}.vrt", base, 2**power, absent=said.absent)
        cost = costs[power] = scan(grid, folder / f"run{power}", workers=said.workers, tile=said.tile)
        cells = 4.0**power / 1e6
        print(
            f"{2**power:6d} {cells:8.2f} {cost.wall_s:8.2f} {cost.cpu_s:8.2f} {cells / cost.wall_s:8.2f} "
            f"{cost.peak_mb:6.0f}",
            flush=True,
        )
    broken = 0
    base_cost = costs[said.least]
    large = [power for power in sorted(costs) if power >= said.most - 2 and power > said.least]
    each = [(costs[power].cpu_s - base_cost.cpu_s) / 4.0**power * 1e9 for power in large]
    print(
        "CPU ns a cell, start-up aside: "
        + ", ".join(f"2^{p}: {e:.1f}" for p, e in zip(large, each, strict=True))
    )
    if len(each) > 1 and max(each) > min(each) * (1 + LINEAR):
        print(f"not linear within {LINEAR:.0%}")
        broken = 1
    peak = max(cost.peak_mb for cost in costs.values())
    if peak > MOST_MB:
        print(f"a process took {peak:.0f} MB; the limit is {MOST_MB:.0f}")
        broken = 1
    last = folder / f"{said.most}.vrt"
    again = scan(last, folder / f"run{said.most}", workers=said.workers, tile=said.tile)
    print(f"the finished run again: {again.wall_s:.2f} s")
    middle = folder / f"{max(said.least, said.most - 2)}.vrt"
    one = scan(middle, folder / "one", workers=1, tile=said.tile)
    two = scan(middle, folder / "two", workers=2, tile=said.tile)
    start = base_cost.wall_s
    print(
        f"two workers against one: {one.wall_s / two.wall_s:.2f} x "
        f"({(one.wall_s - start) / max(0.01, two.wall_s - start):.2f} x start-up aside)"
    )
    return broken


if __name__ == "__main__":
    sys.exit(main())
