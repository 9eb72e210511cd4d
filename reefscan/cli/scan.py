"""``reefscan scan``: from a seabed grid to ranked, explained drop points."""

from __future__ import annotations

from typing import Annotated

import typer

from reefscan.cli.options import (
    AllowFairways,
    Area,
    Bbox,
    Caution,
    Classes,
    Closed,
    ClosedBuffer,
    Crs,
    Date,
    DatumShift,
    Depth,
    Hard,
    Json,
    Land,
    Layer,
    Out,
    Positive,
    Prefer,
    Quiet,
    RecipeFile,
    Scheduler,
    Tide,
    Tile,
    Top,
    ValueUnit,
    Variable,
    WindFrom,
    Workers,
    Worth,
    check_positive,
    make_recipe,
    metres,
    user_unit,
)


def command(
    grid: Annotated[
        list[str], typer.Argument(metavar="GRID...", help="Seabed grids: files, folders or addresses.")
    ],
    depth: Depth = None,
    recipe: RecipeFile = None,
    closed: Closed = None,
    caution: Caution = None,
    hard: Hard = None,
    land: Land = None,
    wind_from: WindFrom = None,
    tide: Tide = None,
    layer: Layer = None,
    worth: Worth = None,
    closed_buffer: ClosedBuffer = None,
    allow_fairways: AllowFairways = False,
    classes: Classes = None,
    date: Date = None,
    top: Top = None,
    out: Out = None,
    positive: Positive = None,
    crs: Crs = None,
    datum_shift: DatumShift = "0m",
    area: Area = None,
    bbox: Bbox = None,
    variable: Variable = None,
    value_unit: ValueUnit = None,
    prefer: Prefer = None,
    workers: Workers = None,
    scheduler: Scheduler = None,
    tile: Tile = None,
    no_map: Annotated[
        bool, typer.Option("--no-map", help="Draw no map; 'reefscan map' draws one later.")
    ] = False,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Find, score and rank drop points in a seabed grid.

    Prints the best sites and writes the run folder, as in:
    reefscan scan coast.tif --depth 15ft 60ft --out runs/coast
    """
    check_positive(positive)
    used = make_recipe(recipe, depth, top).with_around(
        closed=closed,
        caution=caution,
        hard=hard,
        land=land,
        wind_from=wind_from,
        tide_m=None if tide is None else metres("--tide", tide),
        layers=layer,
        worth=worth,
        closed_buffer_m=None if closed_buffer is None else metres("--closed-buffer", closed_buffer),
        allow_fairways=allow_fairways,
        classes=classes,
        date=date,
    )
    shift = metres("--datum-shift", datum_shift)
    unit = user_unit(depth)

    from reefscan.base.caution import CAUTION
    from reefscan.cli.progress import Progress
    from reefscan.cli.show import print_closed, print_json, print_notes, print_sites, print_warnings
    from reefscan.pipeline.scan import scan

    with Progress(quiet=quiet or as_json) as progress:
        run = scan(
            list(grid), used, out=out, positive=positive, crs=crs, datum_shift_m=shift, area=area, bbox=bbox,
            variable=variable, value_unit=value_unit, prefer=prefer,
            workers=workers, scheduler=scheduler, tile=tile, unit=unit, draw=not no_map,
            on_event=progress,
        )  # fmt: skip
    if as_json:
        print_json(run.listing.sites, run.info, folder=run.folder, caution=CAUTION)
    else:
        print_closed(run.info)
        print_sites(run.listing.sites, unit=unit)
        print_notes(list(run.info.get("limits", ())), run.folder)
        print_warnings(list(run.info.get("warnings", ())), CAUTION)
    if run.info.get("state") == "partial":
        raise typer.Exit(3)
