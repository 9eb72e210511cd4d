"""How much rope a net needs so that its float stays up, where the float can swing, and what a stream does to the line.

All of it is for still water except `line_pull_kgf`: in a stream a float is pulled under by the drag on its own line,
whatever the rope.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from reefscan.plan.amounts import KNOT, said, stated
from reefscan.plan.books import Net

LATE_S = 2 * 3600.0
"""A float stays up so long after its last pull was due: a late pull is normal."""

SEA_WATER = 1025.0
"""Kilograms a cubic metre (common value, from memory)."""

CYLINDER_DRAG = 1.2
"""Drag coefficient of a long cylinder across the flow at these speeds (Hoerner 1965, Fluid-Dynamic Drag; from memory)."""

GRAVITY = 9.80665
TINY = 1e-9


@dataclass(frozen=True)
class Allowances:
    """What is added to the depth before the scope is applied.

    Parameters
    ----------
    surge_m : float
        Water that the tide table does not know of (m).
    wave_m : float
        Height of the waves (m); half of it is added.
    freeboard_m : float
        Rope from the water to the hand (m).
    scope : float
        Rope over height of water; 1 or more.
    """

    surge_m: float = 0.3
    wave_m: float = 0.0
    freeboard_m: float = 0.0
    scope: float = 1.25

    @property
    def above_m(self) -> float:
        """Surge, half a wave and freeboard together (m)."""
        return self.surge_m + self.wave_m / 2 + self.freeboard_m


def rope_needed(depth_m: float, tide_max_m: float, add: Allowances) -> float:
    """Rope (m) before it is rounded up to a mark: (depth + highest tide + surge + half a wave + freeboard) x scope.

    Parameters
    ----------
    depth_m : float
        Below the grid's zero, positive down.
    tide_max_m : float
        Highest water over the grid's zero, from the setting to two hours after the last pull.

    Examples
    --------
    >>> round(rope_needed(9.0, 2.1, Allowances(wave_m=1.0)), 3)
    14.875
    """
    return (depth_m + tide_max_m + add.above_m) * add.scope


def up_to_mark(rope_m: float, marks_m: float) -> float:
    """The next mark (m) at or above a length; without marks the next tenth of a metre."""
    step = marks_m or 0.1
    return round(math.ceil(rope_m / step - TINY) * step, 6)


def rope_out(needed_m: float, net: Net) -> float | None:
    """Rope to let out (m), on a mark of the net's own; None if its rope has no such mark."""
    rope = up_to_mark(needed_m, net.marks_m)
    return rope if rope <= net.longest_m + TINY else None


def deepest(net: Net, tide_max_m: float, add: Allowances) -> float:
    """Deepest site (m below the grid's zero) that the net's rope reaches under the same rule."""
    return net.longest_m / add.scope - tide_max_m - add.above_m


def reach_words(net: Net, tide_max_m: float, add: Allowances, unit: str) -> str:
    """The deepest site that a rope reaches, in words.

    Examples
    --------
    >>> reach_words(Net(rope_m=24), 2.1, Allowances(wave_m=1.0), "m")
    '16.3 m with 24 m of rope'
    >>> reach_words(Net(rope_m=3), 2.1, Allowances(wave_m=1.0), "m")
    'none with 3 m of rope at this tide'
    """
    depth, rope = deepest(net, tide_max_m, add), f"{stated(net.longest_m, unit)} of rope"
    return f"{said(depth, unit)} with {rope}" if depth > 0 else f"none with {rope} at this tide"


def slack(rope_m: float, depth_m: float, tide_m: float) -> float:
    """Rope that lies or floats loose (m) when the water stands at ``tide_m``."""
    return rope_m - depth_m - tide_m


def slack_beyond(rope_m: float, depth_m: float, tide_m: float, add: Allowances) -> float:
    """Slack (m) beyond what the rule itself would ask for at that height of the water."""
    return rope_m - rope_needed(depth_m, tide_m, add)


def swing(rope_m: float, depth_m: float, tide_m: float) -> float:
    """Farthest that the float gets from the net (m), sqrt(L^2 - D^2): its watch circle.

    Examples
    --------
    >>> round(swing(33, 20, 0), 3)
    26.249
    """
    water = max(0.0, depth_m + tide_m)
    return math.sqrt(max(0.0, rope_m * rope_m - water * water))


def line_pull_kgf(rope_m: float, diameter_m: float, stream_kn: float) -> float:
    """Pull on the float (kilograms of force) by the drag on its line: half of the line's, the net holds the other half.

    Drag is 1/2 rho C d L v^2 of a cylinder across the stream. An estimate: weed, knots and a line that streams out all
    change it. It grows with the square of the speed.

    Examples
    --------
    >>> round(line_pull_kgf(20, 0.008, 1.0), 1)
    1.3
    """
    speed = stream_kn * KNOT
    return 0.5 * 0.5 * SEA_WATER * CYLINDER_DRAG * diameter_m * rope_m * speed * speed / GRAVITY
