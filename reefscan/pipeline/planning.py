"""A night planned from a run: its candidates as sites, its grids as ground, what floats keep off as a hard limit."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd

from reefscan.base.columns import number_of, text_of
from reefscan.base.datum import datum_of
from reefscan.base.errors import InputError
from reefscan.base.model import GridSource
from reefscan.base.units import NMI, three_figures
from reefscan.io.georef import transformer
from reefscan.pipeline.offground import box_around, off_grounds
from reefscan.pipeline.shoalest import deepest_at, ground_of
from reefscan.plan.amounts import said, stated
from reefscan.plan.field import NO_SITE
from reefscan.plan.legs import Ground
from reefscan.plan.model import Asked, Known, Plan
from reefscan.plan.night import make_plan
from reefscan.plan.sites import Site
from reefscan.plan.spacing import GEOD
from reefscan.plan.tide import NightTide
from reefscan.score.ranking import best_first
from reefscan.score.scoring import Scored
from reefscan.surroundings.known import Surroundings, closed_words
from reefscan.surroundings.shapes import Shapes, no_shapes

DIFFERS_M = 0.5
"""From this difference on a pick's depth is said to be another than the grid's: as near as a sounder is asked to read."""

RANGE_M = 10_000.0
"""How far from the launch sites are looked for: an hour at 5 knots (a guess)."""


@dataclass(frozen=True)
class Reach:
    """Where sites are looked for.

    Attributes
    ----------
    range_m : float
        Sites farther from the launch are left out: a whole coast as one ground would have cells too large for a boat.
    fairways : bool
        Sites in fairways are allowed.
    avoid : Shapes or None
        Ground that floats keep off besides, in the frame of `reefscan.pipeline.offground.box_around`.
    unlisted : mapping of str to str
        Places that the run knows and the table of sites does not hold, and why.
    """

    range_m: float = RANGE_M
    fairways: bool = False
    avoid: Shapes | None = None
    unlisted: Mapping[str, str] = field(default_factory=dict)


def all_sites(table: pd.DataFrame, scored: Scored) -> pd.DataFrame:
    """Every candidate that could be listed, best first, with ``score`` and ``confidence``: finer spaced than the list."""
    order = best_first(scored, table)
    order = order[scored.listed[order] & (scored.points[order] > 0)]
    return table.iloc[order].assign(score=scored.score[order], confidence=scored.confidence[order])


def not_listed(names: Sequence[str], table: pd.DataFrame, scored: Scored, unit: str) -> dict[str, str]:
    """Why candidates that a run holds are no sites of it: told when they are asked for by name.

    Parameters
    ----------
    names : sequence of str
        Ids that are asked for; those that are listed, and those that the run does not hold, are passed over.
    """
    at = {str(name): k for k, name in enumerate(table["id"])} if len(table) else {}
    out = {}
    for name in names:
        row = at.get(name, -1)
        if row < 0 or (scored.listed[row] and scored.points[row] > 0):
            continue
        nothing = [term for term, worth in scored.memberships.items() if worth[row] == 0]
        if "depth" in nothing:
            deep = said(float(table["depth_m"].iloc[row]), unit)
            out[name] = (
                f"the run found it at {deep}, outside the depths that it lists; rescore it with a wider --depth"
            )
        else:
            why = (
                f"it is worth nothing by {', '.join(nothing)}" if nothing else "it is doubted to be structure"
            )
            out[name] = f"the run found it and does not list it, since {why}; rescore with another recipe"
    return out


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
    reach: Reach,
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

    Returns
    -------
    Plan, Ground
        The ground is what the legs were laid over.
    """
    range_m = reach.range_m
    every, resounded = _sounded([_site(row) for row in table.to_dict("records")], sources, asked.unit)
    near = [site for site in every if _far_m(asked, site.lon, site.lat) <= range_m]
    named = {*asked.wishes.keep, *asked.wishes.drop}  # one of these that is too far is refused by name
    sites = tuple(near) + tuple(site for site in every if site.id in named and site not in near)
    if not every:
        raise InputError(NO_SITE)  # before the launch is looked for on a ground that has nothing else
    far = _beyond(len(every), len(every) - len(near), range_m, asked.unit, any_left=bool(sites))
    lon = np.array([asked.launch[0], *(site.lon for site in near)])
    lat = np.array([asked.launch[1], *(site.lat for site in near)])
    ground = ground_of(sources, lon, lat)
    lon, lat = (np.array([getattr(site, name) for site in sites]) for name in ("lon", "lat"))
    off = off_grounds(
        lon, lat, around, reach.avoid or no_shapes(), box_around(around, sources),
        fairways=reach.fairways, stand_off_m=asked.wishes.stand_off_m,
    )  # fmt: skip
    to_grid, back = transformer("EPSG:4326", ground.crs), transformer(ground.crs, "EPSG:4326")
    known = Known(
        sites=tuple(
            replace(site, off=grounds, barred=_barred(site, asked, around, range_m))
            for site, grounds in zip(sites, off, strict=True)
        ),
        closed_words=closed_words(info),
        datum=datum_of(info),
        to_grid=_pairs(to_grid),
        to_lonlat=_pairs(back, 7),
        notes=resounded + _notes(asked, info) + far,
        taken=(f"Sites are looked for within {_far(range_m, asked.unit)} of the launch (--range).",),
        unlisted=reach.unlisted,
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
        value = number_of(row, name)
        return value if math.isfinite(value) else other

    flags = row.get("flags")
    return Site(
        id=str(row["id"]), lon=float(row["lon"]), lat=float(row["lat"]), depth_m=number("depth_m"),
        sigma_m=number("uncertainty_m"), score=number("score"), confidence=number("confidence"), feature=text_of(row, "feature_id"),
        name=text_of(row, "name"), kind=text_of(row, "kind"), note=text_of(row, "note"), why=text_of(row, "why"),
        steep=math.tan(math.radians(min(number("slope_deg", 0.0), 80.0))), position_m=number("position_m", 0.0),
        flags=tuple(str(flag) for flag in flags) if isinstance(flags, (list, tuple)) else (),
    )  # fmt: skip


def _beyond(every: int, far: int, range_m: float, unit: str, *, any_left: bool) -> tuple[str, ...]:
    """How many sites are too far from the launch to be looked at; refused where none is left."""
    if not far:
        return ()
    words = (
        f"{far} site{'s lie' if far > 1 else ' lies'} beyond --range, {_far(range_m, unit)} from the launch"
    )
    if not any_left:
        raise InputError(f"{words}, of {every} in all; check --launch LAT,LON")
    return (words,)


def _sounded(
    sites: list[Site], sources: Sequence[GridSource], unit: str
) -> tuple[list[Site], tuple[str, ...]]:
    """Sites, those that the run did not find itself at the depth of its grid: a picks file may carry another grid's, or a typed one."""
    out, told = [], []
    for site in sites:
        if math.isfinite(site.score):
            out.append(site)
            continue
        depth = deepest_at(sources, site.lon, site.lat)
        if math.isfinite(site.depth_m) and abs(depth - site.depth_m) > DIFFERS_M:
            told.append(
                f"pick {site.name or site.id}: its file says {said(site.depth_m, unit)} and the grid {said(depth, unit)}; the grid's is taken"
            )
        out.append(replace(site, depth_m=depth))
    return out, tuple(told)


def _barred(site: Site, asked: Asked, around: Surroundings | None, range_m: float) -> str:
    """Why no net may go to a place whatever lies beside it."""
    far = _far_m(asked, site.lon, site.lat)
    if far > range_m:
        return f"beyond --range: {_far(far, asked.unit)} from the launch"
    beyond = "" if around is None else around.why_unknown(site.lon, site.lat)
    return f"it {beyond}" if beyond else ""


def _far(metres: float, unit: str) -> str:
    """A way over the sea: kilometres to whoever speaks of metres, else nautical miles."""
    return f"{three_figures(metres / 1000)} km" if unit == "m" else f"{three_figures(metres / NMI)} nmi"


def _notes(asked: Asked, info: Mapping[str, Any]) -> tuple[str, ...]:
    """What of the run does not fit the night."""
    out = []
    shift = info.get("datum_shift_m")
    if isinstance(shift, (int, float)) and shift:
        out.append(
            f"the run added {'+' if shift > 0 else ''}{stated(shift, asked.unit)} to every height (--datum-shift): the grid's zero that the tide table is compared with is the moved one"
        )
    around = info.get("around")
    day = around.get("date") if isinstance(around, Mapping) else None
    if isinstance(day, str) and day != asked.date.isoformat():
        out.append(
            f"closed ground was judged for {day} when this run was scanned, not for {asked.date}; scan again with --date {asked.date}"
        )
    return tuple(out)
