"""What lies around the candidates of a scan: files read once, closed candidates left out for good, facts added as columns."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from reefscan.base.columns import OUTSIDE
from reefscan.base.errors import InputError
from reefscan.base.model import GridSource
from reefscan.base.recipe import Recipe
from reefscan.io.out.tables import rounded
from reefscan.io.sampled import raster_stamp, sample_raster
from reefscan.pipeline.charted import compared
from reefscan.pipeline.manmade import man_made
from reefscan.surroundings.closed import first_inside
from reefscan.surroundings.facts import FACTS
from reefscan.surroundings.known import Surroundings
from reefscan.surroundings.shapes import MARGIN_M, box_of, spoken


def open_around(sources: Sequence[GridSource], recipe: Recipe) -> Surroundings | None:
    """Read the files of shapes that a recipe names; None where it names none.

    Raises
    ------
    ReefscanError
        See `reefscan.io.around.read_around`.
    """
    known = None
    if recipe.around.files:
        from reefscan.io.around import read_around

        box = box_of([(source.sheet.crs, source.sheet.bounds(source.extent)) for source in sources])
        known = read_around(recipe.around, box.grown(MARGIN_M))
    if recipe.around.wind_from and (known is None or "land" not in known.by_role):
        raise InputError(
            "--wind-from: open water to windward is measured from land, and none was given; add --land FILE"
        )
    return known


def around_key(known: Surroundings | None, recipe: Recipe) -> list[Any]:
    """What changes when any file that a recipe names around the grid does."""
    stamps = [raster_stamp(path) for path in recipe.around.rasters.values()]
    return [None if known is None else known.digest(), stamps]


def surround(
    table: pd.DataFrame, known: Surroundings | None, recipe: Recipe, sources: Sequence[GridSource]
) -> tuple[pd.DataFrame, dict[str, Any]]:
    """Add what stands at the toe of given structures, leave out what stands in closed ground, add the facts that the files tell of the rest.

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
    facts : dict
        What ``run.json`` says as ``around``.
    """
    facts: dict[str, Any] = {}
    if known is not None:
        table, facts = _among_shapes(table, known, recipe, sources)
    for name, path in recipe.around.rasters.items():
        values = sample_raster(
            path, name, *(table[axis].to_numpy(dtype=np.float64) for axis in ("lon", "lat"))
        )
        table = table.assign(**{f"layer_{name}": values})
        worth = recipe.around.worths.get(name)
        if worth is not None:
            judged = np.array([worth.get(value, 0.0) for value in values])
            table[f"layer_{name}_worth"] = np.where(np.isnan(values), np.nan, judged)
        facts.setdefault("layers", {})[name] = {
            "file": spoken(Path(path).name), "rule": "the cell under the net", "known_at": int(np.isfinite(values).sum()),
        }  # fmt: skip
    return table, facts


def _among_shapes(
    table: pd.DataFrame, known: Surroundings, recipe: Recipe, sources: Sequence[GridSource]
) -> tuple[pd.DataFrame, dict[str, Any]]:

    made = man_made(table, known, recipe, sources)
    if len(made):
        table = rounded(pd.concat([table, made], ignore_index=True))
    lon, lat = (table[name].to_numpy(dtype=np.float64) for name in ("lon", "lat"))
    closed = known.of("closed")
    row = first_inside(closed, lon, lat, known.box)
    inside = row >= 0
    counts = Counter((closed.called(i), closed.file[i]) for i in row[inside])
    facts: dict[str, Any] = {
        "given": {role: list(files) for role, files in known.given.items()},
        "box": [known.box.west, known.box.south, known.box.east, known.box.north],
        "date": recipe.around.date or None,
        "digest": known.digest(),
        "man_made": len(made),
        "unused": {file: dict(classes) for file, classes in known.unused.items()},
        "allow_fairways": recipe.around.allow_fairways,
    }
    facts |= compared(known.charted, sources)
    if known.knows_closed:
        facts["closed"] = {
            "files": list(known.given["closed"]),
            "areas": len(closed),
            "removed": int(inside.sum()),
            "by": [
                {"name": name, "file": file, "candidates": n}
                for (name, file), n in sorted(counts.items(), key=lambda c: (-c[1], c[0]))
            ],
        }
    table = table[~inside].reset_index(drop=True)
    return rounded(table.assign(**facts_of(table, known))), facts


def facts_of(table: pd.DataFrame, known: Surroundings) -> dict[str, Any]:
    """Columns of all facts that the given files tell, in the order of `reefscan.base.columns`."""
    lon, lat = (table[name].to_numpy(dtype=np.float64) for name in ("lon", "lat"))
    facts: dict[str, Any] = {}
    for fact in FACTS:
        facts |= fact(lon, lat, known)
    return {name: facts[name] for name in OUTSIDE if name in facts}
