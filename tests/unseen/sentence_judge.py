"""Is the sentence true? Each listed site is read again on the grid it was found on, along the line it tells of.

Checks (each True, False, or None where nothing is told): ``height`` within 0.3 m or a quarter of what is read; ``depth`` of the net within
0.3 m; ``off`` within 3 m, a cell and a half or a quarter of the distance from the net to the foot; ``clear``: no hump between foot
and net; ``slope`` of the floor within 2.5 degrees and a quarter; ``heading`` within 20 degrees. A sentence is true if none is False.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from unseen.found import Found
from unseen.section import (
    bilinear,
    drops_around,
    floor_slope,
    land_fall,
    plane,
    profile,
    read_face,
    read_low,
)  # fmt: skip

Grid = NDArray[np.float64]
SIGHT = 0.05


@dataclass(frozen=True)
class Truth:
    """What a second reading says of one site's sentence, and the height it read."""

    kind: str
    read_m: float
    told_m: float
    height: bool | None = None
    depth: bool | None = None
    off: bool | None = None
    clear: bool | None = None
    slope: bool | None = None
    heading: bool | None = None

    @property
    def all(self) -> bool:
        """True if nothing told is false."""
        return all(getattr(self, f.name) is not False for f in fields(self) if f.name in CHECKS)


CHECKS = ("height", "depth", "off", "clear", "slope", "heading")


def read_again(elev: Grid, cell_m: float, sites: list[Found]) -> list[Truth]:
    """A verdict for each site."""
    return [_site(np.asarray(elev, float), cell_m, site) for site in sites]


def _close(told: float, *read: float, least: float = 0.3) -> bool:
    """Within 0.3 m or a quarter of any reading."""
    return any(abs(told - r) <= max(least, 0.25 * max(abs(told), abs(r))) for r in read if math.isfinite(r))


def _turn(a: float, b: float, period: float) -> float:
    return abs((a - b + period / 2) % period - period / 2)


def _site(elev: Grid, cell_m: float, site: Found) -> Truth:
    reader = {"trough": _trough, "ledge": _ledge, "rise": _rise}.get(site.kind)
    told = {**_floor(elev, cell_m, site)}
    if reader is None:
        return Truth(site.kind, math.nan, site.height_m, **told)
    read, more = reader(elev, cell_m, site)
    return Truth(site.kind, read, site.height_m, **told, **more)


def _floor(elev: Grid, cell_m: float, site: Found) -> dict[str, bool | None]:
    """Depth and slope at the net."""
    out: dict[str, bool | None] = {}
    z = float(bilinear(elev, np.array([site.x]), np.array([site.y]), cell_m)[0])
    if math.isfinite(site.depth_m):
        out["depth"] = (math.isfinite(z) and abs(-z - site.depth_m) <= 0.3) or _cell_depth(elev, cell_m, site)
    slope, _ = floor_slope(elev, cell_m, site.x, site.y)
    if math.isfinite(site.slope_deg):
        out["slope"] = abs(slope - site.slope_deg) <= 2.5 + 0.25 * slope if math.isfinite(slope) else None
    return out


def _cell_depth(elev: Grid, cell_m: float, site: Found) -> bool:
    row, col = int(-site.y // cell_m), int(site.x // cell_m)
    inside = 0 <= row < elev.shape[0] and 0 <= col < elev.shape[1]
    return inside and abs(-float(elev[row, col]) - site.depth_m) <= 0.3


def _stations(cell_m: float) -> Grid:
    reach = max(170.0, 18 * cell_m)
    step = max(0.25, min(1.0, cell_m / 2)) if cell_m >= 0.5 else cell_m
    n = int(reach / step)
    return np.arange(-n, n + 1) * step


def _rock(site: Found) -> tuple[float, float]:
    """Where the rock is: as told, else up the facing from the net."""
    if math.isfinite(site.structure_x):
        return site.structure_x, site.structure_y
    b, far = math.radians(site.facing_deg), site.off_m + 2
    return site.x - far * math.sin(b), site.y - far * math.cos(b)


def _ledge(elev: Grid, cell_m: float, site: Found) -> tuple[float, dict[str, bool | None]]:
    """One face: read through the rock and through the net, along the facing."""
    b = site.facing_deg if math.isfinite(site.facing_deg) else math.nan
    if not math.isfinite(b):
        return math.nan, {"height": False}
    rx, ry = _rock(site)
    u = (math.sin(math.radians(b)), math.cos(math.radians(b)))
    ahead = (site.x - rx) * u[0] + (site.y - ry) * u[1]
    s = _stations(cell_m)
    near = max(8.0, 2.5 * cell_m)
    faces = []
    for px, py in ((rx, ry), (site.x - ahead * u[0], site.y - ahead * u[1])):
        p = profile(elev, cell_m, px, py, b, s)
        for land in {land_fall(p, s), 0.0}:
            face = read_face(p, s, near_m=near, sight=min(SIGHT, 0.4 / cell_m), land=land)
            if face is not None:
                faces.append((abs(face.height_m - site.height_m), face, p))
    if not faces:
        return 0.0, {"height": False}
    face, p = min(faces, key=lambda f: f[0])[1:]
    mid = 0.5 * (face.top + face.foot)
    _, downhill = plane(
        elev, cell_m, rx + mid * u[0], ry + mid * u[1], max(0.5 * face.length_m, 6.0, 2.5 * cell_m)
    )
    return face.height_m, {
        "height": _close(site.height_m, face.height_m, face.drop_m),
        "heading": None
        if not math.isfinite(downhill)
        else _turn(downhill, b, 360) <= 20 or _steepest(elev, cell_m, rx, ry, b, s, near),
        "off": _off(site, ahead - face.foot, ahead - face.foot_10, cell_m),
        "clear": _clear(p, s, face.foot_10, ahead, face.height_m),
    }


def _steepest(elev: Grid, cell_m: float, x: float, y: float, bearing: float, s: Grid, near: float) -> bool:
    """True if no heading within 45 degrees shows a face steeper by over an eighth than the told one does."""

    def gradient(turn: float) -> float:
        p = profile(elev, cell_m, x, y, bearing + turn, s)
        face = read_face(p, s, near_m=near, sight=min(SIGHT, 0.4 / cell_m))
        return face.drop_m / max(face.length_m, 2 * cell_m) if face is not None else 0.0

    return gradient(0.0) * 1.13 >= max(gradient(turn) for turn in (-45.0, -30.0, -15.0, 15.0, 30.0, 45.0))


def _off(site: Found, one: float, other: float, cell_m: float) -> bool | None:
    """The told distance against the span between two readings of the foot."""
    if not math.isfinite(site.off_m):
        return None
    slack = max(3.0, 1.5 * cell_m, 0.25 * site.off_m)
    lo, hi = min(one, other), max(one, other)
    return lo - slack <= site.off_m <= hi + slack


def _clear(p: Grid, s: Grid, foot: float, net: float, height: float) -> bool | None:
    """No hump, and nothing unknown, between the foot and the net."""
    between = p[(s >= min(foot, net)) & (s <= max(foot, net))]
    if len(between) < 2:
        return None
    if not np.isfinite(between).all():
        return False
    return bool(between.max() - max(between[0], between[-1]) <= max(0.4, 0.3 * height))


def _trough(elev: Grid, cell_m: float, site: Found) -> tuple[float, dict[str, bool | None]]:
    """A low: read across the told axis through the rock and through the net."""
    if not math.isfinite(site.axis_deg):
        return math.nan, {"height": False}
    cross = site.axis_deg + 90
    width = site.width_m if math.isfinite(site.width_m) else 30.0
    s = _stations(cell_m)
    reach = max(width, 10.0, 4 * cell_m)
    near = max(0.6 * width, 8.0, 2.5 * cell_m)
    sight = min(SIGHT, 0.4 / cell_m)
    lows, heights = [], []
    for px, py in {(site.x, site.y), _rock(site)}:
        p = profile(elev, cell_m, px, py, cross, s)
        low = read_low(p, s, near_m=near, reach_m=reach, sight=sight)
        if low is not None:
            lows.append((abs(low.height_m - site.height_m), low, (px, py)))
            heights += [low.height_m, low.sighted_m]
        if math.isfinite(site.width_m) and (
            wide := read_low(p, s, near_m=near, reach_m=0.65 * reach, sight=0.0)
        ):
            heights.append(wide.height_m)  # no line of sight: the low as wide as it is told
    if not lows:
        return 0.0, {"height": False}
    _, low, (px, py) = min(lows, key=lambda v: v[0])
    return low.height_m, {
        "height": _close(site.height_m, *heights),
        "heading": _trough_heading(elev, cell_m, px, py, site.axis_deg, s, near, reach, low.height_m, sight),
    }


def _trough_heading(
    elev: Grid,
    cell_m: float,
    x: float,
    y: float,
    axis_deg: float,
    s: Grid,
    near: float,
    reach: float,
    height: float,
    sight: float,
) -> bool | None:
    """Do the middles of two sections before and behind lie on the told axis? None where the trough ends before them."""
    a = math.radians(axis_deg)
    step = max(8.0, 2 * cell_m)
    middles = []
    for k in (-1, 1):
        at = (x + k * step * math.sin(a), y + k * step * math.cos(a))
        low = read_low(
            profile(elev, cell_m, *at, axis_deg + 90, s, lines=3), s, near_m=near, reach_m=reach, sight=sight
        )
        if low is None or low.height_m < 0.6 * height:
            return None
        middles.append(low.middle)
    return abs(math.degrees(math.atan2(middles[1] - middles[0], 2 * step))) <= 20


def _rise(elev: Grid, cell_m: float, site: Found) -> tuple[float, dict[str, bool | None]]:
    """A top: the third lowest and the middle of sixteen drops, or the lesser side of the section through rock and net."""
    rx, ry = _rock(site)
    if not math.isfinite(rx):
        return math.nan, {"height": False}
    drops = drops_around(elev, cell_m, rx, ry, sight=min(SIGHT, 0.4 / cell_m))
    b = math.degrees(math.atan2(site.x - rx, site.y - ry)) % 360
    s = _stations(cell_m)
    p = profile(elev, cell_m, rx, ry, b, s, lines=3)
    low = read_low(-p, s, near_m=max(8.0, 2 * cell_m), reach_m=60.0, sight=min(SIGHT, 0.4 / cell_m))
    section = low.height_m if low is not None else math.nan
    more: dict[str, bool | None] = {
        "height": _close(site.height_m, float(drops[2]), float(np.median(drops)), section)
    }
    face = read_face(p, s, near_m=math.hypot(site.x - rx, site.y - ry), sight=min(SIGHT, 0.4 / cell_m))
    ahead = math.hypot(site.x - rx, site.y - ry)
    if face is not None:
        more["off"] = _off(site, ahead - face.foot, ahead - face.foot_10, cell_m)
        more["clear"] = _clear(p, s, face.foot_10, ahead, float(drops[2]))
    if math.isfinite(site.facing_deg) and ahead > cell_m:
        more["heading"] = _turn(b, site.facing_deg, 360) <= 30
    return float(drops[2]), more
