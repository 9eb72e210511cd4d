"""A face measured as a ledge: its axis set straight by where parallel lines cross its middle.

Arrays and numbers in, numbers out. See `reefscan.kernels.measure.profiles` for positions and angles.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel
from reefscan.kernels.measure import face as of_face
from reefscan.kernels.measure import measured as at
from reefscan.kernels.measure.face import mend_gaps, read_face
from reefscan.kernels.measure.looking import Scratch, Search, face_reach, gradient
from reefscan.kernels.measure.profiles import (
    FEWEST,
    few_apart,
    inside,
    profile,
    sample,
    sample_inside,
    spread_of_lines,
)
from reefscan.kernels.order import put_in_order

AXIS_M = 20.0
"""Length along the structure over which its axis is set, and over which it must hang together."""

AXIS_CELLS = 6.0
"""Cells, at the least, over which its axis is set: between cells a contour runs in steps."""

MOST_LINES = 11


@kernel
def _lines_over(length_m: float, gap: float, cell_m: float) -> int:
    """Number of parallel lines, ``gap`` cells apart, that lie over a length: 3 at the least."""
    return min(MOST_LINES, 2 * max(1, int(0.5 * length_m / (gap * cell_m) + 0.5)) + 1)


@kernel
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
    safe = inside(elev, row, col, facing, 0.5 * reach, (lines // 2) * gap)
    for k in range(lines):
        t = (k - lines // 2) * gap
        best = 1e9
        ends = (np.nan, np.nan)  # of what is looked at so far, from half a cell to half a cell outward
        for i in range(reach + 1):
            before = ends
            r, c = 0.5 * i * dr, 0.5 * i * dc
            y, x = (row - r - t * dc, col - c + t * dr), (row + r - t * dc, col + c + t * dr)
            ends = (
                (sample_inside(elev, y[0], y[1]), sample_inside(elev, x[0], x[1]))
                if safe
                else (sample(elev, y[0], y[1]), sample(elev, x[0], x[1]))
            )
            if ends[0] > level >= before[0]:
                cross = -0.5 * (i - 1) - 0.5 * (level - before[0]) / (ends[0] - before[0])
                if abs(cross) <= abs(best):  # of two as near the upper one
                    best = cross
            if before[1] > level >= ends[1]:
                cross = 0.5 * i - 0.5 * (level - ends[1]) / (before[1] - ends[1])
                if abs(cross) < abs(best):
                    best = cross
            if abs(best) < 0.5 * i:
                break
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


@kernel
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


@kernel
def first_look(
    elev: NDArray[np.int32], row: float, col: float, facing: float, search: Search, room: Scratch
) -> bool:
    """Read the face at a seed (cells) down its steepest slope, on lines so near to each other that a small pile fills them."""
    cell = search.cell_m
    reach = face_reach(search)
    p = room.p[: 2 * reach + 1]
    profile(elev, row, col, facing, reach, FEWEST, max(few_apart(cell), min(2.0, 1.5 / cell)), p)
    mend_gaps(p, 2)
    return read_face(p, cell, search.tilt, search.longest_m, room.total, room.moment, room.face)


@kernel
def measure_ledge(
    elev: NDArray[np.int32], row: float, col: float, facing: float, noise: float, share: float,
    search: Search, least: float, room: Scratch, out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Measure the face that `first_look` found at a place (cells) as a ledge; where its top and foot lie is left in ``room.face``.

    One that drops by less than ``least`` (m) is none.
    """
    cell = search.cell_m
    lines, gap = spread_of_lines(cell)
    apart = max(1.0, gap)  # lines within one cell say nothing of how its contour runs
    reach = face_reach(search)
    p = room.p[: 2 * reach + 1]
    for _ in range(2):
        shift = room.face[of_face.MIDDLE] - reach
        row, col = row - shift * math.cos(facing), col + shift * math.sin(facing)
        level = 0.5 * (p[int(room.face[of_face.TOP])] + p[int(room.face[of_face.FOOT])])
        half = max(3.0, 0.5 * room.face[of_face.LENGTH] + 2.0)
        facing += _turn_of_face(
            elev,
            row,
            col,
            facing,
            level,
            half,
            apart,
            _lines_over(max(AXIS_M, AXIS_CELLS * cell), apart, cell),
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
    if not out[at.DROP] >= least:
        return False
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
