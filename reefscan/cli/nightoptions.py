"""Options of ``reefscan plan``, in groups for `reefscan.cli.grouped`."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from reefscan.cli.options import asked


@dataclass(frozen=True)
class NightOptions:
    """When."""

    date: Annotated[
        str, typer.Option("--date", metavar="DAY", help="Day of the evening, such as 2027-02-11.")
    ]
    tz: Annotated[
        str,
        typer.Option(
            "--tz", metavar="ZONE", help="Zone of all clock times: a name such as Europe/Oslo, or +02:00."
        ),
    ]
    until: Annotated[
        str, typer.Option("--until", metavar="HH:MM", help="When the last net is out of the water.")
    ]
    start: Annotated[
        str | None, asked("--start", metavar="HH:MM", help="First set; sunset if not given.")
    ] = None
    soak: Annotated[
        str, typer.Option("--soak", metavar="TIME", help="How long a net lies, such as 45min.")
    ] = "60min"
    overnight: Annotated[
        bool,
        typer.Option("--overnight", help="Leave the nets while the boat goes home; one pull, by --until."),
    ] = False


@dataclass(frozen=True)
class GearOptions:
    """With what."""

    nets: Annotated[int | None, asked("--nets", metavar="N", help="Nets that go along.")] = None
    rope: Annotated[
        str | None, asked("--rope", metavar="LENGTH", help="Rope of each net, where all are alike.")
    ] = None
    marks: Annotated[
        str | None, asked("--marks", metavar="LENGTH", help="From mark to mark on the rope.")
    ] = None
    gear: Annotated[Path | None, asked("--gear", metavar="FILE", help="Gear book, where nets differ.")] = None
    scope: Annotated[
        float, typer.Option("--scope", metavar="RATIO", min=1.0, max=5.0, help="Rope over height of water.")
    ] = 1.25
    surge: Annotated[
        str, typer.Option("--surge", metavar="LENGTH", help="Water the tide table does not know of.")
    ] = "0.3m"
    slack: Annotated[
        str,
        typer.Option(
            "--slack", metavar="LENGTH", help="Slack of a floating line from which the rope is set anew."
        ),
    ] = "3m"


@dataclass(frozen=True)
class WaterOptions:
    """The tide."""

    tide: Annotated[
        Path,
        typer.Option("--tide", metavar="FILE", help="High and low waters, a series, or harmonic constants."),
    ]
    tide_datum_offset: Annotated[
        str | None,
        asked(
            "--tide-datum-offset",
            metavar="LENGTH",
            help="How high the table's zero lies over the grid's zero, such as 0m.",
        ),
    ] = None
    tide_zone: Annotated[
        str | None,
        asked("--tide-zone", metavar="ZONE", help="Zone of the table's times where they carry none."),
    ] = None
    tide_unit: Annotated[
        str | None, asked("--tide-unit", metavar="UNIT", help="Unit of its heights where it states none.")
    ] = None
    secondary: Annotated[
        Path | None, asked("--secondary", metavar="FILE", help="Differences of a secondary station.")
    ] = None


@dataclass(frozen=True)
class BoatOptions:
    """The boat and what is known of the night."""

    launch: Annotated[
        str, typer.Option("--launch", metavar="LAT,LON", help="Where the boat starts and comes home to.")
    ]
    launch_reach: Annotated[
        str,
        typer.Option("--launch-reach", metavar="LENGTH", help="Farthest water of the grid from the launch."),
    ] = "200m"
    boat: Annotated[
        Path | None, asked("--boat", metavar="FILE", help="The boat, its limits, who is informed.")
    ] = None
    forecast: Annotated[
        Path | None, asked("--forecast", metavar="FILE", help="The forecast as you read it.")
    ] = None
    rules: Annotated[
        Path | None, asked("--rules", metavar="FILE", help="Limits that you copied from the local rules.")
    ] = None


@dataclass(frozen=True)
class WishOptions:
    """Which sites."""

    picks: Annotated[Path | None, asked("--picks", metavar="FILE", help="Picks saved from the page.")] = None
    keep: Annotated[list[str] | None, asked("--keep", metavar="ID", help="A site that must get a net.")] = (
        None
    )
    drop: Annotated[list[str] | None, asked("--drop", metavar="ID", help="A site that must not.")] = None
    explore: Annotated[
        int, typer.Option("--explore", metavar="N", min=0, help="Nets where least is known.")
    ] = 0
    reserves: Annotated[
        int, typer.Option("--reserves", metavar="N", min=0, max=20, help="Reserve sites.")
    ] = 3
    within: Annotated[str | None, asked("--within", metavar="LENGTH", help="No two nets farther apart.")] = (
        None
    )
    reach: Annotated[
        str, typer.Option("--range", metavar="LENGTH", help="Farthest site from the launch.")
    ] = "10km"
    avoid: Annotated[
        list[Path] | None,
        asked(
            "--avoid",
            metavar="FILE",
            help="Ground that floats keep off, such as a breakwater's face (may be given more than once).",
        ),
    ] = None
    stand_off: Annotated[
        str,
        typer.Option(
            "--stand-off",
            metavar="LENGTH",
            help="How far floats keep off that, and off the run's hard structure.",
        ),
    ] = "0m"
    per_feature: Annotated[
        int | None, asked("--per-feature", metavar="N", min=1, help="Most nets on one feature.")
    ] = None
    allow_fairways: Annotated[bool, typer.Option("--allow-fairways", help="Take sites in fairways too.")] = (
        False
    )


@dataclass(frozen=True)
class OutOptions:
    """What is written, and where."""

    out: Annotated[Path, typer.Option("--out", metavar="FOLDER", help="Where the plan's files go.")] = Path(
        "plan"
    )
    route: Annotated[
        bool, typer.Option("--route", help="Write the way as a line too; an autopilot would follow it.")
    ] = False
    unit: Annotated[
        str | None,
        asked(
            "--unit",
            metavar="m|ft|fathom",
            help="Unit of all sheets and sentences; that of the scan if not given.",
        ),
    ] = None
