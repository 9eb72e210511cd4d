"""Colours, symbols and words that every picture of ours shares: one table for map, cards and page.

A shape stands for a kind; lightness, number and rank stand for a score. So nothing rests on colour
alone. The shapes are drawn after what the sounder shows: a notch, a step, a mound, a block.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reefscan.base.units import METRES_PER, NMI, UNITS

INK = "#14202b"
PAPER = "#fdfcf8"
QUIET = "#566370"
CLOSED = "#8c1420"

Box = tuple[float, float, float, float]
"""West, south, east, north (m in the map's system, or points on its paper)."""


@dataclass(frozen=True)
class Kind:
    """How one kind of structure is drawn.

    ``outline`` is a closed polygon in a unit square, y up; ``line`` a dash pattern in points for
    the feature's own line (empty = solid).
    """

    name: str
    layer: str
    words: str
    outline: tuple[tuple[float, float], ...]
    line: tuple[float, ...]


SYMBOLS: dict[str, Kind] = {
    k.name: k
    for k in (
        Kind(
            "trough",
            "troughs",
            "trough: a low between highs",
            ((-1, 0.75), (-0.55, 0.75), (0, -0.1), (0.55, 0.75), (1, 0.75), (0.25, -0.95), (-0.25, -0.95)),
            (4.0, 2.0),
        ),
        Kind(
            "ledge",
            "ledges",
            "ledge: a step",
            ((-1, 0.9), (0.1, 0.9), (0.1, -0.1), (1, -0.1), (1, -0.9), (-1, -0.9)),
            (),
        ),
        Kind("rise", "rises", "rise: a mound or pile", ((0, 1), (1, -0.8), (-1, -0.8)), (1.2, 1.6)),
        Kind(
            "man-made",
            "man-made",
            "man-made structure",
            ((-0.8, 0.8), (0.8, 0.8), (0.8, -0.8), (-0.8, -0.8)),
            (6.0, 1.5, 1.2, 1.5),
        ),
    )
}


def kind_of(name: object) -> Kind:
    """Return the row of a kind; an unknown one is drawn like the plainest."""
    return SYMBOLS.get(str(name), SYMBOLS["man-made"])


SCORE_STOPS = (
    (0.0, (255, 250, 220)),
    (0.4, (253, 214, 120)),
    (0.7, (240, 138, 44)),
    (0.9, (196, 60, 24)),
    (1.0, (128, 16, 24)),
)
"""Score 0 to 100, light to dark warm, against a cool seabed: they part in grey print too."""


def score_rgb(score: NDArray[np.float64]) -> NDArray[np.float64]:
    """RGB (0 to 1) of scores 0 to 100; an unknown score is white."""
    share = np.clip(np.asarray(score, dtype=np.float64) / 100.0, 0.0, 1.0)
    at = [s for s, _ in SCORE_STOPS]
    rgb = np.stack([np.interp(share, at, [c[i] for _, c in SCORE_STOPS]) for i in range(3)], axis=-1)
    rgb[np.isnan(share)] = 255.0
    return rgb / 255.0


UNIT_METRES = {unit: METRES_PER[unit] for unit in UNITS}
"""Metres in one unit of the picture (exact, by definition)."""

ROUND_DEPTHS = {
    "m": (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000),
    "ft": (5, 10, 20, 30, 60, 100, 300, 600, 1500, 3000),
    "fathom": (1, 2, 3, 5, 10, 20, 50, 100, 300),
}


def nice_length(most: float) -> float:
    """Largest of 1, 2, 5 times a power of ten that is not above ``most``."""
    if most <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(most))
    return max(m * power for m in (1.0, 2.0, 5.0) if m * power <= most * (1 + 1e-9))


def rule_length(most_m: float, unit: str) -> tuple[float, str]:
    """A round length of no more than ``most_m``, for a scale bar: in metres, and in words of the unit.

    Who counts depths in feet or fathoms counts distances in feet and nautical miles. The page asks the same (``Words.rule``).

    Examples
    --------
    >>> rule_length(163.0, "m"), rule_length(163.0, "ft"), rule_length(1700.0, "ft")
    ((100.0, '100 m'), (152.4, '500 ft'), (926.0, '0.5 nmi'))
    """
    if unit == "m":
        metres = nice_length(most_m)
        return metres, f"{metres / 1000:g} km" if metres >= 1000 else f"{metres:g} m"
    miles = most_m / NMI
    if miles < 0.5:
        feet = nice_length(most_m / UNIT_METRES["ft"])
        return round(feet * UNIT_METRES["ft"], 6), f"{feet:g} ft"
    whole = nice_length(miles) if miles >= 1 else 0.5
    return whole * NMI, f"{whole:g} nmi"


def contour_depths(deepest_m: float, unit: str, *, most: int = 9) -> list[float]:
    """Even round depths (metres, positive down) for contours: the smallest step that gives few enough."""
    metres = UNIT_METRES[unit]
    for step in ROUND_DEPTHS[unit]:
        count = int(deepest_m / metres / step + 1e-9)
        if count <= most:
            break
    return [round(step * metres * (i + 1), 6) for i in range(count)]


def show_depth(depth_m: float, unit: str, *, places: int | None = None) -> str:
    """Depth in the chosen unit with its sign for the unit, or ``?`` if unknown."""
    if not np.isfinite(depth_m):
        return "?"
    value = depth_m / UNIT_METRES[unit]
    digits = {"m": 1, "ft": 0, "fathom": 1}[unit] if places is None else places
    return f"{value:.{digits}f} {unit}"
