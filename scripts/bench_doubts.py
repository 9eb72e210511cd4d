"""What each doubt and each term of the default recipe earns: what the list gains and loses without it.

    python scripts/bench_doubts.py                    # tuning seeds
    python scripts/bench_doubts.py --seeds 1000:1006  # reporting seeds
    python scripts/bench_doubts.py --write            # keeps the table beside this script

Seabeds of two generators that know nothing of each other (``tests/planted``, ``tests/unseen``), each scanned once; the list is then scored anew with one
term switched off. Recall at K on planted ground, share of the first sites that are right on ground by other processes, share on nothing
under kelp, what was dug in the first K, and the best score of moving sand. A doubt stays only where it gains more than it costs.
"""

from __future__ import annotations

import argparse
import importlib
import inspect
import sys
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "tests"), str(ROOT)]

from planted import plant  # noqa: E402
from pyproj import Transformer  # noqa: E402
from surfaces import scan_cells  # noqa: E402
from unseen import nothing  # noqa: E402
from unseen.bed import near_tree  # noqa: E402
from unseen.found import CRS, ORIGIN  # noqa: E402
from unseen.manners import process  # noqa: E402
from unseen.planted_grounds import hard, plain  # noqa: E402
from unseen.standing import near, standing  # noqa: E402

from reefscan.base.doubts import DOUBTS  # noqa: E402
from reefscan.base.recipe import Rank, Score  # noqa: E402
from reefscan.score.ranking import rank_sites  # noqa: E402
from reefscan.score.scoring import score_table  # noqa: E402

NEAR_M = 24.0


@dataclass(frozen=True)
class Ground:
    """Candidates of one seabed and what is true of each: the structures near it, whether it is right, whether it stands on nothing or on dug ground."""

    name: str
    table: pd.DataFrame
    owners: list[frozenset[int]]
    right: np.ndarray
    wrong: np.ndarray
    must: frozenset[int]


def scanned(elev: np.ndarray, cell_m: float) -> tuple[pd.DataFrame, np.ndarray]:
    """Candidates of a grid, and their places in local metres."""
    run = scan_cells(elev, cell_m=cell_m, crs=CRS, origin=ORIGIN)
    table = run.table
    x, y = Transformer.from_crs("EPSG:4326", CRS, always_xy=True).transform(table["lon"], table["lat"])
    return table, np.column_stack([np.asarray(x) - ORIGIN[0], np.asarray(y) - ORIGIN[1]])


def unseen_ground(name: str, seed: int) -> Ground:
    """A seabed of the second generator."""
    makers = {"hard": hard, "plain": plain, "processes": process, "kelp": lambda s: process(s, weed=True)}
    bed = makers[name](seed)
    truth = standing(bed.true, bed.cell_m)
    table, xy = scanned(bed.elev, bed.cell_m)
    tree, owner = near_tree(bed.planted)
    owners = [
        frozenset(owner[tree.query_ball_point(p, NEAR_M)].tolist()) if tree else frozenset() for p in xy
    ]
    any_height = np.maximum(truth.loose, np.maximum(truth.trough, truth.rise))
    face = np.array([near(truth.face, *p, cell_m=bed.cell_m, within_m=NEAR_M) for p in xy])
    most = np.array([near(any_height, *p, cell_m=bed.cell_m, within_m=NEAR_M) for p in xy])
    must = frozenset(i for i, p in enumerate(bed.planted) if p.role == "real")
    right = (face >= 0.9) | np.array([bool(o) for o in owners], dtype=bool)
    return Ground(name, table, owners, right, most < 0.5, must)


def dug_ground(seed: int) -> Ground:
    """A seabed of the first generator with dredged and moving ground beside gullies and ledges."""
    bed = plant("dug", seed)
    table, xy = scanned(bed.elev, bed.cell_m)
    gaps = np.array([np.maximum(0.0, p.nearest(xy)[0] - p.half_width_m) for p in bed.planted])
    first = gaps.argmin(axis=0)
    close = gaps[first, np.arange(len(xy))] <= 20.0
    role = np.array([p.role for p in bed.planted])[first]
    good = np.isin(role, ("real", "optional")) & close
    owners = [frozenset([int(i)]) if ok else frozenset() for i, ok in zip(first, good, strict=True)]
    must = frozenset(i for i, p in enumerate(bed.planted) if p.role == "real")
    return Ground("dug", table, owners, good, np.isin(role, ("dug", "moving")) & close, must)


def figures(grounds: list[Ground], barren: dict[str, list[pd.DataFrame]], score: Score) -> dict[str, float]:
    """The figures of one recipe."""
    total: dict[str, np.ndarray] = {}
    for ground in grounds:
        if not len(ground.table):
            continue
        rows = rank_sites(ground.table, score_table(ground.table, score), Rank(top=500))
        if ground.must:
            hit: set[int] = set()
            places = found = bad = 0
            for row in rows:
                fresh = (ground.owners[row] & ground.must) - hit
                if places < len(ground.must):
                    found += bool(fresh)
                    bad += not fresh and not ground.right[row]
                    places += bool(fresh) or not ground.right[row]
                hit |= ground.owners[row]
            here = np.array([found, len(ground.must)])
        else:
            some = rows[:60]
            here = np.array(
                [(ground.wrong if ground.name == "kelp" else ground.right)[some].sum(), len(some)]
            )
        total[ground.name] = total.get(ground.name, np.zeros(2)) + here
    out = {name: float(value[0] / max(1, value[1])) for name, value in total.items()}
    for name, tables in barren.items():
        out[name] = 0.0
        for table in tables:
            if len(table):
                scored = score_table(table, score)
                out[name] = max(out[name], float(scored.score[scored.listed].max(initial=0.0)))
    return out


def without(name: str) -> Score:
    """The default score with one term off; none for an empty name."""
    return Score(terms={name: {"weight": 0.0}} if name else {})


def main() -> None:
    """Scan, score with and without, print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--seeds", default="30:34", help="first:beyond the last")
    parser.add_argument("--write", action="store_true", help="keep the table beside this script")
    args = parser.parse_args()
    warnings.simplefilter("ignore")
    first, last = (int(v) for v in args.seeds.split(":"))
    names = ("hard", "plain", "processes", "kelp")
    grounds = [unseen_ground(name, seed) for seed in range(first, last) for name in names]
    grounds += [dug_ground(seed) for seed in range(first, last)]
    barren = {
        name: [scanned(make(np.random.default_rng(first)), 2.0)[0] for make in makers.values()]
        for name, makers in (("sand", nothing.MOVING), ("patches", nothing.ARTEFACT))
    }
    base = figures(grounds, barren, without(""))
    lines = [
        f"seeds {first} to {last - 1}; recall at K (hard, plain, dug), right of the first 60 (processes), of them on nothing (kelp), best score (moving sand; patches put over the ground)"
    ]
    lines.append(
        "everything      "
        + "  ".join(f"{k} {v:.3f}" if k not in barren else f"{k} {v:.0f}" for k, v in base.items())
    )
    for name, term in Score().terms.items():
        if name in ("depth", "height_trough", "height_ledge", "height_rise"):
            continue
        now = figures(grounds, barren, without(name))
        change = "  ".join(
            f"{k} {now[k] - base[k]:+.3f}" if k not in barren else f"{k} {now[k] - base[k]:+.0f}"
            for k in base
        )
        doubt = next((d for d in DOUBTS if d.column == term.column), None)
        size = (
            f"  ({len(inspect.getsource(importlib.import_module(f'reefscan.doubts.{doubt.judge}')).splitlines())} lines)"
            if doubt
            else ""
        )
        lines.append(f"without {name:<16}{change}{size}")
    text = "\n".join(lines) + "\n"
    print(text)
    if args.write:
        (ROOT / "scripts" / "bench_doubts.txt").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
