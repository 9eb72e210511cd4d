"""How good is a finder on ground that it was not set on? One table of all figures.

    python scripts/bench_ground.py                          # the package, a few seeds of every trial
    python scripts/bench_ground.py --only hard,process --seeds 1000:1010
    python scripts/bench_ground.py --finder plain           # the plain yardstick; or module:function
    python scripts/bench_ground.py --write                  # keeps the table in bench_ground.txt beside this file

Seeds 0 to 199 are for tuning, 1000 and on for reporting. See ``tests/unseen`` for seabeds and judges.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
import traceback
import warnings
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

for _name in ("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

HERE = Path(__file__).resolve().parent
_given = [Path(p) for p in os.environ.get("PYTHONPATH", "").split(os.pathsep) if p]
_own = [HERE.parent / "tests"] + ([] if any((p / "reefscan").is_dir() for p in _given) else [HERE.parent])
sys.path[:0] = [str(p) for p in _own]  # a checkout named by PYTHONPATH is the one that is judged

from unseen.figures import Figures, line, pooled  # noqa: E402
from unseen.found import load_finder  # noqa: E402
from unseen.trials import TRIALS  # noqa: E402


def one(job: tuple[str, int, str]) -> tuple[str, int, Figures, float]:
    """One trial with one seed, in a worker."""
    name, seed, finder = job
    start = time.perf_counter()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            figures = TRIALS[name].run(load_finder(finder), seed)
        except Exception as error:
            figures = {f"failed with seed {seed}": f"{type(error).__name__}: {error}"}
            traceback.print_exc()
    return name, seed, figures, time.perf_counter() - start


def main() -> None:
    """Run the trials that were asked for and print the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--only", default="", help="trials, with commas between: " + ", ".join(TRIALS))
    parser.add_argument("--seeds", default="0:4", help="first:beyond the last")
    parser.add_argument("--finder", default="reefscan", help="reefscan, plain, or module:function")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--write", nargs="?", const=str(HERE / "bench_ground.txt"), help="keep the table in a file"
    )
    args = parser.parse_args()
    names = args.only.split(",") if args.only else list(TRIALS)
    if unknown := [n for n in names if n not in TRIALS]:
        parser.error(f"no trial {', '.join(unknown)}; there are {', '.join(TRIALS)}")
    first, _, beyond = args.seeds.partition(":")
    seeds = range(int(first), int(beyond or int(first) + 1))
    jobs = [(n, s, args.finder) for n in names for s in (seeds if TRIALS[n].seeds else seeds[:1])]
    kept: list[str] = []

    def say(text: str) -> None:
        print(text, flush=True)
        kept.append(text)
        if args.write:
            Path(args.write).write_text("\n".join(kept) + "\n")

    start = time.perf_counter()
    say(f"finder {args.finder}, seeds {args.seeds}")
    with ProcessPoolExecutor(max(1, min(args.workers, len(jobs)))) as pool:
        answers = pool.map(one, jobs)
        for name in names:
            mine = [next(answers) for job in jobs if job[0] == name]
            say(f"\n{name} ({len(mine)} seabeds, {sum(a[3] for a in mine):.0f} s)")
            wanted = TRIALS[name].wanted
            for what, figure in pooled([a[2] for a in mine]).items():
                say(line(what, figure, wanted.get(what, "")))
    say(f"\n{time.perf_counter() - start:.0f} s in all")


if __name__ == "__main__":
    main()
