"""``reefscan review``: the offline page of a run."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from reefscan.cli.options import RunUnit


def command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a finished run.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The page to write.")] = Path(
        "review.html"
    ),
    picture: Annotated[
        int,
        typer.Option(
            "--picture",
            metavar="PIXELS",
            min=200,
            max=3000,
            help="Longer side of the map's picture, 200 to 3000 pixels: more is sharper, and a larger file.",
        ),
    ] = 2000,
    unit: RunUnit = None,
) -> None:
    """Make one HTML file to look through a run: map, profiles, sliders of the recipe, your choices. No network is needed.

    As in: reefscan review runs/coast --out coast.html
    """
    from reefscan.base.units import UNITS
    from reefscan.io.out.runfolder import run_inputs
    from reefscan.io.outs import refuse_foreign, write_out
    from reefscan.review.opened import open_run
    from reefscan.review.page import compose_page
    from reefscan.review.pagedata import About, page_data

    refuse_foreign(out, run_inputs(run))
    opened = open_run(run, unit=unit)
    data = page_data(
        opened.explained(UNITS),
        About.of(opened),
        recipe=opened.recipe,
        sources=opened.sources,
        features=opened.features,
        picture_px=picture,
        known=opened.known,
    )
    page = compose_page(data)
    write_out(out, page)
    typer.echo(
        f"{out}: {len(opened.table)} candidates, {len(opened.listing.sites)} listed, {len(page) / 1e6:.1f} MB"
    )
    if not len(opened.table):
        typer.echo("reefscan: this run found no site; the page says so", err=True)
