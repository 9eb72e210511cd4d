"""Heights of the three shapes a net is set beside: trough, ledge and rise, at every cell.

Arrays and numbers in, arrays out. Definitions (project design, checked against closed forms in the tests):

* **trough**: for each of 8 axes, how far one must climb on the *lower* of the two flanks within R;
  the best axis counts. Zero on every plane and even slope.
* **rise**: for each axis the smaller of the two drops within R; the *worst* axis counts. Zero on a ridge.
* **ledge**: the step across a short run, minus the run times the *steeper* of the two grounds' slopes
  beyond its ends; the best axis counts. Zero on every plane and on a slope break.

Rays run along whole-cell lattice axes (and the mean of the two middle cells of a knight's move, which is
the bilinear value there), so a plane gives exactly zero; rays through the nearest cell would not. The
running maximum along a ray takes log2(R) passes over a block that stays in cache, so a window ten
times as wide costs about as many passes more as log2(10).

When it misleads: a maximum over a noisy surface is biased up, and between two axes (11 degrees off) a narrow
flank is read up to 0.45 x its slope x the cell too low. `reefscan.kernels.measure` measures the few cells
that matter without either fault.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM
from reefscan.kernels.compiled import inlined, kernel

UNKNOWN = -(2**30)
"""Stand-in for an unknown cell inside the passes: lower than any ground, and safe to add to another."""

_NODATA = np.int32(NODATA_MM)
_UNKNOWN = np.int32(UNKNOWN)

AXES = np.array([(0, 1), (1, 2), (1, 1), (2, 1), (1, 0), (2, -1), (1, -1), (1, -2)], dtype=np.int64)
"""Lattice axes as (rows, columns) per step; knight's moves have a middle between two cells."""

BLOCK_ROWS = 128
BLOCK_COLS = 512
"""Core of a cached block: with a halo of 25 cells its two buffers take 0.8 MB, inside a usual second-level
cache; 64 x 256 was measured 20 % slower (more halo), 256 x 1024 30 % slower (out of cache)."""


def block_shape(halo: int) -> tuple[int, int]:
    """Rows and columns of a cached block: larger for a wide halo, which would else be most of what is gone through.

    With a reach of 250 cells 128 x 512 cells with their halo are ten times as many as without, 512 x 1024 three times.
    """
    if halo <= 48:
        return BLOCK_ROWS, BLOCK_COLS
    return (2 * BLOCK_ROWS, BLOCK_COLS) if halo <= 96 else (4 * BLOCK_ROWS, 2 * BLOCK_COLS)


def steps_within(radius_cells: float) -> NDArray[np.int64]:
    """Whole steps along each of `AXES` that stay within a radius, at least one."""
    lengths = np.hypot(AXES[:, 0], AXES[:, 1])
    return np.maximum(1, np.floor(radius_cells / lengths + 1e-9)).astype(np.int64)


def ledge_steps(run_cells: float, ground_cells: float) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Steps from the middle to each end of the run, and from there across the ground, along `AXES`."""
    lengths = np.hypot(AXES[:, 0], AXES[:, 1])
    half = np.maximum(1, np.rint(run_cells / 2.0 / lengths)).astype(np.int64)
    ground = np.maximum(1, np.rint(ground_cells / lengths)).astype(np.int64)
    return half, ground


def ledge_reach(half: NDArray[np.int64], ground: NDArray[np.int64]) -> int:
    """Rows or columns from a ledge's middle to the far end of its ground, at the most."""
    return int(((half + ground) * np.abs(AXES).max(axis=1)).max())


def structure_halo(trough_cells: float, rise_cells: float, run_cells: float, ground_cells: float) -> int:
    """Cells beyond a core that its heights depend on."""
    half, ground = ledge_steps(run_cells, ground_cells)
    reach = [
        int((steps_within(radius) * np.abs(AXES).max(axis=1)).max()) for radius in (trough_cells, rise_cells)
    ]
    reach.append(ledge_reach(half, ground))
    return max(reach) + 3


@kernel
def load(
    elev: NDArray[np.int32],
    row: int,
    col: int,
    height: int,
    width: int,
    sign: int,
    out: NDArray[np.int32],
) -> None:
    """Copy a block with its halo into a flat buffer; beyond the array and unknown cells are `UNKNOWN`."""
    rows, cols = elev.shape
    first, last = min(width, max(0, -col)), max(0, min(width, cols - col))
    factor = np.int32(sign)
    for i in range(height):
        to = out[i * width : (i + 1) * width]
        r = row + i
        if r < 0 or r >= rows or last <= first:
            to[:] = _UNKNOWN
            continue
        to[:first] = _UNKNOWN
        to[last:] = _UNKNOWN
        line, inside = elev[r, col + first : col + last], to[first:last]
        for j in range(line.shape[0]):
            inside[j] = _UNKNOWN if line[j] == _NODATA else np.int32(factor * line[j])


@inlined
def _middle(one: np.int32, two: np.int32) -> np.int32:
    """Mean of two cells in 32 bits: numba widens int32 sums to 64, which halves the vector width."""
    return np.int32(np.int32(one + two) >> np.int32(1))


@kernel
def beside_middle(dr: int, dc: int, width: int) -> tuple[int, int]:
    """Offsets, in a flat array of rows ``width`` long, of the two cells beside the middle of a knight's move; equal for other steps."""
    if dr == 2:
        return width, width + dc
    if dc == 2 or dc == -2:
        return dc // 2, width + dc // 2
    return 0, 0


@kernel
def flanks(
    z: NDArray[np.int32],
    w: NDArray[np.int32],
    v: NDArray[np.int32],
    out: NDArray[np.int32],
    width: int,
    halo: int,
    height_core: int,
    width_core: int,
    steps: NDArray[np.int64],
    axes: NDArray[np.int64],
    best: bool,
) -> None:
    """Lower flank along every axis; the best axis (trough) or the worst (rise) is kept in ``out``."""
    size = z.shape[0]
    low = -_UNKNOWN if not best else np.int32(0)
    for i in range(height_core):
        for j in range(width_core):
            out[i * width_core + j] = low
    for a in range(axes.shape[0]):
        dr, dc = axes[a, 0], axes[a, 1]
        off = dr * width + dc
        n = steps[a]
        mid_a, mid_b = beside_middle(dr, dc, width)
        knight = mid_a != mid_b
        start = max(0, (halo - n * dr - dr) * width)
        w[start:] = z[start:]
        if knight:
            back_a, back_b = mid_a - off, mid_b - off
            first = max(start, -min(back_a, back_b, 0))
            last = size - max(back_a, back_b, 0)
            _higher_middle(
                w[first:last],
                z[first:last],
                z[first + back_a : last + back_a],
                z[first + back_b : last + back_b],
            )
        done = 1
        while done < n:
            ahead = min(done, n - done) * off
            higher(v[start : size - ahead], w[start : size - ahead], w[start + ahead :])
            w, v = v, w
            done += min(done, n - done)
        back = n * off
        for i in range(height_core):
            x = (i + halo) * width + halo
            line = out[i * width_core : (i + 1) * width_core]
            here = z[x : x + width_core]
            ahead_of = w[x + off : x + off + width_core]
            behind_of = w[x - back : x - back + width_core]
            if knight:
                f, g = x + back, x - off
                far_a, far_b = z[f + mid_a : f + mid_a + width_core], z[f + mid_b : f + mid_b + width_core]
                near_a, near_b = z[g + mid_a : g + mid_a + width_core], z[g + mid_b : g + mid_b + width_core]
                _keep_between(here, ahead_of, behind_of, far_a, far_b, near_a, near_b, best, line)
            elif best:
                for j in range(width_core):
                    line[j] = max(line[j], np.int32(min(ahead_of[j], behind_of[j]) - here[j]))
            else:
                for j in range(width_core):
                    line[j] = min(line[j], np.int32(min(ahead_of[j], behind_of[j]) - here[j]))


@kernel
def _keep_between(here, ahead, behind, far_a, far_b, near_a, near_b, best, line):  # type: ignore[no-untyped-def]
    """Keep a row's lower flanks along a knight's axis: at its far ends two cells stand for the one between them."""
    if best:
        for j in range(line.size):
            forward = max(ahead[j], _middle(far_a[j], far_b[j]))
            back = max(behind[j], _middle(near_a[j], near_b[j]))
            line[j] = max(line[j], np.int32(min(forward, back) - here[j]))
    else:
        for j in range(line.size):
            forward = max(ahead[j], _middle(far_a[j], far_b[j]))
            back = max(behind[j], _middle(near_a[j], near_b[j]))
            line[j] = min(line[j], np.int32(min(forward, back) - here[j]))


@kernel
def higher(out: NDArray[np.int32], one: NDArray[np.int32], two: NDArray[np.int32]) -> None:
    """Elementwise maximum into a third buffer. Two things keep the loop a vector one: views with one running
    index (numba's check for negative indices, as in ``w[i + ahead]``, would not), and an ``out`` that overlaps
    neither input (in place it runs five times as slow: 0.24 against 0.05 ns a cell, measured)."""
    for i in range(two.shape[0]):
        a, b = one[i], two[i]
        out[i] = a if a > b else b


@kernel
def _higher_middle(
    out: NDArray[np.int32], base: NDArray[np.int32], one: NDArray[np.int32], two: NDArray[np.int32]
) -> None:
    for i in range(out.shape[0]):
        out[i] = max(base[i], _middle(one[i], two[i]))


@kernel
def ledges(
    z: NDArray[np.int32],
    out: NDArray[np.int32],
    width: int,
    halo: int,
    height_core: int,
    width_core: int,
    half: NDArray[np.int64],
    ground: NDArray[np.int64],
    axes: NDArray[np.int64],
) -> None:
    """Step over the steeper ground, best axis; an axis that meets an unknown cell does not count."""
    for i in range(height_core * width_core):
        out[i] = 0
    known = np.int32(UNKNOWN // 2)
    for a in range(axes.shape[0]):
        off = axes[a, 0] * width + axes[a, 1]
        near = half[a] * off
        far = (half[a] + ground[a]) * off
        ratio = np.float32(2.0 * half[a] / ground[a])
        for i in range(height_core):
            x = (i + halo) * width + halo
            line = out[i * width_core : (i + 1) * width_core]
            ahead, behind = z[x + near : x + near + width_core], z[x - near : x - near + width_core]
            far_ahead, far_behind = z[x + far : x + far + width_core], z[x - far : x - far + width_core]
            for j in range(width_core):
                lowest = min(min(ahead[j], behind[j]), min(far_ahead[j], far_behind[j]))
                step = np.float32(np.int32(ahead[j] - behind[j]))
                slope_a = np.float32(np.int32(far_ahead[j] - ahead[j])) * ratio
                slope_b = np.float32(np.int32(behind[j] - far_behind[j])) * ratio
                up = step - max(slope_a, slope_b)
                down = min(slope_a, slope_b) - step
                value = np.int32(max(max(up, down), np.float32(0.0)))
                line[j] = max(line[j], value if lowest > known else np.int32(0))


@kernel
def _heights(
    elev: NDArray[np.int32],
    halo: int,
    trough_steps: NDArray[np.int64],
    rise_steps: NDArray[np.int64],
    half: NDArray[np.int64],
    ground: NDArray[np.int64],
    axes: NDArray[np.int64],
    block_rows: int,
    block_cols: int,
    trough: NDArray[np.int32],
    ledge: NDArray[np.int32],
    rise: NDArray[np.int32],
) -> None:
    rows, cols = elev.shape
    buffer = (block_rows + 2 * halo) * (block_cols + 2 * halo)
    z = np.empty(buffer, np.int32)
    w, v = np.empty(buffer, np.int32), np.empty(buffer, np.int32)
    core = np.empty(block_rows * block_cols, np.int32)
    for row in range(0, rows, block_rows):
        for col in range(0, cols, block_cols):
            h, wd = min(rows - row, block_rows), min(cols - col, block_cols)
            height, width = h + 2 * halo, wd + 2 * halo
            flat_z, flat_w, flat_v = z[: height * width], w[: height * width], v[: height * width]
            load(elev, row - halo, col - halo, height, width, 1, flat_z)
            flanks(flat_z, flat_w, flat_v, core, width, halo, h, wd, trough_steps, axes, True)
            _store(elev, trough, core, row, col, h, wd)
            ledges(flat_z, core, width, halo, h, wd, half, ground, axes)
            _store(elev, ledge, core, row, col, h, wd)
            load(elev, row - halo, col - halo, height, width, -1, flat_z)
            flanks(flat_z, flat_w, flat_v, core, width, halo, h, wd, rise_steps, axes, False)
            _store(elev, rise, core, row, col, h, wd)


@kernel
def _store(
    elev: NDArray[np.int32],
    out: NDArray[np.int32],
    core: NDArray[np.int32],
    row: int,
    col: int,
    height: int,
    width: int,
) -> None:
    for i in range(height):
        for j in range(width):
            known = elev[row + i, col + j] != _NODATA
            out[row + i, col + j] = max(core[i * width + j], np.int32(0)) if known else np.int32(0)


def heights(
    elev_mm: NDArray[np.int32],
    *,
    trough_cells: float,
    rise_cells: float,
    run_cells: float,
    ground_cells: float,
) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
    """Trough, ledge and rise height at every known cell.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Elevation in millimetres, positive up, `NODATA_MM` where unknown.
    trough_cells, rise_cells : float
        How far a ray looks, in cells.
    run_cells, ground_cells : float
        Length of the step's run and of the ground beyond each of its ends, in cells.

    Returns
    -------
    trough, ledge, rise : ndarray of int32, shape (rows, cols)
        Heights in millimetres, 0 where there is none, where the cell is unknown. They
        depend on `structure_halo` cells around; an unknown cell stops nothing but adds nothing: it
        lies below every flank and above every drop, so a gap never makes structure.
    """
    halo = structure_halo(trough_cells, rise_cells, run_cells, ground_cells)
    half, ground = ledge_steps(run_cells, ground_cells)
    trough, ledge, rise = (np.zeros(elev_mm.shape, np.int32) for _ in range(3))
    _heights(
        np.ascontiguousarray(elev_mm),
        halo,
        steps_within(trough_cells),
        steps_within(rise_cells),
        half,
        ground,
        AXES,
        *block_shape(halo),
        trough,
        ledge,
        rise,
    )
    return trough, ledge, rise
