"""What the reader of a scan should know, in sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from reefscan.base.model import GridSource, Window
from reefscan.base.recipe import Recipe
from reefscan.base.units import both
from reefscan.find.candidates import position_m
from reefscan.pipeline.sheet import SheetRun
from reefscan.score.limits import INTERVALS

if TYPE_CHECKING:
    import pandas as pd

WORTH_SAYING = 0.1
"""Share of the candidates on filled-in ground or where depths jump from cell to cell, from which the run as a whole says so."""


def where(core: Window) -> str:
    """Say which cells a tile has."""
    return f"rows {core.row} to {core.row_end - 1}, columns {core.col} to {core.col_end - 1}"


def warnings_of(
    sources: Sequence[GridSource], sheets: Sequence[SheetRun], recipe: Recipe, table: pd.DataFrame
) -> list[str]:
    """Say what was noticed in the inputs, why nothing was found, and what the cells cannot show."""
    out = [note for source in sources for note in source.notes]
    for source in sources:
        out += [
            f"{name}: changed while it was being read, so the answer may mix old and new; give the same command again"
            for name in source.changed()
        ]
    low, high = recipe.depth_band
    in_band = sum(int(sheet.facts["cells_in_band"]) for sheet in sheets)
    spikes = sum(int(sheet.facts["spikes"]) for sheet in sheets)
    failed = any(sheet.failures for sheet in sheets)
    if not in_band and not failed:
        out.append(
            f"no cell is as deep as what is searched, {both(recipe.find.depth_min_m)} to {both(recipe.find.depth_max_m)}: "
            "all that the grid knows is land, shallower or deeper"
        )
    elif not len(table) and not failed:
        across = max((min(source.extent.height, source.extent.width) for source in sources), default=0)
        narrow = f": the grid is {across} cell{'s' if across > 1 else ''} wide, and a ledge wants {INTERVALS['ledge']} across it"
        out.append(
            f"no structure of the recipe's least height was found between {both(low)} and {both(high)}"
            + (narrow if 0 < across < INTERVALS["ledge"] else "")
        )
    if spikes:
        cells = "lone spike was" if spikes == 1 else "lone spikes were"
        out.append(
            f"{spikes} {cells} set aside (a cell or two each: bad depths, or tips of rough rock) and not taken for structure"
        )
    repeated = table["interval_m"] > 0
    looks = (
        table["interpolated"] >= recipe.score.say_interpolated
    ) & ~repeated  # of which the next says more
    filled = float(looks.mean()) if len(table) else 0.0
    if filled >= WORTH_SAYING:
        files = {name for source in sources for name in source.files}
        # finer cells go first, whatever is under them
        other = (
            "; if another of your grids was sounded there, say --prefer and its name"
            if len(files) > 1
            else ""
        )
        out.append(
            f"{filled * 100:.0f} % of the candidates stand on ground that looks filled in between soundings farther apart "
            f"than the cells: its heights, widths and places are guesses until you have sounded there{other}"
        )
    coarse = table["interval_m"][repeated]
    if len(coarse) and len(coarse) >= WORTH_SAYING * len(table):
        out.append(
            f"{len(coarse) / len(table) * 100:.0f} % of the candidates stand where the grid holds no more than one depth for every "
            f"{both(coarse.median())} or so: what is narrower cannot be seen there"
        )
    for sheet in sheets:
        out += _coarse(sheet.limits.cell_m, INTERVALS["trough"] * sheet.limits.cell_m, recipe)
    return list(dict.fromkeys(out))  # sheets that share files notice the same


def _coarse(cell_m: float, trough_m: float, recipe: Recipe) -> list[str]:
    """For which lengths of the recipe cells are too coarse, what follows, and what to set."""
    find, position = recipe.find, float(position_m(cell_m, 0.0))
    used = any(term.column == "vrm" and term.weight > 0 for term in recipe.score.terms.values())
    lengths = (
        ("trough_radius_m", 0.5 * trough_m, f"narrower troughs than {both(trough_m)} cannot be seen"),
        ("off_max_m", position, "a drop point says where to look with the sounder, not where to drop"),
        ("refuge_min_m", cell_m if used else 0.0, "how rough the ground around a net is cannot be measured"),
    )  # fmt: skip
    return [
        f"cells of {both(cell_m)} are too coarse for find.{name} = {getattr(find, name):g} m of the recipe: {follows}; find.{name} = "
        f"{math.ceil(least)} would fit them"
        for name, least, follows in lengths
        if least > getattr(find, name)
    ]


def failures_of(sheets: Sequence[SheetRun]) -> list[str]:
    """Name the tiles that could not be done, and why."""
    return [f"tile {where(f.core)} failed: {f.message}" for sheet in sheets for f in sheet.failures]
