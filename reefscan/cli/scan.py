"""``reefscan scan``: from a seabed grid to ranked, explained drop points."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

import typer

from reefscan.cli.aroundoptions import AroundOptions
from reefscan.cli.asking import ask_datum, asking, at_a_terminal
from reefscan.cli.gridarguments import GridArguments
from reefscan.cli.grouped import grouped
from reefscan.cli.options import (
    Area,
    Bbox,
    Datum,
    DatumShift,
    Depth,
    Json,
    Out,
    Quiet,
    RecipeFile,
    Sites,
    Top,
    Unit,
    asked,
    best_only,
    check_positive,
    make_recipe,
    metres,
    user_unit,
)

Workers = Annotated[
    int | None,
    asked(
        "--workers", metavar="N", min=1, help="How many processes to use. If not given: one for each core."
    ),
]
Tile = Annotated[
    int | None,
    asked(
        "--tile",
        metavar="CELLS",
        min=1,
        help="Side of the parts that the work is cut into; it does not change the result.",
    ),
]
Scheduler = Annotated[
    str | None,
    asked("--scheduler", metavar="ADDRESS", help="Work on this Dask scheduler instead of here."),
]


@dataclass(frozen=True)
class WantedOptions:
    """Which sites are wanted, and where the run goes."""

    depth: Depth = None
    recipe: RecipeFile = None
    top: Top = None
    sites: Sites = "all"
    unit: Unit = None
    out: Out = None
    no_map: Annotated[
        bool, typer.Option("--no-map", help="Do not draw the map ('reefscan map' can do it later).")
    ] = False


@dataclass(frozen=True)
class PartOptions:
    """Which part of the grids is searched, and what their heights are counted from."""

    datum: Datum = None
    datum_shift: DatumShift = "0m"
    area: Area = None
    bbox: Bbox = None


@dataclass(frozen=True)
class WorkOptions:
    """Who does the work."""

    workers: Workers = None
    scheduler: Scheduler = None
    tile: Tile = None


@grouped
def command(
    grid: Annotated[
        list[str], typer.Argument(metavar="GRID...", help="Seabed grids: files, folders or addresses.")
    ],
    wanted: WantedOptions,
    around: AroundOptions,
    reading: GridArguments,
    part: PartOptions,
    work: WorkOptions,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Find, score and rank drop points in a seabed grid.

    Prints the best sites and writes the run folder, as in:
    reefscan scan coast.tif --depth 15ft 60ft --out runs/coast
    """
    check_positive(reading.positive)
    used = around.added_to(make_recipe(wanted.recipe, wanted.depth, wanted.top))
    shift = metres("--datum-shift", part.datum_shift)
    best, unit = best_only(wanted.sites), user_unit(wanted.depth, wanted.unit)

    from reefscan.cli.lean import figures
    from reefscan.cli.progress import Progress
    from reefscan.cli.show import print_run
    from reefscan.pipeline.scan import scan

    datum = part.datum
    if at_a_terminal() and not (quiet or as_json):
        reading, datum = _asked(list(grid), reading, part)
    if not wanted.no_map:
        figures()
    with Progress(quiet=quiet or as_json) as progress:
        run = scan(
            list(grid), used, out=wanted.out, positive=reading.positive, crs=reading.crs, datum_shift_m=shift, datum=datum,
            area=part.area, bbox=part.bbox, variable=reading.variable, value_unit=reading.value_unit, prefer=reading.prefer,
            workers=work.workers, scheduler=work.scheduler, tile=work.tile, unit=unit, draw=not wanted.no_map, on_event=progress,
        )  # fmt: skip
    print_run(run, unit=unit, best=best, as_json=as_json)
    if run.info.get("state") == "partial":
        raise typer.Exit(3)


def _asked(grids: list[str], reading: GridArguments, part: PartOptions) -> tuple[GridArguments, str | None]:
    """Ask for what the grids do not say, before the work; return all that is said of them, and their datum."""
    from reefscan.io.areas import read_area
    from reefscan.io.grids.rasters import open_grids

    outline = read_area(part.area) if part.area is not None else None
    sheets, reading = asking(
        lambda said: open_grids(grids, bbox=part.bbox, area=outline, **said.keywords()), reading
    )
    stated = any(sheet.vertical for sheet in sheets)
    return reading, part.datum if part.datum is not None or stated else ask_datum()
