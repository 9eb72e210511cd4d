"""Where the net would really lie: the flattest floor beside the rock, a stated distance off it.

For each station a small window is looked at once: every cell's slope tells rock from floor, and the flattest floor
within the stand-off of the structure's foot wins. The same window gives relief, refuge and the position indices at
that cell.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels import net_columns as drop
from reefscan.kernels import station_columns as station
from reefscan.kernels.foot import HEADINGS, foot_towards, ledge_foot, rise_feet, wall_foot
from reefscan.kernels.ground_at import (
    floor_fit,
    floor_level,
    position_index,
    relief_mm,
    ruggedness_and_relief,
    slope_of_nine,
)
from reefscan.kernels.rock import mark_rock, rock_near

_TROUGH, _LEDGE, _RISE = 0, 1, 2


class Asked(NamedTuple):
    """What a drop point is asked to be: stand-off and radius of its floor (cells), elevations (mm), side of a cell (m)."""

    off_min: float
    off_max: float
    floor_radius: float
    low_mm: int
    high_mm: int
    cell_m: float


class Lie(NamedTuple):
    """How a structure lies in the patch around its station: place (cells), unit vectors along and downhill or across,
    foot and width (cells), height, noise of a slope and what the mean of a profile's lines keeps of it (m)."""

    kind: int
    row: float
    col: float
    along_row: float
    along_col: float
    down_row: float
    down_col: float
    foot: float
    width: float
    height: float
    noise: float
    quiet: float


@njit(cache=True, nogil=True, inline="always")
def _stand_off(
    lie: Lie, asked: Asked, feet: NDArray[np.float64], reach: float, rise_mm: float, dr: float, dc: float
) -> tuple[float, float]:
    """Distance (cells) off the foot of a cell that lies (dr, dc) from the station, and what its place costs.

    A negative distance: no place for a net of this structure. ``rise_mm`` is how much the cell stands above the
    station. Of a trough the distance is not told here: its floor is all foot, and the nearest rock decides.
    """
    # inlined: called for every cell of the window, it took a fifth of the whole as a call
    along, across = dr * lie.along_row + dc * lie.along_col, dr * lie.down_row + dc * lie.down_col
    if lie.kind == _TROUGH:
        # on the trough's own floor, or out at its mouth: low ground along the axis
        if abs(across) > max(1.0, 0.5 * lie.width):
            return -1.0, 0.0
        if math.hypot(dr, dc) > max(2.0, 1.5 * lie.width) + asked.off_max:
            return -1.0, 0.0
        if rise_mm > 300.0 * lie.height + 1000.0 * lie.noise:
            return -1.0, 0.0
        return asked.off_max, 0.15 * max(0.0, abs(along) - 0.5 * lie.width) * asked.cell_m
    if lie.kind == _LEDGE and abs(along) > 0.6 * asked.off_max + 1.0:
        return -1.0, 0.0
    far = math.hypot(dr, dc)
    if far > reach + 1.0:
        return -1.0, 0.0
    # below the face and not on top of it, abreast of the station
    off = across - lie.foot if lie.kind == _LEDGE else far - foot_towards(feet, dr, dc)
    if off <= 0.0 or off > asked.off_max + 1e-9:
        return -1.0, 0.0
    return off, 0.1 * abs(along) * asked.cell_m if lie.kind == _LEDGE else 0.0


@njit(cache=True, nogil=True)
def _flattest(
    elev: NDArray[np.int32], top: int, left: int, gap: NDArray[np.float64], lie: Lie, asked: Asked,
    feet: NDArray[np.float64],
) -> tuple[int, int, float]:  # fmt: skip
    """Cell of the window with the flattest floor at the stated distance, and its slope (degrees); -1 for none."""
    rows, cols = elev.shape
    side, cell_m = gap.shape[0], asked.cell_m
    here = elev[min(rows - 1, max(0, int(round(lie.row)))), min(cols - 1, max(0, int(round(lie.col))))]
    reach = (feet.max() if lie.kind == _RISE else lie.foot) + asked.off_max
    best_cost, best_i, best_j, best_slope = 1e9, -1, -1, 0.0
    for i in range(2, side - 2):
        for j in range(2, side - 2):
            r, c = top + i, left + j
            if r < 2 or c < 2 or r >= rows - 2 or c >= cols - 2:
                continue
            z = elev[r, c]
            if z < asked.low_mm or z > asked.high_mm:
                continue
            off, cost = _stand_off(lie, asked, feet, reach, z - here, r - lie.row, c - lie.col)
            if off < 0.0:
                continue
            # other steep ground may be nearer than the structure's own foot
            off = rock_near(gap, i, j, off)
            if off < asked.off_min:
                cost += 40.0 * (asked.off_min - off) * cell_m / max(0.5, asked.off_min * cell_m)
            if cost + 0.1 * off * cell_m >= best_cost - 1e-9:
                continue  # a level floor would not make it better
            slope, rough = floor_fit(elev, r, c, asked.floor_radius)
            if not slope == slope:
                continue
            degrees = math.degrees(math.atan(slope / cell_m))
            cost += degrees + 20.0 * rough + 0.1 * off * cell_m
            if cost < best_cost - 1e-9:
                best_cost, best_i, best_j, best_slope = cost, i, j, degrees
    return best_i, best_j, best_slope


@njit(cache=True, nogil=True)
def _foot_from(
    patch: NDArray[np.int32], top: int, left: int, r: int, c: int, facing: float, lie: Lie, cell_m: float,
    feet: NDArray[np.float64], line: NDArray[np.float64],
) -> tuple[float, float, float]:  # fmt: skip
    """Distance (cells) from a drop point to the structure's foot, and the place there."""
    dr, dc = r - lie.row, c - lie.col
    if lie.kind == _TROUGH:
        across = dr * lie.down_row + dc * lie.down_col
        off, sign = wall_foot(
            patch,
            r - top,
            c - left,
            facing,
            lie.foot,
            0.5 * lie.width,
            lie.height,
            3.0 * lie.quiet,
            cell_m,
            line,
        )
        if not off == off:
            off, sign = max(0.0, lie.foot - abs(across)), 1.0 if across >= 0.0 else -1.0
        return off, r + sign * off * lie.down_row, c + sign * off * lie.down_col
    if lie.kind == _LEDGE:
        # abreast of the net itself: a face bends between there and the station
        along = dr * lie.along_row + dc * lie.along_col
        foot = ledge_foot(
            patch,
            lie.row - top + along * lie.along_row,
            lie.col - left + along * lie.along_col,
            facing,
            lie.foot,
            lie.height,
            3.0 * lie.quiet,
            cell_m,
            line,
        )
        off = max(0.0, dr * lie.down_row + dc * lie.down_col - foot)
        return off, r - off * lie.down_row, c - off * lie.down_col
    far = math.hypot(dr, dc)
    off = max(0.0, far - foot_towards(feet, dr, dc))
    return off, r - off * dr / far, c - off * dc / far


@njit(cache=True, nogil=True)
def _nearer_rock(
    elev: NDArray[np.int32], top: int, left: int, gap: NDArray[np.float64], i: int, j: int, off: float, lie: Lie,
    steep: float, cell_m: float,
) -> tuple[float, int, int]:  # fmt: skip
    """Distance (cells) to the nearest other rock that is nearer than ``off``, and its cell of the window; -1 for none.

    Steep cells where the ground stands up by a good part of the structure's height, which seams do not, and where the
    eight around slope as much: beside the structure's own foot one noisy cell would be rock.
    """
    side = gap.shape[0]
    least = 400.0 * lie.height + 4000.0 * lie.noise
    span = max(2, int(2.0 / cell_m + 0.5))
    reach, at_i, at_j = int(off), -1, -1
    for a in range(max(0, i - reach), min(side, i + reach + 1)):
        for b in range(max(0, j - reach), min(side, j + reach + 1)):
            far = math.hypot(a - i, b - j)
            if gap[a, b] > 0.0 or far >= off or relief_mm(elev, top + a, left + b, span) <= least:
                continue
            if not slope_of_nine(elev, top + a, left + b) < steep:
                off, at_i, at_j = far, a, b
    return off, at_i, at_j


@njit(cache=True, nogil=True)
def _place(
    elev: NDArray[np.int32], kind: int, m: NDArray[np.float64], steep: float, noise: float, quiet: float,
    asked: Asked, gap: NDArray[np.float64], line: NDArray[np.float64], out: NDArray[np.float64],
) -> None:  # fmt: skip
    """Drop point of one measured station ``m``; nothing is written where there is no floor."""
    row, col, foot, axis = m[station.ROW], m[station.COL], m[station.FOOT], m[station.AXIS]
    height, width, cell_m = m[station.HEIGHT], m[station.WIDTH], asked.cell_m
    facing = m[station.FACING] if m[station.FACING] == m[station.FACING] else 0.0
    side = gap.shape[0]
    r0, c0 = int(round(row)) - side // 2, int(round(col)) - side // 2
    mark_rock(elev, r0, c0, steep, gap, line)
    # lines over the ground start from the same place in a patch: fractions of a cell would else be rounded
    # differently for every cut of the grid
    top, left = max(0, r0), max(0, c0)
    patch = elev[top : r0 + side, left : c0 + side]
    feet = np.full(HEADINGS, foot)
    if kind == _RISE:
        rise_feet(patch, row - top, col - left, int(2.0 * foot + 4.0), height, noise, 3.0 * quiet, feet)
    elif kind == _LEDGE:
        foot = ledge_foot(patch, row - top, col - left, facing, foot, height, 3.0 * quiet, cell_m, line)
    lie = Lie(
        kind, row, col, -math.cos(axis), math.sin(axis), -math.cos(facing), math.sin(facing), foot, width, height,
        noise, quiet,
    )  # fmt: skip
    i, j, slope = _flattest(elev, r0, c0, gap, lie, asked, feet)
    if i < 0:
        return
    r, c = r0 + i, c0 + j
    out[drop.ROW], out[drop.COL], out[drop.SLOPE] = r, c, slope
    out[drop.DEPTH] = -floor_level(patch, r - top, c - left, axis, kind == _TROUGH and foot < 2.5)
    off, out[drop.ROCK_ROW], out[drop.ROCK_COL] = _foot_from(
        patch, top, left, r, c, facing, lie, cell_m, feet, line
    )
    off, at_i, at_j = _nearer_rock(elev, r0, c0, gap, i, j, off, lie, steep, cell_m)
    if at_i >= 0:
        out[drop.ROCK_ROW], out[drop.ROCK_COL] = r0 + at_i, c0 + at_j
    out[drop.OFF] = off * cell_m


@njit(cache=True, nogil=True)
def place_nets(
    elev_mm: NDArray[np.int32],
    measures: NDArray[np.float64],
    kind: int,
    cell_m: float,
    noise_m: NDArray[np.float64],
    quiet_m: NDArray[np.float64],
    off_cells: tuple[float, float],
    floor_cells: float,
    band_mm: tuple[int, int],
    refuge_cells: tuple[float, float],
    relief_cells: float,
    fine_cells: tuple[float, float],
    broad_cells: tuple[float, float],
    half: int,
) -> NDArray[np.float64]:
    """Drop point of each measured station and what is known about it.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
    measures : ndarray of float64, shape (n, len(station_columns.FIELDS))
        From `measure_stations`.
    kind : int
        0 trough, 1 ledge, 2 rise.
    cell_m : float
    noise_m, quiet_m : ndarray of float64, shape (n,)
        Noise (m) that a slope over two cells shows, as if white, and what the mean of a profile's lines keeps.
    off_cells, refuge_cells, fine_cells, broad_cells : tuple of float
        Nearest and farthest stand-off; inner and outer radii; cells.
    floor_cells, relief_cells : float
    band_mm : tuple of int
        Lowest and highest elevation of a drop point.
    half : int
        Half side of the window looked at, cells.

    Returns
    -------
    ndarray of float64, shape (n, len(net_columns.FIELDS))
        NaN where no floor was found. ``off`` is the distance (m) to the foot of the structure (see
        `reefscan.kernels.foot`), ``rock`` the place there; any ground as steep as half the structure's face
        (8 to 30 degrees) is kept clear of as well.
    """
    n = measures.shape[0]
    out = np.full((n, len(drop.FIELDS)), np.nan)
    side = 2 * half + 1
    gap, line = np.empty((side, side)), np.empty(side)
    low, high = math.tan(math.radians(8.0)) * cell_m, math.tan(math.radians(30.0)) * cell_m
    asked = Asked(off_cells[0], off_cells[1], floor_cells, band_mm[0], band_mm[1], cell_m)
    for k in range(n):
        m = measures[k]
        if m[station.OK] == 0.0:
            continue
        # noise of a slope over two cells is noise / sqrt(2); three of it are not taken for rock
        steep = max(min(max(0.5 * m[station.FACE_SLOPE], low), high), 2.1 * noise_m[k])
        _place(elev_mm, kind, m, steep, noise_m[k], quiet_m[k], asked, gap, line, out[k])
        if out[k, drop.ROW] == out[k, drop.ROW]:
            r, c = int(out[k, drop.ROW]), int(out[k, drop.COL])
            out[k, drop.VRM], out[k, drop.RELIEF] = ruggedness_and_relief(
                elev_mm, r, c, refuge_cells[0], refuge_cells[1], relief_cells, cell_m
            )
            out[k, drop.BPI_FINE] = position_index(elev_mm, r, c, fine_cells[0], fine_cells[1])
            out[k, drop.BPI_BROAD] = position_index(elev_mm, r, c, broad_cells[0], broad_cells[1])
    return out
