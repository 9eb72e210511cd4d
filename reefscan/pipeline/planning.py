"""A night planned from a run: its candidates as sites, its grids as ground, its closed ground as a hard limit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from reefscan.base.datum import datum_of
from reefscan.base.errors import InputError
from reefscan.base.model import GridSource
from reefscan.io.georef import transformer
from reefscan.pipeline.shoalest import deepest_at, ground_of
from reefscan.plan.legs import Ground
from reefscan.plan.model import Asked, Known, Plan
from reefscan.plan.night import make_plan
from reefscan.plan.sites import Site
from reefscan.plan.spacing import GEOD
from reefscan.plan.tide import NightTide
from reefscan.score.ranking import best_first
from reefscan.score.scoring import Scored
from reefscan.surroundings.closed import first_inside
from reefscan.surroundings.known import Surroundings, closed_words

DIFFERS_M = 0.5
"""From this difference on a pick's depth is said to be another than the grid's: as near as a sounder is asked to read."""

RANGE_M = 10_000.0
"""How far from the launch sites are looked for: an hour at 5 knots (a guess)."""


def all_sites(table: pd.DataFrame, scored: Scored) -> pd.DataFrame:
    """Every candidate that could be listed, best first, with ``score`` and ``confidence``: finer spaced than the list."""
    order = best_first(scored, table)
    order = order[scored.listed[order] & (scored.points[order] > 0)]
    return table.iloc[order].assign(score=scored.score[order], confidence=scored.confidence[order])


def with_scores(picked: pd.DataFrame, table: pd.DataFrame, scored: Scored) -> pd.DataFrame:
    """Picked sites with the scores that the run gives them; NaN for those it does not know."""
    at = {str(name): k for k, name in enumerate(table["id"])} if len(table) else {}
    rows = [at.get(str(name), -1) for name in picked["id"]]

    def column(values: Any) -> list[float]:
        return [float(values[k]) if k >= 0 else math.nan for k in rows]

    return picked.assign(score=column(scored.score), confidence=column(scored.confidence))


def plan_run(
    asked: Asked,
    table: pd.DataFrame,
    sources: Sequence[GridSource],
    around: Surroundings | None,
    info: Mapping[str, Any],
    tide: NightTide,
    *,
    fairways: bool = False,
    range_m: float = RANGE_M,
) -> tuple[Plan, Ground]:
    """Plan a night from a run's sites.

    Parameters
    ----------
    table : DataFrame
        Sites, best first, as `all_sites` or `with_scores` gives them.
    around : Surroundings or None
        What the run knows from outside its grid.
    info : mapping
        Its ``run.json``.
    fairways : bool
        Sites in fairways are allowed.
    range_m : float
        Sites farther from the launch are left out: a whole coast as one ground would have cells too large for a boat.

    Returns
    -------
    Plan, Ground
        The ground is what the legs were laid over.
    """
    every, resounded = _sounded([_site(row) for row in table.to_dict("records")], sources)
    near = [site for site in every if _far_m(asked, site.lon, site.lat) <= range_m]
    named = {*asked.wishes.keep, *asked.wishes.drop}  # one of these that is too far is refused by name
    sites = tuple(near) + tuple(site for site in every if site.id in named and site not in near)
    lon = np.array([asked.launch[0], *(site.lon for site in near)])
    lat = np.array([asked.launch[1], *(site.lat for site in near)])
    ground = ground_of(sources, lon, lat)
    closed = _closed(around, fairways)

    def against(lon: float, lat: float) -> str:
        far = _far_m(asked, lon, lat)
        return closed(lon, lat) if far <= range_m else f"beyond --range: {far / 1000:.1f} km from the launch"

    to_grid, back = transformer("EPSG:4326", ground.crs), transformer(ground.crs, "EPSG:4326")
    known = Known(
        sites=sites,
        closed=against,
        closed_words=closed_words(info),
        datum=datum_of(info),
        to_grid=_pairs(to_grid),
        to_lonlat=_pairs(back, 7),
        notes=resounded
        + _notes(asked, info)
        + _beyond(len(every), len(every) - len(near), range_m, any_left=bool(sites)),
    )
    return make_plan(asked, known, ground, tide), ground


def _far_m(asked: Asked, lon: float, lat: float) -> float:
    return float(GEOD.inv(*asked.launch, lon, lat)[2])


def _pairs(way: Any, digits: int | None = None) -> Callable[[float, float], tuple[float, float]]:
    def one(a: float, b: float) -> tuple[float, float]:
        x, y = way.transform(a, b)
        return (float(x), float(y)) if digits is None else (round(float(x), digits), round(float(y), digits))

    return one


def _site(row: Mapping[Any, Any]) -> Site:
    def number(name: str, other: float = math.nan) -> float:
        value = row.get(name)
        return float(value) if isinstance(value, (int, float)) and math.isfinite(value) else other

    def text(name: str) -> str:
        value = row.get(name)
        return value if isinstance(value, str) else ""

    flags = row.get("flags")
    return Site(
        id=str(row["id"]), lon=float(row["lon"]), lat=float(row["lat"]), depth_m=number("depth_m"),
        sigma_m=number("uncertainty_m"), score=number("score"), confidence=number("confidence"), feature=text("feature_id"),
        name=text("name"), kind=text("kind"), note=text("note"), why=text("why"), hard_m=number("hard_m"),
        steep=math.tan(math.radians(min(number("slope_deg", 0.0), 80.0))), position_m=number("position_m", 0.0),
        flags=tuple(str(flag) for flag in flags) if isinstance(flags, (list, tuple)) else (),
    )  # fmt: skip


def _beyond(every: int, far: int, range_m: float, *, any_left: bool) -> tuple[str, ...]:
    """How many sites are too far from the launch to be looked at; refused where none is left."""
    if not far:
        return ()
    said = (
        f"{far} site{'s lie' if far > 1 else ' lies'} beyond --range, {range_m / 1000:g} km from the launch"
    )
    if not any_left:
        raise InputError(f"{said}, of {every} in all; check --launch LAT,LON")
    return (said,)


def _sounded(sites: list[Site], sources: Sequence[GridSource]) -> tuple[list[Site], tuple[str, ...]]:
    """Sites, those that the run did not find itself at the depth of its grid: a picks file may carry another grid's, or a typed one."""
    out, said = [], []
    for site in sites:
        if math.isfinite(site.score):
            out.append(site)
            continue
        depth = deepest_at(sources, site.lon, site.lat)
        if math.isfinite(site.depth_m) and abs(depth - site.depth_m) > DIFFERS_M:
            said.append(
                f"pick {site.name or site.id}: its file says {site.depth_m:.1f} m and the grid {depth:.1f} m; the grid's is taken"
            )
        out.append(replace(site, depth_m=depth))
    return out, tuple(said)


def _closed(around: Surroundings | None, fairways: bool) -> Callable[[float, float], str]:
    """Why no net may go to a place: closed ground and fairways, as far as the run knows them."""

    def why(lon: float, lat: float) -> str:
        if around is None:
            return ""
        found = around.why_closed(lon, lat)
        if found or fairways:
            return f"it {found}" if found else ""
        shapes = around.of("caution")
        row = int(first_inside(shapes, np.array([lon]), np.array([lat]), around.box)[0])
        if row >= 0 and "fairway" in f"{shapes.kind[row]} {shapes.name[row]}".lower():
            return f"it lies in a fairway ({shapes.called(row)}); --allow-fairways takes it all the same"
        return ""

    return why


def _notes(asked: Asked, info: Mapping[str, Any]) -> tuple[str, ...]:
    """What of the run does not fit the night."""
    out = []
    shift = info.get("datum_shift_m")
    if isinstance(shift, (int, float)) and shift:
        out.append(
            f"the run added {shift:+g} m to every height (--datum-shift): the grid's zero that the tide table is compared with is the moved one"
        )
    around = info.get("around")
    day = around.get("date") if isinstance(around, Mapping) else None
    if isinstance(day, str) and day != asked.date.isoformat():
        out.append(
            f"closed ground was judged for {day} when this run was scanned, not for {asked.date}; scan again with --date {asked.date}"
        )
    return tuple(out)
