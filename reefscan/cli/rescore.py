"""``reefscan rescore``: another recipe on the candidates of a finished run."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from reefscan.cli.options import (
    Depth,
    Json,
    Out,
    RecipeFile,
    Sites,
    Top,
    best_only,
    make_recipe,
    told_in,
    user_unit,
)


def command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="The run folder of a scan.")],
    recipe: RecipeFile = None,
    depth: Depth = None,
    top: Top = None,
    out: Out = None,
    sites: Sites = "all",
    unit: Annotated[str | None, told_in("the unit of --depth, else of the scan")] = None,
    as_json: Json = False,
) -> None:
    """List the sites of a run again with another recipe; no grid is read.

    Without --recipe the run's own recipe is used. Without --out the list is printed and nothing written.

    As in: reefscan rescore runs/coast --depth 20ft 50ft --out runs/other
    """
    from reefscan.cli.show import print_run
    from reefscan.io.out.runfolder import RunFolder
    from reefscan.pipeline.rescore import rescore_run

    best = best_only(sites)
    own = RunFolder.open(run).recipe()
    used = make_recipe(recipe, depth, top, base=None if recipe is not None else own)
    result = rescore_run(
        run,
        used,
        out=out,
        unit=user_unit(depth, unit) if depth or unit else None,
    )
    kept = [] if depth else _other_depths(used.depth_band, own.depth_band)
    print_run(result, unit=result.unit, best=best, as_json=as_json, first=kept)


def _other_depths(used: tuple[float, float], asked: tuple[float, float]) -> list[str]:
    """A recipe has depths of its own: whoever scanned with --depth and changes a weight would not look for others."""
    from reefscan.base.units import both

    if used == asked:
        return []
    here, there = (f"{both(low)} to {both(high)}" for low, high in (used, asked))
    return [
        f"the depths are this recipe's, {here}, not those of the run, {there}: --depth says which you want"
    ]
