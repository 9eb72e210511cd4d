"""Where the net would really lie: the flattest floor beside the rock, a stated distance off it.

For each station a small window is looked at once: every cell's slope tells rock from floor, each floor cell
gets its distance to the nearest rock, and the flattest floor
within the stand-off of the structure's foot wins. The same window gives relief, refuge and the position indices at that cell.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.kernels.foot import HEADINGS, foot_towards, ledge_foot, rise_feet, wall_foot
from reefscan.kernels.profiles import sample
from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)

FIELDS = (
    "row",
    "col",
    "depth",
    "off",
    "slope",
    "vrm",
    "relief",
    "bpi_fine",
    "bpi_broad",
    "rock_row",
    "rock_col",
)
"""Columns of `place_nets`, in order."""

N_FIELDS = len(FIELDS)


@njit(cache=True, nogil=True)
def _disc(elev: NDArray[np.int32], row: int, col: int, radius: float) -> tuple[int, int, int]:
    """Sum (mm, exact) and number of known cells within a radius, and number of cells in the whole disc.

    Summed for each station: running sums along all rows cost 10 ns a cell of the grid, as much as the sums
    of some 400 stations in a million cells.
    """
    total, known, size = np.int64(0), 0, 0
    reach = int(radius)
    rows, cols = elev.shape
    for dr in range(-reach, reach + 1):
        half = int(math.sqrt(radius * radius - dr * dr) + 1e-9)
        size += 2 * half + 1
        r = row + dr
        if r < 0 or r >= rows:
            continue
        line = elev[r, max(0, col - half) : min(cols, col + half + 1)]
        count = np.int32(0)
        for k in range(line.shape[0]):
            inside = line[k] != _NODATA
            total += np.int64(line[k] if inside else np.int32(0))
            count = np.int32(count + np.int32(inside))
        known += int(count)
    return int(total), known, size


@njit(cache=True, nogil=True)
def _position_index(elev: NDArray[np.int32], row: int, col: int, inner: float, outer: float) -> float:
    total, known, size = _disc(elev, row, col, outer)
    inside, known_in, size_in = _disc(elev, row, col, math.sqrt(max(0.0, inner * inner - 1e-6)))
    if math.floor(inner) != inner or inner >= 1.0:
        # cells strictly nearer than the inner radius are left out; those at it count (both radii inclusive)
        total, known, size = total - inside, known - known_in, size - size_in
    if 2 * known < size or known == 0:
        return np.nan
    return (elev[row, col] - total / known) * 0.001


@njit(cache=True, nogil=True)
def _floor_fit(elev: NDArray[np.int32], row: int, col: int, radius: float) -> tuple[float, float]:
    """Slope (m per cell) and RMS residual (m) of the plane fitted within a radius, NaN over a gap."""
    reach = max(1, int(radius))
    rows, cols = elev.shape
    n, sx, sy, sz, sxx, syy, sxy, sxz, syz, szz = 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    size = 0
    here = elev[row, col]
    limit = max(radius * radius, 2.0) + 1e-9
    for dr in range(-reach, reach + 1):
        for dc in range(-reach, reach + 1):
            if dr * dr + dc * dc > limit:
                continue
            size += 1
            r, c = row + dr, col + dc
            if r < 0 or c < 0 or r >= rows or c >= cols or elev[r, c] == _NODATA:
                continue
            z = (elev[r, c] - here) * 0.001
            n += 1
            sx += dc
            sy += dr
            sz += z
            sxx += dc * dc
            syy += dr * dr
            sxy += dc * dr
            sxz += dc * z
            syz += dr * z
            szz += z * z
    if n < max(6, (3 * size) // 4):
        return np.nan, np.nan
    mx, my, mz = sx / n, sy / n, sz / n
    cxx, cyy, cxy = sxx / n - mx * mx, syy / n - my * my, sxy / n - mx * my
    cxz, cyz = sxz / n - mx * mz, syz / n - my * mz
    det = cxx * cyy - cxy * cxy
    if det < 1e-9:
        return np.nan, np.nan
    p, q = (cxz * cyy - cyz * cxy) / det, (cyz * cxx - cxz * cxy) / det
    residual = szz / n - mz * mz - p * cxz - q * cyz
    return math.hypot(p, q), math.sqrt(max(0.0, residual))


@njit(cache=True, nogil=True)
def _rock_near(gap: NDArray[np.float64], i: int, j: int, most: float) -> float:
    """Distance (cells) to the nearest rock, ``most`` where there is none nearer.

    ``gap`` holds squared distances within the columns. Asked for the few cells that a net could lie on; a
    transform of the whole window takes as long as all else about a station.
    """
    side = gap.shape[1]
    best = min(gap[i, j], most * most + 1.0)
    k = 1
    while k * k < best and k < side:
        if j - k >= 0:
            best = min(best, gap[i, j - k] + k * k)
        if j + k < side:
            best = min(best, gap[i, j + k] + k * k)
        k += 1
    return min(math.sqrt(best), most)


@njit(cache=True, nogil=True)
def _place(
    elev: NDArray[np.int32],
    kind: int,
    row: float,
    col: float,
    axis: float,
    facing: float,
    foot: float,
    height: float,
    width: float,
    steep: float,
    cell_m: float,
    noise: float,
    quiet: float,
    off_min: float,
    off_max: float,
    floor_radius: float,
    low_mm: int,
    high_mm: int,
    gap: NDArray[np.float64],
    line: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    rows, cols = elev.shape
    half = gap.shape[0] // 2
    side = 2 * half + 1
    r0, c0 = int(round(row)) - half, int(round(col)) - half
    # rock: cells whose slope over three cells passes the threshold; 1e9 elsewhere. The square decides, and the root
    # (ten times as slow) only where rounding might.
    sure_rock, sure_floor = steep * steep * (1.0 + 1e-9), steep * steep * (1.0 - 1e-9)
    for i in range(side):
        for j in range(side):
            gap[i, j] = 1e9
            r, c = r0 + i, c0 + j
            if r < 1 or c < 1 or r >= rows - 1 or c >= cols - 1:
                continue
            a, b, d, e = elev[r - 1, c], elev[r + 1, c], elev[r, c - 1], elev[r, c + 1]
            if min(min(a, b), min(d, e)) == _NODATA:
                continue
            p, q = 0.0005 * (a - b), 0.0005 * (d - e)
            square = p * p + q * q
            if square > sure_rock or (square > sure_floor and math.hypot(p, q) > steep):
                gap[i, j] = 0.0
    # squared distance to the nearest rock of the same column; `_rock_near` looks along the row
    for j in range(side):
        last = -1.0e9
        for i in range(side):
            if gap[i, j] == 0.0:
                last = i
            line[i] = i - last
        last = 1.0e9
        for i in range(side - 1, -1, -1):
            if gap[i, j] == 0.0:
                last = i
            near = min(line[i], last - i)
            gap[i, j] = near * near if near < 1e4 else 1e8
    ar, ac = -math.cos(axis), math.sin(axis)
    fr, fc = -math.cos(facing), math.sin(facing)
    # lines over the ground start from the same place in a patch: fractions of a cell would else be rounded
    # differently for every cut of the grid
    top, left = max(0, r0), max(0, c0)
    patch = elev[top : r0 + side, left : c0 + side]
    feet = np.full(HEADINGS, foot)
    if kind == 2:
        rise_feet(patch, row - top, col - left, int(2.0 * foot + 4.0), height, noise, 3.0 * quiet, feet)
    elif kind == 1:
        foot = ledge_foot(patch, row - top, col - left, facing, foot, height, 3.0 * quiet, cell_m, line)
    here = elev[min(rows - 1, max(0, int(round(row)))), min(cols - 1, max(0, int(round(col))))]
    best_cost, best_i, best_j, best_slope = 1e9, -1, -1, 0.0
    reach = foot + off_max
    if kind == 2:
        reach = feet.max() + off_max
    for i in range(2, side - 2):
        for j in range(2, side - 2):
            r, c = r0 + i, c0 + j
            if r < 2 or c < 2 or r >= rows - 2 or c >= cols - 2:
                continue
            z = elev[r, c]
            if z < low_mm or z > high_mm:
                continue
            dr, dc = r - row, c - col
            along, across = dr * ar + dc * ac, dr * fr + dc * fc
            cost = 0.0
            if kind == 0:
                # on the trough's own floor, or out at its mouth: low ground along the axis
                if abs(across) > max(1.0, 0.5 * width):
                    continue
                if math.hypot(dr, dc) > max(2.0, 1.5 * width) + off_max:
                    continue
                if z - here > 300.0 * height + 1000.0 * noise:
                    continue
                cost = 0.15 * max(0.0, abs(along) - 0.5 * width) * cell_m
                off = _rock_near(gap, i, j, off_max)
            else:
                if kind == 1 and abs(along) > 0.6 * off_max + 1.0:
                    continue
                far = math.hypot(dr, dc)
                if far > reach + 1.0:
                    continue
                if kind == 1:
                    # below the face, not on top of it, abreast of the station
                    cost = 0.1 * abs(along) * cell_m
                    off = across - foot
                else:
                    off = far - foot_towards(feet, dr, dc)
                if off <= 0.0 or off > off_max + 1e-9:
                    continue
                # other steep ground may be nearer than the structure's own foot
                off = _rock_near(gap, i, j, off)
            if off < off_min:
                cost += 40.0 * (off_min - off) * cell_m / max(0.5, off_min * cell_m)
            if cost + 0.1 * off * cell_m >= best_cost - 1e-9:
                continue  # a level floor would not make it better
            slope, rough = _floor_fit(elev, r, c, floor_radius)
            if not slope == slope:
                continue
            degrees = math.degrees(math.atan(slope / cell_m))
            cost += degrees + 20.0 * rough + 0.1 * off * cell_m
            if cost < best_cost - 1e-9:
                best_cost, best_i, best_j, best_slope = cost, i, j, degrees
    if best_i < 0:
        return
    r, c = r0 + best_i, c0 + best_j
    out[0], out[1], out[4] = r, c, best_slope
    out[2] = -_floor_level(patch, r - top, c - left, axis, kind == 0 and foot < 2.5)
    dr, dc = r - row, c - col
    far = math.hypot(dr, dc)
    if kind == 0:
        across = dr * fr + dc * fc
        off = wall_foot(patch, r - top, c - left, facing, foot, 0.5 * width, height, 3.0 * quiet, line)
        if not off == off:
            off = max(0.0, foot - abs(across))
        sign = 1.0 if across >= 0.0 else -1.0
        out[9], out[10] = r + sign * off * fr, c + sign * off * fc
    elif kind == 1:
        # abreast of the net itself: a face bends between there and the station
        along = dr * ar + dc * ac
        foot = ledge_foot(
            patch,
            row - top + along * ar,
            col - left + along * ac,
            facing,
            foot,
            height,
            3.0 * quiet,
            cell_m,
            line,
        )
        off = max(0.0, dr * fr + dc * fc - foot)
        out[9], out[10] = r - off * fr, c - off * fc
    else:
        off = max(0.0, far - foot_towards(feet, dr, dc))
        out[9], out[10] = r - off * dr / far, c - off * dc / far
    # other rock may be nearer: steep cells where the ground stands up by a good part of the structure's height, which
    # seams and noise do not
    least = 400.0 * height + 4000.0 * noise
    span = max(2, int(2.0 / cell_m + 0.5))
    for i in range(max(0, best_i - int(off)), min(side, best_i + int(off) + 1)):
        for j in range(max(0, best_j - int(off)), min(side, best_j + int(off) + 1)):
            far = math.hypot(i - best_i, j - best_j)
            if gap[i, j] == 0.0 and far < off and _relief(elev, r0 + i, c0 + j, span) > least:
                off = far
                out[9], out[10] = r0 + i, c0 + j
    out[3] = off * cell_m


@njit(cache=True, nogil=True)
def _relief(elev: NDArray[np.int32], row: int, col: int, span: int) -> int:
    """Highest less lowest elevation (mm) within a square of cells."""
    low, high = 2**30, -(2**30)
    for r in range(max(0, row - span), min(elev.shape[0], row + span + 1)):
        for c in range(max(0, col - span), min(elev.shape[1], col + span + 1)):
            if elev[r, c] != _NODATA:
                low, high = min(low, elev[r, c]), max(high, elev[r, c])
    return high - low


@njit(cache=True, nogil=True)
def _floor_level(patch: NDArray[np.int32], row: int, col: int, axis: float, narrow: bool) -> float:
    """Elevation (m) of the floor at a cell: the mean of the cells around it, so that one cell's noise does not tell
    the rope's length; along the axis only on a floor narrower than that, whose walls would make it shoal."""
    total, known = 0.0, 0
    for i in range(-1, 2):
        for j in range(-1, 2):
            if narrow:
                if j != 0:
                    continue
                z = sample(patch, row - i * math.cos(axis), col + i * math.sin(axis))
            else:
                z = np.nan
                if patch[row + i, col + j] != _NODATA:
                    z = patch[row + i, col + j] * 0.001
            if z == z:
                total += z
                known += 1
    return total / known


@njit(cache=True, nogil=True)
def _around(
    elev: NDArray[np.int32], row: int, col: int, near: float, far: float, relief_radius: float, cell_m: float
) -> tuple[float, float]:
    """Ruggedness (1 - mean unit normal) within a ring, and relief (m) within a disc."""
    rows, cols = elev.shape
    reach = int(max(far, relief_radius))
    x, y, z, n = 0.0, 0.0, 0.0, 0
    low, high = 2**30, -(2**30)
    for dr in range(-reach, reach + 1):
        for dc in range(-reach, reach + 1):
            r, c = row + dr, col + dc
            if r < 1 or c < 1 or r >= rows - 1 or c >= cols - 1 or elev[r, c] == _NODATA:
                continue
            d2 = dr * dr + dc * dc
            if d2 <= relief_radius * relief_radius:
                low, high = min(low, elev[r, c]), max(high, elev[r, c])
            if near * near <= d2 <= far * far:
                a, b, d, e = elev[r - 1, c], elev[r + 1, c], elev[r, c - 1], elev[r, c + 1]
                if min(min(a, b), min(d, e)) == _NODATA:
                    continue
                p, q = 0.0005 * (e - d) / cell_m, 0.0005 * (a - b) / cell_m
                size = 1.0 / math.sqrt(1.0 + p * p + q * q)
                x += p * size
                y += q * size
                z += size
                n += 1
    rugged = 1.0 - math.sqrt(x * x + y * y + z * z) / n if n > 0 else np.nan
    return max(0.0, rugged) if rugged == rugged else rugged, (high - low) * 0.001 if high >= low else np.nan


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
    measures : ndarray of float64, shape (n, measure.N_FIELDS)
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
    ndarray of float64, shape (n, N_FIELDS)
        `FIELDS`; NaN where no floor was found. ``off`` is the distance (m) to the foot of the structure (see
        `reefscan.kernels.foot`), ``rock`` the place there; any ground as steep as half the structure's face
        (8 to 30 degrees) is kept clear of as well.
    """
    n = measures.shape[0]
    out = np.full((n, N_FIELDS), np.nan)
    side = 2 * half + 1
    gap, line = np.empty((side, side)), np.empty(side)
    low, high = math.tan(math.radians(8.0)) * cell_m, math.tan(math.radians(30.0)) * cell_m
    for k in range(n):
        m = measures[k]
        if m[13] == 0.0:
            continue
        # noise of a slope over two cells is noise / sqrt(2); three of it are not taken for rock
        steep = max(min(max(0.5 * m[8], low), high), 2.1 * noise_m[k])
        facing = m[5] if m[5] == m[5] else 0.0
        _place(
            elev_mm, kind, m[0], m[1], m[4], facing, m[7], m[2], m[3], steep, cell_m, noise_m[k], quiet_m[k],
            off_cells[0], off_cells[1], floor_cells, band_mm[0], band_mm[1], gap, line, out[k],
        )  # fmt: skip
        if out[k, 0] == out[k, 0]:
            r, c = int(out[k, 0]), int(out[k, 1])
            out[k, 5], out[k, 6] = _around(
                elev_mm, r, c, refuge_cells[0], refuge_cells[1], relief_cells, cell_m
            )
            out[k, 7] = _position_index(elev_mm, r, c, fine_cells[0], fine_cells[1])
            out[k, 8] = _position_index(elev_mm, r, c, broad_cells[0], broad_cells[1])
    return out
