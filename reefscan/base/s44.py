"""How far a depth may be off, after IHO S-44 edition 6.1.0 (2022), table 1: total vertical uncertainty.

TVU is a 95 % figure; a standard deviation is TVU / `Z95`. The page has the same table (``review/web/score.js``), and a
test holds both together.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

ORDERS: dict[str, tuple[float, float]] = {
    "exclusive": (0.15, 0.0075),
    "special": (0.25, 0.0075),
    "1a": (0.50, 0.013),
    "1b": (0.50, 0.013),
    "2": (1.00, 0.023),
}
"""Order: a (m) and b of TVU = sqrt(a^2 + (b d)^2)."""

ASSUMED: Final = "1a"
"""Order taken for a grid that states no uncertainty, where nobody says another."""

Z95 = 1.959963984540054
"""Two-sided 95 % point of the normal law."""


def tvu(order: str, depth_m: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Largest total vertical uncertainty allowed (m, 95 %) at a depth (m, positive down); land counts as depth 0.

    Examples
    --------
    >>> round(float(tvu("special", 20.0)), 4)
    0.2915
    """
    a, b = ORDERS[order]
    depth = np.maximum(np.asarray(depth_m, dtype=np.float64), 0.0)
    return np.asarray(np.sqrt(a * a + (b * depth) ** 2))
