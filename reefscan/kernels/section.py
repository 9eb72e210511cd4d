"""Stations from faces: what a face is part of, and each measured on the section that is told.

Arrays and numbers in, arrays out. From every face found on a profile down the steepest slope: its axis is set straight by
where parallel lines cross its middle; then ground that stands up on the other side of its foot makes it the
flank of a trough, ground that falls away all round its top the side of a rise; else it is a ledge. See
`reefscan.kernels.profiles` for positions and angles.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels import face as of_face
from reefscan.kernels import measured as at
from reefscan.kernels.face import mend_gaps, read_face
from reefscan.kernels.net import Asked, ground_of_net, net_of_ledge, net_of_rise, net_of_trough
from reefscan.kernels.order import median_of_few, put_in_order
from reefscan.kernels.profiles import bias, profile, sample, spread_of_lines
from reefscan.model import NODATA_MM

AXIS_M = 20.0
"""Length along the structure over which its axis is set, and over which it must hang together."""

AXIS_CELLS = 6.0
"""Cells, at the least, over which its axis is set: between cells a contour runs in steps."""

MOST_LINES = 11

LEAST_TOGETHER = 0.5
"""Share of them that must fall as the face does: what jumps from cell to cell does not hang together."""

OPPOSITE = 0.5
"""Share of a face's fall that the other side must climb to make a trough of it."""

SINGLE_M = 5.0
"""On larger cells each holds many soundings: one cell that stands up is a rock."""

BEYOND_SIGHT = 0.5
"""Share of the least height that must be left of a trough or a rise beyond the sight line."""

ALL_ROUND = 0.6
"""Share of a face's height that the ground must fall away all round its top to make a rise of it."""

BESIDE_TOP = 0.65
"""The middle one of the nine cells about the top of a rise stands no more than this share of its height below it."""

LEAST_LENGTH_M = 6.0
"""Shortest length over which a gradient is told, m."""

OWN_CELLS = 2.0
"""Cells over which a grid spreads a vertical step: taken off a face's length, in squares, before its gradient is told."""

GIVES_BACK = (0.25, 0.3)
"""A climb is over where the ground gives back so much (m) of it, and such a share."""


class Search(NamedTuple):
    """How far and how steep is looked: gradient of the sight line, longest face, reach of a trough's flank and of a rise (m),
    least height by kind (m), side of a cell (m)."""

    tilt: float
    longest_m: float
    trough_m: float
    rise_m: float
    trough_min_m: float
    ledge_min_m: float
    rise_min_m: float
    cell_m: float


class Scratch(NamedTuple):
    """Room for profiles and what is read of them."""

    p: NDArray[np.float64]
    q: NDArray[np.float64]
    total: NDArray[np.float64]
    moment: NDArray[np.float64]
    face: NDArray[np.float64]
    side: NDArray[np.float64]


@njit(cache=True, nogil=True)
def gradient(height: float, length_m: float, cell_m: float) -> float:
    """Gradient of a face: its height over its length less the cell's own share, `LEAST_LENGTH_M` at the least."""
    own = OWN_CELLS * cell_m
    return height / math.sqrt(max(length_m * length_m - own * own, LEAST_LENGTH_M * LEAST_LENGTH_M))


@njit(cache=True, nogil=True)
def _lines_over(length_m: float, gap: float, cell_m: float) -> int:
    """Number of parallel lines, ``gap`` cells apart, that lie over a length: 3 at the least."""
    return min(MOST_LINES, 2 * max(1, int(0.5 * length_m / (gap * cell_m) + 0.5)) + 1)


@njit(cache=True, nogil=True)
def _turn_of_face(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    facing: float,
    level: float,
    half: float,
    gap: float,
    lines: int,
) -> float:
    """How far the contour at ``level`` (m) turns off the line across ``facing`` (radians, clockwise), 0 where it cannot be followed.

    Where each of the parallel lines, ``gap`` cells apart, falls through the level, nearest its middle within ``half`` cells; the
    median of all pairwise slopes (Theil 1950): one line led astray by a boulder does not count.
    """
    dr, dc = -math.cos(facing), math.sin(facing)
    ts, cs, n = np.empty(lines), np.empty(lines), 0
    reach = int(2.0 * half) + 2
    for k in range(lines):
        t = (k - lines // 2) * gap
        best, before = 1e9, np.nan
        for i in range(-reach, reach + 1):
            s = 0.5 * i
            z = sample(elev, row + s * dr - t * dc, col + s * dc + t * dr)
            if before > level >= z:
                cross = s - 0.5 * (level - z) / (before - z)
                if abs(cross) < abs(best):
                    best = cross
            before = z
        if best < 1e8:
            ts[n], cs[n] = t, best
            n += 1
    if n < 3:
        return 0.0
    slopes, m = np.empty(n * (n - 1) // 2), 0
    for i in range(n):
        for j in range(i + 1, n):
            slopes[m] = (cs[j] - cs[i]) / (ts[j] - ts[i])
            m += 1
    put_in_order(slopes)
    turn = math.atan(slopes[m // 2])
    return turn if abs(turn) < 0.7 else 0.0


@njit(cache=True, nogil=True)
def _share_that_falls(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    facing: float,
    top: float,
    foot: float,
    drop: float,
    gap: float,
    lines: int,
) -> float:
    """Share of the parallel lines on which ground falls as the face does: half its drop at least from ``top`` to ``foot`` (cells from the
    place), each the middle one of three samples outward; of those lines that are known there."""
    dr, dc = -math.cos(facing), math.sin(facing)
    fell, known, three = 0, 0, np.empty(3)
    ends = np.empty(2)
    for k in range(lines):
        t = (k - lines // 2) * gap
        for end in range(2):
            for i in range(3):
                s = foot + i if end else top - i
                three[i] = sample(elev, row + s * dr - t * dc, col + s * dc + t * dr)
            put_in_order(three)
            ends[end] = three[1]
        if ends[0] == ends[0] and ends[1] == ends[1]:
            known += 1
            fell += ends[0] - ends[1] >= 0.5 * drop
    return fell / known if known > 2 else 0.0


@njit(cache=True, nogil=True)
def _climb(p: NDArray[np.float64], start: int, step: int, tilt: float, most: int) -> tuple[float, int, float]:
    """Highest ground by sight line on one side of a sample: climb (m), its place, and by how much it stands above the sight line.

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
    return p[place] - base, place, best


@njit(cache=True, nogil=True)
def _low_beyond(p: NDArray[np.float64], foot: int, most: int, wanted: float) -> tuple[int, int]:
    """Lowest sample between a foot and ground that climbs by ``wanted`` beyond it, and where that is reached; -1 for none."""
    low, k = foot, foot
    while k < p.shape[0] and k - foot <= most and p[k] == p[k]:
        if p[k] < p[low]:
            low = k
        elif p[k] - p[low] >= wanted:
            return low, k
        k += 1
    return low, -1


@njit(cache=True, nogil=True)
def _lip(p: NDArray[np.float64], start: int, step: int, crest: int, height: float) -> tuple[float, float]:
    """Distance (samples) from the floor to the crest of one side, and from a tenth to nine tenths of its climb.

    The crest lies beyond the place at nine tenths by `ROUNDED` of the way from three tenths to there.
    """
    base, k, before = p[start], start, p[start]
    tenth, third = np.nan, np.nan
    while k != crest:
        k += step
        z, far = p[k], abs(k - start) - 1.0
        climb = max(z - before, 1e-9)
        if not tenth == tenth and z >= base + 0.1 * height:
            tenth = far + max(0.0, base + 0.1 * height - before) / climb
        if not third == third and z >= base + 0.3 * height:
            third = far + max(0.0, base + 0.3 * height - before) / climb
        if z >= base + 0.9 * height:
            nine = far + max(0.0, base + 0.9 * height - before) / climb
            return nine + ROUNDED * (nine - third), max(1.0, nine - tenth)
        before = z
    return float(abs(crest - start)), max(1.0, float(abs(crest - start)))


ROUNDED = 0.3
"""Share of the way from 0.3 to 0.9 of the climb by which the crest lies farther: between a straight side (1/6) and half a
cosine (.48), so that either is told within 8 % of the width where two thirds of it are sides."""

SMEARED = 0.5
"""Cells by which samples between cells, and lines across a bend, widen what is read from crest to crest (straight troughs of 9 to 38 m
on cells of 1 and 2 m)."""


@njit(cache=True, nogil=True)
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
    for k in range(-3, 4):
        t = reach * k / 3.0
        low, place = 1e9, -1
        for m in range(2 * half + 1):
            c = 0.5 * (m - half)
            z = sample(elev, row + t * ar + c * cr, col + t * ac + c * cc)
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
    turn = math.atan(median_of_few(slopes[:m]))
    return turn if abs(turn) < 0.6 else 0.0


@njit(cache=True, nogil=True)
def _narrowest(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    cross: float,
    tilt: float,
    reach: int,
    wanted: float,
    p: NDArray[np.float64],
) -> tuple[float, float]:
    """Heading across a trough, and its width (cells): of those that climb as far on both sides, the one on which the crests are nearest.

    The climb alone does not fix it: an end wall faces along the trough, and climbs as high.
    """
    best, width = cross, 1e9
    for a in range(8):
        heading = cross + math.pi * a / 8
        profile(elev, row, col, heading, reach, 3, 1.0, p)
        mend_gaps(p, 2)
        if not p[reach] == p[reach]:
            continue
        left_h, left, _ = _climb(p, reach, -1, tilt, reach)
        right_h, right, _ = _climb(p, reach, 1, tilt, reach)
        # the heading that led here is kept unless another is clearly narrower
        if min(left_h, right_h) >= wanted and float(right - left) < (0.8 if a else 1.0) * width:
            best, width = heading, float(right - left)
    return best, width


@njit(cache=True, nogil=True)
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
    cross, narrow = _narrowest(elev, row, col, cross, search.tilt * cell, reach, 0.8 * height, p)
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
        left_h, left, _ = _climb(p, low, -1, search.tilt * cell, reach)
        right_h, right, _ = _climb(p, low, 1, search.tilt * cell, reach)
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
    left_lip, left_run = _lip(p, low, -1, left, left_h)
    right_lip, right_run = _lip(p, low, 1, right, right_h)
    # what climbs no faster than a sight line from the foot of its side is the lie of the land; a level floor between takes nothing off
    sight = search.tilt * cell / 0.8
    if min(left_h - sight * left_run, right_h - sight * right_run) < BEYOND_SIGHT * search.trough_min_m:
        return False
    # the lowest of several alike is picked for its noise
    noisy = bias(alike * 0.7) * quiet
    out[at.KIND], out[at.ROW], out[at.COL] = at.TROUGH, row, col
    out[at.HEIGHT] = out[at.DROP] = height - 2.0 * noisy
    out[at.WIDTH] = max(2.0, left_lip + right_lip - SMEARED) * cell
    out[at.AXIS], out[at.FACING] = axis % math.pi, cross % math.pi
    left_g = gradient(left_h, left_run / 0.8 * cell, cell)
    right_g = gradient(right_h, right_run / 0.8 * cell, cell)
    out[at.STEEP] = min(left_g, right_g)
    out[at.RUN] = (left_run if left_g < right_g else right_run) / 0.8 * cell
    out[at.SIGMA_SHARE] = share
    return bool(out[at.HEIGHT] >= search.trough_min_m)


@njit(cache=True, nogil=True)
def measure_rise(
    elev: NDArray[np.int32], row: float, col: float, within: float, noise: float, share: float,
    search: Search, room: Scratch, out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Measure the rise whose top lies within some cells of a place: how far the ground falls away all round it."""
    cell = search.cell_m
    reach = max(3, int(search.rise_m / cell + 0.5))
    span = int(within) + 1
    r0, c0, top = int(round(row)), int(round(col)), -1e9
    r1, c1 = r0, c0
    for r in range(r0 - span, r0 + span + 1):
        for c in range(c0 - span, c0 + span + 1):
            if r < 1 or c < 1 or r >= elev.shape[0] - 1 or c >= elev.shape[1] - 1:
                continue
            if math.hypot(r - row, c - col) > within + 0.5:
                continue
            total = 0.0
            for i in range(-1, 2):
                for j in range(-1, 2):
                    total += (2 - abs(i)) * (2 - abs(j)) * sample(elev, r + i, c + j)
            if total / 16.0 > top:
                top, r1, c1 = total / 16.0, r, c
    if top < -1e8:
        return False
    # a top is picked for its noise where that changes from cell to cell, hardly where cells go together
    picked = noise * min(1.0, 1.0 / (5.0 * share * share))
    top = sample(elev, float(r1), float(c1)) - 0.3 * picked
    p = room.q[: 2 * reach + 1]
    sight = search.tilt * cell
    drops, feet, runs = np.empty(16), np.empty(16), np.empty(16)
    levels = np.empty(8)
    for a in range(8):
        profile(elev, float(r1), float(c1), math.pi * a / 8, reach, 3, 1.0, p)
        mend_gaps(p, 2)
        most, level = 0.0, 0.0
        for k in range(1, reach + 1):
            both = top - 0.5 * (p[reach - k] + p[reach + k])
            if not both == both:
                break
            if both - sight * k > most:
                most, level = both - sight * k, both
        levels[a] = level
        for side in range(2):
            step, best, fall, place = (1 if side else -1), 0.0, 0.0, 0
            for k in range(1, reach + 1):
                z = p[reach + step * k]
                if not z == z:
                    break
                if top - z - sight * k > best:
                    best, fall, place = top - z - sight * k, top - z, k
            tenth, nine = float(place), float(place)
            for k in range(place, 0, -1):
                z = top - p[reach + step * k]
                if z >= 0.85 * fall:
                    nine = float(k)
                if z >= 0.15 * fall:
                    tenth = float(k)
            drops[2 * a + side], feet[2 * a + side], runs[2 * a + side] = best, nine, nine - tenth
    put_in_order(drops)
    put_in_order(levels)
    put_in_order(feet)
    put_in_order(runs)
    # the third lowest of sixteen and the second of eight: one way over which it hangs together with other rock is none
    beyond = levels[1] - sight * max(1.0, runs[8]) / 0.7
    if drops[2] < 0.5 * beyond or beyond < BEYOND_SIGHT * search.rise_min_m:
        return False
    foot = max(feet[8], 1.0)
    told = levels[1] - 0.45 * picked
    # of a dome that many cells in radius the highest cell misses so much: it lies a sixth of a square cell off the top
    told *= 1.0 + 1.0 / (6.0 * foot * foot)
    out[at.KIND], out[at.ROW], out[at.COL] = at.RISE, float(r1), float(c1)
    out[at.HEIGHT] = out[at.DROP] = told
    out[at.WIDTH] = 2.0 * foot * cell
    out[at.AXIS], out[at.FACING] = 0.0, np.nan
    out[at.RUN] = max(1.0, runs[8]) / 0.7 * cell
    out[at.STEEP] = gradient(told, out[at.RUN], cell)
    out[at.TOGETHER] = 1.0
    out[at.SIGMA_SHARE] = min(1.0, share * math.sqrt(5.0)) / math.sqrt(2.0)
    if told < search.rise_min_m:
        return False
    if cell > SINGLE_M:
        return True
    # what stands up by itself is as likely a wrong sounding, or weed, as a rock
    about = np.empty(9)
    for i in range(9):
        about[i] = sample(elev, r1 + i // 3 - 1.0, c1 + i % 3 - 1.0)
    put_in_order(about)
    return bool(2.0 * foot >= 3.0 and about[4] >= top - BESIDE_TOP * told)


@njit(cache=True, nogil=True)
def first_look(
    elev: NDArray[np.int32], row: float, col: float, facing: float, search: Search, room: Scratch
) -> bool:
    """Read the face at a seed (cells) down its steepest slope, on lines so near to each other that a small pile fills them."""
    cell = search.cell_m
    reach = face_reach(search)
    p = room.p[: 2 * reach + 1]
    profile(elev, row, col, facing, reach, 3, max(1.0, min(2.0, 1.5 / cell)), p)
    mend_gaps(p, 2)
    return read_face(p, cell, search.tilt, search.longest_m, room.total, room.moment, room.face)


@njit(cache=True, nogil=True)
def measure_ledge(
    elev: NDArray[np.int32], row: float, col: float, facing: float, noise: float, share: float,
    search: Search, room: Scratch, out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Measure the face that `first_look` found at a place (cells) as a ledge; where its top and foot lie is left in ``room.face``."""
    cell = search.cell_m
    lines, gap = spread_of_lines(cell)
    reach = face_reach(search)
    p = room.p[: 2 * reach + 1]
    for _ in range(2):
        shift = room.face[of_face.MIDDLE] - reach
        row, col = row - shift * math.cos(facing), col + shift * math.sin(facing)
        level = 0.5 * (p[int(room.face[of_face.TOP])] + p[int(room.face[of_face.FOOT])])
        half = max(3.0, 0.5 * room.face[of_face.LENGTH] + 2.0)
        facing += _turn_of_face(
            elev, row, col, facing, level, half, gap, _lines_over(max(AXIS_M, AXIS_CELLS * cell), gap, cell)
        )
        profile(elev, row, col, facing, reach, lines, gap, p)
        mend_gaps(p, 2)
        if not read_face(p, cell, search.tilt, search.longest_m, room.total, room.moment, room.face):
            return False
    shift = room.face[of_face.MIDDLE] - reach
    out[at.KIND] = at.LEDGE
    out[at.ROW], out[at.COL] = row - shift * math.cos(facing), col + shift * math.sin(facing)
    out[at.HEIGHT] = room.face[of_face.HEIGHT] - noise * share
    out[at.WIDTH] = out[at.RUN] = room.face[of_face.LENGTH] * cell
    # what it falls over that length: its height, and its share of what the ground falls from top to foot
    ground = room.face[of_face.DROP] - room.face[of_face.HEIGHT]
    part = min(1.0, room.face[of_face.LENGTH] / (room.face[of_face.FOOT] - room.face[of_face.TOP]))
    out[at.DROP] = room.face[of_face.HEIGHT] + part * ground
    out[at.FACING], out[at.AXIS] = facing % (2.0 * math.pi), (facing + 0.5 * math.pi) % math.pi
    out[at.STEEP] = gradient(max(0.0, out[at.HEIGHT]), out[at.WIDTH], cell)
    out[at.TOGETHER] = _share_that_falls(
        elev,
        row,
        col,
        facing,
        room.face[of_face.TOP] - reach,
        room.face[of_face.FOOT] - reach,
        out[at.DROP],
        gap,
        _lines_over(AXIS_M, gap, cell),
    )
    out[at.SIGMA_SHARE] = share
    return True


@njit(cache=True, nogil=True)
def face_reach(search: Search) -> int:
    """Cells to either side of a seed that a profile is read: half the longest face and the ground beyond it."""
    return max(8, int((0.5 * search.longest_m + of_face.GROUND_M[1]) / search.cell_m))


@njit(cache=True, nogil=True)
def jump(elev: NDArray[np.int32], row: float, col: float, radius: float) -> float:
    """Median distance (m) of a cell's elevation from the mean of its four neighbours, within some cells of a place; 0 where none is known.

    Rock hangs together: on an even flank it is 0, at an edge a part of its height. Weed, fish and false bottoms jump from cell to cell.
    """
    reach = int(radius)
    out, n = np.empty((2 * reach + 1) ** 2), 0
    r0, c0 = int(round(row)), int(round(col))
    for r in range(max(1, r0 - reach), min(elev.shape[0] - 1, r0 + reach + 1)):
        for c in range(max(1, c0 - reach), min(elev.shape[1] - 1, c0 + reach + 1)):
            if (r - r0) ** 2 + (c - c0) ** 2 > radius * radius:
                continue
            a, b, d, e = elev[r - 1, c], elev[r + 1, c], elev[r, c - 1], elev[r, c + 1]
            if min(min(a, b), min(min(d, e), elev[r, c])) == NODATA_MM:
                continue
            out[n] = abs(elev[r, c] - 0.25 * (a + b + d + e)) * 0.001
            n += 1
    if n == 0:
        return 0.0
    out = out[:n]
    out.sort()
    return out[n // 2]


@njit(cache=True, nogil=True)
def measure_faces(
    elev_mm: NDArray[np.int32],
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    facing: NDArray[np.float64],
    noise_m: NDArray[np.float64],
    share: NDArray[np.float64],
    search: Search,
    asked: Asked,
    half: int,
) -> NDArray[np.float64]:
    """Measure what stands at each seed, and place its net.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Millimetres, positive up, `NODATA_MM` unknown.
    rows, cols : ndarray of int64, shape (n,)
        Seeds, positions in the array.
    facing : ndarray of float64, shape (n,)
        Downhill there, radians clockwise from grid north.
    noise_m, share : ndarray of float64, shape (n,)
        Standard deviation of the noise of one cell (m), and how much of it the mean of a profile's lines keeps.
    search : Search
    asked : Asked
    half : int
        Cells around a seed on which all of it may depend.

    Returns
    -------
    ndarray of float64, shape (3, n, len(measured.FIELDS))
        What each seed is part of: a trough, a ledge, a rise; NaN where it is none. One seed may be the flank of a trough and the
        side of a rise at once, a ledge only if it is neither.
    """
    n = rows.shape[0]
    out = np.full((3, n, len(at.FIELDS)), np.nan)
    cell = search.cell_m
    reach = max(face_reach(search), int(search.trough_m / cell) + 4)
    longest = (
        2 * max(reach, int(3.0 * search.rise_m / cell + max(asked.off_max, of_face.GROUND_M[0] / cell)) + 12)
        + 8
    )
    fields = len(of_face.FIELDS)
    room = Scratch(
        np.empty(longest), np.empty(longest), np.empty(longest + 1), np.empty(longest + 1), np.empty(fields), np.empty(fields)
    )  # fmt: skip
    floor = min(search.trough_min_m, min(search.ledge_min_m, search.rise_min_m))
    for i in range(n):
        # Each station is measured in a patch with its seed at the same place, and its positions told in whole
        # 1/4096 cells: fractions of a cell would else be rounded differently for every cut of the grid.
        top, left = max(0, rows[i] - half), max(0, cols[i] - half)
        patch = elev_mm[top : rows[i] + half + 1, left : cols[i] + half + 1]
        r, c = float(rows[i] - top), float(cols[i] - left)
        if not first_look(patch, r, c, facing[i], search, room) or room.face[of_face.HEIGHT] < 0.5 * floor:
            continue
        found = _rise_above(
            patch, r, c, facing[i], noise_m[i], share[i], search, asked, room, out[at.RISE, i]
        )
        ledge = out[at.LEDGE, i]
        stands = (
            measure_ledge(patch, r, c, facing[i], noise_m[i], share[i], search, room, ledge)
            and ledge[at.TOGETHER] >= LEAST_TOGETHER
            and ledge[at.DROP] >= floor
        )
        if stands:
            found |= _trough_below(patch, noise_m[i], share[i], search, asked, room, ledge, out[at.TROUGH, i])
        reach = face_reach(search)
        if (
            found
            or not stands
            or ledge[at.HEIGHT] < search.ledge_min_m
            or not net_of_ledge(
                patch, room.p[: 2 * reach + 1], room.face, noise_m[i] * share[i], asked, search.cell_m, ledge
            )
        ):
            ledge[:] = np.nan
        for kind in range(3):
            line = out[kind, i]
            if not line[at.KIND] == line[at.KIND]:
                continue
            ground_of_net(patch, asked, search.cell_m, line)
            line[at.JUMP] = jump(patch, line[at.ROW], line[at.COL], max(3.0, 6.0 / search.cell_m))
            for k in (at.ROW, at.NET_ROW, at.ROCK_ROW):
                line[k] = rows[i] + np.rint((line[k] - r) * 4096.0) / 4096.0
            for k in (at.COL, at.NET_COL, at.ROCK_COL):
                line[k] = cols[i] + np.rint((line[k] - c) * 4096.0) / 4096.0
    return out


@njit(cache=True, nogil=True)
def _rise_above(
    elev: NDArray[np.int32], row: float, col: float, facing: float, noise: float, share: float, search: Search, asked: Asked,
    room: Scratch, out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Measure the rise that the face of the first look is a side of, if the ground falls away all round its top."""
    cell = search.cell_m
    up = face_reach(search) - room.face[of_face.TOP]
    if up * cell > search.rise_m:
        return False
    row, col = row + up * math.cos(facing), col - up * math.sin(facing)
    within = max(1.5, min(0.5 * up + 4.0 / cell, search.rise_m / cell))
    if (
        not measure_rise(elev, row, col, within, noise, share, search, room, out)
        or out[at.HEIGHT] < ALL_ROUND * room.face[of_face.DROP]
        or not net_of_rise(
            elev, noise * share, asked, cell, search.tilt, room.q, room.total, room.moment, room.side, out
        )
    ):
        out[:] = np.nan
        return False
    return True


@njit(cache=True, nogil=True)
def _trough_below(
    elev: NDArray[np.int32], noise: float, share: float, search: Search, asked: Asked, room: Scratch,
    ledge: NDArray[np.float64], out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Measure the trough that a face is a flank of, if the ground beyond its foot climbs again."""
    cell = search.cell_m
    reach = face_reach(search)
    p = room.p[: 2 * reach + 1]
    foot = int(room.face[of_face.FOOT])
    wanted = max(search.trough_min_m, OPPOSITE * room.face[of_face.HEIGHT])
    low, crest = _low_beyond(p, foot, int(1.6 * search.trough_m / cell), wanted)
    if crest < 0:
        return False
    level = p[low] + 0.3 * wanted
    last = low
    while last < crest and p[last + 1] < level:
        last += 1
    first = low
    while first > int(room.face[of_face.TOP]) and p[first - 1] < level:
        first -= 1
    middle = room.face[of_face.MIDDLE]
    shift = 0.5 * (first + last) - middle
    row = ledge[at.ROW] - shift * math.cos(ledge[at.FACING])
    col = ledge[at.COL] + shift * math.sin(ledge[at.FACING])
    width = float(crest - room.face[of_face.TOP])
    if not measure_trough(
        elev, row, col, ledge[at.FACING], width, wanted, noise, share, search, room, out
    ) or not net_of_trough(elev, noise * share, asked, cell, room.q, out):
        out[:] = np.nan
        return False
    out[at.TOGETHER] = ledge[at.TOGETHER]
    return True
