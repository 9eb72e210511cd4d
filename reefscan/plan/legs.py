"""Ways by water between two places: round land, round ground that nobody knows, over water deep enough for the boat.

A cell that is not known is a barrier, never open water. The way is a cost path over the grid's cells (`skimage.graph`)
kept one cell off every barrier, then pulled straight wherever the straight line stays in navigable cells.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_erosion, distance_transform_edt, label
from skimage.graph import MCP_Geometric

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]
Place = tuple[float, float]
"""Easting and northing (m) in the ground's CRS."""

STRAIGHT_M = 0.25
"""Lines are checked every so many cells: a cell cannot be crossed unseen by more than a corner of that size."""

NEAR_CELLS = 3
NEAR_M = 15.0
"""A net may lie beside a shoal: the last metres to it go straight, over cells that are navigable themselves."""


@dataclass(frozen=True)
class Ground:
    """The seabed as the boat's way needs it.

    Parameters
    ----------
    elev : ndarray, shape (rows, cols)
        Shoalest elevation of each cell (m, positive up), NaN unknown; rows north to south.
    west_m, north_m, cell_m : float
        Outer edges and side of a cell (m, of ``crs``).
    crs : str
        Projected CRS.
    """

    elev: Floats
    west_m: float
    north_m: float
    cell_m: float
    crs: str

    def cell(self, place: Place) -> tuple[int, int]:
        """Row and column of a place; may lie outside."""
        return math.floor((self.north_m - place[1]) / self.cell_m), math.floor(
            (place[0] - self.west_m) / self.cell_m
        )

    def middle(self, cell: tuple[int, int]) -> Place:
        """Middle of a cell."""
        return self.west_m + (cell[1] + 0.5) * self.cell_m, self.north_m - (cell[0] + 0.5) * self.cell_m

    def holds(self, cell: tuple[int, int]) -> bool:
        """Whether a cell is one of the grid's."""
        return bool(0 <= cell[0] < self.elev.shape[0] and 0 <= cell[1] < self.elev.shape[1])


@dataclass(frozen=True)
class Leg:
    """One way.

    Attributes
    ----------
    places : tuple of Place
        From one end to the other, the corners between.
    length_m : float
    shoalest_m : float
        Least depth below the grid's zero on the way (m, positive down).
    """

    places: tuple[Place, ...]
    length_m: float
    shoalest_m: float

    def turned(self) -> Leg:
        """The same way back."""
        return Leg(self.places[::-1], self.length_m, self.shoalest_m)


class Waters:
    """The navigable cells of a ground at the lowest tide of the night, and ways between places on them.

    Parameters
    ----------
    ground : Ground
    tide_low_m : float
        Lowest water over the grid's zero.
    keel_m : float
        Water that is wanted over the ground.
    """

    def __init__(self, ground: Ground, *, tide_low_m: float, keel_m: float) -> None:
        self.ground, self.keel_m = ground, keel_m
        with np.errstate(invalid="ignore"):
            self.open: Mask = np.asarray(tide_low_m - ground.elev >= keel_m)
        off = binary_erosion(self.open, np.ones((3, 3), bool), border_value=1)
        self.clear: Mask = np.asarray(off)
        self.part, _ = label(self.clear, structure=np.ones((3, 3), int))
        self._costs = np.where(self.clear, 1.0, -1.0)

    def dock(self, place: Place, reach_m: float) -> tuple[int, int] | None:
        """The nearest cell within reach that ways start from; None if there is none."""
        row, col = self.ground.cell(place)
        most = math.ceil(reach_m / self.ground.cell_m) + 1
        top, left = max(0, row - most), max(0, col - most)
        piece = self.clear[top : max(0, row + most + 1), left : max(0, col + most + 1)]
        rows, cols = np.nonzero(piece)
        if not rows.size:
            return None
        x, y = self.ground.middle((0, 0))
        far = np.hypot(
            x + (cols + left) * self.ground.cell_m - place[0],
            y - (rows + top) * self.ground.cell_m - place[1],
        )
        k = int(np.argmin(far))
        return (int(rows[k] + top), int(cols[k] + left)) if far[k] <= reach_m + self.ground.cell_m else None

    def berth(self, place: Place) -> tuple[int, int] | None:
        """As `dock` for a net: the last metres must be over navigable cells."""
        found = self.dock(place, max(NEAR_M, NEAR_CELLS * self.ground.cell_m))
        if found is None or not self.sees(place, self.ground.middle(found)):
            return None
        return found

    def joined(self, one: tuple[int, int], other: tuple[int, int]) -> bool:
        """Whether any way leads from one cell to the other."""
        return bool(self.part[one] == self.part[other])

    def sees(self, a: Place, b: Place) -> bool:
        """Whether the straight line stays in navigable cells."""
        return bool(self._line(self.open, a, b))

    def _line(self, mask: Mask, a: Place, b: Place) -> bool:
        count = max(2, math.ceil(math.dist(a, b) / (STRAIGHT_M * self.ground.cell_m)) + 1)
        rows, cols = self._cells(a, b, count)
        inside = (rows >= 0) & (cols >= 0) & (rows < mask.shape[0]) & (cols < mask.shape[1])
        return bool(inside.all() and mask[rows, cols].all())

    def _cells(self, a: Place, b: Place, count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        t = np.linspace(0.0, 1.0, count)
        x, y = a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])
        g = self.ground
        return (
            np.floor((g.north_m - y) / g.cell_m).astype(np.intp),
            np.floor((x - g.west_m) / g.cell_m).astype(np.intp),
        )

    def legs(
        self, start: Place, docks: Sequence[tuple[int, int]], ends: Sequence[Place], dock: tuple[int, int]
    ) -> list[Leg | None]:
        """Ways from one place to several.

        Parameters
        ----------
        start : Place
        docks : sequence of (row, col)
            Cell that the way to each end leads to.
        ends : sequence of Place
        dock : (row, col)
            Cell that the ways start from.

        Returns
        -------
        list of Leg or None
            None where no way leads.
        """
        middle = self.ground.middle
        ways: dict[tuple[int, int], list[tuple[int, int]]] = {}
        for (
            at
        ) in docks:  # where the straight line is clear nothing is shorter, and no path need be looked for
            if self._line(self.clear, middle(dock), middle(at)):
                ways[at] = [dock, at]
        bent = [at for at in dict.fromkeys(docks) if at not in ways and self.joined(at, dock)]
        if bent:
            finder = MCP_Geometric(self._costs, fully_connected=True)
            finder.find_costs([dock], ends=bent, find_all_ends=True)
            ways |= {at: finder.traceback(at) for at in bent}
        return [
            self._leg(start, end, ways[at]) if at in ways else None
            for at, end in zip(docks, ends, strict=True)
        ]

    def _leg(self, start: Place, end: Place, cells: list[tuple[int, int]]) -> Leg:
        places = [self.ground.middle(cell) for cell in cells]
        straight = [start, *self._pulled(places), end]
        straight = [p for k, p in enumerate(straight) if k == 0 or p != straight[k - 1]]
        if len(straight) > 2 and self._line(self.open, start, straight[2]):
            del straight[1]
        if len(straight) > 2 and self._line(self.open, straight[-3], end):
            del straight[-2]
        if len(straight) == 1:
            straight.append(end)
        pairs = list(zip(straight, straight[1:], strict=False))
        return Leg(
            tuple(straight),
            sum(math.dist(a, b) for a, b in pairs),
            min(self._shoalest(a, b) for a, b in pairs),
        )

    def _pulled(self, places: list[Place]) -> list[Place]:
        """Each next corner is the farthest place of the path that is seen over clear cells, by doubling steps."""
        out, at = [places[0]], 0
        while at < len(places) - 1:
            far, step = at + 1, 1
            while far + step < len(places) and self._line(self.clear, places[at], places[far + step]):
                far += step
                step *= 2
            while step > 1:
                step //= 2
                if far + step < len(places) and self._line(self.clear, places[at], places[far + step]):
                    far += step
            out.append(places[far])
            at = far
        return out

    def _shoalest(self, a: Place, b: Place) -> float:
        count = max(2, math.ceil(math.dist(a, b) / (STRAIGHT_M * self.ground.cell_m)) + 1)
        rows, cols = self._cells(a, b, count)
        inside = (rows >= 0) & (cols >= 0) & (rows < self.open.shape[0]) & (cols < self.open.shape[1])
        depth = -self.ground.elev[rows[inside], cols[inside]]
        # the ends may lie off navigable ground: a launch on a slip
        wet = depth[np.isfinite(depth)]
        return float(wet.min()) if wet.size else math.nan


def off_water_m(waters: Waters, place: Place) -> float:
    """How far a place lies from the nearest cell that ways start from (m); infinite if there is none at all."""
    if not waters.clear.any():
        return math.inf
    row, col = waters.ground.cell(place)
    if not waters.ground.holds((row, col)):
        rows, cols = np.nonzero(waters.clear)
        x, y = waters.ground.middle((0, 0))
        step = waters.ground.cell_m
        return float(np.hypot(x + cols * step - place[0], y - rows * step - place[1]).min())
    return float(distance_transform_edt(~waters.clear)[row, col] * waters.ground.cell_m)
