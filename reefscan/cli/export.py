"""``reefscan export``: the sites as waypoints for a plotter, a phone or a desk program."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from reefscan.cli.grouped import grouped


@dataclass(frozen=True)
class DeviceOptions:
    """What the plotter or the phone can show."""

    name_length: Annotated[
        int | None, typer.Option("--name-length", metavar="N", help="Longest name.", show_default=False)
    ] = None
    ascii_only: Annotated[bool, typer.Option("--ascii", help="Plain ASCII in names and descriptions.")] = (
        False
    )
    symbol: Annotated[
        str | None,
        typer.Option(
            "--symbol",
            metavar="NAME",
            help="Symbol name for GPX, as your plotter spells it.",
            show_default=False,
        ),
    ] = None
    max_points: Annotated[
        int | None,
        typer.Option("--max-points", metavar="N", help="Split into files of at most N.", show_default=False),
    ] = None


@grouped
def command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a finished run.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The file to write.")],
    device: DeviceOptions,
    fmt: Annotated[
        str | None,
        typer.Option(
            "--format",
            metavar="gpx|kml|csv|geojson|gpkg",
            help="By the file's ending if not given.",
            show_default=False,
        ),
    ] = None,
    picks: Annotated[
        Path | None,
        typer.Option("--picks", metavar="FILE", help="Picks saved from the page.", show_default=False),
    ] = None,
    top: Annotated[
        int | None, typer.Option("--top", metavar="N", min=1, help="The best N only.", show_default=False)
    ] = None,
    order: Annotated[
        str, typer.Option("--order", metavar="rank|route", help="route: a short way past all.")
    ] = "rank",
) -> None:
    """Write the sites as GPX 1.1, KML 2.2, CSV, GeoJSON or GeoPackage.

    As in: reefscan export runs/coast --picks picks.json --format gpx --out sites.gpx
    """
    from reefscan.base.caution import CAUTION
    from reefscan.base.errors import InputError
    from reefscan.io.out.runfolder import run_inputs
    from reefscan.io.out.siteforms import FORMATS, write_sites
    from reefscan.io.out.waypoints import route_order, tidy
    from reefscan.io.outs import refuse_foreign
    from reefscan.review.opened import open_run
    from reefscan.review.picked import picked_sites
    from reefscan.review.takealong import waypoints_of

    fmt = (fmt or out.suffix.lstrip(".")).lower()
    if fmt not in FORMATS:
        raise InputError(f"--out {out}: format {fmt or 'unknown'!r}; say --format {', '.join(FORMATS)}")
    if order not in ("rank", "route"):
        raise InputError(f"--order {order}: say rank or route")
    refuse_foreign(out, run_inputs(run, picks))
    opened = open_run(run)
    table, said = picked_sites(opened, picks)
    points = waypoints_of(table if top is None else table.head(top), opened.unit)
    if order == "route":
        points = route_order(points)
    points = tidy(points, length=device.name_length, ascii_only=device.ascii_only)
    title = f"Sites of {opened.name}"
    for path in write_sites(
        points,
        out,
        fmt=fmt,
        title=title,
        note=opened.closed_words,
        symbol=device.symbol,
        most=device.max_points,
    ):
        typer.echo(str(path))
    typer.echo(f"reefscan: {opened.closed_words}\nreefscan: {len(points)} sites written. {CAUTION}", err=True)
    for sentence in said:
        typer.echo(f"reefscan: {sentence}", err=True)
