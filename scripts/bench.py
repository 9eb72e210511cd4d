"""Speed of the whole scan as ratios in one run: the floor is reading the grid and writing one uint8 raster.

    python scripts/bench.py                 8192 x 8192: full of structure, the same a third in band, fractal
    python scripts/bench.py --side 4096     smaller
    python scripts/bench.py --profile       where the CPU seconds go, by stage, with one thread

Prints wall and CPU seconds (children included), Mcell/s and the ratio of CPU time to the floor's. Beside the whole, what
one more cell costs (this side against half of it: imports, compiled kernels, the map and opening do not grow), and
what the floor itself costs while the other core does the same, as it is when two threads scan. Two sorts of ground,
2 m cells, float32 deflate predictor 3: a planted seabed of the hard set, mirrored and repeated, with structure
throughout; and a fractal one (power-law spectrum) with 5 % holes and few stations. Made here, cached in the
system's folder for temporary files, not used for tuning anything. The last figures are in ``bench.txt``.

What was weighed (CPU ns a cell of the core, one thread, two cores shared with six other jobs; first the design kept)
---------------------------------------------------------------------------------------------------------------------
* search: bounds from squares of 8 x 8, rays and blocks only where they can reach the floor 9, all fields everywhere
  33; squares of 16 leave ten times as many, of 4 cost more than they save. On even ground 3.5.
* bounds, square by square with early ends 2.9, by rows of squares 1.6.
* troughs left over: single rays below 15 % of a block's squares (2 ns), running maxima above (12 ns).
* surroundings (162 cells) and uncertainty only where there is something to measure: the halo was a third more cells.
* sums of a wide disc for each station 7 us; from sums along the rows, kept for every eighth cell, 2 us, for every cell 1 us and
  50 MB a tile. Stations sorted by place for the processor's cache: no gain.
* profiles in loops without a branch over multiples of 32 samples 3 ns each, sample by sample 6.5; off a patch copied into rows of its own:
  no gain. The contour of a face outward from its middle: 1.5 us.
* pairs of a top and a foot: bounds from every fifth end of either side 1 us, from ends as far off above as below 1.5, without 2.5.
* tried without gain: the floor's sections in such loops; narrow headings across a trough told from short profiles.
* drop point: distances to rock asked for where a net could lie 22 us a station, transform of the window 86.
* score raster: parts of 128 with structure near 1 to 6, all cells 16 to 32.
* spikes: parts of a row passed by 3.6 (1 of it the copy), cell by cell 4.6 and a second pass for the sea's surface.
* surroundings: the ring beyond what was looked at, its spikes alone, set aside in place: all tiles of the first scene 60 ns
  a cell; all read, searched and copied again 71 (a later, slower machine, one thread).
* marks of "unknown" that no depth can be, no longer looked for: 3 ns of every read.
* two worker processes cost 2.6 s of CPU before their first cell; up to 64 tiles threads of one process do it.
* the map's picture handed over by the tiles; read anew it decoded the grid twice (0.9 s of 67 Mcell).
* score of cells in one compiled pass: with the heights near, about half of the 13 ns a cell that numpy's small steps took on
  ground full of structure; those also held the lock that the second thread waited for.
* tiles in strips, one for each thread, so that no block is decoded twice: no gain, nor with four times GDAL's cache; two
  threads that decode at once take a third more CPU; the floor takes a quarter more with all cores at it.
* cuts from columns taken out of the table once: merge of 16 000 stations 1.0 s, 1.4 before.
* compiling: one insertion sort instead of the library's sorts, medians and unique, assignments by number where an array's
  drags in its error's text: 276 functions became some 210, later 173; optimising less (levels 1, 2) saves nothing, nor do
  functions that are called once, taken into their caller.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import rasterio
from numpy.typing import NDArray
from rasterio.transform import from_origin
from rasterio.windows import Window


def make_ground(path: Path, side: int, share: float, *, relief_m: float = 2.0) -> None:
    """Write a fractal seabed: ``share`` of its cells between 4 and 15 m deep, the rest deeper than any band."""
    rng = np.random.default_rng(8192)
    base = min(side, 4096)
    k = np.hypot(np.fft.fftfreq(base)[:, None], np.fft.rfftfreq(base)[None, :])
    k[0, 0] = 1.0
    wave = rng.normal(size=k.shape) + 1j * rng.normal(size=k.shape)
    z = np.fft.irfft2(wave * k**-1.7, s=(base, base))
    z = z / z.std()
    holes = np.fft.irfft2((rng.normal(size=k.shape) + 0j) * np.exp(-((k * 60) ** 2)), s=(base, base))
    hole = holes > np.quantile(holes, 0.95)
    broad = np.fft.irfft2((rng.normal(size=k.shape) + 0j) * np.exp(-((k * 900) ** 2)), s=(base, base))
    deep = broad > np.quantile(broad, share) if share < 1 else np.zeros_like(hole)
    tile = np.clip(-9.5 + relief_m * z, -14.9, -4.1)
    tile = (tile + rng.normal(size=tile.shape) * 0.03).astype(np.float32)
    tile[deep] -= 90.0
    tile[hole] = np.nan
    write_repeated(path, tile, side)


def make_structure(path: Path, side: int, share: float) -> None:
    """Write a planted seabed over and over, each copy the mirror of the next, so that no seam is a ledge; of each four
    rows of copies the last ones are deeper than any band, if not all is to be in it."""
    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from unseen.planted_grounds import hard

    bed = hard(1).elev.astype(np.float32)
    tile = np.block([[bed, bed[:, ::-1]], [bed[::-1], bed[::-1, ::-1]]])
    if share < 1:
        tile = np.tile(tile, (2, 1))
        tile[int(share * len(tile)) :] -= 90.0
    write_repeated(path, tile, side)


def write_repeated(path: Path, tile: NDArray[np.float32], side: int) -> None:
    """Write a square grid that repeats a piece of ground, a row of blocks at a time."""
    profile = {
        "driver": "GTiff", "width": side, "height": side, "count": 1, "dtype": "float32", "nodata": np.nan,
        "crs": "EPSG:32631", "transform": from_origin(400_000, 5_000_000, 2, 2), "compress": "deflate",
        "predictor": 3, "tiled": True, "blockxsize": 512, "blockysize": 512, "zlevel": 6,
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as out:
        cols = np.arange(side) % tile.shape[1]
        for r in range(0, side, 512):
            rows = np.arange(r, min(side, r + 512)) % tile.shape[0]
            out.write(tile[np.ix_(rows, cols)], 1, window=Window(0, r, side, len(rows)))


def floor(path: Path) -> tuple[float, float]:
    """Read every block and write one uint8 raster of the same size."""
    cpu, wall = time.process_time(), time.perf_counter()
    with rasterio.open(path) as src, tempfile.TemporaryDirectory() as folder:
        profile = src.profile | {
            "dtype": "uint8",
            "nodata": 255,
            "compress": "zstd",
            "zstd_level": 1,
            "predictor": 1,
        }
        profile.pop("zlevel", None)
        with rasterio.open(Path(folder) / "out.tif", "w", **profile) as out:
            for _, window in src.block_windows(1):
                cells = src.read(1, window=window)
                out.write((cells < -8).astype(np.uint8), 1, window=window)
    return time.perf_counter() - wall, time.process_time() - cpu


def busy_floor(path: Path) -> float:
    """CPU seconds of the floor while every other core does the same."""
    with ProcessPoolExecutor(os.cpu_count()) as pool:
        jobs = [pool.submit(floor, path) for _ in range(os.cpu_count() or 1)]
        return max(job.result()[1] for job in jobs)


GROUNDS = {
    "full of structure": (make_structure, 1.0),
    "full of structure, a third in band": (make_structure, 1 / 3),
    "fractal": (make_ground, 1.0),
}


def ground(side: int, name: str) -> Path:
    """Return a ground of this side, made at first use."""
    make, share = GROUNDS[name]
    path = Path(tempfile.gettempdir()) / f"reefscan-bench-{make.__name__[5:]}-{side}-{round(share * 100)}.tif"
    if not path.exists():
        make(path, side, share)
    return path


ENV = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
"""Of a scan: as where Python keeps what it made of the sources, which else costs each scan half a second."""

BY_CPU = "import time; time.perf_counter = time.process_time; from reefscan.cli import main; main()"
"""A scan whose clocks run by CPU seconds; with one thread they are the stages' own."""


def stages(path: Path) -> None:
    """Scan with one thread and print where the CPU seconds went."""
    out = Path(tempfile.mkdtemp()) / "run"
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    command = [
        sys.executable,
        "-c",
        BY_CPU,
        "scan",
        str(path),
        "--out",
        str(out),
        "--quiet",
        "--workers",
        "1",
    ]
    subprocess.run(command, check=True, env=ENV, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    info = json.loads((out / "run.json").read_text())
    sheet = info["sheets"][0]
    tiles, clock = dict(sheet["seconds_in_tiles"]), dict(info["timings"])
    whole = tiles.pop("tile_s")
    told = {f"tiles: {name[:-2]}": value for name, value in tiles.items()}
    told["tiles: rest"] = whole - sum(tiles.values())
    told["tiles: kernels loaded, results kept"] = clock.pop("tiles_s") - whole
    told |= {name[:-2]: value for name, value in clock.items()}
    told["imports, start, end"] = cpu - sum(told.values())
    print(
        f"  {sheet['measured']} measured, {sheet['stations']} stations, {info['candidates']} candidates:"
        f" {sheet['measured_a_candidate']} measured for each"
    )
    for name, seconds in told.items():
        print(f"    {name:36s} {seconds:7.2f} s of CPU  {seconds / cpu:4.0%}")
    shutil.rmtree(out.parent)


def scan(path: Path, workers: int | None) -> tuple[float, float, float]:
    """Run the command line's scan in its own process; wall, CPU of it and its workers, peak MB of one process."""
    out = Path(tempfile.mkdtemp()) / "run"
    wall = time.perf_counter()
    command = [sys.executable, "-m", "reefscan", "scan", str(path), "--out", str(out), "--quiet"]
    command += [] if workers is None else ["--workers", str(workers)]
    started = subprocess.Popen(command, env=ENV, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    # of this one alone: the peak of all children so far is that of whoever made the ground
    _, status, used = os.wait4(started.pid, 0)
    wall = time.perf_counter() - wall
    if status:
        raise SystemExit(f"{' '.join(command)} ended with {os.waitstatus_to_exitcode(status)}")
    info = json.loads((out / "run.json").read_text())
    print("    ", info["timings"], info["sheets"][0]["seconds_in_tiles"], "candidates", info["candidates"])
    shutil.rmtree(out.parent)
    return wall, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def main() -> None:
    """Make the grounds, measure the floor and the scans, print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--side", type=int, default=8192)
    parser.add_argument("--workers", type=int, help="worker processes; as the scan chooses if not given")
    parser.add_argument(
        "--profile", action="store_true", help="where the CPU seconds go, by stage, with one thread"
    )
    options = parser.parse_args()
    cells, few = options.side**2 / 1e6, (options.side // 2) ** 2 / 1e6
    for name in GROUNDS:
        path = ground(options.side, name)
        floor(path)
        wall_f, cpu_f = floor(path)
        print(
            f"{name}, {cells:.0f} Mcell: floor {cells / cpu_f:.0f} Mcell per CPU second ({wall_f:.1f} s);"
            f" with all cores at it {cells / busy_floor(path):.0f}"
        )
        if options.profile:
            stages(path)
            continue
        small = ground(options.side // 2, name)
        scan(path, options.workers)
        wall, cpu, peak = scan(path, options.workers)
        print(
            f"  scan {wall:.1f} s wall = {cells / wall:.1f} Mcell/s; CPU {cpu:.1f} s ="
            f" {cpu / cpu_f:.2f} x the floor ({1000 * cpu / cells:.0f} ns a cell); peak {peak:.0f} MB a process"
        )
        less_wall, less, _ = scan(small, options.workers)
        more = cells - few
        print(
            f"  each cell more: {more / (wall - less_wall):.1f} Mcell/s, {1000 * (cpu - less) / more:.0f} ns of CPU ="
            f" {(cpu - less) / more * cells / cpu_f:.2f} x the floor; fixed {cpu - (cpu - less) / more * cells:.1f} s"
        )


if __name__ == "__main__":
    main()
