"""How far a depth may be off, after IHO S-44 edition 6.1.0, table 1: total vertical uncertainty.

TVU is a 95 % figure; a standard deviation is TVU / 1.96.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

ORDERS: dict[str, tuple[float, float]] = {
    "exclusive": (0.15, 0.0075),
    "special": (0.25, 0.0075),
    "1a": (0.50, 0.013),
    "1b": (0.50, 0.013),
    "2": (1.00, 0.023),
}
"""Order name: a (m) and b of TVU = sqrt(a^2 + (b d)^2)."""


def tvu(order: str, depth_m: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Largest total vertical uncertainty allowed (m, 95 %) at a depth (m, positive down).

    Examples
    --------
    >>> round(float(tvu("special", 20.0)), 4)
    0.2915
    """
    a, b = ORDERS[order]
    return np.asarray(np.hypot(a, b * np.asarray(depth_m, dtype=np.float64)))


def share_within(order: str, difference_m: NDArray[np.float64], depth_m: NDArray[np.float64]) -> float:
    """Share of differences of two soundings that lie within sqrt(2) TVU; NaN if there are none."""
    if difference_m.size == 0:
        return float("nan")
    return float(np.mean(np.abs(difference_m) <= np.sqrt(2.0) * tvu(order, depth_m)))
