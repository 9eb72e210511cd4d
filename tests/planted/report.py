"""The table of a bench: counts and errors over many seeds, as plain text."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from itertools import pairwise
from typing import Any

import numpy as np

BINS = np.linspace(0, 1, 11)


def _share(values: Iterable[bool]) -> str:
    v = np.array(list(values), dtype=bool)
    return f"{v.mean():.3f} of {v.size}" if v.size else "none"


def _numbers(rows: list[dict[str, Any]], key: str) -> np.ndarray[Any, Any]:
    v = np.array([r[key] for r in rows if key in r], dtype=float)
    return v[np.isfinite(v)]


def _spread(v: np.ndarray[Any, Any], unit: str) -> str:
    if not v.size:
        return "none"
    a = np.abs(v)
    return f"median {np.median(a):.2f}, 90 % {np.quantile(a, 0.9):.2f}, 98 % {np.quantile(a, 0.98):.2f} {unit} ({v.size})"


def table(outcomes: list[Any], title: str) -> str:
    """Everything asked of planted ground, one block a set."""
    lines = [f"Planted seabeds, {title}", ""]
    for name in dict.fromkeys(o.name for o in outcomes):
        good = [o for o in outcomes if o.name == name and o.judgement is not None]
        failed = sum(o.name == name and o.judgement is None for o in outcomes)
        lines += _block(name, good, failed)
    return "\n".join(lines) + "\n"


def _block(name: str, good: list[Any], failed: int) -> list[str]:
    judged = [o.judgement for o in good]
    k = sum(j.k for j in judged)
    found, wrong = sum(j.found for j in judged), sum(j.wrong for j in judged)
    rows = [r for j in judged for r in j.rows]
    planted = [r for r in rows if r["owner"] != "natural"]
    real = [r for r in planted if r["role"] == "real"]
    head = [
        f"== {name}: {len(good)} seabeds" + (f", {failed} FAILED" if failed else ""),
        *(
            ["  heights run from 0.4 to 1.8 m about the asked 1.0: recall is not meant here"]
            if name in ("sure", "sounded")
            else []
        ),
        f"  real structures (K)          {k}",
        f"  recall at K                  {found / max(k, 1):.3f}   (every site takes a place: "
        f"{sum(j.strict_found for j in judged) / max(k, 1):.3f})",
        f"  precision at K               {found / max(found + wrong, 1):.3f}   ({wrong} wrong)",
        f"  found anywhere in the list   {1 - sum(len(j.missed) for j in judged) / max(k, 1):.3f}",
        "  missed by kind               " + (_count(p.kind for j in judged for p in j.missed) or "none"),
        "  wrong by cause               "
        + (_count(w.split(":")[0] for j in judged for _, w in j.wrong_sites) or "none"),
        f"  kind agrees                  {_share(r['same'] for r in real)}",
        f"  natural sites (right)        {sum(r['owner'] == 'natural' for r in rows)}",
    ]
    axis, facing = _numbers(real, "axis_error"), _numbers(real, "facing_error")
    width, true_width = _numbers(real, "width_error"), _pair(real, "width_error", "true_width")
    cell = _pair(real, "width_error", "cell")
    fine = [r for r in real if not r["coarse"]]
    height = _numbers(fine, "height_error")
    true_height = _pair(fine, "height_error", "true_height")
    placed = [r for r in real if np.isfinite(r["off_error"])]
    tolerance = [max(2.0, 1.5 * r["cell"]) for r in placed]
    body = [
        f"  trough axis error            {_spread(axis, 'deg')}; within 5: {_share(axis <= 5)}, 10: {_share(axis <= 10)}",
        f"  ledge facing error           {_spread(facing, 'deg')}",
        f"  height error (fine ground)   {_spread(height, 'm')}, bias {height.mean() if height.size else np.nan:+.2f}; "
        f"within 15 % or 0.2 m: {_share(np.abs(height) <= np.maximum(0.2, 0.15 * true_height))}",
    ]
    for kind in ("trough", "ledge", "rise"):
        part = [r for r in fine if r["owner"] == kind]
        e, t = _numbers(part, "height_error"), _pair(part, "height_error", "true_height")
        if e.size:
            body.append(
                f"    {kind:<8} bias {e.mean():+.2f} m, within 15 % or 0.2 m: {_share(np.abs(e) <= np.maximum(0.2, 0.15 * t))}"
            )
    body += [
        f"  trough width error           {_spread(width, 'm')}; within 15 %: {_share(np.abs(width) <= 0.15 * true_width)}, "
        f"or one cell: {_share(np.abs(width) <= np.maximum(cell, 0.15 * true_width))}",
        f"  floor within 12 deg          {_share(r['floor_deg'] <= 12 for r in real)}",
        f"  stated distance off the rock {_share(abs(r['off_error']) <= t for r, t in zip(placed, tolerance, strict=True))}"
        f"   ({_spread(_numbers(real, 'off_error'), 'm')})",
        f"  clear of the rock            {_share(r['edge_m'] >= 0 for r in real if r['owner'] != 'trough')}",
        f"  depth within 2 sigma         {_share(abs(r['depth_error']) <= 2 * r['sigma'] for r in fine)}",
    ]
    traced = [t for o in good for t in o.lines]
    for kind in ("trough", "ledge"):
        mine = [t for t in traced if t["kind"] == kind]
        if mine:
            cover = np.array([t["covered"] for t in mine])
            body.append(
                f"  {kind} lines covered        mean {cover.mean():.3f}, at least .85: {_share(cover >= 0.85)}, "
                f"spurs {sum(t['spurs'] for t in mine):.0f}, pieces a line {np.mean([t['pieces'] for t in mine]):.2f}"
            )
    body += _dug(judged) + _calibration(good)
    seconds, cells = sum(o.seconds for o in good), sum(o.cells for o in good)
    body.append(
        f"  time                         {seconds:.0f} s of scans, {cells / max(seconds, 1e-9) / 1e6:.2f} Mcell/s"
    )
    return [*head, *body, ""]


def _pair(rows: list[dict[str, Any]], key: str, other: str) -> np.ndarray[Any, Any]:
    return np.array([r[other] for r in rows if key in r and np.isfinite(r[key])], dtype=float)


def _count(words: Iterable[str]) -> str:
    tally: dict[str, int] = defaultdict(int)
    for w in words:
        tally[w] += 1
    return ", ".join(f"{w} {n}" for w, n in sorted(tally.items(), key=lambda i: -i[1]))


def _dug(judged: list[Any]) -> list[str]:
    """Dug and moving ground by kind, and real structure wrongly called so."""
    out = []
    kinds = sorted({d[0] for j in judged for d in j.dug_kinds})
    for kind in kinds:
        all_of = [d for j in judged for d in j.dug_kinds if d[0] == kind]
        seen = [d for d in all_of if d[1]]
        out.append(
            f"  {kind:<12} {len(all_of)}: listed {len(seen)}, told apart {_share(d[2] for d in seen)}, "
            f"in the first K {sum(d[3] for d in all_of)}"
        )
    for kind in sorted({d[0] for j in judged for d in j.real_demoted}):
        out.append(
            f"  real {kind} called dug or moving: {_share(d[1] for j in judged for d in j.real_demoted if d[0] == kind)}"
        )
    return out


def _calibration(good: list[Any]) -> list[str]:
    """Stated confidence against the share that really reach the asked height: of sites told as the planted kind; on ground
    drawn between tracks, where kinds blur, of all sites, those on nothing too."""
    from planted.sets import plant

    if not good or good[0].name not in ("sure", "sounded"):
        return []
    out = ["  confidence stated -> observed (sites), by tenth"]
    groups: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for o in good:
        if o.name == "sounded":
            rows = [r for r in o.judgement.rows if r["owner"] != "natural" and r["full"]]
            rows += [{"confidence": s.confidence, "reaches": False} for s, _ in o.judgement.wrong_sites]
            groups["all"] += rows
            groups[("own soundings", "straight planes", "smooth patches")[o.seed % 3]] += rows
            continue
        facts = plant("sure", o.seed).facts
        noise = "white" if facts["soft"] == 0 else "correlated"
        rows = [
            r
            for r in o.judgement.rows
            if r["owner"] != "natural" and r["full"] and r["same"] and np.isfinite(r["confidence"])
        ]
        groups["all"] += rows
        groups["noise " + noise] += rows
        groups[{0.0: "no band", 1.0: "band right", 2.0: "band twice", 0.5: "band half"}[facts["band"]]] += (
            rows
        )
    for label, rows in sorted(groups.items()):
        p = np.array([r["confidence"] for r in rows])
        hit = np.array([r["reaches"] for r in rows])
        cells = []
        for lo, hi in pairwise(BINS):
            inside = (p >= lo) & (p < hi + (hi == 1))
            if inside.any():
                cells.append(f"{p[inside].mean():.2f}->{hit[inside].mean():.2f} ({inside.sum()})")
        out.append(f"    {label:<17} {p.mean():.2f}->{hit.mean():.2f}:  " + "  ".join(cells))
    return out
