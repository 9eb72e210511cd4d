"""``reefscan grid``: soundings from logs to a grid worth scanning."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from reefscan.cli.options import metres

LONGEST_DELAY_S = 60.0
"""A position that lags more than a minute behind its depth is no delay of an instrument."""


def command(
    logs: Annotated[list[Path], typer.Argument(metavar="LOG...", help="Logs, or folders of logs: delimited text, NMEA 0183, GPX, B-12, vector files; gz, xz, zip.")],
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="GeoTIFF to write; the report goes beside it.")],
    cell: Annotated[str | None, typer.Option("--cell", metavar="LENGTH", help="Side of a cell, such as 2m; none: from the tracks.")] = None,
    draft: Annotated[str | None, typer.Option("--draft", metavar="LENGTH", help="Transducer below the waterline, such as 0.5m.")] = None,
    keel: Annotated[str | None, typer.Option("--keel", metavar="LENGTH", help="Keel below the waterline, for depths below the keel.")] = None,
    tide: Annotated[Path | None, typer.Option("--tide", metavar="FILE", help="High and low waters, a series, or harmonic constants.")] = None,
    tide_zone: Annotated[str | None, typer.Option("--tide-zone", metavar="ZONE", help="Zone of tide times that carry none: UTC, +02:00, Europe/Oslo.")] = None,
    tide_unit: Annotated[str | None, typer.Option("--tide-unit", metavar="UNIT", help="Unit of the tide's heights: m or ft.")] = None,
    tide_kind: Annotated[str, typer.Option("--tide-kind", metavar="KIND", help="auto, high-low or series.")] = "auto",
    depth_unit: Annotated[str | None, typer.Option("--depth-unit", metavar="UNIT", help="Unit of depths whose column states none: m, ft, fathom.")] = None,
    depth_from: Annotated[str | None, typer.Option("--depth-from", metavar="WHERE", help="What depths were measured from: transducer, surface or keel.")] = None,
    columns: Annotated[str | None, typer.Option("--columns", metavar="NAME=N,...", help="Which column is what: lon=1,lat=2,depth_ft=4,time=3.")] = None,
    crs: Annotated[str | None, typer.Option("--crs", metavar="EPSG:N", help="System of x/y columns, such as EPSG:32633.")] = None,
    zone: Annotated[str, typer.Option("--zone", metavar="ZONE", help="Time zone of log times that carry none.")] = "UTC",
    date: Annotated[str | None, typer.Option("--date", metavar="DAY", help="Day of the first fix, for NMEA logs without a date: YYYY-MM-DD.")] = None,
    swap: Annotated[bool, typer.Option("--swap-lonlat", help="Latitude and longitude are swapped in the logs.")] = False,
    gpx_depth: Annotated[str | None, typer.Option("--gpx-depth", metavar="NAME", help="GPX element that holds the depth.")] = None,
    latency: Annotated[float, typer.Option("--latency", metavar="SECONDS", help="Move positions along the track by so many seconds.")] = 0.0,
    level: Annotated[bool, typer.Option("--level", help="Level sessions by their crossings.")] = False,
    reach: Annotated[str | None, typer.Option("--reach", metavar="LENGTH", help="Farthest a cell may lie from a sounding.")] = None,
    onto: Annotated[str | None, typer.Option("--onto", metavar="GRID", help="Public grid (file, folder or address) to set the soundings into.")] = None,
    onto_positive: Annotated[str | None, typer.Option("--onto-positive", metavar="up|down", help="Does that grid count up (elevations) or down (depths)?")] = None,
    onto_crs: Annotated[str | None, typer.Option("--onto-crs", metavar="EPSG:N", help="Its system, if it states none.")] = None,
    onto_unit: Annotated[str | None, typer.Option("--onto-unit", metavar="UNIT", help="Unit of its values, such as ft.")] = None,
    onto_variable: Annotated[str | None, typer.Option("--onto-variable", metavar="NAME", help="Its variable or band of depths.")] = None,
    next_run: Annotated[str, typer.Option("--next", metavar="LENGTH", help="Distance for lines to survey next; 0 for none.")] = "2km",
    settings: Annotated[Path | None, typer.Option("--settings", metavar="FILE", help="TOML with cleaning and surface settings.")] = None,
    print_settings: Annotated[bool, typer.Option("--print-settings", help="Print the settings as they would be used and stop.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print the report's facts as JSON.")] = False,
    quiet: Annotated[bool, typer.Option("--quiet", "-q", help="No talk on standard error.")] = False,
) -> None:  # fmt: skip
    """Turn soundings into a grid with an honest uncertainty, and a report beside it.

    reefscan grid log1.csv log2.nmea --tide tides.csv --draft 0.5m --cell 2m --out own.tif

    Not for navigation.
    """
    import json
    import sys
    import time

    from reefscan.base.errors import InputError
    from reefscan.base.units import METRES_PER, parse_length
    from reefscan.io.grids.ground import Onto
    from reefscan.io.localfile import read_small_text
    from reefscan.io.logs.soundings import ReadOptions
    from reefscan.io.logs.text import TextOptions
    from reefscan.io.logs.tides import read_tide
    from reefscan.io.logs.times import parse_date, parse_zone
    from reefscan.pipeline.surveying import Order, run_survey
    from reefscan.survey.build import Corrections
    from reefscan.survey.settings import SurveySettings, dump_settings, load_settings

    def one_of(flag: str, value: str | None, choices: tuple[str, ...]) -> None:
        if value is not None and value not in choices:
            raise InputError(f"{flag} {value!r}: wanted {', '.join(choices)}")

    def length(flag: str, value: str | None) -> float | None:
        return None if value is None else metres(flag, value)

    def unit(flag: str, value: str | None) -> float | None:
        try:
            return None if value is None else parse_length(f"1{value}")
        except InputError:
            raise InputError(
                f"{flag} {value!r} is no unit of length; known: {', '.join(METRES_PER)}"
            ) from None

    one_of("--tide-kind", tide_kind, ("auto", "high-low", "series"))
    one_of("--depth-from", depth_from, ("transducer", "surface", "keel"))
    one_of("--onto-positive", onto_positive, ("up", "down"))
    if date is not None:
        parse_date(date)
    chosen = SurveySettings()
    if settings is not None:
        chosen = load_settings(read_small_text(settings), where=settings.name)
    reach_m, run_m = length("--reach", reach), length("--next", next_run)
    if reach_m is not None and not reach_m > 0:
        raise InputError(f"--reach {reach}: wanted a distance above zero")
    if run_m is not None and not run_m >= 0:
        raise InputError(f"--next {next_run}: wanted a distance, or 0 for no lines")
    if not abs(latency) <= LONGEST_DELAY_S:
        raise InputError(f"--latency {latency:g}: wanted seconds, at most {LONGEST_DELAY_S:g} either way")
    if reach_m is not None:
        chosen = chosen.model_copy(update={"surface": chosen.surface.model_copy(update={"reach_m": reach_m})})
    if print_settings:
        print(dump_settings(chosen), end="")
        return
    cell_m, draft_m, keel_m = length("--cell", cell), length("--draft", draft), length("--keel", keel)
    if cell_m is not None and not 0.05 <= cell_m <= 50_000:
        raise InputError(f"--cell {cell}: wanted 0.05 m to 50 km")
    if draft_m is not None and not -1.0 <= draft_m <= 30.0:
        raise InputError(
            f"--draft {draft}: no boat draws that; wanted the transducer's depth below the waterline"
        )
    if keel_m is not None and not 0.0 <= keel_m <= 30.0:
        raise InputError(f"--keel {keel}: no boat draws that; wanted the keel's depth below the waterline")
    if out.suffix.lower() not in (".tif", ".tiff"):
        raise InputError(f"--out {out}: wanted a GeoTIFF, such as own.tif")
    if not out.resolve().parent.is_dir():
        raise InputError(f"--out {out}: its folder does not exist; make it first")
    heights = None
    if tide is not None:
        heights = read_tide(
            tide, zone=parse_zone(tide_zone) if tide_zone else None, unit=unit("--tide-unit", tide_unit), kind=tide_kind,
            gap_h=chosen.reduce.tide_gap_h, leg_h=chosen.reduce.tide_leg_h,
        )  # fmt: skip
    text = TextOptions(columns, unit("--depth-unit", depth_unit), parse_zone(zone), crs, swap)
    order = Order(
        logs=logs, out=out, reading=ReadOptions(text, date, gpx_depth, depth_from, chosen.reduce.fix_gap_s),
        corrections=Corrections(draft_m, keel_m, heights, latency, level), settings=chosen, cell_m=cell_m,
        onto=Onto(onto, onto_positive, onto_crs, onto_unit, onto_variable) if onto else None, next_m=run_m or 0.0, now_s=time.time(),
    )  # fmt: skip
    facts = run_survey(
        order, say=(lambda _: None) if quiet or as_json else lambda line: print(line, file=sys.stderr)
    )
    if as_json:
        print(json.dumps(facts, indent=1))
        return
    n = facts["soundings"]
    print(
        f"{out}: {n['kept']:,} of {n['read']:,} soundings, {facts['covered_km2']} km2 in cells of {facts['cell_m']:g} m"
    )
    for file in facts["files"]:
        if file["unusable"]:
            print(f"  left out {file['unusable']:,}: lines of {file['name']} that hold no sounding")
    for row in facts["set_aside"]:
        print(f"  set aside {row['soundings']:,}: {row['reason']} ({row['why']})")
    if facts["validation"]["left_out"]:
        print(f"  left-out soundings missed by {facts['validation']['rms_m']:.2f} m rms")
    for warning in facts["warnings"]:
        print(f"  note: {warning}")
    print(f"  report: {out.with_suffix('').name}.report.html. Not for navigation.")
