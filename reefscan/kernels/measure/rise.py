"""A high from which the ground falls away all round: faces on every side.

Arrays and numbers in, numbers out. See `reefscan.kernels.measure.profiles` for positions and angles.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel
from reefscan.kernels.measure import measured as at
from reefscan.kernels.measure.face import mend_gaps, run_of_side
from reefscan.kernels.measure.looking import BEYOND_SIGHT, Scratch, Search, gradient
from reefscan.kernels.measure.profiles import FEWEST, few_apart, profile, sample
from reefscan.kernels.order import put_in_order
from reefscan.kernels.stray import SINGLE_M

_NODATA = np.int32(NODATA_MM)

BESIDE_TOP = 0.65
"""The middle one of the nine cells about the top of a rise stands no more than this share of its height below it."""


@kernel
def _highest(elev: NDArray[np.int32], row: float, col: float, within: float) -> tuple[float, int, int]:
    """Height (m) and cell of the highest place within some cells of another, over the weighted mean of nine cells; -1e9 where none is known."""
    span = int(within) + 1
    r0, c0, top = int(round(row)), int(round(col)), -1e9
    r1, c1 = r0, c0
    first, end = max(0, c0 - span - 1), min(elev.shape[1], c0 + span + 2)
    # of three cells of a column, then of three columns: the sum by weights 1 2 1, and the lowest
    down, lowest = np.empty(2 * span + 3, np.int32), np.empty(2 * span + 3, np.int32)
    limit = (within + 0.5) * (within + 0.5)
    for r in range(max(1, r0 - span), min(elev.shape[0] - 1, r0 + span + 1)):
        i, one = np.uint64(r), np.uint64(1)
        for k in range(end - first):
            j = np.uint64(first + k)
            a, b, d = elev[i - one, j], elev[i, j], elev[i + one, j]
            down[k], lowest[k] = np.int32(a + 2 * b + d), min(min(a, b), d)
        for k in range(1, end - first - 1):
            c = first + k
            if (r - row) * (r - row) + (c - col) * (c - col) > limit:
                continue
            whole = down[k - 1] + 2 * down[k] + down[k + 1]
            if (
                min(min(lowest[k - 1], lowest[k]), lowest[k + 1]) == _NODATA
                or whole * 0.001 < 16.0 * top - 0.001
            ):
                continue
            total = 0.0
            for m in range(-1, 2):
                for n in range(-1, 2):
                    total += (2 - abs(m)) * (2 - abs(n)) * (elev[r + m, c + n] * 0.001)
            if total / 16.0 > top:
                top, r1, c1 = total / 16.0, r, c
    return top, r1, c1


@kernel
def _side(
    p: NDArray[np.float64], reach: int, step: int, top: float, sight: float
) -> tuple[float, float, float]:
    """Fall beyond a sight line to one side of a top (m), and how far off most of it is done and over what run it falls (samples)."""
    best, fall, place = 0.0, 0.0, 0
    for k in range(1, reach + 1):
        z = p[reach + step * k]
        if not z == z:
            break
        if top - z - sight * k > best:
            best, fall, place = top - z - sight * k, top - z, k
    nine = min(1, place)
    while nine < place and top - p[reach + step * nine] < 0.85 * fall:
        nine += 1
    return best, float(nine), run_of_side(p, reach + step * place, -step, place, fall)


@kernel
def _level_below(p: NDArray[np.float64], reach: int, top: float, sight: float) -> float:
    """How far the mean of both sides lies below a top (m), where that is most beyond a sight line."""
    most, level = 0.0, 0.0
    for k in range(1, reach + 1):
        both = top - 0.5 * (p[reach - k] + p[reach + k])
        if not both == both:
            break
        if both - sight * k > most:
            most, level = both - sight * k, both
    return level


@kernel
def measure_rise(
    elev: NDArray[np.int32], row: float, col: float, within: float, noise: float, share: float,
    search: Search, least: float, room: Scratch, out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Measure the rise whose top lies within some cells of a place: how far the ground falls away all round it.

    ``least`` (m) is the height below which it is not wanted: it may be left before it is measured whole.
    """
    cell = search.cell_m
    reach = max(3, int(search.rise_m / cell + 0.5))
    top, r1, c1 = _highest(elev, row, col, within)
    if top < -1e8:
        return False
    # a top is picked for its noise where that changes from cell to cell, hardly where cells go together
    picked = noise * min(1.0, 1.0 / (5.0 * share * share))
    top = sample(elev, float(r1), float(c1)) - 0.3 * picked
    p = room.q[: 2 * reach + 1]
    sight = search.tilt * cell
    drops, feet, runs = np.empty(16), np.empty(16), np.empty(16)
    levels, gentle, apart = np.empty(8), 0, few_apart(cell)
    # no more than a sixth is added to the second lowest level below
    least = max(BEYOND_SIGHT * search.rise_min_m, max(least, search.rise_min_m) / 1.17)
    for a in (0, 4, 2, 6, 1, 5, 3, 7):
        profile(elev, float(r1), float(c1), math.pi * a / 8, reach, FEWEST, apart, p)
        mend_gaps(p, 2)
        levels[a] = _level_below(p, reach, top, sight)
        gentle += levels[a] < least
        if gentle == 2:
            return False
        for side in range(2):
            s = 2 * a + side
            drops[s], feet[s], runs[s] = _side(p, reach, np.int64(2 * side - 1), top, sight)
    put_in_order(drops)
    put_in_order(levels)
    put_in_order(feet)
    put_in_order(runs)
    # the third lowest of sixteen and the second of eight: one way over which it hangs together with other rock is none
    beyond = levels[1] - sight * max(1.0, runs[8])
    if drops[2] < 0.5 * beyond or beyond < BEYOND_SIGHT * search.rise_min_m:
        return False
    foot = max(feet[8], 1.0)
    height = levels[1] - 0.45 * picked
    # of a dome that many cells in radius the highest cell misses so much: it lies a sixth of a square cell off the top
    height *= 1.0 + 1.0 / (6.0 * foot * foot)
    out[at.KIND], out[at.ROW], out[at.COL] = at.RISE, float(r1), float(c1)
    out[at.HEIGHT] = out[at.DROP] = height
    out[at.WIDTH] = 2.0 * foot * cell
    out[at.AXIS], out[at.FACING] = 0.0, np.nan
    out[at.RUN] = max(1.0, runs[8]) * cell
    out[at.STEEP] = gradient(height, out[at.RUN], cell)
    out[at.TOGETHER] = 1.0
    out[at.SIGMA_SHARE] = min(1.0, share * math.sqrt(5.0)) / math.sqrt(2.0)
    if height < search.rise_min_m:
        return False
    if cell > SINGLE_M:
        return True
    # what stands up by itself is as likely a wrong sounding, or weed, as a rock
    about = np.empty(9)
    for i in range(9):
        about[i] = sample(elev, r1 + i // 3 - 1.0, c1 + i % 3 - 1.0)
    put_in_order(about)
    return bool(2.0 * foot >= 3.0 and about[4] >= top - BESIDE_TOP * height)
