"""What stands on the deck sheet, as words: the printed page and the page for a phone say the same."""

from __future__ import annotations

from dataclasses import dataclass

from reefscan.base.caution import CAUTION
from reefscan.base.degrees import degrees_minutes
from reefscan.plan.books import Rules
from reefscan.plan.go import RULES_LINE, Check
from reefscan.plan.model import Plan, PlannedNet, Round, Way
from reefscan.plan.tide import clock
from reefscan.plan.words import BEFORE_LEAVING, BEFORE_MOVING, HAULING, LIGHTS, MOVE_ON
from reefscan.render.furniture import plain
from reefscan.render.marks import show_depth

NMI = 1852.0
SHOWN = ("sunset", "civil dusk", "nautical dusk", "sunrise", "moonrise", "moonset")


@dataclass(frozen=True)
class SheetRound:
    """One soak in words."""

    number: int
    set_at: str
    pull_at: str
    rope: str
    sounder: str
    haul: str
    release: str


@dataclass(frozen=True)
class SheetNet:
    """One net in words."""

    number: int
    place: str
    title: str
    depth: str
    way: str
    look_again: str
    light: str
    rounds: tuple[SheetRound, ...]
    stay: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """The whole sheet in words."""

    title: str
    failed: tuple[str, ...]
    passed: tuple[str, ...]
    times: tuple[tuple[str, str], ...]
    light: tuple[tuple[str, str], ...]
    tide: tuple[str, ...]
    nets: tuple[SheetNet, ...]
    home: str
    reserves: tuple[str, ...]
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    rules: tuple[str, ...]
    tallies: tuple[tuple[str, int], ...]
    before_leaving: tuple[str, ...] = BEFORE_LEAVING
    before_moving: tuple[str, ...] = BEFORE_MOVING
    hauling: str = ""
    lights: str = LIGHTS
    move_on: str = MOVE_ON
    rules_line: str = RULES_LINE
    caution: str = CAUTION


def sheet_of(plan: Plan, *, unit: str) -> Sheet:
    """Put the plan into words.

    Parameters
    ----------
    unit : {"m", "ft", "fathom"}
        Of depths and ropes.
    """
    asked, zone = plan.asked, plan.asked.zone
    failed = [check for check in plan.go if not check.passed]

    def at(when: float) -> str:
        return clock(when, zone)[11:16]

    limit = asked.boat.limits.turn_back
    times = [
        ("leave", at(plan.schedule.depart)),
        ("first set", at(plan.first_set)),
        ("last pull", at(plan.schedule.last_pull)),
        ("turn back", limit or at(plan.schedule.last_pull)),
        ("back by", at(plan.schedule.back)),
    ]
    light = [(event.name, at(event.time)) for event in plan.sky.events if event.name in SHOWN]
    turns = plan.tide.turns(plan.schedule.depart, plan.schedule.last_pull + 2 * 3600)
    return Sheet(
        title=f"Night of {asked.date}, {clock(plan.first_set, zone)[17:]} ({zone})",
        failed=tuple(_told(check) for check in failed),
        passed=tuple(_told(check) for check in plan.go if check.passed),
        times=tuple(times),
        light=(*light, ("moon lit", f"{plan.sky.lit:.0%}")),
        tide=tuple(f"{'high' if turn.high else 'low'} {at(turn.time)} {show_depth(turn.height_m, unit, places=1)}" for turn in turns),
        nets=tuple(_net(net, plan, unit) for net in plan.nets),
        home=_way(plan.ways[-1], plan),
        reserves=tuple(
            f"{degrees_minutes(site.lat, lat=True)} {degrees_minutes(site.lon, lat=False)}, {show_depth(site.depth_m, unit)}"
            for site in plan.reserves
        ),
        warnings=tuple(plain(words) for words in plan.warnings),
        assumptions=(*(plain(words) for words in plan.assumptions), *(["Sentences speak of metres: 1 m is 3.28 ft."] if unit != "m" else [])),
        rules=_rules(asked.rules),
        tallies=_tallies(plan),
        hauling=HAULING.format(side=asked.boat.haul_side),
    )  # fmt: skip


def _told(check: Check) -> str:
    return f"{check.name}: {plain(check.words)}"


def _net(net: PlannedNet, plan: Plan, unit: str) -> SheetNet:
    site, zone = net.site, plan.asked.zone
    rounds = tuple(
        SheetRound(
            number=one.number,
            set_at=clock(one.set_time, zone)[11:16],
            pull_at=clock(one.pull_time, zone)[11:16],
            rope=rope_words(one, unit),
            sounder=show_depth(one.sounder_m, unit),
            haul=_haul(one, plan),
            release=_release(one, unit),
        )
        for one in net.rounds
    )
    return SheetNet(
        number=net.number,
        place=f"{degrees_minutes(site.lat, lat=True)}  {degrees_minutes(site.lon, lat=False)}",
        title=plain(site.name or site.kind or site.id),
        depth=show_depth(site.depth_m, unit),
        way=_way(plan.ways[net.number - 1], plan),
        look_again=show_depth(net.look_again_m, unit, places=1),
        light=plain(net.net.light),
        rounds=rounds,
        stay=tuple(_told(check) for check in net.checks if not check.passed),
        warnings=(
            *(plain(words) for words in net.warnings),
            *([f"mind: {', '.join(plain(f).replace('-', ' ') for f in site.flags)}"] if site.flags else []),
            *([f"note: {plain(site.note)}"] if site.note else []),
        ),
    )


def rope_words(one: Round, unit: str) -> str:
    """Rope to let out: in marks where there are some."""
    length = show_depth(one.rope_m, unit, places=1)
    return length if one.rope_marks is None else f"{one.rope_marks} marks ({length})"


def _haul(one: Round, plan: Plan) -> str:
    if one.head.true_deg is None:
        return ""
    return f"head {plan.magnet.of(one.head.true_deg):03.0f}° M into {one.head.into}"


def _release(one: Round, unit: str) -> str:
    if one.stream is None or one.drift_m < 1:
        return ""
    return f"let go {show_depth(one.drift_m, unit, places=0)} up-stream, {(one.stream.to_deg + 180) % 360:03.0f}° true"


def _way(way: Way, plan: Plan) -> str:
    turns = len(way.places) - 2
    bend = f", {turns} turn{'s' if turns > 1 else ''}" if turns > 0 else ""
    magnetic = plan.magnet.of(way.true_deg)
    return f"{way.true_deg:03.0f}° true, {magnetic:03.0f}° M, {way.length_m / NMI:.2f} nmi, {way.seconds / 60:.0f} min{bend}"


def _rules(rules: Rules | None) -> tuple[str, ...]:
    """What the person copied from the local rules, in words."""
    if rules is None:
        return ()
    rows = [
        ("least size", None if rules.minimum_size_m is None else f"{rules.minimum_size_m * 1000:.0f} mm"),
        ("bag a person", rules.bag_per_person),
        ("bag a boat", rules.bag_per_boat),
        ("report in", ", ".join(rules.reporting_areas)),
        ("licence", rules.licence),
        ("float marks", rules.float_marks),
        ("copied from", rules.source),
    ]
    return tuple(f"{name}: {plain(value)}" for name, value in rows if value not in (None, ""))


def _tallies(plan: Plan) -> tuple[tuple[str, int], ...]:
    """Who may keep how many, for strokes of a pencil; nothing where no bag is stated."""
    rules, persons = plan.asked.rules, plan.asked.boat.ashore.persons
    if rules is None or rules.bag_per_person is None:
        return ()
    return tuple((plain(name), rules.bag_per_person) for name in persons or ("each",))
