"""Where the net would lie: on the section that is shown, the flattest ground a stated distance off the rock.

The foot of the rock is where its side has climbed a tenth of its height: a rounded side leaves the floor with no slope, so it
has no other end that could be seen.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import kernel
from reefscan.kernels.measure import face as of_face
from reefscan.kernels.measure import measured as at
from reefscan.kernels.measure.face import mend_gaps, read_face
from reefscan.kernels.measure.ground_at import (
    Whole,
    floor_fit,
    floor_level,
    position_index,
    ruggedness_and_relief,
)
from reefscan.kernels.measure.profiles import FEWEST, few_apart, profile, spread_of_lines
from reefscan.kernels.open_water import is_dry, open_water

_NODATA = np.int32(NODATA_MM)

FOOT_SHARE = 0.1
"""Share of the height climbed at the foot."""

OTHER_ROCK = 0.4
"""Share of the structure's height from which other ground that stands up beside the net is rock too."""

HUMP_M = 0.3
"""Ground that stands so much above the foot between it and a net is another structure: the net would lie behind it."""


FLAT_DEG = 8.0
"""A floor is flat enough up to here: between two that are, the survey's noise must not decide."""

USUAL_OFF = 6.0
"""Metres off the foot at which a net lies where the floor allows it: just beyond what a boat's fix of 5 m leaves open (a guess of the trade). At
5 and at 6 m a second reading agrees with the stated distance at as many sites (tuning seeds 0-5: 268 and 268 of 284)."""

BEYOND_M = 20.0
"""Metres beyond the feet of a rise at which the ground around it is read: at the feet themselves a bank that falls on below one of them
would be the higher side (tuning seeds: sentences of 109 rises true 102 -> 107, of 80 found again with new noise 74 -> 77, turned 67 -> 71)."""

SIDE_DEG = 4.0
"""Degrees of slope that the far side of a rise is worth less than the side toward higher ground."""


class Asked(NamedTuple):
    """What a drop point is asked to be: stand-off and radius of its floor (cells), elevations (mm); radii (cells) of the rings
    in which its surroundings are read."""

    off_min: float
    off_max: float
    floor_radius: float
    low_mm: int
    high_mm: int
    refuge: tuple[float, float]
    relief: float
    fine: tuple[float, float]
    broad: tuple[float, float]


class Line(NamedTuple):
    """Where nets are tried: the profile along a heading (radians) with a place (row, column) at its middle sample, and the foot
    of the structure in samples from there."""

    profile: NDArray[np.float64]
    row: float
    col: float
    heading: float
    foot: float


@kernel
def _cost(
    elev: NDArray[np.int32], r: float, c: float, noise: float, asked: Asked, cell: float
) -> tuple[float, float]:
    """What a place costs by its floor, and the slope of it (degrees); infinite where no net can lie."""
    i, j = int(round(r)), int(round(c))
    if i < 2 or j < 2 or i >= elev.shape[0] - 2 or j >= elev.shape[1] - 2:
        return np.inf, np.nan
    if elev[i, j] == _NODATA or elev[i, j] < asked.low_mm or elev[i, j] > asked.high_mm:
        return np.inf, np.nan
    slope, rough = floor_fit(elev, r, c, asked.floor_radius)
    if not slope == slope:
        return np.inf, np.nan
    degrees = math.degrees(math.atan(slope / cell))
    return max(0.0, degrees - FLAT_DEG) + 20.0 * max(0.0, rough - max(0.15, 2.0 * noise)), degrees


@kernel
def _clear(elev: NDArray[np.int32], r: float, c: float, most: float, climb_mm: float, cell: float) -> float:
    """Distance (cells) from a place to the nearest cell that stands so much above it, or is missing and dry; ``most`` where none is nearer."""
    i, j = int(round(r)), int(round(c))
    here, best = float(elev[i, j]), most
    reach = int(most)
    for y in range(max(0, i - reach), min(elev.shape[0], i + reach + 1)):
        for x in range(max(0, j - reach), min(elev.shape[1], j + reach + 1)):
            if elev[y, x] != _NODATA and elev[y, x] - here < climb_mm:
                continue
            far = math.hypot(y - i, x - j)
            if 0.0 < far < best and (elev[y, x] != _NODATA or is_dry(elev, y, x, cell)):
                best = far
    return best


@kernel
def _along(
    elev: NDArray[np.int32], line: Line, height: float, noise: float, asked: Asked, cell: float,
    out: NDArray[np.float64], best: float, extra: float,
) -> float:  # fmt: skip
    """Try places along a line from the foot of a structure outward; write the best if it costs less than ``best``.

    ``extra`` is what the whole line costs.
    """
    p, row, col, heading, foot = line
    dr, dc = -math.cos(heading), math.sin(heading)
    middle = p.shape[0] // 2
    at_foot = min(p.shape[0] - 1, middle + int(foot + 0.5))
    level = p[at_foot]
    step = max(0.5, 1.0 / cell)
    off, done = asked.off_min, at_foot
    while off <= asked.off_max + 1e-9:
        s = foot + off
        k = middle + int(s)
        if k + 1 >= p.shape[0]:
            break
        hidden = False
        while done < k:
            done += 1
            if not p[done] == p[done] or p[done] > level + max(HUMP_M, 3.0 * noise):
                hidden = True
                break
        if hidden:
            break
        r, c = row + s * dr, col + s * dc
        aside = extra + 0.3 * abs(off * cell - USUAL_OFF)
        # a floor costs nothing at the least
        cost, degrees = _cost(elev, r, c, noise, asked, cell) if aside < best else (np.inf, np.nan)
        cost += aside
        if cost < best:
            near = _clear(elev, r, c, off, max(1000.0 * OTHER_ROCK * height, 4000.0 * noise), cell)
            if near >= asked.off_min and open_water(elev, int(round(r)), int(round(c)), cell):
                best = cost
                out[at.NET_ROW], out[at.NET_COL], out[at.FLOOR_SLOPE], out[at.OFF] = (
                    r,
                    c,
                    degrees,
                    min(off, near) * cell,
                )
                out[at.ROCK_ROW], out[at.ROCK_COL] = row + foot * dr, col + foot * dc
        off += step
    return best


@kernel
def net_of_ledge(
    elev: NDArray[np.int32], p: NDArray[np.float64], face: NDArray[np.float64], noise: float, asked: Asked, cell: float,
    out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Place the net below a face: ``p`` is its profile, ``face`` what was read of it, ``out`` the measured ledge."""
    top, foot = int(face[of_face.TOP]), int(face[of_face.FOOT])
    level = p[foot] + FOOT_SHARE * (p[top] - p[foot])
    k = foot
    while k > top and p[k - 1] < level:
        k -= 1
    edge = float(k)
    if k > top:
        edge = k - (level - p[k]) / max(p[k - 1] - p[k], 1e-9)
    middle = p.shape[0] // 2
    heading = out[at.FACING]
    # the profile's own place: the middle of the face lies a part of a sample off it
    shift = face[of_face.MIDDLE] - middle
    row = out[at.ROW] + shift * math.cos(heading)
    col = out[at.COL] - shift * math.sin(heading)
    line = Line(p, row, col, heading, edge - middle)
    return _along(elev, line, out[at.HEIGHT], noise, asked, cell, out, np.inf, 0.0) < np.inf


@kernel
def net_of_trough(
    elev: NDArray[np.int32],
    noise: float,
    asked: Asked,
    cell: float,
    room: NDArray[np.float64],
    out: NDArray[np.float64],
) -> bool:
    """Place the net on the floor of a trough, midway between the feet of its walls."""
    lines, gap = spread_of_lines(cell)
    # a crest is placed farther out than it was read, and no farther than there is room
    reach = min(int(0.5 * out[at.WIDTH] / cell) + 3, (room.shape[0] - 1) // 2)
    p = room[: 2 * reach + 1]
    row, col, cross = out[at.ROW], out[at.COL], out[at.FACING]
    profile(elev, row, col, cross, reach, lines, gap, p)
    mend_gaps(p, 2)
    floor = p[reach]
    if not floor == floor:
        return False
    level = floor + max(FOOT_SHARE * out[at.HEIGHT], 2.0 * noise)
    far = np.empty(2)
    for side in range(2):
        step, k = (1 if side else -1), 0
        while k < reach and p[reach + step * (k + 1)] <= level:
            k += 1
        far[side] = float(k)
        if k < reach and p[reach + step * (k + 1)] > level:
            far[side] += (level - p[reach + step * k]) / max(
                p[reach + step * (k + 1)] - p[reach + step * k], 1e-9
            )
    shift = 0.5 * (far[1] - far[0])
    r, c = row - shift * math.cos(cross), col + shift * math.sin(cross)
    cost, degrees = _cost(elev, r, c, noise, asked, cell)
    if not cost < np.inf or not open_water(elev, int(round(r)), int(round(c)), cell):
        return False
    off = 0.5 * (far[0] + far[1])
    out[at.NET_ROW], out[at.NET_COL], out[at.FLOOR_SLOPE], out[at.OFF] = r, c, degrees, off * cell
    out[at.ROCK_ROW], out[at.ROCK_COL] = r - off * math.cos(cross), c + off * math.sin(cross)
    return True


@kernel
def _uphill(levels: NDArray[np.float64]) -> float:
    """Heading (radians) in which the ground around a rise lies higher: the first harmonic of best fit through the levels known (NaN where not).

    To the south where it is level or too little is known, so that it is one side.
    """
    n, z, c, s = 0, 0.0, 0.0, 0.0
    for a in range(len(levels)):
        if levels[a] == levels[a]:
            angle = 2.0 * math.pi * a / len(levels)
            n, z, c, s = n + 1, z + levels[a], c + math.cos(angle), s + math.sin(angle)
    cc, ss, cs, zc, zs = 0.0, 0.0, 0.0, 0.0, 0.0
    for a in range(len(levels)):
        if levels[a] == levels[a]:
            angle = 2.0 * math.pi * a / len(levels)
            dc, ds, dz = math.cos(angle) - c / n, math.sin(angle) - s / n, levels[a] - z / n
            cc, ss, cs, zc, zs = cc + dc * dc, ss + ds * ds, cs + dc * ds, zc + dz * dc, zs + dz * ds
    most = cc * ss - cs * cs
    if most < 1e-3:
        return math.pi
    north, east = (zc * ss - zs * cs) / most, (zs * cc - zc * cs) / most
    return math.atan2(east, north - 1e-3)


@kernel
def net_of_rise(
    elev: NDArray[np.int32], noise: float, asked: Asked, cell: float, sight: float,
    total: NDArray[np.float64], moment: NDArray[np.float64], face: NDArray[np.float64], out: NDArray[np.float64],
) -> bool:  # fmt: skip
    """Place the net beside a rise: toward higher ground, unless the floor is much flatter on another side."""
    row, col, height = out[at.ROW], out[at.COL], out[at.HEIGHT]
    foot = 0.5 * out[at.WIDTH] / cell
    reach = int(3.0 * foot + max(asked.off_max, of_face.GROUND_M[0] / cell)) + 6
    beyond = int(BEYOND_M / cell + 0.5)
    lines = np.empty((16, 2 * reach + 1))
    edges, levels = np.empty(16), np.full(16, np.nan)
    for a in range(16):
        heading, p = math.pi * a / 8, lines[a]
        profile(elev, row, col, heading, reach, FEWEST, few_apart(cell), p)
        mend_gaps(p, 2)
        edges[a] = np.nan
        # the side of the rise is the face around the place where half its height is lost
        k = reach
        while k < 2 * reach and p[reach] - p[k] < 0.5 * height:
            k += 1
        m = min(k, 2 * reach - k)
        if not p[reach] - p[k] >= 0.5 * height or not read_face(
            p[k - m : k + m + 1], cell, sight, 4.0 * foot * cell + 12.0, total, moment, face
        ):
            continue
        at_foot = k - m + int(face[of_face.FOOT])
        level = p[at_foot] + FOOT_SHARE * height
        i = at_foot
        while i > reach and p[i - 1] < level:
            i -= 1
        edges[a] = i - reach - min(1.0, (level - p[i]) / max(p[i - 1] - p[i], 1e-9))
        levels[a] = p[min(2 * reach, at_foot + beyond)]
    # toward higher ground, where a foot is a foot and no slope goes on below it
    toward, best = _uphill(levels), np.inf
    for a in range(16):
        if not edges[a] == edges[a]:
            continue
        heading = math.pi * a / 8
        extra = SIDE_DEG * 0.5 * (1.0 - math.cos(heading - toward))
        line = Line(lines[a], row, col, heading, edges[a])
        best = _along(elev, line, height, noise, asked, cell, out, best, extra)
    return best < np.inf


@kernel
def ground_of_net(
    elev: NDArray[np.int32], whole: Whole, asked: Asked, cell: float, out: NDArray[np.float64]
) -> None:
    """Depth of a placed net, and what the ground around it is like."""
    r, c = int(round(out[at.NET_ROW])), int(round(out[at.NET_COL]))
    narrow = out[at.KIND] == at.TROUGH and out[at.OFF] < 2.5 * cell
    out[at.DEPTH] = -floor_level(
        elev, out[at.NET_ROW], out[at.NET_COL], out[at.AXIS], min(1.0, 2.0 / cell), narrow
    )
    # cells of the whole array: the rows of a patch are no rows to compiled code, and six times as slow
    r, c = r + whole.row, c + whole.col
    out[at.VRM], out[at.RELIEF] = ruggedness_and_relief(
        whole.elev, r, c, asked.refuge[0], asked.refuge[1], asked.relief, cell
    )
    out[at.BPI_FINE] = position_index(whole.elev, whole.sums, r, c, asked.fine[0], asked.fine[1])
    out[at.BPI_BROAD] = position_index(whole.elev, whole.sums, r, c, asked.broad[0], asked.broad[1])
