"""A low between two highs, measured across its floor: two faces that look at each other.

Arrays and numbers in, numbers out. See `reefscan.kernels.measure.profiles` for positions and angles.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel
from reefscan.kernels.measure import measured as at
from reefscan.kernels.measure.face import mend_gaps, run_of_side
from reefscan.kernels.measure.looking import BEYOND_SIGHT, Scratch, Search, gradient
from reefscan.kernels.measure.profiles import (
    FEWEST,
    bias,
    few_apart,
    inside,
    profile,
    sample,
    sample_inside,
    spread_of_lines,
)
from reefscan.kernels.order import median

GIVES_BACK = (0.25, 0.3)
"""A climb is over where the ground gives back so much (m) of it, and such a share."""

ROUNDED = 0.3
"""Share of the way from 0.3 to 0.9 of the climb by which the crest lies farther: between a straight side (1/6) and half a
cosine (.48), so that either is right within 8 % of the width where two thirds of it are sides."""

LEFT, RIGHT = np.int64(-1), np.int64(1)
"""From a sample to the next on either side. Of that type: for plain numbers in a call its function is compiled once for each."""

SMEARED = 0.5
"""Cells by which samples between cells, and lines across a bend, widen what is read from crest to crest (straight troughs of 9 to 38 m
on cells of 1 and 2 m)."""


@kernel
def _climb(p: NDArray[np.float64], start: int, step: int, tilt: float, most: int) -> tuple[float, int]:
    """Highest ground by sight line on one side of a sample: climb (m), and its place.

    The walk ends where the ground gives back a good part of it (`GIVES_BACK`), at an unknown sample, or after ``most`` samples.
    """
    base, best, place = p[start], 0.0, start
    k, far = start + step, 1
    while 0 <= k < p.shape[0] and far <= most and p[k] == p[k]:
        gain = p[k] - base - tilt * far
        if gain > best:
            best, place = gain, k
        elif best - gain > max(GIVES_BACK[0], GIVES_BACK[1] * best) and best > GIVES_BACK[0]:
            break
        k += step
        far += 1
    return p[place] - base, place


@kernel
def low_beyond(p: NDArray[np.float64], foot: int, most: int, wanted: float) -> tuple[int, int]:
    """Lowest sample between a foot and ground that climbs by ``wanted`` beyond it, and where that is reached; -1 for none."""
    low, k = foot, foot
    while k < p.shape[0] and k - foot <= most and p[k] == p[k]:
        if p[k] < p[low]:
            low = k
        elif p[k] - p[low] >= wanted:
            return low, k
        k += 1
    return low, -1


@kernel
def _lip(p: NDArray[np.float64], start: int, step: int, crest: int, height: float) -> float:
    """Distance (samples) from the floor to the crest of one side.

    The crest lies beyond the place at nine tenths by `ROUNDED` of the way from three tenths to there.
    """
    base, k, before = p[start], start, p[start]
    third = np.nan
    while k != crest:
        k += step
        z, far = p[k], abs(k - start) - 1.0
        climb = max(z - before, 1e-9)
        if not third == third and z >= base + 0.3 * height:
            third = far + max(0.0, base + 0.3 * height - before) / climb
        if z >= base + 0.9 * height:
            nine = far + max(0.0, base + 0.9 * height - before) / climb
            return nine + ROUNDED * (nine - third)
        before = z
    return float(abs(crest - start))


@kernel
def _floor_turn(
    elev: NDArray[np.int32], row: float, col: float, axis: float, width: float, height: float, noise: float
) -> float:
    """How far the line of the floor turns off ``axis`` (radians, clockwise), 0 where it cannot be followed.

    The middles of the low ground on seven parallel sections, and a robust line through them.
    """
    ar, ac = -math.cos(axis), math.sin(axis)
    cr, cc = math.sin(axis), math.cos(axis)
    reach = max(4.0, 0.5 * width)
    half = int(max(3.0, 0.6 * width)) * 2
    rise = max(0.3 * height, 2.5 * noise)
    ts, cs, n = np.empty(7), np.empty(7), 0
    section = np.empty(2 * half + 1)
    safe = inside(elev, row, col, axis + 0.5 * math.pi, 0.5 * half, reach)
    for k in range(-3, 4):
        t = reach * k / 3.0
        low, place = 1e9, -1
        for m in range(2 * half + 1):
            c = 0.5 * (m - half)
            y, x = row + t * ar + c * cr, col + t * ac + c * cc
            z = sample_inside(elev, y, x) if safe else sample(elev, y, x)
            section[m] = z
            if abs(c) <= max(1.0, 0.4 * width) and z < low:
                low, place = z, m
        if place < 0:
            continue
        left, right = place, place
        while left > 0 and section[left] <= low + rise:
            left -= 1
        while right < 2 * half and section[right] <= low + rise:
            right += 1
        if not (section[left] > low + rise and section[right] > low + rise):
            continue
        ts[n], cs[n] = t, 0.25 * (left + right) - 0.5 * half
        n += 1
    if n < 5:
        return 0.0
    slopes, m = np.empty(21), 0
    for i in range(n):
        for j in range(i + 1, n):
            slopes[m] = (cs[j] - cs[i]) / (ts[j] - ts[i])
            m += 1
    turn = math.atan(median(slopes[:m]))
    return turn if abs(turn) < 0.6 else 0.0


@kernel
def _narrowest(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    cross: float,
    tilt: float,
    reach: int,
    apart: float,
    wanted: float,
    p: NDArray[np.float64],
) -> tuple[float, float]:
    """Heading across a trough, and its width (cells): of those that climb as far on both sides, the one on which the crests are nearest.

    The climb alone does not fix it: an end wall faces along the trough, and climbs as high.
    """
    best, width = cross, 1e9
    for a in range(8):
        heading = cross + math.pi * a / 8
        profile(elev, row, col, heading, reach, FEWEST, apart, p)
        mend_gaps(p, 2)
        if not p[reach] == p[reach]:
            continue
        left_h, left = _climb(p, reach, LEFT, tilt, reach)
        right_h, right = _climb(p, reach, RIGHT, tilt, reach)
        # the heading that led here is kept unless another is clearly narrower
        if min(left_h, right_h) >= wanted and float(right - left) < (0.8 if a else 1.0) * width:
            best, width = heading, float(right - left)
    return best, width


@kernel
def measure_trough(
    elev: NDArray[np.int32], row: float, col: float, cross: float, width: float, height: float, noise: float, share: float,
    search: Search, room: Scratch, out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Measure the trough whose floor lies at a place (cells), ``width`` cells wide and about ``height`` deep, across ``cross``."""
    cell = search.cell_m
    lines, gap = spread_of_lines(cell)
    quiet = noise * share
    reach = int(search.trough_m / cell) + 2
    p = room.q[: 2 * reach + 1]
    tilt, apart = search.tilt * cell, few_apart(cell)
    cross, narrow = _narrowest(elev, row, col, cross, tilt, reach, apart, 0.8 * height, p)
    width = min(width, narrow)
    axis = cross - 0.5 * math.pi
    for turn in range(3):
        axis += _floor_turn(elev, row, col, axis, width, height, quiet)
        cross = axis + 0.5 * math.pi
        profile(elev, row, col, cross, reach, lines, gap, p)
        mend_gaps(p, 2)
        within = max(1, int(0.3 * width))
        low = reach
        for k in range(max(0, reach - within), min(2 * reach, reach + within) + 1):
            if p[k] < p[low] or not p[low] == p[low]:
                low = k
        if not p[low] == p[low]:
            return False
        left_h, left = _climb(p, low, LEFT, tilt, reach)
        right_h, right = _climb(p, low, RIGHT, tilt, reach)
        height = min(left_h, right_h)
        if not height > 0.0:
            return False
        level = p[low] + max(0.12 * height, 2.0 * quiet)
        first, last, alike = low, low, 1
        while first > left and p[first - 1] < level:
            first -= 1
        while last < right and p[last + 1] < level:
            last += 1
        for k in range(first, last + 1):
            if k != low and p[k] < p[low] + 2.0 * quiet:
                alike += 1
        if turn == 2:
            break
        shift = 0.5 * (first + last) - reach
        row, col = row - shift * math.cos(cross), col + shift * math.sin(cross)
        width = float(right - left)
    left_lip, right_lip = _lip(p, low, LEFT, left, left_h), _lip(p, low, RIGHT, right, right_h)
    left_run = run_of_side(p, low, LEFT, low - left, height)
    right_run = run_of_side(p, low, RIGHT, right - low, height)
    # what climbs no faster than a sight line from the foot of its side is the lie of the land; a level floor between takes nothing off
    if height - tilt * max(left_run, right_run) < BEYOND_SIGHT * search.trough_min_m:
        return False
    # the lowest of several alike is picked for its noise
    noisy = bias(alike * 0.7) * quiet
    out[at.KIND], out[at.ROW], out[at.COL] = at.TROUGH, row, col
    out[at.HEIGHT] = out[at.DROP] = height - 2.0 * noisy
    out[at.WIDTH] = max(2.0, left_lip + right_lip - SMEARED) * cell
    out[at.AXIS], out[at.FACING] = axis % math.pi, cross % math.pi
    out[at.RUN] = max(left_run, right_run) * cell
    out[at.STEEP] = gradient(height, out[at.RUN], cell)
    out[at.SIGMA_SHARE] = share
    return bool(out[at.HEIGHT] >= search.trough_min_m)
