"""What a cell is worth by itself: the score's formula over depth, height within reach and slope.

The formula is that of `reefscan.score.scoring`, cell by cell, without a temporary array a step: numpy's small steps hold the
interpreter's lock, and two threads then wait for each other.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from reefscan.kernels.compiled import inlined, kernel
from reefscan.kernels.roles import BONUS, DEPTH, HEIGHT, PENALTY, REQUIRED


@kernel
def raise_worth(
    elev_mm: NDArray[np.int32],
    height_cm: NDArray[np.uint16],
    slope_deg: NDArray[np.float32],
    measured: NDArray[np.int64],
    roles: NDArray[np.int64],
    numbers: NDArray[np.float64],
    by_height: NDArray[np.float64],
    unknown: float,
    floor: float,
    out: NDArray[np.uint8],
) -> None:
    """Raise every cell that has structure near to what that is worth there.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape (rows, cols)
        Elevation, millimetres, positive up; known wherever there is a height.
    height_cm : ndarray of uint16, shape (rows, cols)
        Highest structure of one kind within reach, centimetres; 0 where there is none: passed by.
    slope_deg : ndarray of float32, shape (rows, cols)
        Degrees, NaN unknown.
    measured, roles : ndarray of int64, shape (terms,)
        Of each term in the recipe's order: what it judges (`DEPTH`, `HEIGHT`, `SLOPE`), what it does.
    numbers : ndarray of float64, shape (terms, 6)
        Its corners a, b, c, d (infinite: that side is open), its weight and ``half``.
    by_height : ndarray of float64, shape (terms, centimetres)
        Of a term that judges the height: its weight times the logarithm of its membership, by whole centimetres; NaN where
        it is required and worth nothing.
    unknown, floor : float
        Membership taken for an unknown measure; least membership of an optional term.
    out : ndarray of uint8, shape (rows, cols)
        Whole points 0-100, changed in place. A cell whose required measure is unknown or worth nothing stays.
    """
    rows, cols = height_cm.shape
    terms = measured.shape[0]
    plain = True
    for t in range(terms):
        plain = plain and roles[t] != BONUS and roles[t] != PENALTY
    # below which a cell is worth no more than it has: a logarithm less is taken
    least = np.empty(256, np.float64)
    for v in range(256):
        least[v] = math.log((v + 0.49) * 0.01)
    for r in range(rows):
        for c in range(cols):
            if height_cm[r, c] == 0:
                continue
            total, logs = 0.0, 0.0
            for t in range(terms):
                if roles[t] == BONUS or roles[t] == PENALTY:
                    continue
                total += numbers[t, 4]
                if measured[t] == HEIGHT:
                    logs += by_height[t, height_cm[r, c]]
                    continue
                x = _measure(measured[t], elev_mm[r, c], height_cm[r, c], slope_deg[r, c])
                mu = _membership(x, numbers[t, 0], numbers[t, 1], numbers[t, 2], numbers[t, 3], numbers[t, 5])
                if roles[t] == REQUIRED:
                    if not mu > 0.0:
                        logs = math.nan
                        break
                else:
                    mu = max(unknown if math.isnan(mu) else mu, floor)
                if mu != 1.0:
                    logs += numbers[t, 4] * math.log(mu)
            if math.isnan(logs) or (plain and logs < least[out[r, c]] * total):
                continue
            value = 100.0 * math.exp(logs / total) if total > 0.0 else 100.0
            for role in (BONUS, PENALTY):
                for t in range(terms):
                    if roles[t] != role:
                        continue
                    x = _measure(measured[t], elev_mm[r, c], height_cm[r, c], slope_deg[r, c])
                    mu = _membership(
                        x, numbers[t, 0], numbers[t, 1], numbers[t, 2], numbers[t, 3], numbers[t, 5]
                    )
                    if role == BONUS:
                        value += (100.0 - value) * numbers[t, 4] * (0.0 if math.isnan(mu) else mu)
                    else:
                        value *= 1.0 - numbers[t, 4] * (1.0 - (unknown if math.isnan(mu) else mu))
            out[r, c] = max(out[r, c], np.uint8(np.rint(value)))


@inlined
def _measure(what: int, elev_mm: int, height_cm: int, slope_deg: float) -> float:
    if what == DEPTH:
        return elev_mm * -0.001
    if what == HEIGHT:
        return height_cm * 0.01
    return float(slope_deg)


@kernel
def _membership(x: float, a: float, b: float, c: float, d: float, half: float) -> float:
    """`reefscan.score.scoring.trapezoid` of one number."""
    mu = _trapezoid(x, a, b, c, d)
    return mu * (max(x, 0.0) / (max(x, 0.0) + half)) if half > 0.0 else mu


@kernel
def _trapezoid(x: float, a: float, b: float, c: float, d: float) -> float:
    if math.isnan(x):
        return math.nan
    if x < a or x > d:
        return 0.0
    if x < b:  # below a full amount that is nowhere reached: nothing; with no lower corner: the full amount
        return 1.0 if abs(a) == math.inf else 0.0 if abs(b) == math.inf else (x - a) / (b - a)
    if x > c:
        return 1.0 if abs(d) == math.inf else 0.0 if abs(c) == math.inf else (d - x) / (d - c)
    return 1.0
