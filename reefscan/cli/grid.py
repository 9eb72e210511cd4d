"""``reefscan grid``: soundings from logs to a grid worth scanning."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from reefscan.base.errors import InputError
from reefscan.cli.asking import ask_datum, ask_open, asking
from reefscan.cli.grouped import grouped
from reefscan.cli.options import Datum, metres, read_as, told_in, user_unit

if TYPE_CHECKING:
    from reefscan.io.grids.ground import Onto
    from reefscan.io.logs.soundings import ReadOptions
    from reefscan.pipeline.surveying import Order
    from reefscan.survey.build import Corrections
    from reefscan.survey.reduce import Tide
    from reefscan.survey.settings import SurveySettings

LONGEST_DELAY_S = 60.0
"""A position that lags more than a minute behind its depth is no delay of an instrument."""


@dataclass(frozen=True)
class SurfaceOptions:
    """What the grid is to be like."""

    cell: Annotated[str | None, typer.Option("--cell", metavar="LENGTH", help="Side of a cell, such as 2m. If not given: chosen from the tracks.")] = None  # fmt: skip
    reach: Annotated[str | None, typer.Option("--reach", metavar="LENGTH", help="How far from a sounding the grid may go on; beyond it stays empty.")] = None  # fmt: skip
    next_run: Annotated[str, typer.Option("--next", metavar="LENGTH", help="How far you want to run next time: lines to survey are proposed; 0 for none.")] = "2km"  # fmt: skip
    datum: Datum = None
    settings: Annotated[Path | None, typer.Option("--settings", metavar="FILE", help="Your settings of cleaning and surface (see --print-settings).")] = None  # fmt: skip

    def cell_m(self) -> float | None:
        """Side of a cell (m), None where it is chosen from the tracks."""
        cell_m = _length("--cell", self.cell)
        if cell_m is not None and not 0.05 <= cell_m <= 50_000:
            raise InputError(f"--cell {self.cell}: wanted 0.05 m to 50 km")
        return cell_m

    def next_m(self) -> float:
        """Distance (m) for lines to survey next, 0 for none."""
        next_m = metres("--next", self.next_run)
        if not next_m >= 0:
            raise InputError(f"--next {self.next_run}: wanted a distance, or 0 for no lines")
        return next_m

    def chosen(self) -> SurveySettings:
        """Settings of the file, or the default ones; ``--reach`` replaces theirs."""
        from reefscan.io.localfile import read_small_text
        from reefscan.survey.settings import SurveySettings, load_settings

        file = self.settings
        chosen = SurveySettings() if file is None else load_settings(read_small_text(file), where=file.name)
        reach_m = _length("--reach", self.reach)
        if reach_m is None:
            return chosen
        if not reach_m > 0:
            raise InputError(f"--reach {self.reach}: wanted a distance above zero")
        surface = chosen.surface.model_copy(update={"reach_m": reach_m})
        return chosen.model_copy(update={"surface": surface})


@dataclass(frozen=True)
class BoatOptions:
    """Where the instruments sit, and how late they are."""

    draft: Annotated[str | None, typer.Option("--draft", metavar="LENGTH", help="How deep the transducer is below the waterline, such as 0.5m.")] = None  # fmt: skip
    keel: Annotated[str | None, typer.Option("--keel", metavar="LENGTH", help="How deep the keel is below the waterline, for depths measured below the keel.")] = None  # fmt: skip
    latency: Annotated[float, typer.Option("--latency", metavar="SECONDS", help="How late positions are, in seconds: they are moved along the track by that much.")] = 0.0  # fmt: skip
    level: Annotated[bool, typer.Option("--level", help="Shift whole sessions so that depths agree where tracks cross.")] = False  # fmt: skip

    def corrections(self) -> Corrections:
        """The corrections of the boat, without a tide."""
        from reefscan.survey.build import Corrections

        draft_m, keel_m = _length("--draft", self.draft), _length("--keel", self.keel)
        if not abs(self.latency) <= LONGEST_DELAY_S:
            raise InputError(
                f"--latency {self.latency:g}: wanted seconds, at most {LONGEST_DELAY_S:g} either way"
            )
        if draft_m is not None and not -1.0 <= draft_m <= 30.0:
            raise InputError(
                f"--draft {self.draft}: no boat draws that; wanted the transducer's depth below the waterline"
            )
        if keel_m is not None and not 0.0 <= keel_m <= 30.0:
            raise InputError(
                f"--keel {self.keel}: no boat draws that; wanted the keel's depth below the waterline"
            )
        return Corrections(draft_m, keel_m, None, self.latency, self.level)


@dataclass(frozen=True)
class TideOptions:
    """The tide's file, and what it does not say itself."""

    tide: Annotated[Path | None, typer.Option("--tide", metavar="FILE", help="Tide: high and low waters, a series of heights, or harmonic constants.")] = None  # fmt: skip
    tide_zone: Annotated[str | None, typer.Option("--tide-zone", metavar="ZONE", help="Time zone of the tide's times, if they name none: UTC, +02:00, Europe/Oslo.")] = None  # fmt: skip
    tide_unit: Annotated[str | None, typer.Option("--tide-unit", metavar="UNIT", help="Unit of the tide's heights: m or ft.")] = None  # fmt: skip
    tide_kind: Annotated[str, typer.Option("--tide-kind", metavar="KIND", help="What the tide table holds: high-low, series, or auto to find out.")] = "auto"  # fmt: skip

    def check(self) -> None:
        """Refuse a kind of table that there is not."""
        _one_of("--tide-kind", self.tide_kind, ("auto", "high-low", "series"))

    def read(self, settings: SurveySettings, dates: str | None) -> Tide | None:
        """Read the file; None where none was given."""
        from reefscan.io.logs.tides import read_tide
        from reefscan.io.logs.times import parse_zone

        if self.tide is None:
            return None
        return read_tide(
            self.tide, zone=parse_zone(self.tide_zone) if self.tide_zone else None, unit=_unit("--tide-unit", self.tide_unit),
            kind=self.tide_kind, gap_h=settings.reduce.tide_gap_h, leg_h=settings.reduce.tide_leg_h, dates=dates,
        )  # fmt: skip


@dataclass(frozen=True)
class LogOptions:
    """What the logs do not say themselves."""

    depth_unit: Annotated[str | None, typer.Option("--depth-unit", metavar="UNIT", help="Unit of the depths, if their column names none: m, ft, fathom.")] = None  # fmt: skip
    depth_from: Annotated[str | None, typer.Option("--depth-from", metavar="WHERE", help="What depths were measured from: transducer, surface or keel.")] = None  # fmt: skip
    columns: Annotated[str | None, typer.Option("--columns", metavar="NAME=N,...", help="Which column is what: lon=1,lat=2,depth_ft=4,time=3.")] = None  # fmt: skip
    crs: Annotated[str | None, typer.Option("--crs", metavar="EPSG:N", help="Coordinate system of x and y columns, such as EPSG:32633.")] = None  # fmt: skip
    zone: Annotated[str, typer.Option("--zone", metavar="ZONE", help="Time zone of the log's times, if they name none.")] = "UTC"  # fmt: skip
    date: Annotated[str | None, typer.Option("--date", metavar="DAY", help="Day of the first fix, for NMEA logs without a date: YYYY-MM-DD.")] = None  # fmt: skip
    dates: Annotated[str | None, typer.Option("--dates", metavar="day-first|month-first", help="How dates such as 03/04/2024 are written, in logs and tide table.")] = None  # fmt: skip
    swap: Annotated[bool, typer.Option("--swap-lonlat", help="Say this if latitude and longitude are swapped in the logs.")] = False  # fmt: skip
    gpx_depth: Annotated[str | None, typer.Option("--gpx-depth", metavar="NAME", help="GPX element that holds the depth.")] = None  # fmt: skip

    def told_unit(self) -> str:
        """The unit that the person speaks: that of the depths, where it is one that depths are shown in."""
        return user_unit((f"1{self.depth_unit}", "")) if self.depth_unit else "m"

    def check(self) -> None:
        """Refuse a place that depths are not measured from, and a day that is none."""
        from reefscan.io.logs.times import DATE_ORDERS, parse_date

        _one_of("--dates", self.dates, DATE_ORDERS)
        _one_of("--depth-from", self.depth_from, ("transducer", "surface", "keel"))
        if self.date is not None:
            parse_date(self.date)

    def reading(self, settings: SurveySettings) -> ReadOptions:
        """How the logs are read."""
        from reefscan.io.georef import crs_facts
        from reefscan.io.logs.soundings import ReadOptions
        from reefscan.io.logs.text import TextOptions
        from reefscan.io.logs.times import parse_zone

        if self.crs is not None:
            read_as("--crs", crs_facts, self.crs)
        unit = _unit("--depth-unit", self.depth_unit)
        text = TextOptions(self.columns, unit, parse_zone(self.zone), self.crs, self.swap, self.dates)
        return ReadOptions(text, self.date, self.gpx_depth, self.depth_from, settings.reduce.fix_gap_s)


@dataclass(frozen=True)
class PublicOptions:
    """The public grid that the soundings are set into, and what it does not say itself."""

    onto: Annotated[str | None, typer.Option("--onto", metavar="GRID", help="Public grid (file, folder or address) to set the soundings into.")] = None  # fmt: skip
    onto_positive: Annotated[str | None, typer.Option("--onto-positive", metavar="up|down", help="How that grid counts: up = heights, down = depths.")] = None  # fmt: skip
    onto_crs: Annotated[str | None, typer.Option("--onto-crs", metavar="EPSG:N", help="Its coordinate system, if it does not state it.")] = None  # fmt: skip
    onto_unit: Annotated[str | None, typer.Option("--onto-unit", metavar="UNIT", help="Unit of its values, such as ft.")] = None  # fmt: skip
    onto_variable: Annotated[str | None, typer.Option("--onto-variable", metavar="NAME", help="Its variable or band that holds the depths.")] = None  # fmt: skip

    def check(self) -> None:
        """Refuse a sign that there is not."""
        _one_of("--onto-positive", self.onto_positive, ("up", "down"))

    def grid(self) -> Onto | None:
        """The grid; None where none was given."""
        from reefscan.io.grids.ground import Onto

        if not self.onto:
            return None
        return Onto(self.onto, self.onto_positive, self.onto_crs, self.onto_unit, self.onto_variable)


@dataclass(frozen=True)
class Said:
    """All that the person says of the files, which an answer at a terminal adds to."""

    boat: BoatOptions
    tide: TideOptions
    text: LogOptions
    public: PublicOptions

    def answered(self, flag: str, answer: str) -> Said | None:
        """The same with one answer more; None where the flag is none of these options."""
        name = flag.removeprefix("--").replace("-", "_")
        for part in ("boat", "tide", "text", "public"):
            options = getattr(self, part)
            if name in vars(options):
                more: dict[str, Any] = {part: replace(options, **{name: answer})}
                return replace(self, **more)
        return None


@dataclass(frozen=True)
class ShowOptions:
    """What is printed."""

    print_settings: Annotated[bool, typer.Option("--print-settings", help="Print the settings as they would be used and stop.")] = False  # fmt: skip
    unit: Annotated[str | None, told_in("the unit of the depths, if --depth-unit names it, else metres")] = (
        None
    )
    as_json: Annotated[bool, typer.Option("--json", help="Print the report's facts as JSON.")] = False
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="Hide progress messages.")] = False


@grouped
def command(
    logs: Annotated[list[Path], typer.Argument(metavar="LOG...", help="Logs, or folders of logs: delimited text, NMEA 0183, GPX, B-12, vector files; gz, xz, zip.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="GeoTIFF to write; the report goes beside it.")],
    surface: SurfaceOptions,
    boat: BoatOptions,
    tide: TideOptions,
    text: LogOptions,
    public: PublicOptions,
    show: ShowOptions,
) -> None:  # fmt: skip
    """Make a grid from your own soundings, with how uncertain each cell is, and a report beside it.

    As in: reefscan grid log1.csv log2.nmea --tide tides.csv --draft 0.5m --cell 2m --out own.tif

    Not for navigation.
    """
    import json
    import sys
    import time

    from reefscan.cli.lean import figures

    figures()
    from reefscan.base.datum import datum_name
    from reefscan.pipeline.surveying import Order, Read, read_survey, run_survey
    from reefscan.survey.settings import dump_settings

    settings, next_m = surface.chosen(), surface.next_m()
    if show.print_settings:
        print(dump_settings(settings), end="")
        return
    cell_m = surface.cell_m()
    _check_out(out)
    datum, silent = datum_name(surface.datum, ""), show.quiet or show.as_json

    def say(line: str) -> None:
        if not silent:
            print(line, file=sys.stderr)

    def begun(said: Said) -> tuple[Order, Read]:
        for options in (said.tide, said.text, said.public):
            options.check()
        tide_read = said.tide.read(settings, said.text.dates)
        order = Order(
            logs=logs, out=out, reading=said.text.reading(settings), corrections=replace(said.boat.corrections(), tide=tide_read),
            settings=settings, cell_m=cell_m, onto=said.public.grid(), next_m=next_m, now_s=time.time(),
            unit=user_unit(None, show.unit) if show.unit else said.text.told_unit(), datum=datum,
        )  # fmt: skip
        return order, read_survey(order, say=say)

    told = Said(boat, tide, text, public)
    (order, read), told = (begun(told), told) if silent else asking(begun, told)
    if not silent:
        order = _asked_besides(order, told, wants_draft=read.wants_draft)
    facts = run_survey(order, read, say=say)
    if show.as_json:
        print(json.dumps(facts, indent=1))
    else:
        _print(facts, out, order.unit)


def _asked_besides(order: Order, said: Said, *, wants_draft: bool) -> Order:
    """Ask for what the grid can be made without: how deep the transducer is, and the level that depths are counted from."""
    if wants_draft and said.boat.draft is None:
        draft = ask_open(
            "Depths are below the transducer, and nothing says how deep that is: the water is deeper than the log says.",
            "How deep is the transducer below the waterline? Write it as 0.5m or 2ft.",
            flag="--draft",
            check=lambda said_draft: replace(said.boat, draft=said_draft).corrections(),
        )
        if draft is not None:
            boat = replace(said.boat, draft=draft).corrections()
            order = replace(order, corrections=replace(order.corrections, draft_m=boat.draft_m))
    if not order.datum:
        source = "The tide's file does" if order.corrections.tide is not None else "The logs do"
        order = replace(order, datum=ask_datum(source) or "")
    return order


def _check_out(out: Path) -> None:
    if out.suffix.lower() not in (".tif", ".tiff"):
        raise InputError(f"--out {out}: wanted a GeoTIFF, such as own.tif")
    if not out.resolve().parent.is_dir():
        raise InputError(f"--out {out}: its folder does not exist; make it first")


def _print(facts: dict[str, Any], out: Path, unit: str) -> None:
    """Print what became of the soundings."""
    from reefscan.score.reasons import length_words

    for line in facts["summary"]:
        print(line)
    n = facts["soundings"]
    print(
        f"{out}: {n['kept']:,} of {n['read']:,} soundings, {facts['covered_km2']} km² in cells of {length_words(facts['cell_m'], unit)}"
    )
    for file in facts["files"]:
        if file["unusable"]:
            print(f"  left out {file['unusable']:,}: lines of {file['name']} that hold no sounding")
    for row in facts["set_aside"]:
        print(f"  set aside {row['soundings']:,}: {row['reason']} ({row['why']})")
    if facts["validation"]["left_out"]:
        missed = length_words(facts["validation"]["rms_m"], unit)
        print(f"  soundings that were left out to check the grid were missed by {missed} (root mean square)")
    for warning in facts["warnings"]:
        print(f"  note: {warning}")
    print(f"  report: {out.with_suffix('').name}.report.html. Not for navigation.")


def _one_of(option: str, value: str | None, choices: tuple[str, ...]) -> None:
    if value is not None and value not in choices:
        raise InputError(f"{option} {value!r}: wanted {', '.join(choices)}")


def _length(option: str, value: str | None) -> float | None:
    return None if value is None else metres(option, value)


def _unit(option: str, value: str | None) -> float | None:
    """Metres in one unit of length; None where no unit was given."""
    from reefscan.base.units import METRES_PER, parse_length

    try:
        return None if value is None else parse_length(f"1{value}")
    except InputError:
        raise InputError(
            f"{option} {value!r} is not a unit of length; known: {', '.join(METRES_PER)}"
        ) from None
