"""The bottom through a drop point, as a sounder would draw it on that heading: black and grey, for a card."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator

from reefscan.base.units import far_unit
from reefscan.render.furniture import HALO
from reefscan.render.marks import UNIT_METRES, nice_length
from reefscan.render.shade import Floats

CLOSE = 0.08
"""Share of a profile's length within which two equal words would run into each other."""

SEEN = 0.45
"""Share of a profile's height that the ground on it takes at least, where the water above can be cut off for that."""

STEEPEST = 0.1
"""A profile is no less high than this share of its length: more would draw every bump as a mountain."""


@dataclass(frozen=True)
class Profile:
    """What is drawn.

    Parameters
    ----------
    depths_m : ndarray
        Along the heading (m, positive down, NaN unknown, not all of them), drop point in the middle.
    half_m : float
        Distance from the middle to each end.
    heading_deg : float
        True heading, left to right.
    depth_m : float
        Depth at the drop point; NaN where it is unknown.
    marks : sequence of (float, str)
        Distance (m) from the drop point along the heading, and what is there: foot or top of a face.
    """

    depths_m: Floats
    half_m: float
    heading_deg: float
    depth_m: float
    marks: Sequence[tuple[float, str]] = ()


def draw_profile(ax: Axes, profile: Profile, *, unit: str) -> None:
    """The bottom on the heading, with the drop point. No rope is drawn: its length depends on the tide, which is not in the grid."""
    per, half = UNIT_METRES[unit], profile.half_m
    x, y = np.linspace(-half, half, profile.depths_m.size), profile.depths_m / per
    top, deepest = drawn_depths(float(np.nanmin(y)), float(np.nanmax(y)), 2 * half / per)
    ax.fill_between(x, y, deepest, color="0.75", linewidth=0)
    ax.plot(x, y, color="black", linewidth=2)
    if math.isfinite(profile.depth_m):
        ax.plot(
            [0], [profile.depth_m / per], marker="v", markersize=11, color="white", markeredgecolor="black", markeredgewidth=1.8,
        )  # fmt: skip
    ax.set_xlim(-half, half)
    ax.set_ylim(deepest, top)
    if top > 0:
        ax.text(0.985, 0.95, f"cut off above {top:g} {unit}", transform=ax.transAxes, fontsize=7.5, ha="right", va="top")  # fmt: skip
    ax.yaxis.set_major_locator(MaxNLocator(8, steps=[1, 2, 5, 10]))
    _faces(ax, profile, x, y, top)
    ax.text(-0.015, 1.02, unit, transform=ax.transAxes, fontsize=8, ha="right", va="bottom")
    along = far_unit(unit)
    step = nice_length(half / 2 / UNIT_METRES[along])
    far = [k * step for k in range(1, int(half / UNIT_METRES[along] / step) + 1)]
    ticks = [*(-v for v in reversed(far)), 0.0, *far]
    ax.set_xticks(
        [v * UNIT_METRES[along] for v in ticks], [f"{abs(v):g} {along}" if v else "drop" for v in ticks]
    )
    ax.tick_params(labelsize=8, width=1.2)
    ax.set_title(f"heading {profile.heading_deg:03.0f}° true  →", fontsize=10, weight="bold", pad=4, y=1.0)
    for spine in ax.spines.values():
        spine.set_linewidth(1.2)


def _faces(ax: Axes, profile: Profile, x: Floats, y: Floats, top: float) -> None:
    """Where each measured face begins and ends; words of one kind that stand close together go apart from each other."""
    close = CLOSE * 2 * profile.half_m
    for at, what in profile.marks:
        level = float(np.interp(at, x, y))
        if abs(at) > profile.half_m or not math.isfinite(level):
            continue
        beside = [other for other, word in profile.marks if word == what and 0 < abs(other - at) < close]
        side = "center" if not beside else "right" if at < beside[0] else "left"
        inside = max(level, top) - top > 0.15 * (
            ax.get_ylim()[0] - top
        )  # else the words would stand on the frame
        ax.annotate(
            what, (at, max(level, top)), (0, 16 if inside else -22), textcoords="offset points", ha=side, fontsize=7.5,
            arrowprops={"arrowstyle": "-", "linewidth": 0.8}, path_effects=HALO,
        )  # fmt: skip


def drawn_depths(shallowest: float, deepest: float, length: float) -> tuple[float, float]:
    """The depths at which a profile's picture begins and ends; all in one unit, positive down.

    The surface is in it, unless the ground would be a thin line far below it; dry ground is cut off, for it would squeeze the
    water. The page asks the same (``Card.drawn``).

    Examples
    --------
    >>> drawn_depths(14.0, 29.0, 525.0)[0], drawn_depths(57.0, 62.0, 160.0)[0], drawn_depths(-30.0, 10.0, 160.0)[0]
    (0.0, 45.0, -1.5)
    """
    high = max((deepest - shallowest) / SEEN, STEEPEST * length)
    step = nice_length(high / 3)
    above = step * math.floor((deepest - high) / step)
    if above > 0.3 * deepest:
        return above, deepest + 0.12 * high
    return max(-0.15 * deepest, min(0.0, shallowest)), 1.12 * deepest
