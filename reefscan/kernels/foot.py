"""Where the rock's foot lies, as seen from the floor beside it.

The foot is where the side has climbed a tenth of the structure's height: a rounded side leaves the floor too
gently for any other end to be seen, and lower than that it neither holds a net nor hides an animal. The same
definition serves a ledge's face, a rise and the walls of a trough.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels.order import median_of_few, put_in_order
from reefscan.kernels.profiles import profile, sample, spread_of_lines

FOOT_SHARE = 0.1
"""Share of the height climbed at the foot."""

GROUND_M = 8.0
"""Length of the ground below a ledge that its foot is told from: the ledge's own measure takes as much."""

HEADINGS = 24
"""Headings in which the foot of a rise is looked for."""

SEEN_SHARE = 0.6
"""Where noise hides the foot, the side between the lowest climb that noise does not feign and this share of the height is
carried on down to it: without noise half a cosine's foot is then told within 4 % of its run, a straight side's exactly."""

LEAST_PART = 0.25
"""Least share of the height over which a side is carried on: over less, noise would swing it by more than twice its own error."""


@njit(cache=True, nogil=True)
def _seen(height: float, least: float) -> float:
    """Climb (m) at which a side is first seen: a tenth of the height, or what noise does not feign, but never more than
    `SEEN_SHARE` of it: on ground as rough as it is high the foot is still somewhere on the side."""
    return min(max(FOOT_SHARE * height, least), SEEN_SHARE * height)


@njit(cache=True, nogil=True)
def _upper(height: float, seen: float) -> float:
    """Climb (m) of the upper of the two places by which a side is carried on down to its foot."""
    return max(SEEN_SHARE * height, seen + LEAST_PART * height)


@njit(cache=True, nogil=True)
def _carried_on(share_m: float, low_m: float, low_at: float, high_m: float, high_at: float) -> float:
    """Where a straight line through two places of a side (climb, distance) has climbed ``share_m``."""
    if low_m <= share_m or high_m <= low_m or not high_at == high_at:
        return low_at
    return low_at - (high_at - low_at) * (low_m - share_m) / (high_m - low_m)


@njit(cache=True, nogil=True)
def rise_feet(
    elev: NDArray[np.int32], row: float, col: float, reach: int, height: float, noise: float,
    least: float, feet: NDArray[np.float64],
) -> None:  # fmt: skip
    """Distance (cells) from the top of a rise to its foot in each of `HEADINGS` headings, clockwise from north.

    Along a ray, means of three cells; the foot is where nine tenths of the height are lost, or of the whole
    drop where the ground that way stands higher. ``least`` (m) is a climb that noise does not feign. The middle of five
    neighbouring headings is taken.
    """
    top = sample(elev, row, col) - 0.3 * noise
    raw = np.empty(HEADINGS)
    line = np.empty(reach + 2)
    for a in range(HEADINGS):
        dr, dc = -math.cos(2.0 * math.pi * a / HEADINGS), math.sin(2.0 * math.pi * a / HEADINGS)
        n = 0
        for k in range(reach + 2):
            z = sample(elev, row + k * dr, col + k * dc)
            if not z == z:
                if k == 0:
                    break
                z = line[k - 1]
            line[k] = z
            n = k + 1
        low = top
        for k in range(1, n - 1):
            low = min(low, (line[k - 1] + line[k] + line[k + 1]) / 3.0)
        whole = min(height, top - low)
        foot, seen = FOOT_SHARE * whole, _seen(whole, least)
        upper = _upper(whole, seen)
        high_at = np.nan
        raw[a] = float(max(0, n - 1))
        before = 0.0
        for k in range(1, n - 1):
            drop = top - (line[k - 1] + line[k] + line[k + 1]) / 3.0
            if not high_at == high_at and drop >= whole - upper:
                high_at = k - 1 + (whole - upper - before) / max(drop - before, 1e-9)
            if drop >= whole - seen:
                at = k - 1 + (whole - seen - before) / max(drop - before, 1e-9)
                # distances grow outward here, so the side runs from its foot inward
                raw[a] = min(float(reach), _carried_on(foot, seen, at, upper, high_at))
                break
            before = drop
    five = np.empty(5)
    for a in range(HEADINGS):
        for i in range(5):
            five[i] = raw[(a + i - 2) % HEADINGS]
        feet[a] = median_of_few(five)


@njit(cache=True, nogil=True)
def foot_towards(feet: NDArray[np.float64], dr: float, dc: float) -> float:
    """Foot of a rise in the heading of (dr, dc), linear between headings."""
    turn = math.atan2(dc, -dr) / (2.0 * math.pi) * HEADINGS
    a = int(math.floor(turn))
    part = turn - a
    return (1.0 - part) * feet[a % HEADINGS] + part * feet[(a + 1) % HEADINGS]


@njit(cache=True, nogil=True)
def ledge_foot(
    elev: NDArray[np.int32], row: float, col: float, down: float, half_face: float, height: float,
    least: float, cell_m: float, p: NDArray[np.float64],
) -> float:  # fmt: skip
    """Distance (cells) from the middle of a ledge's face to its foot, downhill.

    ``least`` (m) is a climb that noise does not feign. The lower ground is a straight line over `GROUND_M` beyond the face; walking up from it, the foot is where
    the profile stands above the line for good.
    """
    lines, gap = spread_of_lines(cell_m)
    first = int(half_face + 1.5)
    n = max(3, int(GROUND_M / cell_m + 0.5))
    reach = min((p.shape[0] - 1) // 2, first + n)
    p = p[: 2 * reach + 1]
    profile(elev, row, col, down, reach, lines, gap, p)
    sx, sy, sxx, sxy, known = 0.0, 0.0, 0.0, 0.0, 0
    for k in range(first, reach + 1):
        z = p[reach + k]
        if z == z:
            sx += k
            sy += z
            sxx += k * k
            sxy += k * z
            known += 1
    if known < 3:
        return half_face
    slope = (sxy - sx * sy / known) / (sxx - sx * sx / known)
    level = (sy - slope * sx) / known
    threshold = _seen(height, least)
    upper = _upper(height, threshold)
    before, at, high_at = 0.0, np.nan, np.nan
    # up the whole face: what noise adds to its run lies on the lower ground as often as on the upper
    for k in range(reach, -reach, -1):
        z = p[reach + k]
        if not z == z:
            continue
        climbed = z - level - slope * k
        if not at == at:
            ahead = p[reach + k - 1] - level - slope * (k - 1)
            if climbed >= threshold and (not ahead == ahead or ahead >= threshold):
                at = (
                    k + (climbed - threshold) / max(climbed - before, 1e-9)
                    if before < threshold
                    else float(k)
                )
        if at == at and climbed >= upper:
            high_at = k + (climbed - upper) / max(climbed - before, 1e-9)
            break
        before = climbed
    if not at == at:
        return half_face
    return min(float(reach), _carried_on(FOOT_SHARE * height, threshold, at, upper, high_at))


@njit(cache=True, nogil=True)
def _floor_of(p: NDArray[np.float64], first: int, last: int) -> float:
    """Level (m) of a floor along a part of a profile: the lower quarter of its running means of three, NaN for none known.

    The lowest of many is low by its noise; a middle one stands on a wall where the net lies to one side of the floor.
    """
    level = np.empty(max(0, last - first + 1))
    known = 0
    for k in range(first, last + 1):
        z = (p[k - 1] + p[k] + p[k + 1]) / 3.0
        if z == z:
            level[known] = z
            known += 1
    if known == 0:
        return np.nan
    put_in_order(level[:known])
    return float(level[known // 4])


@njit(cache=True, nogil=True)
def _foot_of_side(
    p: NDArray[np.float64], reach: int, step: int, floor: float, height: float, least: float
) -> float:
    """Distance (cells) from the middle of a profile to the foot of the side met one way along it, NaN for none.

    Found first by how high it climbs, which noise on the floor does not, and followed down to the last place that is lower
    than what it does.
    """
    seen = _seen(height, least)
    upper = _upper(height, seen)
    level, high = floor + seen, floor + upper
    # as far as the side climbs high, or to the end where it never does and yet ends up above the floor
    top, last, high_at = -1, 0, np.nan
    before = p[reach]
    for i in range(1, reach + 1):
        z = p[reach + step * i]
        if not z == z:
            continue  # a gap in the survey is no wall
        last, top = max(top, 0), i
        ahead = p[reach + step * min(i + 1, reach)]
        # one noisy cell is not a wall: the next one stands as high, or beside a gap the one before stands on it too
        if z >= high and (ahead >= high or (not ahead == ahead and before >= level)):
            high_at = (
                last + (i - last) * (high - before) / max(z - before, 1e-9) if before < high else float(last)
            )
            break
        before = z
    if top < 0 or not p[reach + step * top] >= level:
        return np.nan
    if not high_at == high_at and not p[reach + step * last] >= level:
        return np.nan  # nor is the last one before a gap or the end
    above, at = p[reach + step * top], float(top)
    for i in range(top - 1, -1, -1):
        z = p[reach + step * i]
        if not z == z:
            continue
        if z < level:
            at = i + (at - i) * (level - z) / max(above - z, 1e-9)
            break
        above, at = z, float(i)
    return max(0.0, _carried_on(FOOT_SHARE * height, seen, at, upper, high_at))


@njit(cache=True, nogil=True)
def wall_foot(
    elev: NDArray[np.int32], row: float, col: float, cross: float, floor_half: float, half: float,
    height: float, least: float, cell_m: float, p: NDArray[np.float64],
) -> tuple[float, float]:  # fmt: skip
    """Distance (cells) from a place on a trough's floor to the nearer wall's foot, and the side it lies on: 1 along ``cross``, -1.

    ``least`` (m) is a climb that noise does not feign. Positive at a place on the floor, 0 on a wall; NaN where no wall is met within ``half`` and half as far again.
    """
    lines, gap = spread_of_lines(cell_m)
    reach = min((p.shape[0] - 1) // 2, int(1.5 * half) + 2)
    p = p[: 2 * reach + 1]
    profile(elev, row, col, cross, reach, lines, gap, p)
    within = int(floor_half + 0.5)
    floor = _floor_of(p, max(1, reach - within), min(2 * reach - 1, reach + within))
    best, side = np.nan, 1.0
    for step in (1, -1):
        far = _foot_of_side(p, reach, step, floor, height, least)
        if far == far and (not best == best or far < best):
            best, side = far, float(step)
    return best, side
