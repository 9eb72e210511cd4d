"""Where tracks cross, one place was sounded twice: the survey's own check of itself."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, vstack
from scipy.sparse.linalg import lsqr

from reefscan.base.s44 import ORDERS, tvu
from reefscan.base.spread import robust_sd

Floats = NDArray[np.float64]
PIECE = 16
LATENCY_S = 4.0
"""Delays that are tried, either way."""
LATENCY_GAIN = 0.3
"""Share of the disagreement that a delay must explain; noise alone was seen to explain up to 0.15."""
MOST_PAIRS = 40_000
"""Pairs of pieces examined; beyond it an even selection, which the summary states."""


@dataclass(frozen=True)
class Crossings:
    """One row a crossing of two tracks.

    Parameters
    ----------
    x, y : ndarray of float
        Where (m).
    difference : ndarray of float
        Depth on the later track minus depth on the earlier (m).
    depth : ndarray of float
        Mean of the two (m).
    first, second : ndarray of int
        Session of each.
    examined : float
        Share of the possible crossings that was examined.
    """

    x: Floats
    y: Floats
    difference: Floats
    depth: Floats
    first: NDArray[np.int64]
    second: NDArray[np.int64]
    examined: float = 1.0
    legs: tuple[NDArray[np.int64], NDArray[np.int64], Floats, Floats] | None = None
    """Rows of the two soundings before the crossing, and how far along each leg it lies."""


def with_depths(crossings: Crossings, depth: Floats) -> Crossings:
    """The same crossings with other depths of the same soundings (reduced, levelled)."""
    if crossings.legs is None:
        return crossings
    i, j, u, v = crossings.legs
    za, zb = depth[i] + u * (depth[i + 1] - depth[i]), depth[j] + v * (depth[j + 1] - depth[j])
    return replace(crossings, difference=zb - za, depth=0.5 * (za + zb))


def find_crossings(
    x: Floats, y: Floats, depth: Floats, time: Floats, session: NDArray[np.int32], breaks: NDArray[np.bool_], *,
    longest_step_m: float,
) -> Crossings:  # fmt: skip
    """Find where tracks cross, with both depths interpolated to the crossing.

    Parameters
    ----------
    x, y, depth, time : ndarray of float
        Kept, reduced soundings in the order logged.
    session : ndarray of int
    breaks : ndarray of bool
        Starts of stretches of track.
    longest_step_m : float
        Steps between soundings longer than this do not count as track.
    """
    n = x.size
    none = np.zeros(0)
    empty = Crossings(none, none, none, none, none.astype(np.int64), none.astype(np.int64))
    if n < 2 * PIECE:
        return empty
    step = np.hypot(np.diff(x), np.diff(y))
    linked = (step <= longest_step_m) & ~breaks[1:] & (step > 0)
    start, found = _crossing_pieces(x, y, longest_step_m)
    total = found.shape[0]
    if total == 0:
        return empty
    if total > MOST_PAIRS:
        found = found[np.linspace(0, total - 1, MOST_PAIRS).astype(int)]
    si, sj, u, v = _intersect(x, y, linked, start[found[:, 0]], start[found[:, 1]], n)
    ta = time[si] + u * (time[si + 1] - time[si])
    tb = time[sj] + v * (time[sj + 1] - time[sj])
    px, py = x[si] + u * (x[si + 1] - x[si]), y[si] + u * (y[si + 1] - y[si])
    wait = tb - ta
    apart = ~(np.abs(wait) < 20.0) & (sj - si > 5)  # a wobble of one track is not a crossing
    legs = si[apart], sj[apart], u[apart], v[apart]
    found_at = Crossings(
        px[apart],
        py[apart],
        none,
        none,
        session[si[apart]].astype(np.int64),
        session[sj[apart]].astype(np.int64),
        found.shape[0] / total,
        legs,
    )
    return with_depths(found_at, depth)


def _crossing_pieces(
    x: Floats, y: Floats, longest_step_m: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First sounding of each piece of track, and the pairs of pieces that cross."""
    n = x.size
    start = np.arange(0, n - 1, PIECE)
    stop = np.minimum(start + PIECE, n - 1)
    # A piece with a hole in it is still searched; the hole's segment itself is skipped below.
    corner = np.repeat(start, stop - start + 1)
    order = np.arange(corner.size) - np.repeat(np.cumsum(np.r_[0, (stop - start + 1)[:-1]]), stop - start + 1)
    vertex = corner + order
    lines = shapely.linestrings(
        np.c_[x[vertex], y[vertex]], indices=np.repeat(np.arange(start.size), stop - start + 1)
    )
    length = shapely.length(lines)
    usable = length < PIECE * longest_step_m * 3
    tree = shapely.STRtree(lines[usable])
    names = np.flatnonzero(usable)
    pairs = []
    for lo in range(0, names.size, 20_000):
        a, b = tree.query(lines[usable][lo : lo + 20_000], predicate="crosses")
        a = a + lo
        keep = names[b] > names[a] + 1
        pairs.append(np.c_[names[a[keep]], names[b[keep]]])
    return start, np.concatenate(pairs) if pairs else np.zeros((0, 2), int)


def _intersect(
    x: Floats, y: Floats, linked: NDArray[np.bool_], a0: NDArray[np.int64], b0: NDArray[np.int64], n: int
) -> tuple[NDArray[np.int64], NDArray[np.int64], Floats, Floats]:
    """Segments of two pieces that cross, and how far along each."""
    i = (a0[:, None, None] + np.arange(PIECE)[None, :, None]).repeat(PIECE, axis=2).ravel()
    j = (b0[:, None, None] + np.arange(PIECE)[None, None, :]).repeat(PIECE, axis=1).ravel()
    fine = (i < n - 1) & (j < n - 1)
    i, j = i[fine], j[fine]
    fine = linked[i] & linked[j] & (j > i + 1)
    i, j = i[fine], j[fine]
    ax, ay, bx, by = x[i + 1] - x[i], y[i + 1] - y[i], x[j + 1] - x[j], y[j + 1] - y[j]
    cross = ax * by - ay * bx
    dx, dy = x[j] - x[i], y[j] - y[i]
    with np.errstate(divide="ignore", invalid="ignore"):
        u, v = (dx * by - dy * bx) / cross, (dx * ay - dy * ax) / cross
    hit = (cross != 0) & (u >= 0) & (u < 1) & (v >= 0) & (v < 1)
    return i[hit], j[hit], u[hit], v[hit]


def share_within(order: str, difference_m: Floats, depth_m: Floats) -> float:
    """Share of differences of two soundings that lie within sqrt(2) TVU of an S-44 order; NaN if there are none."""
    if difference_m.size == 0:
        return float("nan")
    return float(np.mean(np.abs(difference_m) <= np.sqrt(2.0) * tvu(order, depth_m)))


def summary(crossings: Crossings) -> dict[str, object]:
    """Count, median, robust and plain spread, and the share within sqrt(2) TVU of each S-44 order."""
    d = crossings.difference
    if d.size == 0:
        return {"count": 0}
    return {
        "count": int(d.size),
        "examined": round(crossings.examined, 3),
        "median_m": round(float(np.median(d)), 3),
        "robust_sd_m": round(robust_sd(d - np.median(d)), 3),
        "rms_m": round(float(np.sqrt(np.mean(d**2))), 3),
        "largest_m": round(float(np.max(np.abs(d))), 3),
        "within_tvu": {o: round(share_within(o, d, crossings.depth), 3) for o in ORDERS if o != "1b"},
    }


def session_biases(crossings: Crossings, sessions: int) -> Floats:
    """Constant error of each session (m), by robust least squares on the crossings between sessions.

    The differences fix the biases only up to a constant: their mean, weighted by crossings, is zero.
    Sessions without a crossing get none. Weights are Huber's (1.345 robust deviations).

    Returns
    -------
    ndarray of float, shape (sessions,)
        To be subtracted from the depths.
    """
    other = crossings.first != crossings.second
    i, j, d = crossings.first[other], crossings.second[other], crossings.difference[other]
    if d.size == 0:
        return np.zeros(sessions)
    rows = np.arange(d.size)
    ones = np.ones(d.size)
    design = coo_matrix(
        (np.r_[-ones, ones], (np.r_[rows, rows], np.r_[i, j])), shape=(d.size, sessions)
    ).tocsr()
    touched = np.bincount(np.r_[i, j], minlength=sessions)
    tie = coo_matrix(touched[None, :] / max(touched.sum(), 1))
    weight, bias = ones, np.zeros(sessions)
    for _ in range(12):
        root = np.sqrt(weight)
        system = vstack([design.multiply(root[:, None]), tie]).tocsr()
        bias = np.asarray(lsqr(system, np.r_[root * d, 0.0], damp=1e-6)[0])
        miss = np.abs(d - design @ bias)
        scale = max(robust_sd(miss), 1e-3)
        weight = np.minimum(1.0, 1.345 * scale / np.maximum(miss, 1e-9))
    return bias


def latency(
    x: Floats, y: Floats, depth: Floats, time: Floats, breaks: NDArray[np.bool_], *, side_m: float
) -> tuple[float, float] | None:  # fmt: skip
    """Delay of the positions behind the depths (s), from ground sounded on different headings.

    With a wrong clock every slope is shifted along the boat's heading, so that passes on opposite
    headings disagree. Of a range of delays the one under which soundings in the same cell agree
    best is returned.

    Returns
    -------
    delay_s, gain : float
        The delay, and the share of the disagreement that it explains; None if the tracks cannot
        tell (too few cells with two headings, or too little gain).
    """
    if x.size < 500 or not np.isfinite(time).all():
        return None
    if x.size > 200_000:
        part = slice(0, 200_000)
        x, y, depth, time, breaks = x[part], y[part], depth[part], time[part], breaks[part]
    dt = np.gradient(time)
    dt[dt <= 0] = np.nan
    vx, vy = np.gradient(x) / dt, np.gradient(y) / dt
    speed = np.hypot(vx, vy)
    moving = (speed > 0.5) & (speed < 15.0) & ~breaks
    if moving.sum() < 500:
        return None
    x, y, z, vx, vy = x[moving], y[moving], depth[moving], vx[moving], vy[moving]
    heading = np.floor((np.degrees(np.arctan2(vx, vy)) % 360.0) / 45.0).astype(np.int64)
    trials = np.arange(-LATENCY_S, LATENCY_S + 0.01, 0.1)
    score = np.array([_disagreement(x + vx * t, y + vy * t, z, heading, side_m) for t in trials])
    still = float(score[np.abs(trials).argmin()])
    if not np.isfinite(score).all() or still <= 0:
        return None
    best = int(np.argmin(score))
    gain = 1.0 - float(score[best]) / still
    if gain < LATENCY_GAIN or best in (0, trials.size - 1):
        return None
    a, b, c = score[best - 1], score[best], score[best + 1]
    shift = 0.5 * (a - c) / (a - 2 * b + c) if a - 2 * b + c > 0 else 0.0
    return round(float(trials[best] + 0.1 * shift), 2), round(gain, 3)


def _disagreement(x: Floats, y: Floats, z: Floats, heading: NDArray[np.int64], side_m: float) -> float:
    """Robust mean square difference between headings within cells."""
    cell = np.floor(x / side_m).astype(np.int64) * (1 << 31) + np.floor(y / side_m).astype(np.int64)
    key, group = np.unique(cell * 8 + heading, return_inverse=True)
    n = np.bincount(group)
    mean = np.bincount(group, z) / n
    same = (key[1:] >> 3) == (key[:-1] >> 3)
    opposite = np.abs((key[1:] & 7) - (key[:-1] & 7))
    pick = same & (opposite >= 2)
    if pick.sum() < 100:
        return float("nan")
    d = np.abs(mean[1:] - mean[:-1])[pick]
    return float(np.mean(np.minimum(d, np.percentile(d, 95)) ** 2))
