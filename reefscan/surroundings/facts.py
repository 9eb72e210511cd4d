"""The facts that files from outside the grid tell of a place: one function each, one row in `FACTS`.

A function takes longitudes, latitudes and what is known, and gives columns of `reefscan.base.columns`; none where no file
tells them.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.surroundings.fetch import AZIMUTHS, STEP_DEGREES, fetch_m, longest_open, toward
from reefscan.surroundings.known import Surroundings
from reefscan.surroundings.nearest import nearest
from reefscan.surroundings.shapes import Floats


def _names(known: Surroundings, role: str, row: NDArray[np.intp]) -> NDArray[np.object_]:
    shapes = known.of(role)
    return np.array([shapes.called(i) if i >= 0 else None for i in row], dtype=object)


def hard(lon: Floats, lat: Floats, known: Surroundings) -> dict[str, Any]:
    """Distance, bearing and name of the nearest hard structure."""
    if "hard" not in known.by_role:
        return {}
    row, metres, bearing = nearest(known.of("hard"), lon, lat, known.box)
    return {"hard_m": metres, "hard_deg": bearing, "hard_name": _names(known, "hard", row)}


def caution(lon: Floats, lat: Floats, known: Surroundings) -> dict[str, Any]:
    """Distance and name of the nearest caution ground."""
    if "caution" not in known.by_role:
        return {}
    row, metres, _ = nearest(known.of("caution"), lon, lat, known.box)
    return {"caution_m": metres, "caution_name": _names(known, "caution", row)}


def closed(lon: Floats, lat: Floats, known: Surroundings) -> dict[str, Any]:
    """Distance and name of the nearest closed ground; what lies in it is no candidate any more."""
    if "closed" not in known.by_role:
        return {}
    row, metres, _ = nearest(known.of("closed"), lon, lat, known.box)
    return {"closed_m": metres, "closed_name": _names(known, "closed", row)}


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


FACTS: tuple[Callable[[Floats, Floats, Surroundings], dict[str, Any]], ...] = (
    hard,
    caution,
    closed,
    fetch,
)
