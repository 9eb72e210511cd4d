"""The section through a net: the bottom along the bearing across the structure, and where on it the measured face begins and ends."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.base.arraysource import ArraySource
from reefscan.base.columns import number_of
from reefscan.base.model import GridSource
from reefscan.base.units import EARTH_M
from reefscan.review.ground import depths_along

Floats = NDArray[np.float64]

HALF_M = 80.0
"""Distance from the net to each end, where the structure asks for no more."""

BEYOND = 1.25
"""A section is so much longer than the distance to the farthest top that is marked."""

COUNT = 81
"""Samples of a section."""

FOOT_SHARE = 0.1
"""The foot that is marked lies where this share of the face's drop is left below it, as for the position of the rock; the width is that of the whole face."""


class Mark(NamedTuple):
    """A place on a section: ``at_m`` from the net along its bearing, and what is there."""

    at_m: float
    what: str


@dataclass(frozen=True)
class Section:
    """The bottom through one net.

    Parameters
    ----------
    bearing_deg : float
        True bearing, left to right.
    half_m : float
        Distance from the net in the middle to each end.
    depths_m : ndarray or None
        Positive down, NaN unknown; None where nothing is known.
    marks : tuple of Mark
        ``foot`` and ``top`` of each measured face.
    """

    bearing_deg: float
    half_m: float
    depths_m: Floats | None
    marks: tuple[Mark, ...] = ()


def bearing_of(site: Mapping[Any, Any]) -> float:
    """True bearing of a site's section: ``cross_deg``; north where that is unknown, as of a site set by hand."""
    bearing = number_of(site, "cross_deg")
    return bearing if math.isfinite(bearing) else 0.0


def foot_m(site: Mapping[Any, Any]) -> float:
    """Distance (m) from the net to the rock along its section, negative behind it; NaN where that is not known."""
    lon, lat, rock_lon, rock_lat = (
        number_of(site, name) for name in ("lon", "lat", "structure_lon", "structure_lat")
    )
    north = math.radians(rock_lat - lat) * EARTH_M
    east = math.radians((rock_lon - lon + 180.0) % 360.0 - 180.0) * EARTH_M * math.cos(math.radians(lat))
    bearing = math.radians(bearing_of(site))
    return east * math.sin(bearing) + north * math.cos(bearing)


def half_of(site: Mapping[Any, Any]) -> float:
    """How far (m) the section of a site goes to either side, so that all that was measured of it is seen; tens of metres."""
    width, foot = number_of(site, "width_m"), abs(foot_m(site))
    farthest = width if site.get("kind") == "trough" else foot + width
    return max(HALF_M, 10.0 * math.ceil(0.1 * BEYOND * farthest)) if math.isfinite(farthest) else HALF_M


def marks_of(site: Mapping[Any, Any], depths_m: Floats, half_m: float) -> tuple[Mark, ...]:
    """Foot and top of each measured face: of a ledge's, of a rise's side toward the net, of both flanks of a trough."""
    width, foot = number_of(site, "width_m"), foot_m(site)
    if not (math.isfinite(width) and math.isfinite(foot)):
        return ()
    side = math.copysign(1.0, foot)
    if site.get("kind") == "ledge":
        return (Mark(foot, "foot"), Mark(foot + side * (1.0 - FOOT_SHARE) * width, "top"))
    if site.get("kind") == "rise":
        return (Mark(foot, "foot"), Mark(foot + side * 0.5 * width, "top"))
    if site.get("kind") == "trough":
        left = _left_crest(depths_m, half_m, abs(foot), width)
        return (
            Mark(left, "top"), Mark(-abs(foot), "foot"), Mark(abs(foot), "foot"), Mark(left + width, "top")
        )  # fmt: skip
    return ()


def _left_crest(depths_m: Floats, half_m: float, foot: float, width_m: float) -> float:
    """Where a trough of a known width begins: of all places that leave a foot on either side, the one where the lower of its two crests is highest."""
    at = np.linspace(-half_m, half_m, depths_m.size)
    tried = np.linspace(min(foot, 0.5 * width_m) - width_m, -min(foot, 0.5 * width_m), COUNT)
    lower = np.maximum(*(np.interp(tried + far, at, depths_m) for far in (0.0, width_m)))
    if not np.isfinite(lower).any():
        return -0.5 * width_m
    alike = tried[lower <= np.nanmin(lower) + 0.01]
    return float(alike[np.abs(alike + 0.5 * width_m).argmin()])


def sections(table: pd.DataFrame, sources: Sequence[GridSource], *, most: int) -> list[Section | None]:
    """Sections of the first ``most`` rows, from the finest grid that knows the net's place; None for the others."""
    finest = [_in_hand(source) for source in sorted(sources, key=lambda s: s.sheet.cell_m)]
    out = [_section(site, finest) for site in table.head(most).to_dict("records")]
    return [*out, *[None] * (len(table) - len(out))]


SMALL = 4_000_000
"""Cells of a grid that is read once for all sections: 16 MB, sooner done than a thousand windows."""


def _in_hand(source: GridSource) -> GridSource:
    cells = source.extent
    if cells.height * cells.width > SMALL:
        return source
    return ArraySource(source.sheet, cells, source.read(cells).elev_mm)


def _section(site: Mapping[Any, Any], finest: Sequence[GridSource]) -> Section:
    bearing, half = bearing_of(site), half_of(site)
    best: Floats | None = None
    for source in finest:
        found = depths_along(
            source,
            lon=float(site["lon"]),
            lat=float(site["lat"]),
            heading_deg=bearing,
            half_m=half,
            count=COUNT,
        )
        if np.isfinite(found[COUNT // 2]):
            best = found
            break
        if best is None and np.isfinite(found).any():
            best = found
    return Section(bearing, half, best, () if best is None else marks_of(site, best, half))
