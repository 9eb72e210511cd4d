"""``reefscan map``: the map of a run on its own."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from reefscan.base.errors import InputError
from reefscan.cli.options import RunUnit

if TYPE_CHECKING:
    from reefscan.base.overview import MapGround

MOST_CELLS = 6000
BYTES_A_PIXEL = 75
"""Of a map while it is drawn, its ground included (measured at 36 and 64 million pixels: 71)."""

Dots = Annotated[
    int,
    typer.Option(
        "--dpi", metavar="DOTS", min=40, max=1200, help="Dots per inch, 40 to 1200: more is sharper."
    ),
]
Inches = Annotated[
    float,
    typer.Option(
        "--size", metavar="INCHES", min=3, max=40, help="Length of the longer side, 3 to 40 inches."
    ),
]


def command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a finished run.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="Ends in .png, .pdf or .svg.")] = Path(
        "map.png"
    ),
    bbox: Annotated[
        tuple[float, float, float, float] | None,
        typer.Option("--bbox", metavar="W S E N", help="Draw this box only (degrees).", show_default=False),
    ] = None,
    dpi: Dots = 150,
    size: Inches = 9.0,
    unit: RunUnit = None,
    georeferenced: Annotated[
        bool,
        typer.Option(
            "--georeferenced",
            help="Draw the shaded ground alone, as a PNG that other map programs can place.",
        ),
    ] = False,
) -> None:
    """Draw the map of a run, or a part of it, as PNG, PDF or SVG.

    As in: reefscan map runs/coast --bbox -3.1 50.5 -3.0 50.6 --dpi 300 --out map.pdf
    """
    from reefscan.cli.lean import figures

    figures()
    from reefscan.io.out.runfolder import run_inputs
    from reefscan.io.outs import refuse_foreign, write_out
    from reefscan.io.room import refuse_memory
    from reefscan.render.map import MapWords, Paper, draw_map
    from reefscan.render.shade import trimmed
    from reefscan.review.ground import cut_to, overview_of_all
    from reefscan.review.opened import open_run

    fmt = _format(out, georeferenced=georeferenced)
    side = size * dpi if fmt == "png" and not georeferenced else min(MOST_CELLS, size * dpi)
    what = f"a map of {size:g} inches at --dpi {dpi}"
    refuse_memory(BYTES_A_PIXEL * side**2, what, "say a smaller --size or --dpi")
    refuse_foreign(out, run_inputs(run))
    opened = open_run(run, unit=unit)
    most = MOST_CELLS if bbox is not None else min(MOST_CELLS, int(size * dpi))
    ground = overview_of_all(opened.sources, most=most)
    if bbox is not None:
        ground = cut_to(ground, bbox)
    if georeferenced:
        _write_placed(out, ground, opened.recipe.depth_band[1])
    else:
        data = draw_map(
            ground if bbox is not None else trimmed(ground),
            candidates=opened.listed,
            features=opened.features,
            depth_band_m=opened.recipe.depth_band,
            words=MapWords(opened.name, opened.limits, opened.closed_words, opened.datum, opened.unit),
            closed=() if opened.known is None else opened.known.of("closed").shapes,
            paper=Paper(fmt, dpi, size),
        )
        write_out(out, data)
    typer.echo(str(out))


def _format(out: Path, *, georeferenced: bool) -> str:
    from reefscan.render.map import FORMATS

    fmt = out.suffix.lower().lstrip(".")
    if fmt not in FORMATS or (georeferenced and fmt != "png"):
        raise InputError(
            f"--out {out}: ends in {out.suffix or 'nothing'}; wanted .png"
            + ("" if georeferenced else ", .pdf or .svg")
        )
    return fmt


def _write_placed(out: Path, ground: MapGround, band_max_m: float) -> None:
    """Write the shaded ground alone, with the files that say where it lies."""
    from reefscan.io.out.placed import write_placed_png
    from reefscan.render.plainmap import plain_map

    write_placed_png(
        out,
        plain_map(ground.elev, ground.cell_m, band_max_m=band_max_m),
        west_m=ground.west_m,
        north_m=ground.north_m,
        cell_m=ground.cell_m,
        crs=ground.crs,
    )
