"""Rays from places to the first of many lines: how far one sees in every direction."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import kernel

Floats = NDArray[np.float64]

NEAR = 1.0 / 16.0
"""Lines within this share of the reach go first: what they hide of the others is not looked at."""


@kernel
def first_hits(
    places: Floats, turns: Floats, corners: Floats, starts: NDArray[np.intp], circles: Floats, reach: float, out: Floats
) -> None:  # fmt: skip
    """Distance from each place to the first line in evenly spaced directions.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        x and y, metres.
    turns : ndarray, shape (n,)
        Angle (radians, clockwise) from the plane's y to direction 0 at each place.
    corners : ndarray, shape (m, 2)
        x and y of the corners of all lines, one line after the other.
    starts : ndarray of int, shape (p + 1,)
        First corner of each line, and the end of the last.
    circles : ndarray, shape (p, 3)
        x, y and radius of a circle that holds each line.
    reach : float
        Metres.
    out : ndarray, shape (n, k)
        Written: metres in directions 0, 360 / k, ... degrees clockwise; ``reach`` where nothing is hit before it.
    """
    k = out.shape[1]
    step = 2.0 * math.pi / k
    for i in range(places.shape[0]):
        x, y, seen = places[i, 0], places[i, 1], out[i]
        seen[:] = reach
        for far in range(2):
            for line in range(circles.shape[0]):
                away = math.hypot(circles[line, 0] - x, circles[line, 1] - y)
                least = away - circles[line, 2]
                if least >= reach or (least > NEAR * reach) != (far == 1):
                    continue
                if far and _hidden(
                    seen, math.atan2(circles[line, 0] - x, circles[line, 1] - y) - turns[i],
                    math.asin(min(1.0, circles[line, 2] / away)), least,
                ):  # fmt: skip
                    continue
                _look(x, y, turns[i], corners[starts[line] : starts[line + 1]], step, seen)


@kernel
def _hidden(seen: Floats, middle: float, half: float, least: float) -> bool:
    """Whether in all directions within ``half`` of ``middle`` something is nearer than ``least``."""
    k = seen.shape[0]
    step = 2.0 * math.pi / k
    for b in range(math.ceil((middle - half) / step), math.floor((middle + half) / step) + 1):
        if seen[b % k] > least:
            return False
    return True


@kernel
def _look(x: float, y: float, turn: float, corners: Floats, step: float, seen: Floats) -> None:
    """Shorten the rays that one line crosses."""
    k = seen.shape[0]
    x0, y0 = corners[0, 0] - x, corners[0, 1] - y
    a0 = math.atan2(x0, y0) - turn
    for m in range(1, corners.shape[0]):
        x1, y1 = corners[m, 0] - x, corners[m, 1] - y
        a1 = math.atan2(x1, y1) - turn
        sweep = (a1 - a0 + math.pi) % (2.0 * math.pi) - math.pi
        low, high = min(a0, a0 + sweep), max(a0, a0 + sweep)
        # a little wider, so that a ray through the corner of two edges meets one of them
        for b in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1):
            east, north = math.sin(b * step + turn), math.cos(b * step + turn)
            across = east * (y1 - y0) - north * (x1 - x0)
            if across != 0.0:
                metres = (x0 * (y1 - y0) - y0 * (x1 - x0)) / across
                if metres < seen[b % k]:
                    seen[b % k] = metres
        x0, y0, a0 = x1, y1, a1
