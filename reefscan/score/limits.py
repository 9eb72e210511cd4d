"""What a grid could not have shown: the smallest shapes that its cells and its doubt leave visible."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from reefscan.base.recipe import Recipe
from reefscan.base.s44 import Z95, tvu
from reefscan.base.units import METRES_PER, far_unit, three_figures

INTERVALS = {"ledge": 3, "trough": 4, "rise": 4}
"""Cells that a ledge must be wide, a trough from crest to crest, and a rise from foot to foot, to be seen."""


@dataclass(frozen=True)
class Limits:
    """Smallest visible shapes of one sheet; lengths in metres.

    ``order`` is the IHO S-44 order that was assumed; empty where the grid states how good its depths are. ``between_m`` is the
    distance between the tracks that the depths come from, 0 where it is not known.
    """

    sheet: str
    cell_m: float
    ledge_width_m: float
    trough_width_m: float
    height_m: float
    too_coarse: bool
    order: str
    between_m: float = 0.0

    def sentence(self, unit: str = "m") -> str:
        """One line for a person, in metres or (for ``ft`` and ``fathom``) in feet."""
        unit = far_unit(unit)
        per = METRES_PER[unit]

        def size(metres: float) -> str:
            return f"{three_figures(metres / per)} {unit}"

        doubt = (
            f"if surveyed to IHO S-44 order {self.order}; the grid states no uncertainty"
            if self.order
            else "by the uncertainty that the grid states"
        )
        tracks = f" from tracks about {size(self.between_m)} apart" if self.between_m > self.cell_m else ""
        text = (
            f"{self.sheet}: cells of {size(self.cell_m)}{tracks}: smallest trough or rise {size(self.trough_width_m)} across, "
            f"smallest ledge {size(self.ledge_width_m)} across; features under {self.height_m / per:.1f} {unit} can't be trusted ({doubt})"
        )
        if self.too_coarse:
            text += "; the recipe asks for narrower ground than this can show"
        return text


def limits_of(
    sheet: str, cell_m: float, recipe: Recipe, *, sigma_m: float | None, between_m: float = 0.0
) -> Limits:
    """Work out the limits of one sheet.

    Parameters
    ----------
    sheet : str
        Name as said to the user.
    cell_m : float
    recipe : Recipe
        Gives the depth band, the widest trough that is looked for (if not even that can be seen, the cells are too
        coarse), and the S-44 order for a grid that states no uncertainty.
    sigma_m : float or None
        Typical stated one-sigma uncertainty of a depth, None if the grid states none.
    between_m : float
        Distance between the tracks that the depths come from, 0 where not known: cells finer than that show nothing smaller.
    """
    low, high = recipe.depth_band
    order = "" if sigma_m is not None else recipe.score.s44_order
    if sigma_m is None:
        sigma_m = float(tvu(order, 0.5 * (low + high))) / Z95
    # a height is a difference of two depths; below 1.96 sigma of it a height cannot be known from none
    height = Z95 * 2.0**0.5 * sigma_m
    apart = max(cell_m, between_m)
    trough = INTERVALS["trough"] * apart
    return Limits(
        sheet,
        cell_m,
        INTERVALS["ledge"] * apart,
        trough,
        height,
        trough > 2.0 * recipe.find.trough_radius_m,
        order,
        between_m,
    )


def limits_of_run(info: Mapping[str, Any], recipe: Recipe, unit: str) -> list[str]:
    """One line for each sheet that ``run.json`` records, in a unit; as the scan wrote them where an earlier version recorded too little."""
    sheets = info.get("sheets") or ()
    if not sheets or any(not {"name", "cell_m", "uncertainty_m"} <= set(sheet) for sheet in sheets):
        stated = info.get("limits") or ()
        return [stated] if isinstance(stated, str) else [str(line) for line in stated]
    return [
        limits_of(
            sheet["name"],
            sheet["cell_m"],
            recipe,
            sigma_m=sheet["uncertainty_m"],
            between_m=sheet.get("between_m", 0.0),
        ).sentence(unit)
        for sheet in sheets
    ]
