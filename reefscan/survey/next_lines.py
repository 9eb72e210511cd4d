"""What to survey next: the few lines that would lower the uncertainty most, where there is something to find.

Uncertainty counts only near ground that stands out from its surroundings: flat sand may stay vague. Lines
are picked one by one, each for the most uncertainty taken away per metre run, and then put in order.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from reefscan.survey.uncertainty import Uncertainty

Floats = NDArray[np.float64]
HEADINGS = 12
TURN_M = 40.0
"""Distance one more line costs besides its own length: turning and lining up."""
MOST_LINES = 12
NEAR_M, AROUND_M = 20.0, 40.0
"""Ground stands out from the mean within about 40 m, and makes what lies within about 20 m worth knowing too."""


@dataclass(frozen=True)
class Line:
    """A straight line to run, from (x0, y0) to (x1, y1) in metres."""

    x0: float
    y0: float
    x1: float
    y1: float

    @property
    def length_m(self) -> float:
        """Length (m)."""
        return float(np.hypot(self.x1 - self.x0, self.y1 - self.y0))


@dataclass(frozen=True)
class CoarseGround:
    """What is known, on a coarse north-up lattice.

    Parameters
    ----------
    elev, distance, rough : ndarray of float
        Elevation (m, NaN unknown), distance to data (m), local roughness (m).
    cell_m : float
    west, north : float
        Edges of the first cell (m).
    """

    elev: Floats
    distance: Floats
    rough: Floats
    cell_m: float
    west: float
    north: float


def promise(ground: CoarseGround) -> Floats:
    """How much each cell is worth knowing, 0.02 to 1: ground that stands out, and what lies beside it."""
    known = np.isfinite(ground.elev)
    weight = known.astype(float)
    wide, near = AROUND_M / ground.cell_m, max(NEAR_M / ground.cell_m, 0.8)
    level = gaussian_filter(np.where(known, ground.elev, 0.0), wide) / np.maximum(
        gaussian_filter(weight, wide), 1e-6
    )
    stand = np.where(known, np.abs(ground.elev - level), 0.0)
    spread = gaussian_filter(stand**2, near) / np.maximum(gaussian_filter(weight, near), 1e-3)
    stand = np.sqrt(np.maximum(spread, 0.0)) * (gaussian_filter(weight, near) > 0.02)
    usual = float(np.median(stand[known])) if known.any() else 0.0
    top = float(np.percentile(stand[known], 99)) if known.any() else 1.0
    return np.asarray(0.02 + 0.98 * np.clip((stand - usual) / max(top - usual, 0.2), 0.0, 1.0))


def plan_lines(ground: CoarseGround, uncertainty: Uncertainty, *, budget_m: float) -> list[Line]:
    """Pick and order lines whose run, with the way between them, fits the budget.

    Parameters
    ----------
    ground : Ground
    uncertainty : Uncertainty
        Says how the uncertainty grows with distance to data.
    budget_m : float
        Distance to be run, from the start of the first line to the end of the last.

    Returns
    -------
    list of Line
        In the order to be run; empty if nothing is worth it.
    """
    if budget_m < 2.0 * ground.cell_m:
        return []
    worth = promise(ground)
    # Beyond the table the uncertainty is a guess: ground out there counts no more than at the table's end, and
    # not at all half as far again, or the lines would leave the survey for the unknown around it.
    end = float(uncertainty.distance_m[-1])
    distance = np.minimum(ground.distance, end)
    reachable = ground.distance <= 1.5 * end
    rough = np.where(np.isfinite(ground.rough), ground.rough, np.nanmedian(ground.rough))
    at_data = uncertainty.sigma(np.zeros_like(distance), rough) ** 2
    picked: list[Line] = []
    shortest = max(4.0 * ground.cell_m, 2.0 * TURN_M)
    lengths = [v for v in (budget_m / 16, budget_m / 8, budget_m / 4, budget_m / 2) if v >= shortest]
    lengths = lengths or [budget_m]
    for _ in range(MOST_LINES):
        left = budget_m - route_length(order_lines(picked))
        if left < min(lengths, default=np.inf):
            break
        # What a run takes away to both sides of a place: about as far as data lie off, for nearer to them it adds nothing.
        fall = uncertainty.sigma(distance, rough) ** 2 - at_data
        value = np.where(reachable, worth * distance * np.maximum(fall, 0.0), 0.0)
        ends = [e for g in picked for e in ((g.x0, g.y0), (g.x1, g.y1))]
        line = _best_line(ground, value, [v for v in lengths if v <= left], _way(ground, ends))
        if line is None:
            break
        trial = order_lines([*picked, line])
        if route_length(trial) > budget_m:
            lengths = [v for v in lengths if v < line.length_m - 1.0]
            if not lengths:
                break
            continue
        picked.append(line)
        beside = distance_to_line(ground, line)
        distance = np.minimum(distance, np.where(beside < ground.cell_m, 0.0, beside))
    return order_lines(picked)


def _way(ground: CoarseGround, ends: list[tuple[float, float]]) -> Floats:
    """Distance (m) from each cell to the nearest end of a line already picked; 0 before the first."""
    rows, cols = ground.elev.shape
    x = ground.west + (np.arange(cols) + 0.5)[None, :] * ground.cell_m
    y = ground.north - (np.arange(rows) + 0.5)[:, None] * ground.cell_m
    if not ends:
        return np.zeros((rows, cols))
    return np.asarray(np.min([np.hypot(x - ex, y - ey) for ex, ey in ends], axis=0))


def _best_line(ground: CoarseGround, value: Floats, lengths: list[float], way: Floats) -> Line | None:
    """Of all headings, places and lengths the run with the most value (a metre run) per metre, the way there included."""
    rows, cols = value.shape
    middle = np.array([(rows - 1) / 2.0, (cols - 1) / 2.0])
    half = int(np.ceil(np.hypot(rows, cols) / 2.0))
    axis = np.arange(-half, half + 1, dtype=float)
    best: tuple[float, Line] | None = None
    for heading in np.arange(HEADINGS) * np.pi / HEADINGS:
        along = np.array([-np.cos(heading), np.sin(heading)])  # row, col per cell run
        beside = np.array([np.sin(heading), np.cos(heading)])
        place = (
            middle[:, None, None]
            + along[:, None, None] * axis[None, None, :]
            + beside[:, None, None] * axis[None, :, None]
        )
        profile = map_coordinates(value, place, order=1, mode="constant")
        there = map_coordinates(way, place, order=1, mode="nearest")
        running = np.cumsum(np.pad(profile, ((0, 0), (1, 0))), axis=1) * ground.cell_m
        for length in lengths:
            cells = max(int(round(length / ground.cell_m)), 1)
            if cells >= running.shape[1]:
                continue
            gain = running[:, cells:] - running[:, :-cells]
            cost = (
                length
                + TURN_M
                + np.minimum(there[:, : gain.shape[1]], there[:, cells - 1 :][:, : gain.shape[1]])
            )
            at = int(np.argmax(gain / cost))
            top = float(gain.flat[at])
            rate = top / float(cost.flat[at])
            if top > 0 and (best is None or rate > best[0]):
                lane, first = divmod(at, gain.shape[1])
                ends = [middle + beside * axis[lane] + along * axis[k] for k in (first, first + cells - 1)]
                (x0, y0), (x1, y1) = (
                    (ground.west + (e[1] + 0.5) * ground.cell_m, ground.north - (e[0] + 0.5) * ground.cell_m)
                    for e in ends
                )
                best = (rate, Line(x0, y0, x1, y1))
    return best[1] if best else None


def distance_to_line(ground: CoarseGround, line: Line) -> Floats:
    """Distance (m) from each cell's centre to a line."""
    rows, cols = ground.elev.shape
    x = ground.west + (np.arange(cols) + 0.5)[None, :] * ground.cell_m - line.x0
    y = ground.north - (np.arange(rows) + 0.5)[:, None] * ground.cell_m - line.y0
    dx, dy = line.x1 - line.x0, line.y1 - line.y0
    share = np.clip((x * dx + y * dy) / max(dx * dx + dy * dy, 1e-9), 0.0, 1.0)
    return np.asarray(np.hypot(x - share * dx, y - share * dy))


def order_lines(lines: list[Line]) -> list[Line]:
    """Nearest end next, from each end in turn: the shortest way that this gives."""
    best: list[Line] = []
    for x, y in [e for g in lines for e in ((g.x0, g.y0), (g.x1, g.y1))]:
        left, route = list(lines), []
        while left:
            ways = [(np.hypot(g.x0 - x, g.y0 - y), k, False) for k, g in enumerate(left)]
            ways += [(np.hypot(g.x1 - x, g.y1 - y), k, True) for k, g in enumerate(left)]
            _, k, turned = min(ways)
            line = left.pop(k)
            route.append(Line(line.x1, line.y1, line.x0, line.y0) if turned else line)
            x, y = route[-1].x1, route[-1].y1
        if not best or route_length(route) < route_length(best):
            best = route
    return best


def route_length(lines: list[Line]) -> float:
    """Length of the lines and of the way between them (m)."""
    ways = sum(float(np.hypot(b.x0 - a.x1, b.y0 - a.y1)) for a, b in itertools.pairwise(lines))
    return ways + sum(g.length_m for g in lines)
