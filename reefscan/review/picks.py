"""What the person decided: sites kept, dropped, renamed, noted, or added by hand (``picks.json``).

A pick carries its own position, so it outlives the run it was made on; sites are matched by id, and a pick
of another run is said to be one and never dropped in silence.
"""

from __future__ import annotations

import json
import math
from collections.abc import Container, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from reefscan.base.errors import InputError
from reefscan.base.units import shown
from reefscan.surroundings.known import Surroundings

SCHEMA = "reefscan-picks/1"
STATES = ("keep", "drop", "")
MOST_TEXT = 2000


@dataclass(frozen=True)
class Pick:
    """One decision. ``added`` marks a site set by hand, which no run knows."""

    id: str
    state: str
    name: str
    note: str
    lon: float
    lat: float
    depth_m: float | None
    kind: str
    added: bool


@dataclass(frozen=True)
class Picks:
    """All decisions of one file, by site id, in the file's order."""

    run: str
    by_id: Mapping[str, Pick] = field(default_factory=dict)


def load_picks(text: str, *, name: str = "picks.json") -> Picks:
    """Read a picks file, hand-edited or not.

    Parameters
    ----------
    text : str
    name : str
        What to call it in a message.

    Raises
    ------
    InputError
        One line: which pick, what was found, what is wanted.
    """
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise InputError(f"{name}: not valid JSON ({error}); save the picks again from the page") from None
    if not isinstance(data, dict) or data.get("schema") != SCHEMA:
        found = data.get("schema") if isinstance(data, dict) else type(data).__name__
        raise InputError(f"{name}: schema is {found!r}; wanted {SCHEMA!r}: is this a picks file?")
    rows = data.get("picks")
    if not isinstance(rows, list):
        raise InputError(f"{name}: 'picks' is {type(rows).__name__}; wanted a list of picks")
    by_id: dict[str, Pick] = {}
    for number, row in enumerate(rows, 1):
        pick = _pick(row, f"{name}: pick {number}")
        if pick.id in by_id:
            raise InputError(f"{name}: pick {number}: id {pick.id!r} is there twice; keep one of them")
        by_id[pick.id] = pick
    return Picks(str(data.get("run", "")), by_id)


def _pick(row: Any, where: str) -> Pick:
    """Check one row."""
    if not isinstance(row, dict):
        raise InputError(f"{where}: is {type(row).__name__}; wanted an object with id, state, lon, lat")

    def text(key: str, *, default: str | None = "") -> str:
        value = row.get(key, default)
        if not isinstance(value, str):
            raise InputError(f"{where}: {key} is {value!r}; wanted text")
        return value[:MOST_TEXT]

    def number(key: str, low: float, high: float) -> float:
        value = row.get(key)
        if isinstance(value, bool) or not isinstance(value, (int, float)) or value != value:
            raise InputError(f"{where}: {key} is {shown(value)}; wanted a number from {low:g} to {high:g}")
        if not low <= value <= high:
            raise InputError(f"{where}: {key} is {shown(value)}; wanted {low:g} to {high:g}")
        return float(value)

    state = text("state")
    if state not in STATES:
        raise InputError(f"{where}: state is {state!r}; wanted keep, drop or empty")
    identity = text("id", default=None)
    if not identity:
        raise InputError(f"{where}: id is empty; wanted the site's id")
    added = row.get("added", False)
    if not isinstance(added, bool):
        raise InputError(f"{where}: added is {added!r}; wanted true or false")
    depth = None if row.get("depth_m") is None else number("depth_m", -1000, 12000)
    return Pick(
        identity,
        state,
        text("name"),
        text("note"),
        number("lon", -180, 360),
        number("lat", -90, 90),
        depth,
        text("kind"),
        added,
    )


def _without_closed(
    picks: Picks, around: Surroundings | None, ids: Container[str]
) -> tuple[Picks, list[str]]:
    """Leave out picks of places that the run's own candidates are not, where the ground is closed."""
    if around is None:
        return picks, []
    said, kept = [], {}
    for key, pick in picks.by_id.items():
        why = "" if pick.id in ids else around.why_closed(pick.lon, pick.lat)
        if why:
            said.append(f"pick {shown(pick.name or pick.id)} {why} and is left out")
        else:
            kept[key] = pick
    return Picks(picks.run, kept), said


def apply_picks(
    listed: pd.DataFrame, every: pd.DataFrame, picks: Picks, around: Surroundings | None = None
) -> tuple[pd.DataFrame, list[str]]:
    """Turn a ranked list and picks into what goes along, and say what did not match.

    Parameters
    ----------
    listed : DataFrame
        Ranked sites.
    every : DataFrame
        All candidates of the run, so that a kept site outside the list is found.
    picks : Picks
    around : Surroundings, optional
        What the run knows from outside its grid: a pick in closed ground is left out, by name.

    Returns
    -------
    DataFrame
        If any site is kept or added, those alone (kept first, in rank order); else the list without the
        dropped. Columns ``name`` and ``note`` are added.
    list of str
        Sentences for the person.
    """
    known = {} if "id" not in every else {str(i): n for n, i in enumerate(every["id"])}
    wanted = any(p.state == "keep" or p.added for p in picks.by_id.values())
    picks, said = _without_closed(picks, around, set(known))
    foreign = [p for p in picks.by_id.values() if not p.added and p.id not in known]
    kept = {p.id for p in picks.by_id.values() if p.state == "keep" and not p.added}
    added = [p for p in picks.by_id.values() if p.added and p.state != "drop"]
    dropped = {p.id for p in picks.by_id.values() if p.state == "drop"}
    ids = listed["id"].astype(str) if len(listed) else pd.Series([], dtype=str)
    if kept or added or (wanted and said):  # of which none may be left
        out = listed[ids.isin(kept).to_numpy()]
        missing = [known[i] for i in kept & set(known) if i not in set(ids)]
        out = (
            pd.concat([out, every.iloc[sorted(missing)]], ignore_index=True)
            if missing
            else out.reset_index(drop=True)
        )
        loose = [p for p in foreign if p.state == "keep"] + added
        rows = [
            {
                "id": p.id,
                "kind": p.kind or "by hand",
                "lon": p.lon,
                "lat": p.lat,
                "depth_m": math.nan if p.depth_m is None else p.depth_m,
            }
            for p in loose
        ]
        if rows:
            out = pd.concat([out, pd.DataFrame(rows)], ignore_index=True) if len(out) else pd.DataFrame(rows)
    else:
        out = listed[~ids.isin(dropped).to_numpy()].reset_index(drop=True)
    if foreign:
        many = len(foreign)
        said.append(
            f"{many} pick{'s are' if many > 1 else ' is'} of a site this run does not have"
            + (
                " (picked on another run?); kept ones go along with the position in the picks file"
                if kept
                else ""
            )
        )
    by_id = picks.by_id
    out = out.assign(
        name=[by_id[i].name if i in by_id else "" for i in out["id"].astype(str)] if len(out) else [],
        note=[by_id[i].note if i in by_id else "" for i in out["id"].astype(str)] if len(out) else [],
    )
    return out, said
