"""All that a run knows from outside its grid, and the one sentence about closed ground that goes with everything."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
import shapely

from reefscan.surroundings.closed import first_inside
from reefscan.surroundings.shapes import Box, Floats, Geometries, Shapes, no_shapes

NONE_GIVEN = "Closed ground: none given. That nothing is marked closed here is not permission: ask who rules these waters."
"""Stands at the top of everything from a run that was made without any."""


@dataclass(frozen=True)
class Charted:
    """Depths of a chart, which the grid is compared with.

    Attributes
    ----------
    soundings : ndarray, shape (n, 3)
        Longitude, latitude and depth (m, positive down).
    areas : ndarray of object, shape (k,)
        Depth areas: polygons in degrees, in the frame of the run's box.
    depths_m : ndarray, shape (k, 2)
        Least and greatest depth of each area (m, positive down; infinite where the chart states none).
    """

    soundings: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    areas: Geometries = field(default_factory=lambda: np.zeros(0, dtype=object))
    depths_m: Floats = field(default_factory=lambda: np.zeros((0, 2)))

    @classmethod
    def joined(cls, parts: Sequence[Charted]) -> Charted:
        """Those of several charts as one."""
        if not parts:
            return cls()
        return cls(*(np.concatenate([getattr(part, key.name) for part in parts]) for key in fields(cls)))


@dataclass(frozen=True)
class Surroundings:
    """Shapes by role, near the grid.

    Attributes
    ----------
    box : Box
        The ground that the run knows about: its grid and a margin.
    by_role : mapping of str to Shapes
        As `reefscan.base.recipe.ROLES` names them; closed ground with its margin, and only what is closed on the day.
    given : mapping of str to tuple of str
        The files of each role.
    notes : tuple of str
        What the reader should know.
    unused : mapping of str to mapping of str to int
        Objects of charts that nothing is made of, by file and class.
    wind_deg : float
        Where the stated wind comes from, true degrees; NaN where none is stated.
    charted : Charted
        Depths that the grid is compared with.
    """

    box: Box
    by_role: Mapping[str, Shapes] = field(default_factory=dict)
    given: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    unused: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    wind_deg: float = math.nan
    charted: Charted = field(default_factory=Charted)

    def of(self, role: str) -> Shapes:
        """The shapes of a role; none where none were given."""
        return self.by_role.get(role, no_shapes())

    @property
    def knows_closed(self) -> bool:
        """True if any file of closed ground was given, near or not."""
        return bool(self.given.get("closed"))

    def why_closed(self, lon: float, lat: float) -> str:
        """Why no site may be set at a place; empty if nothing is known against it.

        With closed ground given, a place that the run knows nothing about is refused as well.
        """
        if beyond := self.why_unknown(lon, lat):
            return beyond
        row = int(first_inside(self.of("closed"), _one(lon), _one(lat), self.box)[0])
        return "" if row < 0 else f"lies in closed ground ({self.of('closed').called(row)})"

    def why_unknown(self, lon: float, lat: float) -> str:
        """That a place lies where this run does not know what is closed, if closed ground was given; else empty."""
        known = not self.knows_closed or bool(self.box.holds(lon, lat))
        return "" if known else "lies beyond the ground for which this run knows what is closed"

    def digest(self) -> str:
        """A hash of all shapes and what is said of them (32 hex digits): equal ones give equal lists."""
        out = hashlib.blake2b(digest_size=16)
        for role in sorted(self.by_role):
            shapes = self.by_role[role]
            facts = [role, dict(self.given), shapes.name, shapes.kind, shapes.file]
            out.update(repr(facts).encode("utf-8", "replace"))
            for wkb in shapely.to_wkb(shapes.shapes):
                out.update(wkb)
        return out.hexdigest()


def _one(value: float) -> Floats:
    return np.array([value], dtype=np.float64)


def closed_words(info: Mapping[str, Any]) -> str:
    """The sentence about closed ground that stands at the top of everything, from what ``run.json`` knows.

    Examples
    --------
    >>> closed_words({}) == NONE_GIVEN
    True
    >>> closed_words({"around": {"closed": {"files": ["a.gpkg"], "areas": 2, "removed": 3, "by": [{"name": "North", "candidates": 3}]}}})
    'Closed ground: from a.gpkg, 2 areas near; 3 candidates in it are left out (North 3). What no file marks closed is not permission.'
    """
    around = info.get("around")
    closed = around.get("closed") if isinstance(around, Mapping) else None
    if not isinstance(closed, Mapping) or not closed.get("files"):
        return NONE_GIVEN
    areas, removed = int(closed["areas"]), int(closed["removed"])
    by = ", ".join(f"{row['name']} {row['candidates']}" for row in closed["by"][:5])
    more = len(closed["by"]) - 5
    by += f" and {more} more" if more > 0 else ""
    left = (
        f"; {removed} candidate{'s' if removed != 1 else ''} in it {'are' if removed != 1 else 'is'} left out ({by})"
        if removed
        else ""
    )
    day = f" on {around['date']}" if isinstance(around, Mapping) and around.get("date") else ""
    return (
        f"Closed ground{day}: from {', '.join(closed['files'])}, {areas} area{'s' if areas != 1 else ''} near{left}. "
        "What no file marks closed is not permission."
    )
