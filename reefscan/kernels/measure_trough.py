"""Measure a trough: axis by the bend of the ground and the line of its floor, then the profile across."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels import station_columns as station
from reefscan.kernels.order import median_of_few
from reefscan.kernels.profiles import apart, bias, profile, sample, side_roughness, spread_of_lines

ROUNDED = 0.3
"""Share of the way from 0.3 to 0.9 of the climb by which the crest lies farther: between a straight side (1/6) and half a
cosine (.48), so that either is told within 8 % of the width where two thirds of it are sides."""

SMEARED = 0.5
"""Cells by which samples between cells, and lines across a bend, widen what is read from crest to crest (straight troughs of 9 to 38 m
on cells of 1 and 2 m)."""


@njit(cache=True, nogil=True)
def _crest(
    p: NDArray[np.float64],
    start: int,
    step: int,
    floor: float,
    noise: float,
    doubt: float,
    free: float,
    least: float,
) -> tuple[int, float, int]:
    """Walk outward from the floor to the first real crest.

    Returns the index of its edge, its height over the floor (bias removed) and the index of the top. The
    walk ends where the ground falls by a quarter of the climb (and by more than noise does), at an unknown
    cell or at the end; a hump on the floor, lower than ``least``, is walked over. The edge is where the climb
    is over: half as far again brings less than a tenth more. ``noise`` (m) is that
    of one reading, ``doubt`` (m) what is not yet told from a crest; ``free`` is the share of readings that count as independent.
    """
    top, at = floor, start
    k = start
    while 0 <= k < p.shape[0]:
        z = p[k]
        if not z == z:
            break
        if z > top:
            top, at = z, k
        elif top - z > max(0.25 * (top - floor), 3.0 * doubt) and top - floor > max(least, 3.0 * doubt):
            break
        k += step
    alike = 0
    k = start
    while k != at + step:
        if p[k] > top - 2.0 * doubt:
            alike += 1
        k += step
    height = top - floor - bias(alike * free) * noise
    k = start + step
    while k != at and 0 <= k < p.shape[0]:
        climbed = p[k] - floor
        if climbed > 0.35 * height:
            ahead = abs(k - start) // 2 + 2
            most = climbed
            j = k
            for _ in range(ahead):
                j += step
                if j < 0 or j >= p.shape[0] or (j - at) * step > 0:
                    break
                most = max(most, p[j] - floor)
            if most - climbed < 0.1 * climbed + 1.2 * doubt:
                break
        k += step
    return k, height, at


@njit(cache=True, nogil=True)
def _lip(p: NDArray[np.float64], start: int, step: int, edge: int, floor: float, height: float) -> float:
    """Distance (cells) from the floor to the crest of one side, to a part of a cell.

    From where the side has climbed 0.3 and 0.9 of its height up to its ``edge``, carried on by `ROUNDED` of the way between.
    """
    edge = min(max(edge, 0), p.shape[0] - 1)  # beside a gap a side may have no edge on the profile
    low, before = np.nan, p[start]
    k = start
    while k != edge:
        k += step
        z, far = p[k], abs(k - start) - 1.0
        if not low == low and z >= floor + 0.3 * height:
            low = far + max(0.0, floor + 0.3 * height - before) / max(z - before, 1e-9)
        if z >= floor + 0.9 * height:
            high = far + max(0.0, floor + 0.9 * height - before) / max(z - before, 1e-9)
            return high + ROUNDED * (high - low)
        before = z
    return float(abs(edge - start))


@njit(cache=True, nogil=True)
def _climb(p: NDArray[np.float64], start: int, step: int) -> float:
    """Highest ground on one side, up to an unknown cell, over the start."""
    top, k = p[start], start
    while 0 <= k < p.shape[0] and p[k] == p[k]:
        top = max(top, p[k])
        k += step
    return top - p[start]


@njit(cache=True, nogil=True)
def _bend_axis(elev: NDArray[np.int32], row: float, col: float, reach: float) -> tuple[float, float]:
    """Direction in which the ground stays lowest, and how marked it is (0 round, 1 a perfect gully).

    The second harmonic of the mean bend [z(+s) + z(-s)] / 2 - z(0) over all headings: a slope along the
    valley cancels, noise averages over hundreds of samples.
    """
    n = 24
    here = sample(elev, row, col)
    real, imag, total, span = 0.0, 0.0, 0.0, 0.0
    steps = max(3, int(reach + 0.5))
    for a in range(n):
        angle = math.pi * a / n
        dr, dc = -math.cos(angle), math.sin(angle)
        bend, known = 0.0, 0
        for k in range(1, steps + 1):
            s = reach * k / steps
            z1 = sample(elev, row + s * dr, col + s * dc)
            z2 = sample(elev, row - s * dr, col - s * dc)
            if z1 == z1 and z2 == z2:
                bend += 0.5 * (z1 + z2) - here
                known += 1
        if known == 0:
            return 0.0, 0.0
        bend /= known
        real += bend * math.cos(2.0 * angle)
        imag += bend * math.sin(2.0 * angle)
        total += bend
        span += abs(bend)
    cross = 0.5 * math.atan2(imag, real)
    strength = 2.0 * math.hypot(real, imag) / span if span > 0.0 else 0.0
    return cross + 0.5 * math.pi, min(1.0, strength)


@njit(cache=True, nogil=True)
def _floor_turn(
    elev: NDArray[np.int32], row: float, col: float, axis: float, width: float, height: float, noise: float
) -> float:
    """How far the line of the floor turns off ``axis`` (radians, clockwise), 0 where it cannot be followed.

    The middles of the low ground on seven parallel sections, and a robust line through them: rough flanks, which pull the
    bend's harmonic about, do not enter.
    """
    ar, ac = -math.cos(axis), math.sin(axis)
    cr, cc = math.sin(axis), math.cos(axis)
    reach = max(4.0, 0.5 * width)
    half = int(max(3.0, 0.6 * width)) * 2
    rise = max(0.3 * height, 2.5 * noise)
    ts, cs, n = np.empty(7), np.empty(7), 0
    section = np.empty(2 * half + 1)
    for k in range(-3, 4):
        t = reach * k / 3.0
        low, at = 1e9, -1
        for m in range(2 * half + 1):
            c = 0.5 * (m - half)
            z = sample(elev, row + t * ar + c * cr, col + t * ac + c * cc)
            section[m] = z
            if abs(c) <= max(1.0, 0.4 * width) and z < low:
                low, at = z, m
        if at < 0:
            continue
        left, right = at, at
        while left > 0 and section[left] <= low + rise:
            left -= 1
        while right < 2 * half and section[right] <= low + rise:
            right += 1
        if not (section[left] > low + rise and section[right] > low + rise):
            continue
        middle = 0.25 * (left + right) - 0.5 * half
        ts[n], cs[n] = t, middle
        n += 1
    if n < 5:
        return 0.0
    # the median of all pairwise slopes (Theil 1950): one section led astray by a boulder does not count
    slopes, m = np.empty(21), 0
    for i in range(n):
        for j in range(i + 1, n):
            slopes[m] = (cs[j] - cs[i]) / (ts[j] - ts[i])
            m += 1
    turn = math.atan(median_of_few(slopes[:m]))
    return turn if abs(turn) < 0.6 else 0.0


@njit(cache=True, nogil=True)
def measure_trough(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    radius: float,
    listed: float,
    cell_m: float,
    noise: float,
    share: float,
    p: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    reach = int(radius)
    lines, gap = spread_of_lines(cell_m)
    p = p[: 2 * reach + 1]
    # three lines keep more of the noise than all of them; readings that go together are fewer than they seem
    quiet = noise * min(1.0, share * math.sqrt(lines / 3.0))
    alone = apart(lines, share)
    free = 0.7 * alone
    # readings that are independent stray farther from their neighbours than those that go together
    wide = max(1.0, 1.5 * alone)
    best_h, axis, width = 0.0, 0.0, 2.0 * reach
    narrow = 1e9
    around = np.empty((16, 2 * reach + 1))
    deep = 0.0
    for a in range(16):
        profile(elev, row, col, math.pi * a / 16, reach, 3, gap, around[a])
        deep = max(deep, min(_climb(around[a], reach, -1), _climb(around[a], reach, 1)))
    # a hump counts as a crest if it would make a trough of its own, or a good part of this one
    least = min(0.35 * deep, listed)
    for a in range(16):
        q = around[a]
        left, h_left, _ = _crest(q, reach, -1, q[reach], quiet, quiet * wide, free, least)
        right, h_right, _ = _crest(q, reach, 1, q[reach], quiet, quiet * wide, free, least)
        h, w = min(h_left, h_right), float(right - left)
        if h > 1.1 * best_h or (h > 0.9 * best_h and w < narrow):
            narrow, axis, width = w, math.pi * a / 16 + 0.5 * math.pi, w
        best_h = max(best_h, h)
    strength = 0.0
    quiet = noise * share
    h_left, h_right, left, right, floor, crest_to_crest = 0.0, 0.0, reach, reach, 0.0, 0.0
    for turn in range(2):
        found, strength = _bend_axis(elev, row, col, max(3.0, min(0.5 * width, float(reach))))
        if strength > 0.15:
            axis = found
        cross = axis + 0.5 * math.pi
        profile(elev, row, col, cross, reach, lines, gap, p)
        # the floor's middle: the low ground around the station, within a quarter of the width
        search = max(1, int(0.3 * width))
        floor, low = 1e9, reach
        for k in range(max(0, reach - search), min(2 * reach, reach + search) + 1):
            if p[k] < floor:
                floor, low = p[k], k
        if floor > 1e8:
            return
        left, h_left, _ = _crest(p, low, -1, floor, quiet, quiet * wide, free, least)
        right, h_right, _ = _crest(p, low, 1, floor, quiet, quiet * wide, free, least)
        h = min(h_left, h_right)
        level = floor + max(0.12 * h, 2.0 * quiet * wide)
        first, last, alike = low, low, 1
        while first > max(left, 0) and p[first - 1] < level:
            first -= 1
        while last < min(right, 2 * reach) and p[last + 1] < level:
            last += 1
        for k in range(first, last + 1):
            if k != low and p[k] < floor + 2.0 * quiet * wide:
                alike += 1
        shift = 0.5 * (first + last) - reach
        row -= shift * math.cos(cross)
        col += shift * math.sin(cross)
        width = float(right - left)
        out[station.FOOT] = 0.5 * (last - first)
        out[station.FLAT_SHARE] = (last - first) / max(1.0, width)
        crest_to_crest = _lip(p, low, -1, left, floor, h_left) + _lip(p, low, 1, right, floor, h_right)
        crest_to_crest = max(2.0, crest_to_crest - SMEARED)
        floor += bias(alike * free) * quiet
        out[station.HEIGHT] = h - bias(alike * free) * quiet
    for _ in range(2):
        axis += _floor_turn(elev, row, col, axis, width, out[station.HEIGHT], quiet)
    cross = axis + 0.5 * math.pi
    out[station.ROW], out[station.COL], out[station.WIDTH], out[station.AXIS], out[station.FACING] = (
        row,
        col,
        crest_to_crest,
        axis % math.pi,
        cross % math.pi,
    )
    out[station.SIGMA_SCALE] = share
    inner = 0.5 * width
    out[station.FACE_SLOPE] = max(h_left, h_right) / max(1.0, inner - out[station.FOOT] * 0.8)
    side = int(max(1.0, inner))
    out[station.ROUGH] = 0.5 * (
        side_roughness(elev, row, col, cross, -side, -int(out[station.FOOT]), gap * 2, noise)
        + side_roughness(elev, row, col, cross, int(out[station.FOOT]), side, gap * 2, noise)
    )
    out[station.ASYMMETRY] = abs(h_left - h_right) / max(0.01, h_left + h_right)
    out[station.AXIS_STRENGTH] = strength
    out[station.OK] = 1.0
