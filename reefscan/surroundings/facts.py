"""The facts that files from outside the grid tell of a place: one function each, one row in `FACTS`.

A function takes longitudes, latitudes and what is known, and gives columns of `reefscan.base.columns`; none where no file
tells them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from reefscan.surroundings.fetch import AZIMUTHS, STEP_DEGREES, fetch_m, longest_open, toward
from reefscan.surroundings.known import Surroundings
from reefscan.surroundings.nearest import nearest
from reefscan.surroundings.shapes import Floats


def near(lon: Floats, lat: Floats, known: Surroundings) -> dict[str, Any]:
    """Distance (m) and name of the nearest hard structure, caution and closed ground; of hard structure its bearing too.

    What lies in closed ground is no candidate any more.
    """
    facts: dict[str, Any] = {}
    for role in ("hard", "caution", "closed"):
        if role not in known.by_role:
            continue
        shapes = known.of(role)
        row, facts[f"{role}_m"], bearing = nearest(shapes, lon, lat, known.box)
        facts[f"{role}_name"] = np.array([shapes.called(i) if i >= 0 else None for i in row], dtype=object)
        if role == "hard":
            facts["hard_deg"] = bearing
    return facts


def fetch(lon: Floats, lat: Floats, known: Surroundings) -> dict[str, Any]:
    """Open water by direction, the longest of it, and that toward the stated wind."""
    if "land" not in known.by_role:
        return {}
    metres = np.round(fetch_m(known.of("land"), lon, lat, known.box))
    longest = longest_open(metres)
    some = np.asarray(~np.isnan(metres).any(axis=1))
    facts: dict[str, Any] = {
        "open_m": metres[np.arange(len(lon)), longest],
        "open_deg": np.where(some, AZIMUTHS[longest], np.nan),
        "fetch": np.array(
            [
                " ".join(f"{v:.0f}" for v in row[:: 45 // STEP_DEGREES]) if good else None
                for row, good in zip(metres, some, strict=True)
            ],
            dtype=object,
        ),
    }
    if known.wind_deg == known.wind_deg:
        facts["wind_fetch_m"] = toward(known.wind_deg, metres)
    return facts


FACTS: tuple[Callable[[Floats, Floats, Surroundings], dict[str, Any]], ...] = (near, fetch)
