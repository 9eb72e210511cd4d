"""Running robust filters along a track that leave steps, slopes and single rocks alone.

A sounding is a spike only if it stands off from both sides: below or above every one of its
neighbours but the most extreme one. A ledge never does: the first sounding on the upper level has
the upper level after it, the last one before the lip has the lower level before it.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

Floats = NDArray[np.floating]
SLAB = 1 << 18
"""Soundings filtered at once; bounds the memory."""


def spikes(
    depth: Floats, breaks: NDArray[np.bool_], *,
    floor_m: float, share: float, times: float, side: int = 4, run: int = 3,
) -> NDArray[np.bool_]:  # fmt: skip
    """Find soundings that stand off from what lies before and after them along the track.

    A sounding must exceed both sides' envelope (the range of the neighbours there, the most extreme
    one left out) the same way by ``max(floor, times x local scatter) + share x depth``. Found ones are taken out and the search
    repeats, so that runs of up to ``run`` are found from their ends.

    Parameters
    ----------
    depth : ndarray of float, shape (n,)
        Along the track; no NaN.
    breaks : ndarray of bool, shape (n,)
        True where a new stretch of track starts: nothing is compared across.
    floor_m, share, times : float
        The threshold.
    side : int
        Neighbours looked at on each side.
    run : int
        Passes of the search.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    found = np.zeros(depth.size, bool)
    alive = np.arange(depth.size)
    stretch = np.cumsum(breaks).astype(np.int64)
    for turn in range(run):
        if turn:  # only beside what was found can there be anything new
            near = np.flatnonzero(found)
            touched = np.zeros(depth.size, bool)
            for shift in range(-4 * side, 4 * side + 1):
                touched[np.clip(near + shift, 0, depth.size - 1)] = True
            alive = np.flatnonzero(touched & ~found)
            stretch = np.cumsum(breaks | np.r_[True, touched[1:] != touched[:-1]]).astype(np.int64)
        if alive.size < 2 * side + 1:
            break
        piece = stretch[alive]
        new = _one_pass(depth[alive], piece, floor_m, share, times, side)
        if not new.any():
            break
        found[alive[new]] = True
    return found


def _one_pass(
    z: Floats, piece: NDArray[np.int64], floor_m: float, share: float, times: float, side: int
) -> NDArray[np.bool_]:
    n = z.size
    out = np.zeros(n, bool)

    def one_slab(lo: int) -> None:
        hi = min(n, lo + SLAB)
        wide = 2 * side  # scatter from twice as far, so that four bad steps of eight cannot hide a spike
        a, b = lo - side, hi + side
        index = np.clip(np.arange(a, b), 0, n - 1)
        zz, pp = z[index].astype(np.float32), piece[index]
        windows = sliding_window_view(zz, 2 * side + 1)
        same = sliding_window_view(pp, 2 * side + 1) == pp[side:-side][:, None]
        inside = np.arange(a, b)
        real = sliding_window_view((inside >= 0) & (inside < n), 2 * side + 1)
        same = same & real
        mid = windows[:, side]
        left, right = windows[:, side - 1 :: -1][:, :side], windows[:, side + 1 :]
        ok_l, ok_r = same[:, side - 1 :: -1][:, :side], same[:, side + 1 :]
        excess_l, n_l = _beyond(mid, left, ok_l)
        excess_r, n_r = _beyond(mid, right, ok_r)
        # A side with fewer than two soundings has no say; with none at all nothing is judged.
        has_l, has_r = n_l >= 2, n_r >= 2
        both = np.where(
            np.sign(excess_l) == np.sign(excess_r), np.minimum(np.abs(excess_l), np.abs(excess_r)), 0.0
        )
        excess = np.where(has_l & has_r, both, 0.0)
        around = np.clip(np.arange(lo - wide, hi + wide), 0, n - 1)
        step = np.abs(np.diff(z[around]))
        step[(np.diff(around) == 0) | (np.diff(piece[around]) != 0)] = np.nan
        steps = sliding_window_view(step, 2 * wide)
        scatter = _row_median(steps) * 1.05  # 1.4826 / sqrt(2): steps are differences of two
        limit = np.maximum(floor_m, times * scatter) + share * np.abs(mid)
        # Three soundings that agree are a rock, not spikes: those come alone or in unlike pairs.
        like = same & (np.abs(windows - mid[:, None]) <= limit[:, None])
        suspect = (excess > limit) & (like[:, side - 3 : side + 4].sum(axis=1) - 1 < 2)
        out[lo:hi] = suspect & _worst_nearby(excess, suspect)

    # Sorting lets go of the interpreter's lock: two threads take little over half the time.
    with ThreadPoolExecutor(max_workers=2) as threads:
        list(threads.map(one_slab, range(0, n, SLAB)))
    return out


def _beyond(
    mid: NDArray[np.float32], near: NDArray[np.float32], ok: NDArray[np.bool_]
) -> tuple[Floats, NDArray[np.int64]]:
    """Signed distance of ``mid`` outside one side's envelope, its most extreme member left out."""
    count = ok.sum(axis=1)
    filled = np.sort(np.where(ok, near, np.nan), axis=1)  # NaN last
    rows = np.arange(mid.size)
    trim = (count >= 4).astype(int)
    low = filled[rows, np.clip(trim, 0, near.shape[1] - 1)]
    high = filled[rows, np.clip(count - 1 - trim, 0, near.shape[1] - 1)]
    above, below = mid - high, low - mid
    return np.where(above > 0, above, np.where(below > 0, -below, 0.0)), count


def _row_median(values: Floats) -> Floats:
    ordered = np.sort(values, axis=1)
    count = np.isfinite(values).sum(axis=1)
    rows = np.arange(values.shape[0])
    at = np.clip(count, 1, None) - 1
    return np.asarray(np.nan_to_num((ordered[rows, at // 2] + ordered[rows, (at + 1) // 2]) / 2.0))


def _worst_nearby(excess: Floats, suspect: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Of two suspects side by side only the worse goes in one pass: its neighbour may be innocent."""
    size = np.where(suspect, excess, 0.0)
    before, after = np.r_[0.0, size[:-1]], np.r_[size[1:], 0.0]
    peak = (size >= before) & (size > after) | (size > before) & (size >= after)
    return np.asarray(peak | ((before == 0) & (after == 0)))


def short_excursions(
    depth: Floats, breaks: NDArray[np.bool_], *, jump_m: Floats, longest: int
) -> list[tuple[int, int]]:
    """Runs that leave the track's level in one jump and come back in one jump the other way.

    Parameters
    ----------
    depth : ndarray of float
    breaks : ndarray of bool
        New stretches of track.
    jump_m : ndarray of float
        Least size of a jump at each sounding.
    longest : int
        Longest run, in soundings.

    Returns
    -------
    list of (start, stop)
        Half-open ranges.
    """
    step = np.diff(depth)
    jumps = np.flatnonzero((np.abs(step) > np.minimum(jump_m[1:], jump_m[:-1])) & ~breaks[1:])
    piece = np.cumsum(breaks)
    out = []
    for a, b in zip(jumps[:-1].tolist(), jumps[1:].tolist(), strict=True):
        if b - a <= longest and step[a] * step[b] < 0 and piece[a] == piece[b + 1]:
            out.append((a + 1, b + 1))
    return out


def _steady(part: Floats) -> bool:
    """True if four of five steps are within a twentieth of the depth: ground, not noise in a burst."""
    part = part[:400]
    return bool(np.percentile(np.abs(np.diff(part)), 80) <= 0.05 * np.median(part) + 0.3)


STEADY = 12
"""Soundings from which a piece of track can be steady ground."""


def bursts(
    depth: Floats, step_m: Floats, breaks: NDArray[np.bool_], *, longest: int
) -> list[tuple[int, int, float, float]]:
    """Stretches of unsteady readings between two steady ones at about one level.

    The track is cut where the depth changes within one step by more than half (and 2 m), steeper
    than 60 degrees. Pieces shorter than `STEADY` soundings are unsteady; a row of them between two
    steady pieces whose levels differ by less than a third is a burst.

    Returns
    -------
    list of (start, stop, level before, level after)
        Half-open ranges of soundings, with the steady levels (m) on both sides.
    """
    change = np.abs(np.diff(depth))
    leap = (change > np.maximum(2.0, 0.5 * np.minimum(depth[1:], depth[:-1]))) & (change > 1.7 * step_m[1:])
    edge = np.r_[True, leap] | breaks
    start = np.flatnonzero(edge)
    stop = np.r_[start[1:], depth.size]
    piece = np.cumsum(breaks)
    firm = np.array(
        [k for k in np.flatnonzero(stop - start >= STEADY) if _steady(depth[start[k] : stop[k]])],
        dtype=np.int64,
    )
    out = []
    for a, b in zip(firm[:-1].tolist(), firm[1:].tolist(), strict=True):
        lo, hi = int(stop[a]), int(start[b])
        if b == a + 1 or hi - lo > longest or piece[lo - 1] != piece[hi]:
            continue
        before, after = float(np.median(depth[lo - 8 : lo])), float(np.median(depth[hi : hi + 8]))
        if max(before, after) < 1.5 * min(before, after):
            out.append((lo, hi, before, after))
    return out
