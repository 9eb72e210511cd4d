"""What is known about a planted seabed: the surface without noise, and every object on it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

Grid = NDArray[np.float64]

ORIGIN = (500_000.0, 5_000_000.0)
"""Easting and northing of every seabed's north-west corner: on a central meridian, so grid north is true north."""

CRS = "EPSG:32633"


@dataclass(frozen=True)
class Planted:
    """One object put on the seabed.

    ``role``: *real* (in band, resolvable: must be found; K counts these), *optional* (real, but out of what may be demanded:
    at the band's edge, or finer than the ground it lies on was surveyed), *deep* or *shallow* (real, out of band: a site there is wrong), *decoy*
    (smooth bank, even ramp), *dug*, *moving*. ``line`` (n, 2) is the centre line of a trough, the middle of a ledge's face, or one point.
    ``half_width_m`` reaches from the line to the foot (ledge, rise, rubble) or the lip (trough): where
    rock ends. ``full`` marks the points of the line at which the object has its whole height.
    """

    kind: str
    role: str
    line: Grid
    half_width_m: float
    height_m: float
    width_m: float
    full: NDArray[np.bool_]
    floor_half_m: float = 0.0
    down_sign: int = 0
    in_coarse: bool = False

    def nearest(self, xy: Grid) -> tuple[Grid, NDArray[np.intp]]:
        """Distance from points (n, 2) to the line, and the index of its nearest point."""
        dist, index = cKDTree(self.line).query(np.atleast_2d(xy))
        return np.asarray(dist), np.asarray(index)

    def axis_deg(self, index: int) -> float:
        """Bearing of the line at a point, 0-180."""
        lo, hi = max(0, index - 3), min(len(self.line) - 1, index + 3)
        east, north = self.line[hi] - self.line[lo]
        return float(np.degrees(np.arctan2(east, north)) % 180)

    def facing_deg(self, index: int) -> float:
        """Bearing downhill from a ledge's line, 0-360."""
        lo, hi = max(0, index - 3), min(len(self.line) - 1, index + 3)
        east, north = self.line[hi] - self.line[lo]
        return float((np.degrees(np.arctan2(east, north)) + 90 * self.down_sign) % 360)


@dataclass
class Seabed:
    """A planted grid: ``elev`` as a survey would give it, ``true_elev`` as it is, ``form`` the part of it that was
    planted (metres, positive up, north-up).

    x runs from 0 eastward and y from 0 at the *north-west corner*, so y is negative; `xy_of` and `rowcol_of` convert.
    """

    name: str
    seed: int
    cell_m: float
    elev: NDArray[np.float32]
    true_elev: Grid
    form: Grid
    sigma: NDArray[np.float32] | None
    sigma_true: Grid
    coarse: NDArray[np.bool_]
    planted: list[Planted]
    depth_band: tuple[float, float] = (4.0, 15.0)
    asked_m: float = 1.0
    facts: dict[str, float] = field(default_factory=dict)

    @property
    def real(self) -> list[Planted]:
        """The objects that must be found; their number is K."""
        return [p for p in self.planted if p.role == "real"]

    def xy_of(self, row: Grid, col: Grid) -> Grid:
        """Local metres of cell centres."""
        return np.stack([(np.asarray(col) + 0.5) * self.cell_m, -(np.asarray(row) + 0.5) * self.cell_m], -1)

    def rowcol_of(self, xy: Grid) -> tuple[Grid, Grid]:
        """Fractional row and column (cell centres are whole numbers) of local metres."""
        xy = np.asarray(xy, dtype=np.float64)
        return -xy[..., 1] / self.cell_m - 0.5, xy[..., 0] / self.cell_m - 0.5
