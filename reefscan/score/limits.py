"""What a grid could not have shown: the smallest shapes that its cells and its doubt leave visible."""

from __future__ import annotations

from dataclasses import dataclass

from reefscan.base.recipe import Recipe
from reefscan.base.s44 import Z95, tvu
from reefscan.base.units import three_figures

INTERVALS = {"ledge": 3, "trough": 4, "rise": 4}
"""Cells that a ledge must be wide, a trough from crest to crest, and a rise from foot to foot, to be seen."""


@dataclass(frozen=True)
class Limits:
    """Smallest visible shapes of one sheet; lengths in metres.

    ``order`` is the IHO S-44 order that was assumed; empty where the grid states how good its depths are.
    """

    sheet: str
    cell_m: float
    ledge_width_m: float
    trough_width_m: float
    height_m: float
    too_coarse: bool
    order: str

    def sentence(self) -> str:
        """One line for a person."""
        doubt = (
            f"if surveyed to IHO S-44 order {self.order}; the grid states none"
            if self.order
            else "as the grid states"
        )
        text = (
            f"{self.sheet}: cells of {three_figures(self.cell_m)} m: smallest trough or rise {three_figures(self.trough_width_m)} m across, "
            f"smallest ledge {three_figures(self.ledge_width_m)} m across; heights under {self.height_m:.1f} m "
            f"drown in the depths' uncertainty ({doubt})"
        )
        if self.too_coarse:
            text += "; the recipe asks for narrower ground than these cells can show"
        return text


def limits_of(sheet: str, cell_m: float, recipe: Recipe, *, sigma_m: float | None) -> Limits:
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
    """
    low, high = recipe.depth_band
    order = "" if sigma_m is not None else recipe.score.s44_order
    if sigma_m is None:
        sigma_m = float(tvu(order, 0.5 * (low + high))) / Z95
    # a height is a difference of two depths; below 1.96 sigma of it a height cannot be known from none
    height = Z95 * 2.0**0.5 * sigma_m
    trough = INTERVALS["trough"] * cell_m
    return Limits(
        sheet,
        cell_m,
        INTERVALS["ledge"] * cell_m,
        trough,
        height,
        trough > 2.0 * recipe.find.trough_radius_m,
        order,
    )
