"""A face: the stretch of a profile where the ground falls faster than on both sides of it.

Arrays and numbers in, numbers out. A profile runs downhill, one sample a step. Of all pairs of a top and a foot around
its middle the one is taken that falls most, and most steeply, beyond the ground's own slope. That slope is fitted
beyond both ends over a length that suits the face, and the steeper of the two counts: their mean would see a step where an
even slope only grows steeper. So one measure serves faces of three cells and of 150 m, and gives 0 on every plane.
An end that the data do not show is not seen: such a pair is no face.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel
from reefscan.kernels.measure.profiles import WIDE

GROUND_M = (8.0, 60.0)
"""Least and greatest length of the ground beyond a face over which its slope is fitted; between, as long as the face."""

LEAST_GROUND_M = 5.0
"""So much of it, or two steps, must be known."""

OWN_M = 4.0
"""Added to the length of a face before its gradient is compared: of steps in one cell the taller one counts."""

ALMOST = 1.0 - 1e-6
"""Share of the best so far that a pair or a stretch must reach by rough reckoning before it is read exactly: rounding takes less."""


def _ends(count: int) -> NDArray[np.int32]:
    """Distances from the middle at which an end is tried: from one to the next a sixth farther."""
    ends = [0]
    while len(ends) < count:
        ends.append(ends[-1] + max(1, ends[-1] // 6))
    return np.array(ends, np.int32)


ENDS = _ends(3 * WIDE)
"""Up to three million samples."""

FIELDS = ("top", "foot", "height", "drop", "length", "middle")
TOP, FOOT, HEIGHT, DROP, LENGTH, MIDDLE = range(len(FIELDS))
"""What `read_face` gives: first and last sample of the face; height beyond the ground's slope and plain fall (m); length (samples) by
which an even face would fall as between its tenth and nine tenths; where half of it is done (samples, a fraction)."""


@kernel
def _sums(
    p: NDArray[np.float64], first: int, last: int, total: NDArray[np.float64], moment: NDArray[np.float64]
) -> None:
    """Running sums of a profile and of its first moment, from ``first``: what lies before index k."""
    a, b = 0.0, 0.0
    for k in range(first, last + 1):
        total[k], moment[k] = a, b
        a += p[k]
        b += (k - first) * p[k]
    total[last + 1], moment[last + 1] = a, b


@kernel
def _falls(total: NDArray[np.float64], moment: NDArray[np.float64], origin: int, i: int, j: int) -> float:
    """Fall per step of the line of best fit through samples i to j, both included."""
    n = j - i + 1
    mean_k = 0.5 * (i + j) - origin
    z = total[j + 1] - total[i]
    covariance = moment[j + 1] - moment[i] - mean_k * z
    return -12.0 * covariance / (n * (n * n - 1.0))


@kernel
def mend_gaps(p: NDArray[np.float64], most: int) -> None:
    """Carry a profile straight over gaps of up to ``most`` samples, in place."""
    n, k = p.shape[0], 0
    while k < n:
        if p[k] == p[k]:
            k += 1
            continue
        end = k
        while end < n and not p[end] == p[end]:
            end += 1
        if k > 0 and end < n and end - k <= most:
            for i in range(k, end):
                p[i] = p[k - 1] + (p[end] - p[k - 1]) * (i - k + 1) / (end - k + 1)
        k = end


@kernel
def _may_win(high: float, low: NDArray[np.float64], length_m: float, step_m: float, bar: float) -> bool:
    """Whether a top and any foot could be worth more than a bar (a worth in squares) on ground without a slope of its own.

    All feet at once, without a branch, a root or a division.
    """
    count = np.int64(0)
    for k in range(low.shape[0]):
        most = max(high - low[k], 0.0)
        count += most * most * most > bar * (length_m + ENDS[k] * step_m)
    return bool(count > 0)


@kernel
def _best_pair(
    p: NDArray[np.float64], total: NDArray[np.float64], moment: NDArray[np.float64], first: int, last: int,
    step_m: float, sight: float, longest: float, out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Of all pairs of a top above the middle and a foot below it write the one that is worth most; False if none is worth anything.

    ``longest`` (samples) is more than a face may have: a pair that is too long may win, so that no part of a slope without end is
    taken for a face.
    """
    m = p.shape[0] // 2
    least_ground = max(2, int(LEAST_GROUND_M / step_m + 0.5))
    tops, feet = 0, 0
    while ENDS[tops] <= m - first - least_ground:
        tops += 1
    while ENDS[feet] <= last - least_ground - m:
        feet += 1
    low = np.empty(WIDE * (feet // WIDE + 1))
    for b in range(low.shape[0]):
        low[b] = p[m + ENDS[b]] + sight * ENDS[b] if b < feet else np.inf
    best, bar = 1e-6, 0.0
    for thinned in (5, 1):  # what a few pairs are worth leaves little of all others to be looked at
        for a in range(thinned // 2, tops, thinned):
            i = int(ENDS[a])
            if not _may_win(p[m - i] - sight * i, low, i * step_m + OWN_M, step_m, bar):
                continue
            for b in range(thinned // 2, feet, thinned):
                j = int(ENDS[b])
                length = i + j
                most = p[m - i] - p[m + j] - sight * length
                if length > longest:
                    break
                if length > 1 and most > 0.0 and most * most * most > bar * (length * step_m + OWN_M):
                    height, worth = _worth_of(p, total, moment, first, last, step_m, sight, m - i, m + j)
                    if worth > best:
                        best, bar = worth, worth * worth * ALMOST
                        out[TOP], out[FOOT], out[DROP] = m - i, m + j, p[m - i] - p[m + j]
                        out[HEIGHT] = height
        best = max(1e-6, math.sqrt(bar))  # a little less: of equals the first is to win
    return bar > 0.0


@kernel
def _worth_of(
    p: NDArray[np.float64], total: NDArray[np.float64], moment: NDArray[np.float64], first: int, last: int,
    step_m: float, sight: float, top: int, foot: int,
) -> tuple[float, float]:  # fmt: skip
    """Height of a pair of a top and a foot beyond its ground, and what it is compared by: that height by the root of its gradient."""
    length = foot - top
    beyond, steeper = _height(p, total, moment, first, last, step_m, top, foot)
    height = p[top] - p[foot] - max(steeper, sight) * length
    # of two faces as high the steeper one: its shoulders and its scree are not its own
    return beyond, height * math.sqrt(height / (length * step_m + OWN_M)) if height > 0.0 else 0.0


@kernel
def read_face(
    p: NDArray[np.float64],
    step_m: float,
    tilt: float,
    longest_m: float,
    total: NDArray[np.float64],
    moment: NDArray[np.float64],
    out: NDArray[np.float64],
) -> bool:
    """Find the face around the middle of a profile that runs downhill.

    Parameters
    ----------
    p : ndarray of float64, shape (2 m + 1,)
        Elevation (m), NaN unknown.
    step_m : float
        From one sample to the next.
    tilt : float
        Gradient of the sight line: what falls no faster is the lie of the land.
    longest_m : float
        A longer stretch is no face.
    total, moment : ndarray of float64, shape (2 m + 2,)
        Scratch.
    out : ndarray of float64, shape (len(FIELDS),)
        Written; see `FIELDS`.

    Returns
    -------
    bool
        True if there is one; its height beyond the sight line is above 0.
    """
    n = p.shape[0]
    m = n // 2
    if not p[m] == p[m]:
        return False
    first, last = m, m
    while first > 0 and p[first - 1] == p[first - 1]:
        first -= 1
    while last < n - 1 and p[last + 1] == p[last + 1]:
        last += 1
    _sums(p, first, last, total, moment)
    if not _best_pair(p, total, moment, first, last, step_m, tilt * step_m, 1.4 * longest_m / step_m, out):
        return False
    _to_its_ends(p, total, moment, first, last, step_m, out)
    top, foot = int(out[TOP]), int(out[FOOT])
    if (foot - top) * step_m > max(longest_m, 4.0 * step_m):
        return False
    out[LENGTH] = max(1.0, run_of_side(p, foot, np.int64(-1), foot - top, p[top] - p[foot]))
    out[MIDDLE] = _crossing(p, top, foot, 0.5)
    return True


@kernel
def _height(
    p: NDArray[np.float64], total: NDArray[np.float64], moment: NDArray[np.float64], first: int, last: int,
    step_m: float, top: int, foot: int,
) -> tuple[float, float]:  # fmt: skip
    """Fall from one sample to another beyond the steeper of the grounds on both sides, and that ground's fall a step."""
    length = foot - top
    reach = max(min(length * step_m, GROUND_M[1]), GROUND_M[0]) / step_m
    ground = max(2, int(reach + 0.5))
    above = _falls(total, moment, first, max(first, top - ground), top)
    below = _falls(total, moment, first, foot, min(last, foot + ground))
    steeper = max(above, below)
    return p[top] - p[foot] - max(steeper, 0.0) * length, steeper


@kernel
def _to_its_ends(
    p: NDArray[np.float64], total: NDArray[np.float64], moment: NDArray[np.float64], first: int, last: int,
    step_m: float, out: NDArray[np.float64],
) -> None:  # fmt: skip
    """Move top and foot outward over rounded shoulders, a part of the length at the most, as far as the height grows."""
    top, foot = int(out[TOP]), int(out[FOOT])
    room = max(1, (foot - top) // 4)
    least = max(2, int(LEAST_GROUND_M / step_m + 0.5))
    for i in range(max(first + least, top - room), top + 1):
        for j in range(foot, min(last - least, foot + room) + 1):
            height, _ = _height(p, total, moment, first, last, step_m, i, j)
            if height > out[HEIGHT] + 0.001:  # ends that add nothing but rounding stay
                out[HEIGHT], out[TOP], out[FOOT], out[DROP] = height, i, j, p[i] - p[j]


MOST_OF_IT = 0.8
"""Share of a side's climb that is its own: what lies beyond is shoulder and scree."""


@kernel
def run_of_side(p: NDArray[np.float64], foot: int, step: int, count: int, climb: float) -> float:
    """Samples over which a side would climb if all of it were as steep as its steepest stretch.

    Of all stretches of the ``count`` samples from ``foot`` on (``step`` 1 or -1) the run is taken over which it climbs `MOST_OF_IT` of
    ``climb``, stretched to the whole; one that climbs less counts for less, by as much as it lacks. So the value changes little where
    another stretch becomes the steepest. On an even side it is the side's own run, on half a wave that from a tenth to nine tenths.
    """
    best, wanted = float(count), MOST_OF_IT * climb
    side = p[min(foot, foot + step * count) : max(foot, foot + step * count) + 1]
    run = 1
    # of a run no more than its last sample is taken off: from one sample above the best on none is shorter
    while run <= count and run - 1 < MOST_OF_IT * best:
        if _climbs(side, step, run, min(wanted, math.sqrt(ALMOST * run * climb * wanted / best))):
            for k in range(count - run + 1):
                gain = step * (side[k + run] - side[k])
                if gain >= wanted:
                    # the same without its first sample, and without its last
                    less = max(step * (side[k + run] - side[k + 1]), step * (side[k + run - 1] - side[k]))
                    best = min(best, (run - (gain - wanted) / max(gain - less, 1e-9)) / MOST_OF_IT)
                elif gain > 0.0:
                    best = min(best, run * climb / gain * wanted / gain)
        run += 1
    return best


@kernel
def _climbs(side: NDArray[np.float64], step: int, run: int, least: float) -> bool:
    """Whether any stretch of so many samples climbs by so much: all at once, without a branch."""
    count = np.int64(0)
    for k in range(side.shape[0] - run):
        count += step * (side[k + run] - side[k]) >= least
    return bool(count > 0)


@kernel
def _crossing(p: NDArray[np.float64], top: int, foot: int, share: float) -> float:
    """Where a face has fallen this share of its drop, samples: the last such place of the upper half, the first of the lower."""
    level = p[top] - share * (p[top] - p[foot])
    if share > 0.5:
        for k in range(top, foot):
            if p[k + 1] <= level < p[k]:
                return k + (p[k] - level) / (p[k] - p[k + 1])
        return float(foot)
    for k in range(foot - 1, top - 1, -1):
        if p[k + 1] <= level < p[k]:
            return k + (p[k] - level) / (p[k] - p[k + 1])
    return float(top)
