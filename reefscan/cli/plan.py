"""``reefscan plan``: the night's plan from a run: whether to go, which sites, how much rope, in what order, when."""

from __future__ import annotations

import dataclasses
import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from reefscan.base.caution import CAUTION
from reefscan.base.errors import InputError
from reefscan.cli.grouped import grouped
from reefscan.cli.nightoptions import (
    BoatOptions,
    GearOptions,
    NightOptions,
    OutOptions,
    WaterOptions,
    WishOptions,
)
from reefscan.cli.options import metres, read_as

if TYPE_CHECKING:
    from reefscan.plan.books import Net
    from reefscan.plan.model import Asked

FILES = ("plan.json", "plan.geojson", "waypoints.gpx", "deck.pdf", "deck.html", "float_plan.txt")


@grouped
def command(
    run: Annotated[Path, typer.Argument(metavar="RUN", help="Folder of a finished run.")],
    night: NightOptions,
    gear: GearOptions,
    water: WaterOptions,
    boat: BoatOptions,
    wishes: WishOptions,
    output: OutOptions,
) -> None:
    """Plan a night: sites, rope, order, clock, a sheet for the boat and one to leave ashore.

    As in: reefscan plan runs/coast --nets 6 --rope 24m --marks 2m --date 2027-02-11 --tz Atlantic/Stanley --tide tides.csv
    --tide-datum-offset 0m --launch -51.69,-57.86 --until 02:00 --boat boat.toml --out plan/
    """
    from reefscan.io.nightbooks import load_off
    from reefscan.io.out.runfolder import run_inputs
    from reefscan.io.outs import refuse_foreign
    from reefscan.pipeline.offground import box_around
    from reefscan.pipeline.planning import Reach, plan_run
    from reefscan.plan.go import exit_words
    from reefscan.review.opened import open_run

    given = (wishes.picks, water.tide, water.secondary, boat.boat, boat.forecast, boat.rules, gear.gear)
    for name in FILES:
        refuse_foreign(output.out / name, run_inputs(run, *given, *(wishes.avoid or ())))
    wanted, tide = _asked(night, gear, water, boat, wishes)
    opened = open_run(run, unit=output.unit)
    wanted = dataclasses.replace(wanted, unit=opened.unit)
    _refuse_bare(gear, water, boat, wishes, unit=opened.unit)
    table, unlisted, said = _sites(opened, wishes, (*wanted.wishes.keep, *wanted.wishes.drop))
    reach = Reach(
        range_m=_least("--range", wishes.reach),
        fairways=wishes.allow_fairways,
        avoid=load_off(wishes.avoid, box_around(opened.known, opened.sources)) if wishes.avoid else None,
        unlisted=unlisted,
    )
    plan, ground = plan_run(wanted, table, opened.sources, opened.known, opened.run.info, tide, reach)
    for path in _write(plan, ground, output, run=opened.name):
        typer.echo(str(path))
    for sentence in (opened.closed_words, *said, *(f"mind: {words}" for words in plan.warnings)):
        typer.echo(f"reefscan: {sentence}", err=True)
    typer.echo(f"reefscan: {_told(plan)}\nreefscan: {CAUTION}\nreefscan: {exit_words(plan.go)}", err=True)


def _refuse_bare(gear: GearOptions, water: WaterOptions, boat: BoatOptions, wishes: WishOptions, *, unit: str) -> None:  # fmt: skip
    """A bare number is metres: whoever speaks of feet meant those, and a float would drown by it."""
    lengths = {
        "--rope": gear.rope, "--marks": gear.marks, "--surge": gear.surge, "--slack": gear.slack,
        "--tide-datum-offset": water.tide_datum_offset, "--launch-reach": boat.launch_reach,
        "--within": wishes.within, "--range": wishes.reach, "--stand-off": wishes.stand_off,
    }  # fmt: skip
    for flag, text in lengths.items() if unit != "m" else ():
        if text is not None and _bare(text) and float(text):
            raise InputError(
                f"{flag} {text}: a bare number is metres, and this plan speaks of {unit}; write {text}{unit} or {text}m"
            )


def _sites(opened: Any, wishes: WishOptions, named: tuple[str, ...]) -> tuple[Any, dict[str, str], list[str]]:
    """The table of sites, why those of the named that are not in it are not, and what is said of the picks."""
    from reefscan.pipeline.planning import all_sites, not_listed, with_scores
    from reefscan.review.picked import picked_sites

    scored = opened.listing.scored
    unlisted = not_listed(named, opened.table, scored, opened.unit)
    if wishes.picks is None:
        return all_sites(opened.table, scored), unlisted, []
    table, said = picked_sites(opened, wishes.picks)
    if not len(table):
        raise InputError("; ".join([*said, "no pick is left to plan for"]))
    elsewhere = {str(name) for name in opened.table["id"]} - {str(name) for name in table["id"]}
    unlisted |= {name: "it is not among your picks" for name in named if name in elsewhere}
    return with_scores(table, opened.table, scored), unlisted, said


def _told(plan: Any) -> str:
    from reefscan.base.units import NMI
    from reefscan.plan.rope import reach_words
    from reefscan.plan.tide import clock

    zone, totals, unit = plan.asked.zone, plan.totals, plan.asked.unit
    return (
        f"{len(plan.nets)} net{'s' if len(plan.nets) > 1 else ''}, {totals.rounds} round{'s' if totals.rounds > 1 else ''}, first set {clock(plan.first_set, zone)}, "
        f"back by {clock(plan.schedule.back_by, zone)}, {totals.way_m / NMI:.1f} nmi; deepest workable site: "
        + ", ".join(reach_words(net, plan.water.high_m, plan.water.add, unit) for net, _ in plan.deepest_m)
    )


def _write(plan: Any, ground: Any, output: OutOptions, *, run: str) -> list[Path]:
    """All files, each whole or not at all."""
    from reefscan.cli.lean import figures

    figures()
    from reefscan.io.out.floatplan import float_plan
    from reefscan.io.out.plan import plan_geojson, plan_gpx, plan_json
    from reefscan.io.outs import write_out
    from reefscan.io.whole import telling
    from reefscan.render.deck import draw_deck
    from reefscan.render.deckpage import deck_page

    contents: tuple[bytes | str, ...] = (
        plan_json(plan, run=run),
        plan_geojson(plan, route=output.route),
        plan_gpx(plan, route=output.route),
        draw_deck(plan, ground),
        deck_page(plan, ground),
        float_plan(plan),
    )
    out = output.out
    with telling(out):
        out.mkdir(parents=True, exist_ok=True)
    return [write_out(out / name, data) for name, data in zip(FILES, contents, strict=True)]


def _asked(night: NightOptions, gear: GearOptions, water: WaterOptions, boat: BoatOptions, wishes: WishOptions) -> tuple[Asked, Any]:  # fmt: skip
    """Read every option and file: what is asked, and the tide."""
    from reefscan.base.degrees import read_place
    from reefscan.io.logs.times import parse_zone
    from reefscan.io.nightbooks import SAID, load_book, load_tide, zone_of_table
    from reefscan.plan.amounts import parse_clock
    from reefscan.plan.books import Boat, Forecast, Rules
    from reefscan.plan.model import Asked, Wishes

    date = _date(night.date)
    zone = parse_zone(night.tz)
    craft = load_book(boat.boat, Boat) if boat.boat else Boat()
    offset = craft.tide_datum_offset_m
    if water.tide_datum_offset is not None:
        offset = metres("--tide-datum-offset", water.tide_datum_offset)
    said = None if water.tide_zone is None else parse_zone(water.tide_zone)
    tide = load_tide(
        water.tide,
        offset_m=offset,
        zone=zone_of_table(said, zone, date),
        unit=None if water.tide_unit is None else metres("--tide-unit", f"1{water.tide_unit}"),
        secondary=water.secondary,
        zone_is=SAID if said is not None else "the night's own zone, where no summer time makes it doubtful",
    )
    return Asked(
        date=date,
        zone=zone,
        until=read_as("--until", parse_clock, night.until),
        start=None if night.start is None else read_as("--start", parse_clock, night.start),
        nets=_nets(gear),
        launch=read_as("--launch", read_place, boat.launch),
        launch_reach_m=metres("--launch-reach", boat.launch_reach),
        boat=craft,
        forecast=load_book(boat.forecast, Forecast) if boat.forecast else None,
        rules=load_book(boat.rules, Rules) if boat.rules else None,
        soak_s=_soak(night.soak),
        surge_m=_least("--surge", gear.surge),
        scope=gear.scope,
        slack_limit_m=_least("--slack", gear.slack),
        overnight=night.overnight,
        wishes=Wishes(
            stand_off_m=_least("--stand-off", wishes.stand_off),
            within_m=None if wishes.within is None else _least("--within", wishes.within),
            per_feature=wishes.per_feature,
            reserves=wishes.reserves,
            explore=wishes.explore,
            keep=tuple(dict.fromkeys(wishes.keep or ())),
            drop=tuple(wishes.drop or ()),
        ),
    ), tide


def _date(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise InputError(f"--date {text}: is no day; write it as 2027-02-11") from None


def _least(flag: str, text: str) -> float:
    value = metres(flag, text)
    if value < 0:
        raise InputError(f"{flag} {text}: wanted 0 or more")
    return value


def _soak(text: str) -> float:
    from reefscan.plan.amounts import parse_minutes

    minutes = read_as("--soak", parse_minutes, text)
    if not 0 < minutes <= 24 * 60:
        raise InputError(f"--soak {text}: wanted more than nothing and at most a day, such as 45min")
    return 60 * minutes


def _nets(gear: GearOptions) -> tuple[Net, ...]:
    """The nets that go along, longest rope first."""
    from reefscan.io.nightbooks import load_book
    from reefscan.plan.books import Gear

    if gear.nets is not None and gear.nets < 1:
        raise InputError(f"--nets {gear.nets}: there is no net to plan for; say how many go along")
    if gear.gear is not None:
        if gear.rope is not None or gear.marks is not None:
            raise InputError("--gear says the ropes; leave --rope and --marks out")
        each = load_book(gear.gear, Gear).each
        if gear.nets is not None and gear.nets > len(each):
            raise InputError(f"--nets {gear.nets}: {gear.gear} has {len(each)} nets")
        return each[: gear.nets]
    if gear.rope is None or gear.nets is None:
        raise InputError(
            "say --nets and --rope (such as --nets 6 --rope 24m --marks 2m), or give a gear book with --gear"
        )
    return _alike(gear.nets, gear.rope, gear.marks)


def _bare(text: str) -> bool:
    """Whether a length was written without its unit."""
    try:
        float(text)
    except ValueError:
        return False
    return True


def _alike(count: int, rope: str, marks: str | None) -> tuple[Net, ...]:
    from reefscan.plan.books import Gear

    if marks is not None and _bare(rope) != _bare(marks):
        raise InputError(
            f"--rope {rope} --marks {marks}: one has a unit and one has none; write both, such as 24m and 2m"
        )
    length, apart = metres("--rope", rope), 0.0 if marks is None else _least("--marks", marks)
    if not 0 < length <= 1000:
        raise InputError(f"--rope {rope}: wanted more than 0 and at most 1000 m")
    if apart > length:
        raise InputError(f"--rope {rope} --marks {marks}: the rope ends before its first mark")
    if count > 500:
        raise InputError(f"--nets {count}: wanted 500 at most")
    return Gear.model_validate({"nets": [{"rope_m": length, "marks_m": apart, "count": count}]}).each
