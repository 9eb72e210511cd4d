"""What a CRS and a transform say: can the grid be used as it lies, or must it be warped?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from reefscan.base.errors import InputError

TRUE_SCALE = 1e-3
"""A projected grid is used as it is where its scale is true within this."""

Affine6 = tuple[float, float, float, float, float, float]


@dataclass(frozen=True)
class CrsFacts:
    """What matters of a CRS.

    Parameters
    ----------
    horizontal : str
        Horizontal part, ``EPSG:n`` where the authority is sure, else WKT.
    geographic : bool
        True for degrees.
    metres_per_unit : float
        Of a projected CRS's axes; degrees give NaN.
    vertical : str
        Name of the vertical part, empty if none (or unknown).
    vertical_down : bool
        True if its axis points down (a depth).
    vertical_unit_m : float
        Metres per unit of the vertical axis; NaN if there is none.
    """

    horizontal: str
    geographic: bool
    metres_per_unit: float
    vertical: str = ""
    vertical_down: bool = False
    vertical_unit_m: float = math.nan


@lru_cache(maxsize=256)
def crs_facts(text: str) -> CrsFacts:
    """Read a CRS given as WKT, ``EPSG:n`` or PROJ text.

    Raises
    ------
    InputError
        If it is not a CRS, or neither geographic nor projected.
    """
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    try:
        crs = CRS.from_user_input(text)
    except CRSError as error:
        raise InputError(f"{text[:60]!r} is not a coordinate system; write one as EPSG:32760") from error
    horizontal, vertical = crs, None
    if crs.is_compound:
        horizontal, vertical = crs.sub_crs_list[0], crs.sub_crs_list[1]
    if horizontal.is_bound and horizontal.source_crs is not None:
        horizontal = horizontal.source_crs
    tall = len(horizontal.axis_info) == 3
    if tall:
        horizontal = horizontal.to_2d()
    if not (horizontal.is_geographic or horizontal.is_projected):
        raise InputError(
            f"coordinate system {horizontal.name!r} is local or not on the ground (neither degrees nor a map's x and y); "
            "give the true one with --crs"
        )
    code = horizontal.to_epsg(min_confidence=100)
    name = f"EPSG:{code}" if code else horizontal.to_wkt()
    unit = math.nan if horizontal.is_geographic else float(horizontal.axis_info[0].unit_conversion_factor)
    facts = CrsFacts(name, bool(horizontal.is_geographic), unit, "height above the ellipsoid" if tall else "")
    if vertical is None:
        return facts
    axis = vertical.axis_info[0] if vertical.axis_info else None
    label = "" if vertical.name.lower() in ("unknown", "unnamed") else vertical.name
    return CrsFacts(
        name,
        facts.geographic,
        unit,
        label,
        bool(axis is not None and axis.direction == "down"),
        float(axis.unit_conversion_factor) if axis is not None else math.nan,
    )


@lru_cache(maxsize=64)
def _proj(crs: str) -> Any:
    from pyproj import Proj

    return Proj(crs)


@lru_cache(maxsize=512)
def _transformer(source: str, target: str, thread: int) -> Any:
    from pyproj import Transformer

    return _Steady(Transformer.from_crs(source, target, always_xy=True))


@dataclass(frozen=True)
class _Steady:
    """A pyproj transformer that gives arrays for arrays of one place too.

    Older ones take such an array for a number, which numpy warns of and will refuse.
    """

    inner: Any

    def transform(self, x: Any, y: Any) -> tuple[Any, Any]:
        """Transform places; shapes are kept."""
        if isinstance(x, np.ndarray) and x.size == 1:
            px, py = self.inner.transform(float(x.ravel()[0]), float(np.ravel(y)[0]))
            return np.full(x.shape, px), np.full(x.shape, py)
        made: tuple[Any, Any] = self.inner.transform(x, y)
        return made


def transformer(source: str, target: str) -> Any:
    """Return this thread's pyproj transformer, x/y order (they are not shared between threads)."""
    import threading

    return _transformer(source, target, threading.get_ident())


def corners(transform: Affine6, width: int, height: int) -> tuple[list[float], list[float]]:
    """Nine places of a raster (corners, edge middles, centre) in its CRS."""
    a, b, c, d, e, f = transform
    xs, ys = [], []
    for row in (0.0, height / 2, float(height)):
        for col in (0.0, width / 2, float(width)):
            xs.append(a * col + b * row + c)
            ys.append(d * col + e * row + f)
    return xs, ys


def usable_as_is(facts: CrsFacts, transform: Affine6, width: int, height: int) -> tuple[bool, str]:
    """Tell whether a raster is a metric grid as it lies, and if not why.

    It is if its CRS is projected in metres, its axes are those of the CRS, its cells are square and the
    scale is true within 0.1 % at its corners, edge middles and centre. South-up is fine: rows are
    only turned over.
    """
    a, b, _, d, e, _ = transform
    if facts.geographic:
        return False, "degrees"
    if facts.metres_per_unit != 1.0:
        return False, f"a unit of {facts.metres_per_unit:.7g} m"
    if abs(b) > 1e-9 * abs(a) or abs(d) > 1e-9 * abs(e):
        return False, "rotated"
    if a < 0:
        return False, "columns from east to west"
    # 1e-5 of a cell a row would add up to one cell in 100 000: the lattice is square to that
    if abs(abs(a) - abs(e)) > 1e-6 * abs(a):
        return False, f"cells of {abs(a):.6g} x {abs(e):.6g}"
    xs, ys = corners(transform, width, height)
    proj = _proj(facts.horizontal)
    lons, lats = proj(xs, ys, inverse=True)
    if not all(math.isfinite(v) for v in (*lons, *lats)):
        return False, "outside the area of its coordinate system"
    factors = proj.get_factors(lons, lats)
    worst = max(
        float(abs(f - 1.0)) for f in (*factors.meridional_scale, *factors.parallel_scale) if math.isfinite(f)
    )
    if worst > TRUE_SCALE:
        return False, f"scale off by {worst:.2%}"
    return True, ""


def lonlat_box(
    facts: CrsFacts, transform: Affine6, width: int, height: int
) -> tuple[float, float, float, float]:
    """West, south, east, north in degrees, WGS 84; ``west < east``, and east may exceed 180.

    Edges are followed, not only corners, so a box across the antimeridian or a pole comes out whole.
    """
    a, b, c, d, e, f = transform
    t = np.linspace(0.0, 1.0, 33)
    cols = np.concatenate([t * width, np.full(33, width), t[::-1] * width, np.zeros(33)])
    rows = np.concatenate([np.zeros(33), t * height, np.full(33, height), t[::-1] * height])
    x, y = a * cols + b * rows + c, d * cols + e * rows + f
    if facts.geographic:
        west, east = float(x.min()), float(x.max())
        if east - west >= 360.0:
            west, east = -180.0, 180.0
        turn = 360.0 * math.floor((west + 180.0) / 360.0)
        return (
            west - turn,
            max(-90.0, float(y.min())),
            east - turn,
            min(90.0, float(y.max())),
        )
    lon, lat = transformer(facts.horizontal, "EPSG:4326").transform(x, y)
    good = np.isfinite(lon) & np.isfinite(lat)
    if not good.any():
        raise InputError(
            "its corners lie outside the area of its coordinate system; is it the right one? Say --crs"
        )
    lon, lat = lon[good], lat[good]
    steps = (np.diff(lon) + 180.0) % 360.0 - 180.0
    unrolled = lon[0] + np.concatenate([[0.0], np.cumsum(steps)])
    south, north = float(lat.min()), float(lat.max())
    if abs(unrolled[-1] - unrolled[0]) > 180.0:  # the outline goes round a pole
        return (-180.0, south, 180.0, 90.0) if south + north > 0 else (-180.0, -90.0, 180.0, north)
    west, east = float(unrolled.min()), float(unrolled.max())
    turn = 360.0 * math.floor((west + 180.0) / 360.0)
    return west - turn, south, east - turn, north


def cell_metres(facts: CrsFacts, transform: Affine6, width: int, height: int) -> tuple[float, float]:
    """Width and height of a cell in true metres at the raster's centre."""
    from pyproj import Geod

    a, b, c, d, e, f = transform
    row, col = height / 2, width / 2
    x = [a * cc + b * rr + c for rr, cc in ((row, col), (row, col + 1), (row + 1, col))]
    y = [d * cc + e * rr + f for rr, cc in ((row, col), (row, col + 1), (row + 1, col))]
    lon, lat = (x, y) if facts.geographic else transformer(facts.horizontal, "EPSG:4326").transform(x, y)
    geod = Geod(ellps="WGS84")
    across = geod.inv(lon[0], lat[0], lon[1], lat[1])[2]
    down = geod.inv(lon[0], lat[0], lon[2], lat[2])[2]
    return float(across), float(down)
