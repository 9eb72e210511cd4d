"""``reefscan export``: the sites as waypoints for a plotter, a phone or a desk program."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from reefscan.base.caution import CAUTION
from reefscan.base.degrees import read_place
from reefscan.base.errors import InputError
from reefscan.cli.grouped import grouped
from reefscan.cli.options import PicksFile, RunUnit, Sites, asked, best_only, read_as
from reefscan.io.out.siteforms import FORMATS


@dataclass(frozen=True)
class DeviceOptions:
    """What the plotter or the phone can show."""

    name: Annotated[
        str | None,
        asked("--name", metavar="LETTERS", help="Letters that every name begins with, such as B for B01T35 (area, rank, kind, depth). If not given: made from the place."),
    ] = None  # fmt: skip
    name_length: Annotated[
        int, typer.Option("--name-length", metavar="N", help="Longest name, in characters.")
    ] = 8
    ascii_only: Annotated[
        bool, typer.Option("--ascii", help="Write plain letters (ASCII), without accents and degree signs.")
    ] = False
    symbol: Annotated[
        str | None,
        asked("--symbol", metavar="NAME", help="Symbol in GPX, as your plotter spells it: one for all, or trough=NAME,ledge=NAME. If not given: the kind of the site."),
    ] = None  # fmt: skip
    max_points: Annotated[
        int | None,
        asked("--max-points", metavar="N", help="Most sites in one file: more are written as several files."),
    ] = None


@dataclass(frozen=True)
class OrderOptions:
    """Which sites go along, and in which order."""

    picks: PicksFile = None
    sites: Sites = "all"
    top: Annotated[int | None, asked("--top", metavar="N", min=1, help="The best N only.")] = None
    order: Annotated[
        str,
        typer.Option("--order", metavar="rank|route", help="rank: best first. route: a short way past all."),
    ] = "rank"
    launch: Annotated[
        str | None,
        asked("--launch", metavar="'LAT LON'", help="Where the route starts, such as '45.0118 -22.5167'."),
    ] = None

    def start(self) -> tuple[float, float] | None:
        """Longitude and latitude of the launch, None without one; the order is checked."""
        if self.order not in ("rank", "route"):
            raise InputError(f"--order {self.order}: say rank or route")
        if self.launch is None:
            return None
        if self.order != "route":
            raise InputError(f"--launch {self.launch}: only a route has a start; say --order route too")
        return read_as("--launch", read_place, self.launch)


@grouped
def command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a finished run.")],
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE", help="The file to write. Its ending says the format.")
    ],
    device: DeviceOptions,
    chosen: OrderOptions,
    fmt: Annotated[
        str | None,
        asked(
            "--format",
            metavar="|".join(FORMATS),
            help="The format; it must agree with the file's ending.",
        ),
    ] = None,
    unit: RunUnit = None,
) -> None:
    """Write the sites as GPX 1.1, KML 2.2, CSV, GeoJSON or GeoPackage.

    As in: reefscan export runs/coast --picks picks.json --out sites.gpx
    """
    from reefscan.io.out.runfolder import run_inputs
    from reefscan.io.out.siteforms import form_of, write_sites
    from reefscan.io.out.waypoints import route_order, tidy
    from reefscan.io.outs import refuse_foreign
    from reefscan.review.opened import open_run
    from reefscan.review.picked import picked_sites
    from reefscan.review.takealong import naming_of, symbols_of, waypoints_of

    fmt, launch = form_of(out, fmt), chosen.start()
    refuse_foreign(out, run_inputs(run, chosen.picks))
    opened = open_run(run, unit=unit)
    table, said = picked_sites(opened, chosen.picks, best=best_only(chosen.sites))
    naming = naming_of(opened, letters=device.name, length=device.name_length)
    points = waypoints_of(table if chosen.top is None else table.head(chosen.top), naming)
    if chosen.order == "route":
        points = route_order(points, launch)
    points = tidy(points, length=device.name_length, ascii_only=device.ascii_only)
    for path in write_sites(
        points,
        out,
        fmt=fmt,
        title=f"Sites of {opened.name}",
        note=f"{opened.closed_words} {opened.datum.top}",
        symbols=symbols_of(device.symbol),
        most=device.max_points,
    ):
        typer.echo(str(path))
    head = f"{opened.closed_words}\nreefscan: {opened.datum.top}"
    typer.echo(f"reefscan: {head}\nreefscan: {len(points)} sites written. {CAUTION}", err=True)
    for sentence in said:
        typer.echo(f"reefscan: {sentence}", err=True)
