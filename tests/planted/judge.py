"""Hold a list of sites against the truth of a seabed.

**Right.** A site is right if its drop point is within `NEAR_M` of the foot of a planted real structure (stand-off 15 m, floor 3 m,
two cells), or if the noise-free surface has, within that distance, a trough, ledge or rise of at least `ENOUGH` x the asked height by the
naive reference. Inside the footprint of dug or moving ground, a decoy, or a structure out of band, the second way is not open.

**First K.** K = number of real planted structures. The list is walked in rank order; a first hit of a planted structure and a wrong
site take one of the K places; a further hit of the same structure, an optional structure and a natural structure (right, but not planted) take none.
``strict_recall`` lets every site take a place.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from planted.reference import floor_slope_deg, standing_at, tallest_near
from planted.truth import Planted, Seabed

NEAR_M = 20.0
ENOUGH = 0.9
FLAT_DEG = 12.0
"""A floor is called flat up to here: the recipe's full membership ends at 10 degrees, plus two for noise."""


@dataclass(frozen=True)
class Site:
    """One listed candidate in the seabed's local metres; measures may be NaN."""

    xy: tuple[float, float]
    kind: str
    rank: int
    score: float
    confidence: float
    depth_m: float
    height_m: float
    width_m: float
    off_m: float
    axis_deg: float
    facing_deg: float
    sigma_m: float
    ruled_like: float
    why: str = ""

    @property
    def demoted(self) -> bool:
        """True if the site says of itself that it looks dug or like a joint (even odds or more)."""
        return bool(np.nan_to_num(self.ruled_like) >= 0.5)


@dataclass
class Judgement:
    """Counts and errors of one seabed; `rows` holds one record a judged site."""

    k: int
    found: int
    wrong: int
    strict_found: int
    rows: list[dict[str, object]] = field(default_factory=list)
    missed: list[Planted] = field(default_factory=list)
    wrong_sites: list[tuple[Site, str]] = field(default_factory=list)
    dug_kinds: list[tuple[str, bool, bool, bool]] = field(default_factory=list)
    real_demoted: list[tuple[str, bool]] = field(default_factory=list)


def _owner(bed: Seabed, xy: NDArray[np.float64]) -> tuple[int, float]:
    """Index of the planted object whose foot is nearest, and the distance to that foot."""
    gaps = [max(0.0, float(p.nearest(xy)[0][0]) - p.half_width_m) for p in bed.planted]
    if not gaps:
        return -1, np.inf
    i = int(np.argmin(gaps))
    return i, gaps[i]


def _axis_error(found: float, true: float) -> float:
    return abs((found - true + 90) % 180 - 90)


def true_height(bed: Seabed, p: Planted, index: int) -> float:
    """Height at one point of a planted line: across a trough as the noise-free surface has it, of a rise as planted and
    what the rock's texture adds to its top or takes from it, else as planted."""
    if p.kind == "rise":
        return p.height_m + _standing(bed, bed.true_elev, p) - _standing(bed, bed.form, p)
    if p.kind != "trough":
        return p.height_m
    lo, hi = max(0, index - 3), min(len(p.line) - 1, index + 3)
    t = p.line[hi] - p.line[lo]
    normal = np.array([t[1], -t[0]]) / np.hypot(*t)
    u = np.arange(-p.half_width_m - 3, p.half_width_m + 3.01, 0.25)
    z = map_coordinates(
        bed.true_elev, bed.rowcol_of(p.line[index] + u[:, None] * normal), order=1, mode="nearest"
    )
    middle = np.abs(u) <= max(p.floor_half_m, 0.5)
    return float(min(z[u < 0].max(), z[u > 0].max()) - z[middle].min())


def _standing(bed: Seabed, surface: NDArray[np.float64], p: Planted) -> float:
    """How far the tallest cell of a planted rise stands above its surroundings on a surface (m): the least, over all axes, of
    the drop to both sides at one distance, so that the slope of the ground cancels."""
    n = int(p.half_width_m / bed.cell_m) + 1
    row, col = (int(round(float(v))) for v in bed.rowcol_of(p.line[0]))
    rows, cols = (v.ravel().astype(float) for v in np.mgrid[row - n : row + n + 1, col - n : col + n + 1])
    return float(standing_at(surface, rows, cols, cell_m=bed.cell_m).max())


FOOT_SHARE = 0.1
"""The foot of a side is where it has climbed this share of the height: a rounded side leaves the floor with no slope, so it has no other
end that could be seen."""

CLIMBED = float(np.arccos(1 - 2 * FOOT_SHARE) / np.pi)
"""How far along a half cosine that share is climbed."""


def distance_to_foot(bed: Seabed, p: Planted, xy: NDArray[np.float64]) -> float:
    """Distance (m) from a place to the foot of a planted structure, negative on the structure itself.

    From the formula of a ledge's face and a trough's wall; of a rise or rubble from the planted form, four times finer than its
    cells. Out beyond the lip of a trough the distance is that to the lip.
    """
    dist = float(p.nearest(xy)[0][0])
    if p.kind == "ledge":
        return dist - (1 - 2 * CLIMBED) * p.half_width_m
    if p.kind == "trough":
        wall = p.floor_half_m + CLIMBED * (p.half_width_m - p.floor_half_m)
        return wall - dist if dist < p.half_width_m else dist - p.half_width_m
    reach = 45.0
    step = bed.cell_m / 4
    u = np.arange(-reach, reach + step / 2, step)
    dx, dy = np.meshgrid(u, u)
    row, col = bed.rowcol_of(np.stack([xy[0] + dx, xy[1] + dy], -1))
    rock = map_coordinates(bed.form, [row, col], order=1, mode="nearest") >= FOOT_SHARE * p.height_m
    far = np.hypot(dx, dy)
    on_it = bool(rock[len(u) // 2, len(u) // 2])
    other = far[~rock] if on_it else far[rock]
    return (-1 if on_it else 1) * float(other.min()) if other.size else reach


def judge(bed: Seabed, sites: list[Site]) -> Judgement:
    """Judge a ranked list; see the module's docstring for what is right and what K means."""
    k = len(bed.real)
    out = Judgement(k, 0, 0, 0)
    hit: set[int] = set()
    places = strict = 0
    ranked = sorted(sites, key=lambda s: s.rank)
    first_demoted: dict[int, bool] = {}
    in_first_k: set[int] = set()
    listed: set[int] = set()
    for site in ranked:
        xy = np.array(site.xy)
        i, gap = _owner(bed, xy)
        p = bed.planted[i] if i >= 0 and gap <= NEAR_M else None
        if p is not None:
            listed.add(i)
            if i not in first_demoted:
                first_demoted[i] = site.demoted
        row, col = (float(v) for v in bed.rowcol_of(xy))
        strict += 1
        if p is not None and p.role in ("real", "optional"):
            fresh = i not in hit and p.role == "real"
            if fresh and strict <= k:
                out.strict_found += 1
            if fresh and places < k:
                places += 1
                out.found += 1
            hit.add(i)
            out.rows.append(_record(bed, site, p, gap, row, col))
            continue
        if places >= k:
            continue
        why = p.kind + " (" + p.role + ")" if p is not None else "nothing"
        if p is None:
            tall, kind = tallest_near(
                bed.true_elev, row, col, cell_m=bed.cell_m, within_m=NEAR_M, floor_m=ENOUGH * bed.asked_m
            )
            if tall >= ENOUGH * bed.asked_m:
                out.rows.append({"owner": "natural", "kind": site.kind, "true_kind": kind})
                continue
            why = f"nothing: tallest within {NEAR_M:.0f} m is {tall:.2f} m"
        places += 1
        out.wrong += 1
        out.wrong_sites.append((site, why))
        if p is not None:
            in_first_k.add(i)
    out.missed = [p for i, p in enumerate(bed.planted) if p.role == "real" and i not in hit]
    for i, p in enumerate(bed.planted):
        if p.role in ("dug", "moving"):
            out.dug_kinds.append((p.kind, i in listed, first_demoted.get(i, False), i in in_first_k))
        elif p.role in ("real", "optional") and i in listed:
            out.real_demoted.append((p.kind, first_demoted[i]))
    return out


def _record(bed: Seabed, site: Site, p: Planted, gap: float, row: float, col: float) -> dict[str, object]:
    """Errors of one site at a planted structure."""
    xy = np.array(site.xy)
    dist, index = p.nearest(xy)
    at = int(index[0])
    same = site.kind == p.kind or (p.kind == "rubble" and site.kind in ("ledge", "rise"))
    height = true_height(bed, p, at)
    full = bool(p.full[at])
    r, c = (
        int(np.clip(round(row), 0, bed.elev.shape[0] - 1)),
        int(np.clip(round(col), 0, bed.elev.shape[1] - 1)),
    )
    edge = distance_to_foot(bed, p, xy)
    return {
        "owner": p.kind,
        "kind": site.kind,
        "role": p.role,
        "same": same,
        "full": full,
        "coarse": p.in_coarse,
        "height_error": site.height_m - height
        if same and p.kind in ("trough", "ledge", "rise") and full
        else np.nan,
        "true_height": height,
        "reaches": height >= bed.asked_m,
        "confidence": site.confidence,
        "width_error": site.width_m - p.width_m if same and p.kind == "trough" and full else np.nan,
        "true_width": p.width_m,
        "axis_error": _axis_error(site.axis_deg, p.axis_deg(at))
        if same and p.kind == "trough" and full
        else np.nan,
        "facing_error": abs((site.facing_deg - p.facing_deg(at) + 180) % 360 - 180)
        if same and p.kind == "ledge" and full
        else np.nan,
        "floor_deg": floor_slope_deg(bed.true_elev, row, col, cell_m=bed.cell_m),
        "edge_m": edge,
        "off_error": site.off_m - edge if full else np.nan,
        "depth_error": site.depth_m + float(bed.true_elev[r, c]),
        "sigma": float(bed.sigma_true[r, c]),
        "cell": bed.cell_m,
    }
