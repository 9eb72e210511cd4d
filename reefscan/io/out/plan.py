"""A night's plan as files that programs read: ``plan.json``, ``plan.geojson``, ``waypoints.gpx``.

Moments are ISO 8601 with the offset of their own side of a change of clocks. Equal plans are equal bytes.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from typing import Any
from xml.sax.saxutils import escape

from reefscan.base.caution import CAUTION
from reefscan.base.units import NMI
from reefscan.io.out.siteforms import Headed, gpx_bytes
from reefscan.io.out.waypoints import Waypoint, shown, tidy
from reefscan.plan.amounts import said
from reefscan.plan.atsite import turned
from reefscan.plan.clock import Trip
from reefscan.plan.go import Check, exit_words
from reefscan.plan.model import Plan, PlannedNet, Round, Way
from reefscan.plan.sites import Site
from reefscan.plan.tide import iso

SCHEMA = "reefscan-plan"
SCHEMA_VERSION = 2
"""Raised where a program that reads the last version would be misled or find nothing: a field that goes or means something else.
A field more raises nothing. 2: ``times.ashore`` became ``times.trips``, ``soak_achieved_min`` counts the boat's waiting,
``deepest_m`` names the rope in metres."""

PLACES_VERSION = 1


def plan_json(plan: Plan, *, run: str) -> str:
    """The whole plan; fits ``plan.schema.json``.

    Parameters
    ----------
    run : str
        Name of the run.
    """
    zone = plan.asked.zone

    def when(moment: float) -> str:
        return iso(moment, zone)

    document = {
        "schema": SCHEMA,
        "schema_version": SCHEMA_VERSION,
        "caution": CAUTION,
        "closed": plan.closed_words,
        "datum": plan.datum.top,
        "run": run,
        "date": plan.asked.date.isoformat(),
        "zone": str(zone),
        "go": _checks(plan.go) | {"words": exit_words(plan.go)},
        "times": {
            "depart": when(plan.schedule.depart),
            "first_set": when(plan.first_set),
            "last_pull": when(plan.schedule.last_pull),
            "back": when(plan.schedule.back),
            "back_by": when(plan.schedule.back_by),
            "trips": [
                _trip(trip, turn, plan)
                for trip, (turn, _) in zip(plan.schedule.trips, plan.turn_back, strict=True)
            ],
        },
        "nets": [_net(net, plan) for net in plan.nets],
        "nets_left_out": [{"net": left.id, "reason": left.reason} for left in plan.nets_left_out],
        "sites_left_out": [{"id": left.id, "reason": left.reason} for left in plan.sites_left_out],
        "reserves": [_place(site) for site in plan.reserves],
        "route": [_way(way, plan) for way in plan.ways],
        "tide": _tide(plan),
        "sky": {
            "events": [{"name": event.name, "time": when(event.time)} for event in plan.sky.events],
            "moon_lit": round(plan.sky.lit, 2),
            "sun_stays": None if plan.sky.sun_up is None else ("up" if plan.sky.sun_up else "down"),
        },
        "totals": _totals(plan),
        "warnings": list(plan.warnings),
        "assumptions": list(plan.assumptions),
    }
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _trip(trip: Trip, turn_back: float, plan: Plan) -> dict[str, Any]:
    moments = {"depart": trip.depart, "leave": trip.leave, "turn_back": turn_back, "back": trip.arrive, "back_by": trip.back_by}  # fmt: skip
    return {name: iso(when, plan.asked.zone) for name, when in moments.items()}


def _net(net: PlannedNet, plan: Plan) -> dict[str, Any]:
    site = net.site
    return {
        "net": net.number,
        **_place(site),
        "name": net.net.name,
        "rope_whole_m": net.net.rope_m,
        "marks_m": net.net.marks_m,
        "line": net.net.line,
        "light": shown(net.net.light),
        "circle_m": _metres(net.circle_m, 1),
        "look_again_m": _metres(net.look_again_m, 1),
        "leave_by": [iso(moment, plan.asked.zone) for moment in net.leave_by],
        "rounds": [_round(one, plan) for one in net.rounds],
        "go": _checks(net.checks),
        "warnings": list(net.warnings),
    }


def _round(one: Round, plan: Plan) -> dict[str, Any]:
    zone = plan.asked.zone
    head = one.head.true_deg
    return {
        "round": one.number,
        "set_time": iso(one.set_time, zone),
        "pull_time": iso(one.pull_time, zone),
        "tide_set_m": _metres(one.tide_set_m, 3),
        "tide_pull_m": _metres(one.tide_pull_m, 3),
        "tide_max_m": _metres(one.tide_max_m, 3),
        "tide_min_m": _metres(one.tide_min_m, 3),
        "rope_m": _metres(one.rope_m, 4),
        "rope_marks": one.rope_marks,
        "slack_max_m": _metres(one.slack_max_m, 2),
        "sounder_m": _metres(one.sounder_m, 2),
        "stream_to_deg": None if one.stream is None else turned(one.stream.to_deg),
        "stream_kn": None if one.stream is None else round(one.stream.speed_kn, 2),
        "drift_m": _metres(one.drift_m, 1),
        "release_lon": round(one.release[0], 7),
        "release_lat": round(one.release[1], 7),
        "haul_head_true_deg": turned(head),
        "haul_head_magnetic_deg": None if head is None else turned(plan.magnet.of(head)),
        "haul_into": one.head.into,
    }


def _place(site: Site) -> dict[str, Any]:
    return {
        "id": site.id,
        "lon": round(site.lon, 7),
        "lat": round(site.lat, 7),
        "depth_m": _metres(site.depth_m, 2),
        "score": _metres(site.score, 1),
        "confidence": _metres(site.confidence, 2),
        "kind": shown(site.kind),
        "feature": site.feature,
        "site_name": shown(site.name),
        "note": shown(site.note),
        "flags": [shown(flag) for flag in site.flags],
    }


def _way(way: Way, plan: Plan) -> dict[str, Any]:
    return {
        "from": way.start,
        "to": way.end,
        "length_m": _metres(way.length_m, 1),
        "minutes": round(way.seconds / 60, 1),
        "shoalest_m": _metres(way.shoalest_m, 2),
        "course_true_deg": turned(way.true_deg),
        "course_magnetic_deg": turned(plan.magnet.of(way.true_deg)),
        "points": [[round(lon, 7), round(lat, 7)] for lon, lat in way.places],
    }


def _tide(plan: Plan) -> dict[str, Any]:
    start, end = plan.schedule.depart, plan.schedule.back_by
    return {
        "table": plan.tide.name,
        "taken": list(plan.tide.taken),
        "datum_offset_m": _metres(plan.tide.offset_m, 3),
        "lowest_m": _metres(plan.water.low_m, 3),
        "highest_m": _metres(plan.water.high_m, 3),
        "turns": [
            {"time": iso(turn.time, plan.asked.zone), "height_m": _metres(turn.height_m, 3), "high": turn.high}
            for turn in plan.tide.turns(start, max(end, plan.schedule.last_pull + 2 * 3600))
        ],
    }  # fmt: skip


def _totals(plan: Plan) -> dict[str, Any]:
    totals = plan.totals
    return {
        "way_m": _metres(totals.way_m, 0),
        "way_nmi": round(totals.way_m / NMI, 2),
        "under_way_min": round(totals.under_way_s / 60, 1),
        "fuel_l": None if totals.fuel_l is None else round(totals.fuel_l, 1),
        "rounds": totals.rounds,
        "pulls": totals.pulls,
        "score": _metres(totals.score, 1),
        "gap": round(totals.gap, 6),
        "soak_asked_min": round(plan.asked.soak_s / 60, 1),
        "soak_round_min": round(totals.soak_round_s / 60, 1),
        "soak_achieved_min": round(totals.soak_achieved_s / 60, 1),
        "soak_longest_min": round(totals.soak_longest_s / 60, 1),
        "nets_that_keep_the_soak": totals.fitting_nets,
        "deepest_m": [
            {"rope_m": _metres(net.longest_m, 4), "depth_m": _metres(depth, 2)}
            for net, depth in plan.deepest_m
        ],
        "variation_east_deg": round(plan.magnet.east_deg, 1),
    }


def _checks(found: Iterable[Check]) -> dict[str, Any]:
    rows = [({"check": check.name, "words": check.words}, check.passed) for check in found]
    return {"failed": [row for row, passed in rows if not passed], "passed": [row for row, passed in rows if passed]}  # fmt: skip


def _metres(value: float, digits: int) -> float | None:
    return round(value, digits) + 0.0 if math.isfinite(value) else None


def plan_geojson(plan: Plan, *, route: bool) -> str:
    """Points in the order of the visits, the nets' watch circles in words; the way as lines only if asked for (RFC 7946)."""
    features = [
        _feature("Point", [p.lon, p.lat], {"name": p.name, "role": p.kind, "text": p.text, **p.fields})
        for p in plan_points(plan)
    ]
    if route:
        features += [
            _feature("LineString", [[round(a, 7), round(b, 7)] for a, b in way.places], {"name": f"{way.start} to {way.end}", "role": "way"})
            for way in plan.ways
            if len(set(way.places)) > 1
        ]  # fmt: skip
    document = {
        "type": "FeatureCollection",
        "schema": f"{SCHEMA}-places",
        "schema_version": PLACES_VERSION,
        "caution": f"{plan.closed_words} {plan.datum.top} {CAUTION}",
        "features": features,
    }
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"


def _feature(kind: str, coordinates: Any, properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "Feature",
        "geometry": {"type": kind, "coordinates": coordinates},
        "properties": properties,
    }


def plan_points(plan: Plan) -> list[Waypoint]:
    """Launch, then for each leg its corners and the net it leads to, the corners home; last those back to the first net, and reserves.

    An ordered list, so that whoever steers from point to point goes the way that was laid round land and shoals.
    """
    points = [Waypoint("launch", *plan.ways[0].places[0], text="where the ways begin", kind="launch")]
    for k, way in enumerate(plan.chain):
        points += _turns(way, f"turn {k}")
        if k < len(plan.nets):
            points.append(_point(plan.nets[k], plan.asked.unit))
    for way in plan.again:
        points += _turns(way, "next round")
    points += [
        Waypoint(
            f"reserve {k}",
            site.lon,
            site.lat,
            site.depth_m,
            kind="reserve",
            depth_words=said(site.depth_m, plan.asked.unit),
            fields={"id": site.id},
        )
        for k, site in enumerate(plan.reserves, 1)
    ]
    return tidy(points)


def _turns(way: Way, name: str) -> list[Waypoint]:
    """Corners of a way between its ends."""
    return [
        Waypoint(f"{name}-{n}", lon, lat, text=f"on the way from {way.start} to {way.end}", kind="turn")
        for n, (lon, lat) in enumerate(way.places[1:-1], 1)
    ]


def _point(net: PlannedNet, unit: str) -> Waypoint:
    ropes = ", ".join(dict.fromkeys(_rope_words(one, unit) for one in net.rounds))
    name = net.net.name
    of = (
        f" of {name}" if name and not name.isdigit() else ""
    )  # a number alone may be ours, and stands on no float
    text = f"{net.site.kind}; rope{of} {ropes}"
    return Waypoint(
        f"net {net.number}", net.site.lon, net.site.lat, net.site.depth_m, text=text, kind="net",
        depth_words=said(net.site.depth_m, unit),
        fields={"id": net.site.id, "circle_m": round(net.circle_m, 1)},
    )  # fmt: skip


def _rope_words(one: Round, unit: str) -> str:
    return said(one.rope_m, unit) + (f" ({one.rope_marks} marks)" if one.rope_marks is not None else "")


def plan_gpx(plan: Plan, *, route: bool) -> bytes:
    """GPX 1.1 waypoints in the order of the visits; a route only if asked for, since an autopilot will follow it."""
    points = plan_points(plan)
    head = Headed(f"Night of {plan.asked.date}", f"{plan.closed_words} {plan.datum.top}")
    text = gpx_bytes(points, head).decode()
    if route:
        lines = [f"<rte><name>{escape(head.title)}</name>"]
        lines += [
            f'<rtept lat="{lat:.7f}" lon="{lon:.7f}"><name>{escape(f"{way.start} to {way.end}")}</name></rtept>'
            for way in plan.chain
            for lon, lat in (way.places[:-1] if way is not plan.ways[-1] else way.places)
        ]
        text = text.replace("</gpx>", "\n".join([*lines, "</rte>", "</gpx>"]))
    return text.encode()
