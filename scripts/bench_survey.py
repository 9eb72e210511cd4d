"""Time and memory of ``reefscan grid``: a day's log and ten million soundings.

    python scripts/bench_survey.py [--soundings 100000 10000000] [--keep FOLDER]

Each case runs in a process of its own, from a CSV with times, positions and depths in feet, to the
grid and its report. The ground is invented (waves, ledges), tracks are parallel.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

LIMITS = {100_000: (10.0, 4.0), 10_000_000: (180.0, 4.0)}
"""Soundings: seconds and gigabytes allowed."""


def write_log(path: Path, count: int) -> None:
    """Write a log of parallel tracks 12 m apart over a square, a sounding every 1.5 m or closer."""
    side = min(np.sqrt(count * 1.5 * 12.0), 4500.0)
    lines = max(int(side / 12.0), 1)
    per = -(-count // lines)
    rng = np.random.default_rng(1)
    start = np.datetime64("2024-05-01T04:00:00.000")
    with pa.OSFile(str(path), "wb") as sink, pacsv.CSVWriter(sink, _schema()) as writer:
        for k in range(lines):
            along = np.linspace(0, side, per)[:: 1 if k % 2 == 0 else -1]
            x, y = 12.0 * k + rng.normal(0, 0.4, per), along
            depth = (
                14
                + 1.5 * np.sin(x / 60) * np.cos(y / 70)
                + 2.0 * (np.sin(x / 140 + y / 200) > 0.7)
                + rng.normal(0, 0.06, per)
            )
            bad = rng.random(per) < 0.01
            depth[bad] += rng.uniform(1, 8, int(bad.sum()))
            stamp = start + ((k * per + np.arange(per)) * 200).astype("timedelta64[ms]")
            writer.write_table(
                pa.table(
                    [
                        np.datetime_as_string(stamp),
                        (5.0 + x / 55_600.0).round(8),
                        (60.0 + y / 111_400.0).round(8),
                        (depth / 0.3048).round(2),
                    ],
                    schema=_schema(),
                )
            )


def _schema() -> pa.Schema:
    return pa.schema(
        [
            ("time", pa.string()),
            ("longitude", pa.float64()),
            ("latitude", pa.float64()),
            ("depth_ft", pa.float64()),
        ]
    )


def run(count: int, folder: Path) -> dict[str, float]:
    """Run one case and return its seconds and peak memory (GB)."""
    log = folder / f"log_{count}.csv"
    if not log.exists():
        write_log(log, count)
    code = "from reefscan.cli import main; main()"
    began = time.perf_counter()
    child = subprocess.Popen(
        [
            sys.executable,
            "-c",
            code,
            "grid",
            str(log),
            "--cell",
            "2m",
            "--draft",
            "0.5m",
            "--out",
            str(folder / "own.tif"),
            "--json",
        ],
        stdout=subprocess.PIPE,
    )
    out, _ = child.communicate()
    seconds = time.perf_counter() - began
    if child.returncode != 0:
        raise SystemExit(child.returncode)
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6
    facts = json.loads(out)
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return {
        "seconds": seconds,
        "cpu": used.ru_utime + used.ru_stime,
        "gb": peak,
        "kept": facts["soundings"]["kept"],
        "spread": facts["validation"]["spread"],
    }


def main() -> None:
    """Run the cases and print a line each."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--soundings", type=int, nargs="*", default=sorted(LIMITS))
    parser.add_argument("--keep", type=Path)
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = told.keep or Path(scratch)
        for count in told.soundings:
            got = run(count, folder)
            limit = LIMITS.get(count)
            verdict = "" if limit is None else f" (allowed {limit[0]:g} s, {limit[1]:g} GB)"
            print(f"{count:>10,} soundings: {got['seconds']:.1f} s, CPU so far {got['cpu']:.1f} s, peak {got['gb']:.2f} GB, kept {got['kept']:,}, "
                  f"load {os.getloadavg()[0]:.1f}{verdict}", flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
