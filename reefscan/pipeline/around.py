"""What lies around the candidates of a scan: files read once, closed candidates left out for good, facts added as columns."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from reefscan.base.columns import OUTSIDE
from reefscan.base.model import GridSource
from reefscan.base.recipe import Recipe
from reefscan.io.out.tables import rounded
from reefscan.surroundings.closed import first_inside
from reefscan.surroundings.facts import FACTS
from reefscan.surroundings.known import Surroundings
from reefscan.surroundings.shapes import MARGIN_M, box_of


def open_around(sources: Sequence[GridSource], recipe: Recipe) -> Surroundings | None:
    """Read the files of shapes that a recipe names; None where it names none.

    Raises
    ------
    ReefscanError
        See `reefscan.io.around.read_around`.
    """
    if not recipe.around.files:
        return None
    from reefscan.io.around import read_around

    box = box_of([(source.sheet.crs, source.sheet.bounds(source.extent)) for source in sources])
    return read_around(recipe.around, box.grown(MARGIN_M))


def surround(
    table: pd.DataFrame, known: Surroundings | None, recipe: Recipe, sources: Sequence[GridSource]
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Leave out what stands in closed ground, and add the facts that the given files tell of the rest.

    Parameters
    ----------
    table : DataFrame
        Stored, rounded candidates of all sheets.
    known : Surroundings or None
    recipe : Recipe
    sources : sequence of GridSource
        The grids, for what stands where they show nothing.

    Returns
    -------
    table : DataFrame
        Without the closed ones: no later step can list what is not there.
    told : dict
        What ``run.json`` says as ``around``.
    """
    if known is None:
        return table, {}
    lon, lat = (table[name].to_numpy(dtype=np.float64) for name in ("lon", "lat"))
    closed = known.of("closed")
    row = first_inside(closed, lon, lat, known.box)
    inside = row >= 0
    counts = pd.Series([(closed.called(i), closed.file[i]) for i in row[inside]], dtype=object).value_counts()
    by = sorted(
        ({"name": name, "file": file, "candidates": int(n)} for (name, file), n in counts.items()),
        key=lambda told: (-told["candidates"], told["name"], told["file"]),
    )
    told: dict[str, Any] = {
        "given": {role: list(files) for role, files in known.given.items()},
        "box": [known.box.west, known.box.south, known.box.east, known.box.north],
        "date": recipe.around.date or None,
        "digest": known.digest(),
        "unused": {file: dict(classes) for file, classes in known.unused.items()},
        "allow_fairways": recipe.around.allow_fairways,
    }
    if known.knows_closed:
        told["closed"] = {
            "files": list(known.given["closed"]), "areas": len(closed), "removed": int(inside.sum()), "by": by,
        }  # fmt: skip
    table = table[~inside].reset_index(drop=True)
    return rounded(table.assign(**facts_of(table, known))), told


def facts_of(table: pd.DataFrame, known: Surroundings) -> dict[str, Any]:
    """Columns of all facts that the given files tell, in the order of `reefscan.base.columns`."""
    lon, lat = (table[name].to_numpy(dtype=np.float64) for name in ("lon", "lat"))
    told: dict[str, Any] = {}
    for fact in FACTS:
        told |= fact(lon, lat, known)
    return {name: told[name] for name in OUTSIDE if name in told}
