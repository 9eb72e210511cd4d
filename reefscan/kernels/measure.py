"""Measure one station properly: profiles across the structure, averaged along it.

The height fields say where to look; here each station gets its axis to a degree or two, its height
without the upward bias of a maximum over noise, its width, the roughness and evenness of its sides.
Profiles are bilinear, one sample a cell, each the mean of parallel lines spread along the structure,
so noise falls with the root of their number while the shape across is untouched.

Positions are in cells of the given array (row downward), angles in radians: the direction of angle t is
(row, col) = (-cos t, sin t), t = 0 northward, clockwise, like a compass.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from reefscan.model import NODATA_MM

_NODATA = np.int32(NODATA_MM)

FIELDS = (
    "row", "col", "height", "width", "axis", "facing", "sigma_scale", "foot", "face_slope",
    "rough", "asymmetry", "flat_share", "axis_strength", "ok",
)  # fmt: skip
"""Columns of `measure_stations`, in order; see its docstring."""

N_FIELDS = len(FIELDS)
LINES = 5


@njit(cache=True, nogil=True)
def _sample(elev: NDArray[np.int32], r: float, c: float) -> float:
    """Bilinear elevation (m), NaN beyond the array or beside an unknown cell."""
    rows, cols = elev.shape
    if not (r >= 0.0 and c >= 0.0 and r <= rows - 1 and c <= cols - 1):
        return np.nan
    i, j = min(int(r), rows - 2), min(int(c), cols - 2)
    u, v = r - i, c - j
    a, b, d, e = elev[i, j], elev[i, j + 1], elev[i + 1, j], elev[i + 1, j + 1]
    if min(min(a, b), min(d, e)) == _NODATA:
        return np.nan
    return ((a * (1.0 - v) + b * v) * (1.0 - u) + (d * (1.0 - v) + e * v) * u) * 0.001


@njit(cache=True, nogil=True)
def profile(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    angle: float,
    reach: int,
    lines: int,
    gap: float,
    out: NDArray[np.float64],
) -> None:
    """Mean profile along ``angle`` through a point: ``out[k]`` lies ``k - reach`` cells on.

    ``lines`` parallel lines, ``gap`` cells apart, spread across the profile; NaN where fewer than half
    of them are known.
    """
    dr, dc = -math.cos(angle), math.sin(angle)
    half = lines // 2
    for k in range(2 * reach + 1):
        s = k - reach
        total, known = 0.0, 0
        for line in range(-half, half + 1):
            z = _sample(elev, row + s * dr - line * gap * dc, col + s * dc + line * gap * dr)
            if z == z:
                total += z
                known += 1
        out[k] = total / known if 2 * known > lines else np.nan


@njit(cache=True, nogil=True)
def _bias(count: int) -> float:
    """Expected maximum of ``count`` standard normal values (a fit, within 0.06 up to 64)."""
    return 0.0 if count <= 1 else 0.56 * math.log2(count) ** 0.85


@njit(cache=True, nogil=True)
def _crest(
    p: NDArray[np.float64], start: int, step: int, floor: float, noise: float
) -> tuple[int, float, int]:
    """Walk outward from the floor to the first real crest.

    Returns the index of its edge, its height over the floor (bias removed) and the index of the top. The
    walk ends where the ground falls by a quarter of the climb (and by more than noise does), at an unknown
    cell or at the end. The edge is where the climb is over: half as far again brings less than a tenth more.
    """
    top, at = floor, start
    k = start
    while 0 <= k < p.shape[0]:
        z = p[k]
        if not z == z:
            break
        if z > top:
            top, at = z, k
        elif top - z > max(0.25 * (top - floor), 3.0 * noise) and top - floor > 3.0 * noise:
            break
        k += step
    alike = 0
    k = start
    while k != at + step:
        if p[k] > top - 2.0 * noise:
            alike += 1
        k += step
    height = top - floor - _bias(alike) * noise
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
            if most - climbed < 0.1 * climbed + 1.2 * noise:
                break
        k += step
    return k, height, at


@njit(cache=True, nogil=True)
def _bend_axis(elev: NDArray[np.int32], row: float, col: float, reach: float) -> tuple[float, float]:
    """Direction in which the ground stays lowest, and how marked it is (0 round, 1 a perfect gully).

    The second harmonic of the mean bend [z(+s) + z(-s)] / 2 - z(0) over all headings: a slope along the
    valley cancels, noise averages over hundreds of samples.
    """
    n = 24
    here = _sample(elev, row, col)
    real, imag, total, span = 0.0, 0.0, 0.0, 0.0
    steps = max(3, int(reach + 0.5))
    for a in range(n):
        angle = math.pi * a / n
        dr, dc = -math.cos(angle), math.sin(angle)
        bend, known = 0.0, 0
        for k in range(1, steps + 1):
            s = reach * k / steps
            z1 = _sample(elev, row + s * dr, col + s * dc)
            z2 = _sample(elev, row - s * dr, col - s * dc)
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
def _step_up(elev: NDArray[np.int32], row: float, col: float, reach: float) -> tuple[float, bool]:
    """Direction in which a step rises, whatever the slope of the ground it stands on.

    The mean slope over a ring of radius r is the ground's plus the step's, which falls off as 1 / r: the
    difference between a narrow and a wide ring leaves the step alone.
    """
    n = 24
    east, north = 0.0, 0.0
    for ring in range(2):
        radius = reach if ring == 0 else 2.0 * reach
        real, imag, known = 0.0, 0.0, 0
        for a in range(n):
            angle = 2.0 * math.pi * a / n
            for part in range(2):
                s = radius * (0.7 + 0.3 * part)
                z = _sample(elev, row - s * math.cos(angle), col + s * math.sin(angle))
                if z == z:
                    real += z / s * math.cos(angle)
                    imag += z / s * math.sin(angle)
                    known += 1
        if known < 2 * n:
            # half a ring would tilt the answer: fall back on the narrow ring alone, or give up
            if ring == 0:
                return 0.0, False
            break
        sign = 1.0 if ring == 0 else -1.0
        north += sign * real / known
        east += sign * imag / known
    return math.atan2(east, north), east != 0.0 or north != 0.0


@njit(cache=True, nogil=True)
def _side_roughness(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    angle: float,
    first: int,
    last: int,
    gap: float,
    noise: float,
) -> float:
    """RMS height of the ground along the structure, beyond what noise explains (m)."""
    dr, dc = -math.cos(angle), math.sin(angle)
    total, count = 0.0, 0
    lo, hi = min(first, last), max(first, last)
    for k in range(lo, hi + 1):
        a = _sample(elev, row + k * dr - gap * 2 * dc, col + k * dc + gap * 2 * dr)
        b = _sample(elev, row + k * dr, col + k * dc)
        c = _sample(elev, row + k * dr + gap * 2 * dc, col + k * dc - gap * 2 * dr)
        if a == a and b == b and c == c:
            d = b - 0.5 * (a + c)
            total += d * d / 1.5
            count += 1
    if count == 0:
        return 0.0
    return math.sqrt(max(0.0, total / count - noise * noise * 0.6))


@njit(cache=True, nogil=True)
def _floor_turn(
    elev: NDArray[np.int32], row: float, col: float, axis: float, width: float, height: float, noise: float
) -> float:
    """How far the line of the floor turns off ``axis`` (radians, clockwise), 0 where it cannot be followed.

    The middles of the low ground on seven parallel sections, fitted by a line: rough flanks, which pull the
    bend's harmonic about, do not enter.
    """
    ar, ac = -math.cos(axis), math.sin(axis)
    cr, cc = math.sin(axis), math.cos(axis)
    reach = max(4.0, 0.5 * width)
    half = int(max(3.0, 0.6 * width)) * 2
    rise = max(0.3 * height, 2.5 * noise)
    st, sc, stt, stc, n = 0.0, 0.0, 0.0, 0.0, 0
    section = np.empty(2 * half + 1)
    for k in range(-3, 4):
        t = reach * k / 3.0
        low, at = 1e9, -1
        for m in range(2 * half + 1):
            c = 0.5 * (m - half)
            z = _sample(elev, row + t * ar + c * cr, col + t * ac + c * cc)
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
        st += t
        sc += middle
        stt += t * t
        stc += t * middle
        n += 1
    if n < 5:
        return 0.0
    spread = stt - st * st / n
    turn = math.atan((stc - st * sc / n) / spread)
    return turn if abs(turn) < 0.6 else 0.0


@njit(cache=True, nogil=True)
def _trough(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    radius: float,
    cell_m: float,
    noise: float,
    p: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    reach = int(radius)
    gap = max(1.0, min(2.0, 2.0 / cell_m))
    lines = LINES if cell_m <= 4.0 else 3
    p = p[: 2 * reach + 1]
    quiet = noise / math.sqrt(3.0)
    best_h, axis, width = 0.0, 0.0, 2.0 * reach
    narrow = 1e9
    for a in range(16):
        angle = math.pi * a / 16
        profile(elev, row, col, angle, reach, 3, gap, p)
        floor = p[reach]
        left, h_left, _ = _crest(p, reach, -1, floor, quiet)
        right, h_right, _ = _crest(p, reach, 1, floor, quiet)
        h, w = min(h_left, h_right), float(right - left)
        if h > 1.1 * best_h or (h > 0.9 * best_h and w < narrow):
            narrow, axis, width = w, angle + 0.5 * math.pi, w
        best_h = max(best_h, h)
    strength = 0.0
    quiet = noise / math.sqrt(float(lines))
    h_left, h_right, left, right, floor = 0.0, 0.0, reach, reach, 0.0
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
        left, h_left, _ = _crest(p, low, -1, floor, quiet)
        right, h_right, _ = _crest(p, low, 1, floor, quiet)
        h = min(h_left, h_right)
        level = floor + max(0.12 * h, 2.0 * quiet)
        first, last, alike = low, low, 1
        while first > max(left, 0) and p[first - 1] < level:
            first -= 1
        while last < min(right, 2 * reach) and p[last + 1] < level:
            last += 1
        for k in range(first, last + 1):
            if k != low and p[k] < floor + 2.0 * quiet:
                alike += 1
        shift = 0.5 * (first + last) - reach
        row -= shift * math.cos(cross)
        col += shift * math.sin(cross)
        width = float(right - left)
        out[7] = 0.5 * (last - first)
        out[11] = (last - first) / max(1.0, width)
        floor += _bias(alike) * quiet
        out[2] = h - _bias(alike) * quiet
    for _ in range(2):
        axis += _floor_turn(elev, row, col, axis, width, out[2], quiet)
    cross = axis + 0.5 * math.pi
    out[0], out[1], out[3], out[4], out[5] = row, col, width, axis % math.pi, cross % math.pi
    out[6] = 1.0 / math.sqrt(float(lines))
    inner = 0.5 * width
    out[8] = max(h_left, h_right) / max(1.0, inner - out[7] * 0.8)
    side = int(max(1.0, inner))
    out[9] = 0.5 * (
        _side_roughness(elev, row, col, cross, -side, -int(out[7]), gap * 2, noise)
        + _side_roughness(elev, row, col, cross, int(out[7]), side, gap * 2, noise)
    )
    out[10] = abs(h_left - h_right) / max(0.01, h_left + h_right)
    out[12] = strength
    out[13] = 1.0


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
def _ledge(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    run: float,
    ground: float,
    cell_m: float,
    noise: float,
    p: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    gap = max(1.0, min(2.0, 2.0 / cell_m))
    lines = LINES if cell_m <= 4.0 else 3
    quiet = noise / math.sqrt(float(lines))
    longest = max(2.0, 2.5 * run)
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
        best = 0.0
        length = 1
        while length <= longest + 0.5:
            tops[length], at[length] = 0.0, 0.0
            for shift in range(-shift_max, shift_max + 1):
                i = reach + shift - length // 2
                j = i + length
                if i - g < 0 or j + g >= p.shape[0]:
                    continue
                step = p[i] - p[j]
                # ground slope by the mean of the two farthest samples: half the noise of one
                slope_i = (0.5 * (p[i - g] + p[i - g + 1]) - p[i]) / (g - 0.5)
                slope_j = (p[j] - 0.5 * (p[j + g] + p[j + g - 1])) / (g - 0.5)
                # both grounds falling away would add height; a step on a slope against it is believed up to 2 %
                value = step - length * max(max(slope_i, slope_j), -0.02 * cell_m)
                if value == value and value > tops[length]:
                    tops[length], at[length] = value, 0.5 * (i + j) - reach
            best = max(best, tops[length])
            length += 1
        if best <= 0.0:
            return
        # the shortest run that shows (nearly) the whole step is the width of its face
        length = 1
        while tops[length] < 0.9 * best - quiet:
            length += 1
        best_run, middle = float(length), at[length]
        rough = _ground_roughness(
            p, int(reach + middle - 0.5 * best_run), int(reach + middle + 0.5 * best_run + 0.5), g
        )
        row -= middle * math.cos(down)
        col += middle * math.sin(down)
        around = max(2.0, 0.5 * best_run + 1.5)
        # the search over runs and shifts takes the highest of some twenty related readings
        out[2] = best - 2.2 * quiet - 0.5 * max(0.0, rough - quiet)
        out[3] = best_run
        out[5] = down % (2.0 * math.pi)
    out[0], out[1] = row, col
    out[4] = (out[5] + 0.5 * math.pi) % math.pi
    out[6] = 1.0 / math.sqrt(float(lines))
    out[7] = 0.5 * out[3]
    out[8] = out[2] / max(1.0, out[3])
    side = int(max(1.0, out[3]))
    out[9] = _side_roughness(elev, row, col, out[5], -side, side, gap * 2, noise)
    out[12] = 1.0
    out[13] = 1.0


@njit(cache=True, nogil=True)
def _rise(
    elev: NDArray[np.int32],
    row: float,
    col: float,
    radius: float,
    cell_m: float,
    noise: float,
    p: NDArray[np.float64],
    out: NDArray[np.float64],
) -> None:
    reach = int(radius)
    p = p[: 2 * reach + 1]
    top = _sample(elev, row, col) - 0.3 * noise
    if not top == top:
        return
    quiet = noise / math.sqrt(3.0)
    n = 16
    feet = np.empty(2 * n)
    worst, count = 1e9, 0
    for a in range(n):
        profile(elev, row, col, math.pi * a / n, reach, 3, 1.0, p)
        for side in range(2):
            step = 1 if side == 0 else -1
            low, k = top, reach
            for _ in range(reach):
                k += step
                if not p[k] == p[k]:
                    break
                low = min(low, p[k])
            drop = top - low
            worst = min(worst, drop)
            k, far = reach, 0
            while far < reach and not (top - p[k] >= 0.85 * drop):
                k += step
                far += 1
            feet[count] = far
            count += 1
    feet.sort()
    out[0], out[1] = row, col
    out[2] = worst - 0.5 * quiet
    out[7] = feet[n]
    out[3] = 2.0 * feet[n]
    out[4] = 0.0
    out[5] = np.nan
    out[6] = 0.8
    out[8] = max(0.0, out[2]) / max(1.0, out[7])
    out[10] = (feet[int(1.8 * n)] - feet[int(0.2 * n)]) / max(1.0, feet[n])
    out[12] = 0.0
    out[13] = 1.0


@njit(cache=True, nogil=True)
def measure_stations(
    elev_mm: NDArray[np.int32],
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
    kind: int,
    cell_m: float,
    noise_m: NDArray[np.float64],
    radius_cells: float,
    ground_cells: float,
) -> NDArray[np.float64]:
    """Measure stations of one kind (0 trough, 1 ledge, 2 rise).

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
    rows, cols : ndarray of int64, shape (n,)
        Stations, positions in the array.
    kind : int
    cell_m : float
    noise_m : ndarray of float64, shape (n,)
        Standard deviation of the noise of one cell at each station, metres.
    radius_cells, ground_cells : float
        Reach of trough or rise, or the ledge's run; and the ground beyond a ledge.

    Returns
    -------
    ndarray of float64, shape (n, N_FIELDS)
        `FIELDS`: row, col (recentred, cells), height (m, bias removed), width (cells, crest to crest, face
        or foot to foot), axis (radians 0 to pi), facing (cross heading of a trough, downhill of a ledge),
        share of one cell's noise left in the height, foot (half the floor of a trough, half a ledge's face,
        foot distance of a rise; cells), slope of the face (m per cell), roughness of the sides (m, beyond
        noise), asymmetry, floor's share of the width, strength of the axis, 1 if measured.
    """
    out = np.full((rows.shape[0], N_FIELDS), np.nan)
    scratch = np.empty(8 * int(max(radius_cells, ground_cells)) + 64)
    half = int(max(1.6 * radius_cells + 12, 2.25 * radius_cells + ground_cells + 10)) + 2
    for i in range(rows.shape[0]):
        line = out[i]
        line[13] = 0.0
        # Each station is measured in a patch with itself at the same place, and its position told in whole
        # 1/4096 cells: fractions of a cell would else be rounded differently for every cut of the grid.
        top, left = max(0, rows[i] - half), max(0, cols[i] - half)
        patch = elev_mm[top : rows[i] + half + 1, left : cols[i] + half + 1]
        r, c = float(rows[i] - top), float(cols[i] - left)
        if kind == 0:
            _trough(patch, r, c, radius_cells, cell_m, noise_m[i], scratch, line)
        elif kind == 1:
            _ledge(patch, r, c, radius_cells, ground_cells, cell_m, noise_m[i], scratch, line)
        else:
            _rise(patch, r, c, radius_cells, cell_m, noise_m[i], scratch, line)
        line[0] = rows[i] + np.rint((line[0] - r) * 4096.0) / 4096.0
        line[1] = cols[i] + np.rint((line[1] - c) * 4096.0) / 4096.0
    return out


def measure_halo(radius_cells: float, run_cells: float, ground_cells: float) -> int:
    """Cells around a station that its measures depend on."""
    ledge = 1.75 * run_cells + ground_cells + 0.5 * run_cells + 10
    return int(max(1.6 * radius_cells + 12, ledge)) + 2
