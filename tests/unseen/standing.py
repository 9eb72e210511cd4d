"""A naive reference: what stands abruptly on a noise-free surface.

All is read against the lie of the land (the median slope of the ground within some 100 m) and a sight line of 1 in 20: the climb from a
cell along a ray is the most of ``z(r) - z(0) - (land + g) r``. A **face** is a cell that, smoothed over 2 m, is steeper than the land by 0.12;
its height is the climb above it plus the drop below it, along one line within 50 degrees of its own gradient, each ended where it
gives back 0.25 m or 30 %. A **trough** is the
lesser of two opposite climbs in the best direction, a **rise** the third lowest of sixteen drops. Rays run along whole-cell steps,
so that nothing is interpolated.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, maximum_filter, median_filter, zoom

from unseen.bed import BAND, rowcol

Grid = NDArray[np.float64]

SIGHT = 0.05
REACH_M = 80.0
FACE, LOOSE = 0.12, 0.06
"""Gradients beyond the land: texture on a swell stays under the first, a step of 1 m over 8 m passes it."""
STEPS = [(r, c) for r in range(-2, 3) for c in range(-2, 3) if max(abs(r), abs(c)) > 0 and np.gcd(r, c) == 1]


@dataclass(frozen=True)
class Standing:
    """Heights (m) of every cell: ``face``, ``loose`` (a face from half that gradient on), ``tall`` (at any gradient), ``trough``, ``rise``."""

    face: Grid
    loose: Grid
    tall: Grid
    trough: Grid
    rise: Grid


def land(elev: Grid, cell_m: float) -> tuple[Grid, Grid]:
    """Slope of the land per metre along rows (southward) and columns (eastward): medians over some 200 m."""
    down, east = np.gradient(elev, cell_m)
    block = max(1, min(round(40 / cell_m), min(elev.shape) // 3))
    out = []
    for part in (down, east):
        rows, cols = (n // block for n in part.shape)
        cut = part[: rows * block, : cols * block].reshape(rows, block, cols, block)
        middle = median_filter(np.median(cut, axis=(1, 3)), size=5, mode="nearest")
        big = zoom(middle, block, order=1, mode="nearest", grid_mode=True)
        out.append(
            np.pad(big, [(0, part.shape[0] - big.shape[0]), (0, part.shape[1] - big.shape[1])], mode="edge")
        )
    return out[0], out[1]


def standing(elev: Grid, cell_m: float) -> Standing:
    """The reference for every cell of a surface without gaps."""
    z = np.asarray(elev, np.float32)
    down, east = (a.astype(np.float32) for a in land(elev, cell_m))
    climb, drop, reach_up, reach_off = {}, {}, {}, {}
    for dr, dc in STEPS:
        length = float(np.hypot(dr, dc)) * cell_m
        slope = down * dr * cell_m + east * dc * cell_m
        up, off, one_up, one_off = (np.zeros_like(z) for _ in range(4))
        rising, falling = np.ones(z.shape, bool), np.ones(z.shape, bool)
        for k in range(1, int(REACH_M / length) + 1):
            if max(abs(dr), abs(dc)) * k >= min(z.shape):
                break
            here, there = _overlap(z.shape, dr * k, dc * k)
            beyond = z[there] - z[here] - slope[here] * k
            for signed, most, one, going in (
                (beyond, up, one_up, rising),
                (-beyond, off, one_off, falling),
            ):
                seen = signed - SIGHT * length * k
                np.maximum(most[here], seen, out=most[here])
                going[here] &= one[here] - seen <= np.maximum(0.25, 0.3 * one[here])
                one[here] = np.where(going[here], np.maximum(one[here], seen), one[here])
        climb[dr, dc], drop[dr, dc] = up, off
        reach_up[dr, dc], reach_off[dr, dc] = one_up, one_off
    gr, gc = np.gradient(gaussian_filter(z, 2.0 / cell_m), cell_m)
    gr, gc = gr - down, gc - east
    steep = np.hypot(gr, gc)
    tall = np.zeros_like(z)
    for dr, dc in STEPS:
        along = (gr * dr + gc * dc) / np.hypot(dr, dc) >= np.cos(np.radians(50)) * steep
        np.maximum(tall, np.where(along, reach_up[dr, dc] + reach_off[-dr, -dc], 0), out=tall)
    trough = np.max([np.minimum(climb[s], climb[-s[0], -s[1]]) for s in STEPS], axis=0)
    rise = np.sort(np.stack([drop[s] for s in STEPS]), axis=0)[2]
    return Standing(
        np.where(steep >= FACE, tall, 0).astype(float),
        np.where(steep >= LOOSE, tall, 0).astype(float),
        tall.astype(float),
        trough.astype(float),
        rise.astype(float),
    )


def _overlap(shape: tuple[int, int], dr: int, dc: int) -> tuple[tuple[slice, slice], tuple[slice, slice]]:
    """Slices of the cells that have a neighbour at an offset, and of those neighbours."""

    def one(n: int, d: int) -> tuple[slice, slice]:
        return slice(max(0, -d), n - max(0, d)), slice(max(0, d), n - max(0, -d))

    (hr, tr), (hc, tc) = one(shape[0], dr), one(shape[1], dc)
    return (hr, hc), (tr, tc)


def near(heights: Grid, x: float, y: float, *, cell_m: float, within_m: float) -> float:
    """The most of a map within a distance of a place."""
    row, col = (float(v) for v in rowcol(x, y, cell_m))
    n = int(within_m / cell_m) + 1
    r0, c0 = max(0, round(row) - n), max(0, round(col) - n)
    cut = heights[r0 : round(row) + n + 1, c0 : round(col) + n + 1]
    if not cut.size:
        return 0.0
    rr, cc = np.ogrid[r0 : r0 + cut.shape[0], c0 : c0 + cut.shape[1]]
    inside = np.hypot(rr - row, cc - col) * cell_m <= within_m
    return float(cut[inside].max()) if inside.any() else 0.0


@dataclass(frozen=True)
class Natural:
    """One natural structure: its tallest face's place and height, and the cells (n, 2 as x, y) of that piece of it."""

    x: float
    y: float
    height_m: float
    piece: Grid


def structures(
    true: Grid,
    heights: Grid,
    cell_m: float,
    *,
    least_m: float = 1.0,
    apart_m: float = 60.0,
    known: NDArray[np.bool_] | None = None,
) -> list[Natural]:
    """Tallest faces first, none within ``apart_m`` of another; only those with a foot in the depth band and on known ground."""
    left = np.where(heights >= least_m, heights, 0.0)
    n = int(15 / cell_m)
    lowest = -maximum_filter(-true, size=2 * n + 1)
    left[(-lowest < BAND[0] + 0.5) | (-lowest > BAND[1] - 0.5)] = 0
    edge = int(30 / cell_m)
    left[:edge] = left[-edge:] = left[:, :edge] = left[:, -edge:] = 0
    if known is not None:
        left[~known] = 0
    out = []
    m = int(apart_m / cell_m)
    while (i := int(left.argmax())) >= 0 and left.flat[i] > 0:
        row, col = divmod(i, left.shape[1])
        r0, c0 = max(0, row - m), max(0, col - m)
        view = (slice(r0, row + m + 1), slice(c0, col + m + 1))
        rr, cc = np.ogrid[r0 : min(left.shape[0], row + m + 1), c0 : min(left.shape[1], col + m + 1)]
        far = np.hypot(rr - row, cc - col) * cell_m
        top = float(left[row, col])
        own = (far <= apart_m / 2) & (heights[view] >= max(0.9, 0.6 * top))
        ri, ci = np.nonzero(own)
        piece = np.stack([(ci + c0 + 0.5) * cell_m, -(ri + r0 + 0.5) * cell_m], 1)
        out.append(Natural((col + 0.5) * cell_m, -(row + 0.5) * cell_m, top, piece))
        left[view][far < apart_m] = 0
    return out
