"""How much of a planted line the finder's feature lines follow, and what sticks out of it."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from planted.truth import Seabed

Grid = NDArray[np.float64]


def _dense(line: Grid, step: float = 1.0) -> Grid:
    """Points along a polyline, at most ``step`` apart."""
    out = [line[:1]]
    for a, b in pairwise(line):
        n = max(1, int(np.ceil(np.hypot(*(b - a)) / step)))
        out.append(a + (b - a) * (np.arange(1, n + 1) / n)[:, None])
    return np.concatenate(out)


def trace(bed: Seabed, lines: dict[str, list[Grid]]) -> list[dict[str, float | str]]:
    """Covered share and spurs of every real trough and ledge; ``lines`` by kind, in local metres.

    Covered: within max(two cells, 4 m, .35 width) of a feature line of the kind. A spur: a stretch of a line that belongs to the structure (half
    its length in the corridor, or more) lying farther off than half the width plus two cells, longer than the width.
    """
    out: list[dict[str, float | str]] = []
    for p in bed.real:
        if p.kind not in ("trough", "ledge") or p.full.sum() < 40:
            continue
        near = max(2 * bed.cell_m, 4.0, 0.35 * np.nan_to_num(p.width_m))
        wide = p.half_width_m + 2 * bed.cell_m + 2
        mine = [_dense(a) for a in lines.get(p.kind, []) if len(a) > 1]
        mine = [a for a in mine if (p.nearest(a)[0] <= wide).mean() >= 0.5]
        core = p.line[p.full]
        covered = float((cKDTree(np.concatenate(mine)).query(core)[0] <= near).mean()) if mine else 0.0
        allowed = max(2 * p.half_width_m, 8.0)
        spurs = 0
        for a in mine:
            dist, index = p.nearest(a)
            outside = (dist > wide) & (index > 2) & (index < len(p.line) - 3)
            edges = np.flatnonzero(np.diff(np.concatenate([[0], outside.astype(int), [0]])))
            spurs += int(sum(end - start > allowed for start, end in edges.reshape(-1, 2)))
        out.append(
            {"kind": p.kind, "covered": covered, "spurs": float(spurs), "pieces": float(len(mine))}
            | {"coarse": float(p.in_coarse)}
        )
    return out
