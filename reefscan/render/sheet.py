"""What stands on the deck sheet, as words: the printed page and the page for a phone say the same."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from reefscan.base.caution import CAUTION
from reefscan.base.degrees import degrees_minutes
from reefscan.base.flags import flag_words
from reefscan.base.units import NMI, far_unit
from reefscan.plan.amounts import stated
from reefscan.plan.books import Net, Rules
from reefscan.plan.go import RULES_LINE, Check
from reefscan.plan.model import Plan, PlannedNet, Round, Way
from reefscan.plan.rope import rope_needed, rope_out
from reefscan.plan.sites import Site
from reefscan.plan.sky import Sky
from reefscan.plan.tide import clock
from reefscan.plan.words import BEFORE_LEAVING, BEFORE_MOVING, HAULING, LIGHTS, MOVE_ON, STILL
from reefscan.render.furniture import plain
from reefscan.render.marks import UNIT_METRES, show_depth

SHOWN = ("sunset", "civil dusk", "nautical dusk", "sunrise", "moonrise", "moonset")


@dataclass(frozen=True)
class SheetRound:
    """One soak in words."""

    set_at: str
    pull_at: str
    rope: str
    rope_brief: str
    sounder: str
    haul: str
    release: str
    let_go: float


@dataclass(frozen=True)
class SheetNet:
    """One net in words."""

    number: int
    place: str
    title: str
    depth: str
    gear: str
    way: str
    look_again: str
    light: str
    rounds: tuple[SheetRound, ...]
    stay: tuple[str, ...]
    notes: tuple[str, ...]
    far_unit: str

    @property
    def release(self) -> str:
        """How far up-stream to let go: the least and the most of the rounds."""
        far = [one.let_go for one in self.rounds]
        if not any(far):
            return ""
        least, most = (f"{value:.0f}" for value in (min(far), max(far)))
        return f"let go {least if least == most else f'{least}-{most}'} {self.far_unit} up-stream"


@dataclass(frozen=True)
class Sheet:
    """The whole sheet in words."""

    title: str
    closed: str
    datum: str
    failed: tuple[str, ...]
    passed: tuple[str, ...]
    times: tuple[tuple[str, str], ...]
    light: tuple[tuple[str, str], ...]
    tide: tuple[str, ...]
    nets: tuple[SheetNet, ...]
    home: str
    haul: tuple[str, ...]
    let_go: tuple[str, ...]
    rounds: int
    in_all: str
    head_home: str
    again: tuple[str, ...]
    reserves: tuple[str, ...]
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    rules: tuple[str, ...]
    tallies: tuple[tuple[str, int], ...]
    before_leaving: tuple[str, ...] = BEFORE_LEAVING
    before_moving: tuple[str, ...] = BEFORE_MOVING
    hauling: str = ""
    still: str = STILL
    lights: str = LIGHTS
    move_on: str = MOVE_ON
    rules_line: str = RULES_LINE
    caution: str = CAUTION


def sheet_of(plan: Plan) -> Sheet:
    """Put the plan into words, lengths in the person's unit."""
    asked, unit, at = plan.asked, plan.asked.unit, _hours(plan)
    failed = [check for check in plan.go if not check.passed]
    light = [(event.name, at(event.time)) for event in plan.sky.events if event.name in SHOWN]
    turns = plan.tide.turns(plan.schedule.depart, plan.schedule.last_pull + 2 * 3600)
    return Sheet(
        title=_title(plan),
        closed=plain(plan.closed_words),
        datum=plain(plan.datum.top),
        failed=tuple(_check_words(check) for check in failed),
        passed=tuple(_check_words(check) for check in plan.go if check.passed),
        times=tuple((name, at(when)) for name, when in _times(plan)),
        light=(*_polar(plan.sky), *light, ("moon lit", f"{plan.sky.lit:.0%}")),
        tide=tuple(f"{'high' if turn.high else 'low'} {at(turn.time)} {show_depth(turn.height_m, unit, places=1)}" for turn in turns),
        nets=tuple(_net(net, plan, unit) for net in plan.nets),
        home=_way(plan.ways[-1], plan),
        haul=_through_night(plan, lambda one: (one.pull_time, _haul(one, plan))),
        let_go=_through_night(plan, lambda one: (one.set_time, _toward(one, plan) if _drifts(one) else "")),
        head_home=_head_home(plan),
        rounds=plan.totals.rounds,
        in_all=_in_all(plan),
        again=tuple(_way(way, plan) for way in plan.again) if plan.totals.rounds > 1 else (),
        reserves=tuple(
            f"{degrees_minutes(site.lat, lat=True)} {degrees_minutes(site.lon, lat=False)}, {show_depth(site.depth_m, unit)}: "
            + _reserve_rope(site, plan, unit)
            for site in plan.reserves
        ),
        warnings=tuple(plain(words) for words in plan.warnings),
        assumptions=tuple(plain(words) for words in plan.assumptions),
        rules=_rules(asked.rules),
        tallies=_tallies(plan),
        hauling=HAULING.format(side=asked.boat.haul_side),
    )  # fmt: skip


def _times(plan: Plan) -> list[tuple[str, float]]:
    """The hours of the night in their order; each trip with the latest moment to leave its last net and when to be back.

    Beside the first net there is but one hour: leaving and setting in one minute would read as a slip.
    """
    schedule, at = plan.schedule, _hours(plan)
    out = [("leave", schedule.depart), ("first set", plan.first_set)]
    if at(schedule.depart) == at(plan.first_set):
        out = [("leave, first set", schedule.depart)]
    for k, (trip, (turn, own)) in enumerate(zip(schedule.trips, plan.turn_back, strict=True)):
        if k:
            out.append(("leave again", trip.depart))
        if k == len(schedule.trips) - 1:
            out.append(("last pull", schedule.last_pull))
        out += [("turn back, your limit" if own else "head home by", turn), ("back by", trip.back_by)]
    return out


def _through_night(plan: Plan, of: Callable[[Round], tuple[float, str]]) -> tuple[str, ...]:
    """What is said of a moment of each round, in the order of the night and anew only where it changes.

    Streams and wind are the same all over, so what they ask for depends on the hour alone.
    """
    at, before = _hours(plan), ""
    out: list[str] = []
    for when, words in sorted(of(one) for net in plan.nets for one in net.rounds):
        if words and words != before:
            out.append(f"from {at(when)} {words}" if out else words)
        before = words or before
    return tuple(out)


def _drifts(one: Round) -> bool:
    return one.stream is not None and one.drift_m >= 1


def _toward(one: Round, plan: Plan) -> str:
    """The way up-stream, on the compass."""
    true = (one.stream.to_deg + 180) % 360 if one.stream is not None else 0.0
    return f"{true:03.0f}° true, {plan.magnet.of(true):03.0f}° M"


def _polar(sky: Sky) -> tuple[tuple[str, str], ...]:
    """Where the sun neither rises nor sets, that is what there is to tell of it."""
    return () if sky.sun_up is None else (("sun", "stays up" if sky.sun_up else "stays down"),)


def _in_all(plan: Plan) -> str:
    """Way, time under way and fuel of the whole night."""
    totals = plan.totals
    fuel = "" if totals.fuel_l is None else f", {totals.fuel_l:.1f} l"
    return f"{totals.way_m / NMI:.1f} nmi, {totals.under_way_s / 60:.0f} min under way{fuel}"


def _head_home(plan: Plan) -> str:
    """By when each net is left for home at the latest, those of one hour together."""
    at = _hours(plan)
    by: dict[str, list[str]] = {}
    for net in plan.nets:
        by.setdefault(" and ".join(at(when) for when in net.leave_by), []).append(str(net.number))
    return "; ".join(f"{when} from net{'s' if len(nets) > 1 else ''} {', '.join(nets)}" for when, nets in by.items())  # fmt: skip


def _hours(plan: Plan) -> Callable[[float], str]:
    """Clock times; those after a change of the clocks carry a star, since one of their hours comes twice."""
    zone = plan.asked.zone
    first = clock(plan.schedule.depart, zone)[17:]

    def at(when: float) -> str:
        hour = clock(when, zone)
        return hour[11:16] + ("" if hour[17:] == first else "*")

    return at


def _title(plan: Plan) -> str:
    zone = plan.asked.zone
    first, last = (clock(when, zone)[17:] for when in (plan.schedule.depart, plan.schedule.back))
    turned = f", times with * {last}" if first != last else ""
    return f"Night of {plan.asked.date}, {first}{turned} ({zone})"


def _kinds(plan: Plan) -> dict[str, Net]:
    """One net of each kind aboard, by what it is called: its name where the gear book has one, else its rope.

    Nets of one name on different ropes differ by those; nets that a number alone was given are called by the rope.
    """
    kinds: dict[str, Net] = {}
    for net in plan.asked.nets:
        called = "" if net.name.isdigit() else plain(net.name)
        called = called or f"{stated(net.rope_m, plan.asked.unit)} rope"
        if called in kinds and not _alike(net, kinds[called]):
            unit = plan.asked.unit
            called = (
                f"{called} ({stated(net.rope_m, unit)} rope, marks {stated(net.marks_m, unit)}, {net.line})"
            )
        kinds.setdefault(called, net)
    return kinds


def _alike(a: Net, b: Net) -> bool:
    return (a.rope_m, a.marks_m, a.line) == (b.rope_m, b.marks_m, b.line)


def _called(net: Net, plan: Plan) -> str:
    """What tells a net from the others aboard; empty where all are alike."""
    kinds = _kinds(plan)
    if len(kinds) < 2:
        return ""
    named = [called for called, other in kinds.items() if _alike(net, other)]
    return next((called for called in named if called.startswith(plain(net.name))), named[0])


def _gear(net: Net, plan: Plan, unit: str) -> str:
    """Which net goes there, with its rope; empty where all are alike."""
    called = _called(net, plan)
    marks = f", marks {show_depth(net.marks_m, unit, places=1)}" if net.marks_m else ""
    return f"{called}: rope {show_depth(net.rope_m, unit, places=1)}{marks}, {net.line}" if called else ""


def _reserve_rope(site: Site, plan: Plan, unit: str) -> str:
    """Rope to let out at a reserve: a net that is moved there with its old marks may lose its float."""
    needed = rope_needed(site.depth_m, plan.water.high_m, plan.water.add)
    kinds, ropes = _kinds(plan), []
    for name, net in kinds.items():
        rope = rope_out(needed, net)
        words = "does not reach" if rope is None else _rope(rope, net, unit)
        ropes.append(f"{name} {words.split(' (')[0]}" if len(kinds) > 1 else words)
    return ", ".join(ropes)


def _check_words(check: Check) -> str:
    return f"{check.name}: {plain(check.words)}"


def _net(net: PlannedNet, plan: Plan, unit: str) -> SheetNet:
    site, at = net.site, _hours(plan)
    rounds = tuple(
        SheetRound(
            set_at=at(one.set_time),
            pull_at=at(one.pull_time),
            rope=_rope(one.rope_m, net.net, unit, of=_called(net.net, plan)),
            rope_brief=_rope(one.rope_m, net.net, unit, of=_called(net.net, plan)).split(" (")[0],
            sounder=show_depth(one.sounder_m, unit),
            haul=_haul(one, plan),
            release=_release(one, plan, unit),
            let_go=one.drift_m / UNIT_METRES[far_unit(unit)] if _drifts(one) else 0.0,
        )
        for one in net.rounds
    )
    return SheetNet(
        number=net.number,
        place=f"{degrees_minutes(site.lat, lat=True)}  {degrees_minutes(site.lon, lat=False)}",
        title=plain(site.name or site.kind or site.id),
        depth=show_depth(site.depth_m, unit),
        gear=_gear(net.net, plan, unit),
        way=_way(plan.ways[net.number - 1], plan),
        look_again=show_depth(net.look_again_m, unit, places=1),
        light=plain(net.net.light),
        rounds=rounds,
        stay=tuple(_check_words(check) for check in net.checks if not check.passed),
        notes=(
            *([f"mind: {'; '.join(plain(flag_words(f)) for f in site.flags)}"] if site.flags else []),
            *([f"note: {plain(site.note)}"] if site.note else []),
        ),
        far_unit=far_unit(unit),
    )


def _rope(rope_m: float, net: Net, unit: str, of: str = "") -> str:
    """Rope to let out: in marks where there are some, and of which net where they differ."""
    length = show_depth(rope_m, unit, places=1)
    if not net.marks_m:
        return f"{length} of {of}" if of else length
    return f"{round(rope_m / net.marks_m)} marks{f' of {of}' if of else ''} ({length})"


def _haul(one: Round, plan: Plan) -> str:
    if one.head.true_deg is None:
        return ""
    true = one.head.true_deg
    return f"head {true:03.0f}° true, {plan.magnet.of(true):03.0f}° M, into the {one.head.into}"


def _release(one: Round, plan: Plan, unit: str) -> str:
    """How far up-stream of the site and on which bearing a net is let go."""
    if not _drifts(one):
        return ""
    return (
        f"let go {show_depth(one.drift_m, far_unit(unit), places=0)} up-stream, toward {_toward(one, plan)}"
    )


def _way(way: Way, plan: Plan) -> str:
    turns = len(way.places) - 2
    bend = f", {turns} turn{'s' if turns > 1 else ''}" if turns > 0 else ""
    magnetic = plan.magnet.of(way.true_deg)
    return f"{way.true_deg:03.0f}° true, {magnetic:03.0f}° M, {way.length_m / NMI:.2f} nmi, {max(1, round(way.seconds / 60))} min{bend}"


def _rules(rules: Rules | None) -> tuple[str, ...]:
    """What the person copied from the local rules, in words."""
    if rules is None:
        return ()
    rows = [
        ("least size", None if rules.minimum_size_m is None else f"{rules.minimum_size_m * 1000:.3g} mm"),
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
