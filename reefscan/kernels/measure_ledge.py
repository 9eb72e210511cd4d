"""Measure a ledge: the way it faces whatever the slope it stands on, then the step over the steeper ground."""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels import station_columns as station
from reefscan.kernels.profiles import apart, profile, sample_about, side_roughness, spread_of_lines

LAND_M = 4.0
"""Land counts up to here: the slope of a shore goes on above the water for the length of a ledge's ground,
while a cliff that stands in water keeps most of what it drops below it (a guess of ours, no source)."""


@njit(cache=True, nogil=True)
def _picked(longest: float, lines: int, share: float) -> float:
    """Bias of the highest step over all runs and shifts, in noises of one mean of lines.

    Top and foot are picked among as many cells as the longest run has, so a finer grid offers more; readings that
    go together are fewer than they seem (both fitted on planted seabeds, cells of 1 and 2 m).
    """
    return max(1.0, 2.1 + 1.6 * math.log2(longest / 6.0)) * (0.3 + 0.7 * apart(lines, share))


@njit(cache=True, nogil=True)
def _at_most(z: float, top: float) -> float:
    """The lower of the two; NaN stays NaN."""
    return top if z > top else z


@njit(cache=True, nogil=True)
def _ring_slope(elev: NDArray[np.int32], row: float, col: float, radius: float) -> tuple[float, float, bool]:
    """Slope (m a cell, north and east) fitted to the differences across a ring, and whether enough of it is known.

    Only pairs of opposite samples count, so a lost cell takes its pair along and tilts nothing.
    """
    n = 12
    nn, ee, ne, zn, ze, known = 0.0, 0.0, 0.0, 0.0, 0.0, 0
    for a in range(n):
        angle = math.pi * a / n
        c, s = math.cos(angle), math.sin(angle)
        for part in range(2):
            far = radius * (0.7 + 0.3 * part)
            above = _at_most(sample_about(elev, row - far * c, col + far * s), LAND_M)
            z = above - _at_most(sample_about(elev, row + far * c, col - far * s), LAND_M)
            if z == z:
                d = 0.5 * z / far
                nn += c * c
                ee += s * s
                ne += c * s
                zn += d * c
                ze += d * s
                known += 1
    det = nn * ee - ne * ne
    # an even ring has det = (known / 2) squared; a third of it is left when all pairs lie within 50 degrees or so
    if known < n or det < 0.08 * known * known:
        return 0.0, 0.0, False
    return (zn * ee - ze * ne) / det, (ze * nn - zn * ne) / det, True


@njit(cache=True, nogil=True)
def _step_up(elev: NDArray[np.int32], row: float, col: float, reach: float) -> tuple[float, bool]:
    """Direction in which a step rises, whatever the slope of the ground it stands on.

    The mean slope over a ring of radius r is the ground's plus the step's, which falls off as 1 / r: the
    difference between a narrow and a wide ring leaves the step alone.
    """
    north, east, known = _ring_slope(elev, row, col, reach)
    if not known:
        return 0.0, False
    north_far, east_far, known = _ring_slope(elev, row, col, 2.0 * reach)
    if known:
        north, east = north - north_far, east - east_far
    return math.atan2(east, north), east != 0.0 or north != 0.0


@njit(cache=True, nogil=True)
def _ground_roughness(p: NDArray[np.float64], i: int, j: int, g: int) -> float:
    """RMS departure of the two grounds beyond a step from straight lines: it too biases a maximum upward."""
    total, count = 0.0, 0
    for side in range(2):
        first = i - g if side == 0 else j
        if first < 0 or first + g >= p.shape[0] or g < 3:
            continue
        sx, sy, sxx, sxy, syy = 0.0, 0.0, 0.0, 0.0, 0.0
        n = g + 1
        for k in range(n):
            z = p[first + k] - p[first]
            sx += k
            sy += z
            sxx += k * k
            sxy += k * z
            syy += z * z
        slope = (sxy - sx * sy / n) / (sxx - sx * sx / n)
        left = syy - sy * sy / n - slope * (sxy - sx * sy / n)
        if left == left:
            total += max(0.0, left)
            count += n - 2
    return math.sqrt(total / count) if count > 0 else 0.0


@njit(cache=True, nogil=True)
def measure_ledge(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    run: float,
    ground: float,
    cell_m: float,
    noise: float,
    share: float,
    p: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    lines, gap = spread_of_lines(cell_m)
    quiet = noise * share
    # a longer face is a bank: what falls evenly over more than this is no step
    longest = max(3.0, 1.5 * run)
    g = max(2, int(ground + 0.5))
    reach = int(0.5 * longest + run * 0.5 + g + 2)
    p = p[: 2 * reach + 1]
    around = max(2.0, 0.5 * run + 1.0)
    shift_max = int(max(1.0, 0.5 * run))
    tops, at = np.zeros(int(longest) + 3), np.zeros(int(longest) + 3)
    for _ in range(2):
        up, known = _step_up(elev, row, col, around)
        if not known:
            return
        down = up + math.pi
        profile(elev, row, col, down, reach, lines, gap, p)
        for k in range(p.shape[0]):
            p[k] = _at_most(p[k], LAND_M)
        best = 0.0
        length = 1
        while length <= longest + 0.5:
            tops[length], at[length] = 0.0, 0.0
            for shift in range(-shift_max, shift_max + 1):
                i = reach + shift - length // 2
                j = i + length
                if i - g < 0 or j + g >= p.shape[0]:
                    continue
                # what stands out of the water is no taller for the net, but its slope tells a shore from a step
                step = _at_most(p[i], 0.0) - _at_most(p[j], 0.0)
                # ground slope by the mean of the two farthest samples: half the noise of one
                slope_i = (0.5 * (p[i - g] + p[i - g + 1]) - p[i]) / (g - 0.5)
                slope_j = (p[j] - 0.5 * (p[j + g] + p[j + g - 1])) / (g - 0.5)
                # grounds that fall away from the step add to it, but not more than a tenth of what it drops
                value = step - max(length * max(slope_i, slope_j), -0.1 * step)
                if value == value and value > tops[length]:
                    tops[length], at[length] = value, 0.5 * (i + j) - reach
            best = max(best, tops[length])
            length += 1
        if best <= 0.0:
            return
        # the shortest run that shows (nearly) the whole step, without what picking the best of all runs added to it, is the
        # width of its face
        picked = _picked(longest, lines, share) * quiet
        length = 1
        while tops[length] < 0.9 * (best - picked):
            length += 1
        best_run, middle = float(length), at[length]
        rough = _ground_roughness(
            p, int(reach + middle - 0.5 * best_run), int(reach + middle + 0.5 * best_run + 0.5), g
        )
        row -= middle * math.cos(down)
        col += middle * math.sin(down)
        around = max(2.0, 0.5 * best_run + 1.5)
        out[station.HEIGHT] = best - picked - 0.5 * max(0.0, rough - quiet)
        out[station.WIDTH] = best_run
        out[station.FACING] = down % (2.0 * math.pi)
    out[station.ROW], out[station.COL] = row, col
    out[station.AXIS] = (out[station.FACING] + 0.5 * math.pi) % math.pi
    out[station.SIGMA_SCALE] = share
    out[station.FOOT] = 0.5 * out[station.WIDTH]
    out[station.FACE_SLOPE] = out[station.HEIGHT] / max(1.0, out[station.WIDTH])
    side = int(max(1.0, out[station.WIDTH]))
    out[station.ROUGH] = side_roughness(elev, row, col, out[station.FACING], -side, side, gap * 2, noise)
    out[station.AXIS_STRENGTH] = 1.0
    out[station.OK] = 1.0
