"""A plain finder made of the definitions alone, to see that the bench can tell good from bad: not a yardstick to be proud of beating."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, maximum_filter, median_filter

from planted.judge import Site
from planted.truth import Seabed

Grid = NDArray[np.float64]
LATTICE = [(1, 0), (2, 1), (1, 1), (1, 2), (0, 1), (-1, 2), (-1, 1), (-2, 1)]


def _far(z: Grid, dr: int, dc: int, reach: int) -> Grid:
    """Highest elevation on whole-cell steps (dr, dc) out to ``reach`` cells."""
    best = z.copy()
    n = max(1, int(reach / np.hypot(dr, dc)))
    for i in range(1, n + 1):
        moved = np.roll(z, (-i * dr, -i * dc), (0, 1))
        np.maximum(best, moved, out=best)
    return best


def fields(elev: Grid, cell_m: float) -> dict[str, Grid]:
    """Trough, rise and a plain step of every cell by lattice rays; edges wrap, so leave them out."""
    trough, rise, step = np.zeros_like(elev), np.full_like(elev, np.inf), np.zeros_like(elev)
    h = max(1, round(4 / cell_m))
    for dr, dc in LATTICE:
        up = (
            np.minimum(_far(elev, dr, dc, round(50 / cell_m)), _far(elev, -dr, -dc, round(50 / cell_m)))
            - elev
        )
        np.maximum(trough, up, out=trough)
        low = [-_far(-elev, s * dr, s * dc, round(25 / cell_m)) for s in (1, -1)]
        np.minimum(rise, elev - np.maximum(low[0], low[1]), out=rise)
        n = max(1, round(h / np.hypot(dr, dc)))
        a, b, c, d = (np.roll(elev, (-k * n * dr, -k * n * dc), (0, 1)) for k in (-3, -1, 1, 3))
        for s, t, u, v in ((a, b, c, d), (d, c, b, a)):
            np.maximum(step, t - u - np.maximum(np.maximum(s - t, u - v), 0), out=step)
    return {"trough": trough, "rise": rise, "ledge": step}


def find(bed: Seabed) -> list[Site]:
    """Peaks of height at least 60 m apart in the depth band, tallest first."""
    elev = bed.elev.astype(np.float64)
    known = np.isfinite(elev)
    elev = median_filter(np.where(known, elev, np.nanmedian(elev)), 3)
    elev = gaussian_filter(elev, 1.0)
    best = np.zeros_like(elev)
    kind = np.zeros(elev.shape, dtype=int)
    for i, field in enumerate(fields(elev, bed.cell_m).values()):
        kind[field > best] = i
        best = np.maximum(best, field)
    edge = round(50 / bed.cell_m)
    inside = np.zeros_like(known)
    inside[edge:-edge, edge:-edge] = True
    ok = (
        inside
        & known
        & (-elev > bed.depth_band[0])
        & (-elev < bed.depth_band[1] + 1.5)
        & (best >= bed.asked_m)
    )
    best = np.where(ok, best, 0)
    peak = (best == maximum_filter(best, round(30 / bed.cell_m))) & (best > 0)
    rows, cols = np.nonzero(peak)
    order = np.argsort(-best[rows, cols])
    sites: list[Site] = []
    for r, c in zip(rows[order], cols[order], strict=True):
        xy = bed.xy_of(r, c)
        if any(np.hypot(*(xy - np.array(s.xy))) < 60 for s in sites):
            continue
        name = ("trough", "rise", "ledge")[kind[r, c]]
        height = float(best[r, c])
        nan = float("nan")
        sites.append(
            Site(
                (float(xy[0]), float(xy[1])), name, len(sites) + 1, height, nan, -float(elev[r, c]), height,
                nan, nan, nan, nan, nan, 0.0,
            )
        )  # fmt: skip
    return sites
