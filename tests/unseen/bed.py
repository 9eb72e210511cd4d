"""A seabed whose truth is known: the noise-free surface, what was planted on it, and the grid a survey made of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Grid = NDArray[np.float64]

BAND = (4.0, 15.0)
"""Depths the default recipe asks for (m)."""

ASKED_M = 1.0
NEAR_M = 20.0


@dataclass(frozen=True)
class Planted:
    """One structure put on the ground.

    ``foot`` (n, 2) runs where the rock meets the ground beside it; ``line`` (m, 2) along the middle of a ledge's face, a trough's
    floor, or is a rise's summit; ``axis_deg`` and ``facing_deg`` (m) go with the line (NaN for a rise). ``role``: *real* must be found,
    *optional* is right but not demanded (out of band, finer than the survey, or lower than asked).
    """

    kind: str
    height_m: float
    width_m: float
    foot: Grid
    line: Grid
    axis_deg: Grid
    facing_deg: Grid
    role: str = "real"

    def gap(self, x: float, y: float) -> float:
        """Distance (m) from a place to the foot."""
        return float(np.hypot(self.foot[:, 0] - x, self.foot[:, 1] - y).min())

    def at(self, x: float, y: float) -> int:
        """Index of the line's nearest point."""
        return int(np.hypot(self.line[:, 0] - x, self.line[:, 1] - y).argmin())


@dataclass(frozen=True)
class Bed:
    """``elev`` as surveyed, ``shown`` the same without noise and holes, ``true`` the ground itself (north-up, metres, positive up)."""

    name: str
    seed: int
    cell_m: float
    elev: Grid
    true: Grid
    shown: Grid
    planted: tuple[Planted, ...] = ()
    canopy: NDArray[np.bool_] | None = None
    facts: dict[str, float] = field(default_factory=dict)

    @property
    def real(self) -> list[Planted]:
        """What must be found; its number is K."""
        return [p for p in self.planted if p.role == "real"]

    def with_(self, **changes: object) -> Bed:
        """A copy with fields replaced."""
        return replace(self, **changes)  # type: ignore[arg-type]


def axes(n_rows: int, n_cols: int, cell_m: float) -> tuple[Grid, Grid]:
    """x and y of every cell centre."""
    x, y = np.meshgrid((np.arange(n_cols) + 0.5) * cell_m, -(np.arange(n_rows) + 0.5) * cell_m)
    return x, y


def rowcol(x: Grid | float, y: Grid | float, cell_m: float) -> tuple[Grid, Grid]:
    """Fractional row and column of places; cell centres are whole numbers."""
    return -np.asarray(y, float) / cell_m - 0.5, np.asarray(x, float) / cell_m - 0.5


def near_tree(planted: tuple[Planted, ...]) -> tuple[cKDTree | None, NDArray[np.intp]]:
    """A tree of all feet, and which structure each point belongs to."""
    if not planted:
        return None, np.empty(0, np.intp)
    owner = np.concatenate([np.full(len(p.foot), i) for i, p in enumerate(planted)])
    return cKDTree(np.concatenate([p.foot for p in planted])), owner
