"""How well the finder does on planted seabeds: recall, precision, errors, calibration, by set.

    python scripts/bench_structure.py --set hard --seeds 1000:1040
    python scripts/bench_structure.py --set hard --seed 7 --picture hard7.png

Seeds 0-99 are for tuning, seeds from 1000 on for reporting. Without ``--set`` every set runs; ``--write``
keeps the table in ``scripts/bench_structure.txt``. ``--baseline`` judges a plain finder made of the
definitions alone.
"""

from __future__ import annotations

import argparse
import sys
import time
import traceback
import warnings
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT)]

from planted import SETS, plant  # noqa: E402
from planted.judge import Judgement, judge  # noqa: E402
from planted.lines_judged import trace  # noqa: E402
from planted.report import table  # noqa: E402
from planted.scan import find  # noqa: E402


@dataclass
class Outcome:
    """What one seed gave."""

    name: str
    seed: int
    judgement: Judgement | None
    lines: list[dict[str, float | str]]
    seconds: float
    cells: int
    error: str = ""


def one(job: tuple[str, int, bool]) -> Outcome:
    """Plant, scan and judge one seed; an error is an outcome too."""
    warnings.simplefilter("ignore")
    name, seed, baseline = job
    bed = plant(name, seed)
    start = time.perf_counter()
    try:
        if baseline:
            from planted.baseline import find as plain

            sites, lines = plain(bed), {}
        else:
            sites, lines = find(bed)
        seconds = time.perf_counter() - start
        return Outcome(name, seed, judge(bed, sites), trace(bed, lines), seconds, bed.elev.size)
    except Exception:
        return Outcome(name, seed, None, [], 0.0, bed.elev.size, traceback.format_exc())


def picture(name: str, seed: int, path: Path, *, baseline: bool) -> None:
    """Draw a seabed with its truth and the first sites."""
    from planted.baseline import find as plain
    from planted.picture import draw

    bed = plant(name, seed)
    sites, lines = (plain(bed), {}) if baseline else find(bed)
    verdict = judge(bed, sites)
    draw(bed, sites, lines, path)
    print(f"{name} {seed}: K {verdict.k}, found {verdict.found}, wrong {verdict.wrong}, sites {len(sites)}")
    for p in verdict.missed:
        middle = np.round(p.line[len(p.line) // 2])
        print(f"  missed {p.kind} {p.height_m:.2f} m, width {p.width_m:.0f}, at {middle}")
    for site, why in verdict.wrong_sites:
        place = np.round(site.xy)
        print(f"  wrong {site.rank} {site.kind} {site.height_m:.2f} m at {place}: {why}; {site.why}")


def main() -> None:
    """Parse the command line, run, print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--set", dest="sets", action="append", choices=list(SETS))
    parser.add_argument("--seeds", default="0:10", help="first:last+1")
    parser.add_argument("--seed", type=int, help="one seed only, with its misses and wrong sites")
    parser.add_argument("--picture", type=Path, help="draw that seed here")
    parser.add_argument("--baseline", action="store_true")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--write", action="store_true", help="keep the table beside this script")
    args = parser.parse_args()
    sets = args.sets or list(SETS)
    if args.seed is not None:
        picture(
            sets[0], args.seed, args.picture or Path(f"{sets[0]}_{args.seed}.png"), baseline=args.baseline
        )
        return
    first, last = (int(v) for v in args.seeds.split(":"))
    jobs = [(name, seed, args.baseline) for name in sets for seed in range(first, last)]
    with ProcessPoolExecutor(args.workers) as pool:
        outcomes = list(pool.map(one, jobs))
    for outcome in outcomes:
        if outcome.error:
            print(f"{outcome.name} {outcome.seed} failed:\n{outcome.error}", file=sys.stderr)
    text = table(outcomes, f"seeds {first} to {last - 1}" + (", baseline finder" if args.baseline else ""))
    print(text)
    if args.write:
        (ROOT / "scripts" / "bench_structure.txt").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
