"""``reefscan cards``: printable cards of the sites."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from reefscan.base.errors import InputError
from reefscan.cli.options import PicksFile, RunUnit, Sites, best_only

PATCH_HALF_M = 120.0


def command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a finished run.")],
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE", help="Ends in .pdf (one file) or .png (one file a page).")
    ] = Path("cards.pdf"),
    top: Annotated[int, typer.Option("--top", metavar="N", min=1, help="How many sites.")] = 20,
    picks: PicksFile = None,
    sites: Sites = "all",
    unit: RunUnit = None,
    dpi: Annotated[
        int,
        typer.Option(
            "--dpi",
            metavar="DOTS",
            min=50,
            max=600,
            help="Dots per inch of PNG pages, 50 to 600: more is sharper.",
        ),
    ] = 150,
) -> None:
    """Make cards to print, two sites a page, black on white: they can be read under a red headlamp.

    As in: reefscan cards runs/coast --top 20 --out cards.pdf
    """
    from reefscan.cli.lean import figures

    figures()
    from reefscan.io.out.runfolder import run_inputs
    from reefscan.io.out.waypoints import LONGEST_NAME, tidy
    from reefscan.io.outs import numbered, refuse_foreign, write_out
    from reefscan.render.card import draw_cards
    from reefscan.review.cardsites import card_sites
    from reefscan.review.opened import open_run
    from reefscan.review.picked import picked_sites
    from reefscan.review.takealong import naming_of, waypoints_of

    if (fmt := out.suffix.lower().lstrip(".")) not in ("pdf", "png"):
        raise InputError(f"--out {out}: ends in {out.suffix or 'nothing'}; wanted .pdf or .png")
    refuse_foreign(out, run_inputs(run, picks))
    opened = open_run(run, unit=unit)
    listed, said = picked_sites(opened, picks, best=best_only(sites))
    table = listed.head(top)
    points = tidy(waypoints_of(table, naming_of(opened)), length=LONGEST_NAME)
    table = table.assign(name=[point.name for point in points])
    pages = draw_cards(
        card_sites(table, opened.sources, patch_half_m=PATCH_HALF_M),
        title=f"Sites of {opened.name}",
        closed_text=opened.closed_words,
        datum=opened.datum,
        unit=opened.unit,
        fmt=fmt,
        dpi=dpi,
    )
    for path, page in zip(numbered(out, len(pages)), pages, strict=True):
        write_out(path, page)
        typer.echo(str(path))
    for sentence in said:
        typer.echo(f"reefscan: {sentence}", err=True)
