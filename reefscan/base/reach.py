"""How far a place may look, in cells: a recipe's lengths are metres, and on fine cells they reach over more than memory holds."""

from __future__ import annotations

from reefscan.base.errors import RecipeError
from reefscan.base.recipe import Find

MOST_CELLS = 8192
"""Farthest a place may look, in cells: with so much around it a tile takes some gigabytes (a guess of what a machine has)."""


def refuse_reach(cells: int, find: Find, cell_m: float) -> None:
    """Refuse a recipe by which each place depends on more cells around it than memory holds.

    Raises
    ------
    RecipeError
        Naming the longest length of it.
    """
    if cells > MOST_CELLS:
        lengths = {name: value for name, value in find.model_dump().items() if not name.startswith("depth")}
        longest = max(lengths, key=lambda name: lengths[name])
        raise RecipeError(
            f"find.{longest} = {lengths[longest]:g} m makes each place depend on {cells} cells of {cell_m:g} m around it; "
            f"at most {MOST_CELLS} can be looked at: shorten it, or take a coarser grid"
        )
