"""The user's shapes in one form: longitude and latitude (WGS 84), single parts, valid, clipped to a box around the grid.

All later questions (is it closed, how far is it) are asked of these shapes, so scan, page and picks cannot differ.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Geod, Transformer

from reefscan.base.errors import InputError, NoCrsError

Floats = NDArray[np.float64]
Geometries = NDArray[np.object_]

MARGIN_M = 50_000.0
"""What lies farther than this from the grid is left out: the reach of a fetch, and room for sites set by hand."""

STEP_M = 200.0
"""A straight edge is cut so short before it goes to another projection. L² / 8R · tan(lat) is then 1 mm at 50 degrees."""

STEP_DEG = 0.002
LONGEST_NAME = 80
GEOD = Geod(ellps="WGS84")


@dataclass(frozen=True)
class Box:
    """Bounds in degrees. ``west < east`` always: a box across the 180th meridian goes on beyond 180.

    Examples
    --------
    >>> float(Box(179.0, -1.0, 181.0, 1.0).unwrap(-179.5))
    180.5
    """

    west: float
    south: float
    east: float
    north: float

    def unwrap(self, lon: Any) -> Any:
        """Longitudes within half a turn of the middle of the box."""
        middle = (self.west + self.east) / 2.0
        return middle + (np.asarray(lon, dtype=np.float64) - middle + 180.0) % 360.0 - 180.0

    def grown(self, metres: float) -> Box:
        """The box with a margin on all sides, at least so wide."""
        up = metres / 110_000.0
        lat = min(max(abs(self.south), abs(self.north)) + up, 89.0)
        aside = metres / (110_000.0 * math.cos(math.radians(lat)))
        aside = min(aside, max(0.0, 179.9 - (self.east - self.west) / 2.0))
        return Box(
            self.west - aside, max(-90.0, self.south - up), self.east + aside, min(90.0, self.north + up)
        )

    def holds(self, lon: Any, lat: Any) -> NDArray[np.bool_]:
        """Whether places lie in it, its edges included."""
        x, y = self.unwrap(lon), np.asarray(lat, dtype=np.float64)
        return np.asarray((x >= self.west) & (x <= self.east) & (y >= self.south) & (y <= self.north))

    @property
    def polygon(self) -> Any:
        """The box as a shape."""
        return shapely.box(self.west, self.south, self.east, self.north)


def box_of(bounds: Sequence[tuple[str, tuple[float, float, float, float]]]) -> Box:
    """The box that holds rectangles of projected systems.

    Parameters
    ----------
    bounds : sequence of (crs, (west, south, east, north))
        At least one; metres in ``crs``.
    """
    whole: Box | None = None
    for crs, (west, south, east, north) in bounds:
        to_lonlat = Transformer.from_crs(crs, "EPSG:4326", always_xy=True)
        x, y = np.meshgrid(np.linspace(west, east, 21), np.linspace(south, north, 21))
        lon, lat = (np.asarray(v) for v in to_lonlat.transform(x, y))
        good = np.isfinite(lon) & np.isfinite(lat)
        lon, lat = lon[good], lat[good]
        middle = lon[0] if whole is None else (whole.west + whole.east) / 2.0
        lon = middle + (lon - middle + 180.0) % 360.0 - 180.0
        part = Box(float(lon.min()), float(lat.min()), float(lon.max()), float(lat.max()))
        whole = part if whole is None else Box(
            min(whole.west, part.west), min(whole.south, part.south), max(whole.east, part.east), max(whole.north, part.north)
        )  # fmt: skip
    if whole is None:
        raise ValueError("no bounds")
    return whole


@dataclass(frozen=True)
class Shapes:
    """Shapes with what is said of each, row for row.

    Attributes
    ----------
    shapes : ndarray of object
        Points, lines or polygons, degrees in the frame of a `Box`.
    name, kind, file : tuple of str
        What the file calls it (empty where it does not), what it is, and where it stands.
    """

    shapes: Geometries
    name: tuple[str, ...]
    kind: tuple[str, ...]
    file: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.shapes)

    def take(self, rows: Any) -> Shapes:
        """Some of the rows, in the given order."""
        at = np.arange(len(self))[rows]
        parts = ([words[i] for i in at] for words in (self.name, self.kind, self.file))
        return Shapes(self.shapes[at], *(tuple(part) for part in parts))

    def called(self, row: int) -> str:
        """How a sentence calls one of them: its name, else its kind and file."""
        return self.name[row] or f"{self.kind[row] or 'an area'} of {self.file[row]}"


def no_shapes() -> Shapes:
    """Return none."""
    return Shapes(np.empty(0, dtype=object), (), (), ())


def joined(parts: Sequence[Shapes]) -> Shapes:
    """Return all of several, one after the other."""
    if not parts:
        return no_shapes()
    return Shapes(
        np.concatenate([part.shapes for part in parts]), *(
            tuple(word for part in parts for word in getattr(part, key)) for key in ("name", "kind", "file")
        )
    )  # fmt: skip


def spoken(value: Any) -> str:
    """A name from a file as a sentence may carry it: printable, on one line, short, without what shows as mark-up.

    Examples
    --------
    >>> spoken("  North <b>Reef\\x00 "), spoken(None), spoken(float("nan"))
    ('North ‹b›Reef', '', '')
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    text = " ".join("".join(c if c.isprintable() else " " for c in str(value)).split())
    text = text.replace("<", "‹").replace(">", "›")
    return text if len(text) <= LONGEST_NAME else text[: LONGEST_NAME - 1].rstrip() + "…"


def whole_areas(shapes: Geometries) -> tuple[Geometries, int]:
    """Repair polygons that are not valid, so that all that a ring goes round belongs to it.

    The usual repairs count crossings and open the middle of a ring that goes round twice. Of closed ground that would be
    the wrong side to err on: here the shell keeps all its faces, and a hole is one only where its own ring is sound.

    Returns
    -------
    shapes : ndarray of object
        Valid; other types as they are.
    repaired : int
    """
    out = shapes.copy()
    bad = np.flatnonzero(~shapely.is_valid(shapes))
    for i in bad:
        shape = shapes[i]
        if shape.geom_type != "Polygon":
            out[i] = shapely.make_valid(shape)
            continue
        shell = _faces(shape.exterior)
        holes = [shapely.Polygon(ring) for ring in shape.interiors]
        out[i] = shapely.difference(shell, shapely.union_all([hole for hole in holes if hole.is_valid]))
    return out, len(bad)


def _faces(ring: Any) -> Any:
    """The union of all that a ring goes round."""
    crossed = shapely.union_all([shapely.LineString(ring.coords)])  # cut where it crosses itself
    return shapely.union_all(shapely.get_parts(shapely.polygonize(shapely.get_parts(crossed))))


def single_parts(shapes: Geometries) -> tuple[Geometries, NDArray[np.intp]]:
    """Points, lines and polygons of all, and the row that each comes from; empty ones are left out."""
    rows = np.arange(len(shapes), dtype=np.intp)
    while len(shapes) and (shapely.get_type_id(shapes) >= 4).any():
        shapes, at = shapely.get_parts(shapes, return_index=True)
        rows = rows[at]
    kept = ~shapely.is_empty(shapes) if len(shapes) else np.zeros(0, dtype=bool)
    return shapes[kept], rows[kept]


def whole_parts(shapes: Geometries) -> tuple[Geometries, NDArray[np.intp], int]:
    """Points, lines and valid polygons of all, the row that each comes from, and how many areas `whole_areas` repaired."""
    parts, rows = single_parts(shapely.force_2d(shapes))
    areas = shapely.get_type_id(parts) == 3
    parts[areas], repaired = whole_areas(parts[areas])
    parts, at = single_parts(parts)
    return parts, rows[at], repaired


def outlines(shapes: Geometries) -> Geometries:
    """The lines among shapes and the rings of areas, in pieces of 16 edges: a tree of these passes by what is far of a long one."""
    kind = shapely.get_type_id(shapes)
    lines = np.concatenate([shapely.boundary(shapes[kind == 3]), shapes[(kind == 1) | (kind == 2)]])
    pieces = []
    for line in shapely.get_parts(lines):
        xy = shapely.get_coordinates(line)
        for i in range(0, len(xy) - 1, 16):
            pieces.append(shapely.LineString(xy[i : i + 17]))
    return np.array(pieces, dtype=object)


def to_lonlat(shapes: Geometries, crs: Any, *, file: str) -> Geometries:
    """Bring shapes to longitude and latitude, straight edges staying where they are.

    Raises
    ------
    NoCrsError
        Without a system.
    InputError
        Where a corner is no place in it.
    """
    if crs is None:
        raise NoCrsError(f"{file}: has no coordinate system; save it with one")
    system = CRS(crs)
    corners = shapely.get_coordinates(shapes)
    if not np.isfinite(corners).all():
        raise InputError(f"{file}: a corner is not a number; correct it where it was drawn")
    if not system.is_geographic:
        shapes = shapely.segmentize(shapes, STEP_M / (system.axis_info[0].unit_conversion_factor or 1.0))
    shapes = shapely.transform(shapes, way_between(system, "EPSG:4326"))
    corners = shapely.get_coordinates(shapes)
    if not np.isfinite(corners).all():
        raise InputError(
            f"{file}: a corner lies outside of its coordinate system ({system.name}); is the system the right one?"
        )
    high = float(np.abs(corners[:, 1]).max()) if len(corners) else 0.0
    if high > 90.0:
        swapped = " (are the axes swapped?)" if float(np.abs(corners[:, 0]).max()) <= 90.0 else ""
        raise InputError(
            f"{file}: latitudes reach {high:.6g}{swapped}; wanted longitude first, in degrees, or the true system of the file"
        )
    return shapes


def way_between(source: Any, target: Any) -> Callable[[Floats], Floats]:
    """What brings places (x and y, shape (n, 2)) from one coordinate system to another."""
    transformer = Transformer.from_crs(source, target, always_xy=True)
    return lambda xy: np.column_stack(transformer.transform(xy[:, 0], xy[:, 1]))


def near(shapes: Geometries, box: Box) -> tuple[Geometries, NDArray[np.intp]]:
    """Parts of shapes that lie in a box, in its frame of longitudes, and the row that each comes from.

    An edge longer than half a turn is taken to go the other way round (it crosses the 180th meridian); one of a whole turn is the edge
    of the world.
    """
    if not len(shapes):
        return shapes, np.zeros(0, dtype=np.intp)
    shapes = shapes.copy()
    bounds = shapely.bounds(shapes)
    for i in np.flatnonzero(bounds[:, 2] - bounds[:, 0] > 180.0):
        shapes[i] = _unwound(shapes[i])
    found, rows = [], []
    for turn in (0.0, -360.0, 360.0, 720.0, -720.0):
        moved = shapely.transform(shapes, lambda xy, by=turn: xy + (by, 0.0)) if turn else shapes
        bounds = shapely.bounds(moved)
        touch = np.flatnonzero(
            (bounds[:, 2] >= box.west) & (bounds[:, 0] <= box.east) & (bounds[:, 3] >= box.south) & (bounds[:, 1] <= box.north)
        )  # fmt: skip
        inside = (
            (bounds[touch, 0] >= box.west) & (bounds[touch, 2] <= box.east)
            & (bounds[touch, 1] >= box.south) & (bounds[touch, 3] <= box.north)
        )  # fmt: skip
        cut = moved[touch]
        cut[~inside] = shapely.intersection(cut[~inside], box.polygon)
        found.append(cut)
        rows.append(touch)
    parts, at = single_parts(np.concatenate(found))
    return parts, np.concatenate(rows)[at].astype(np.intp)


def _unwound(shape: Any) -> Any:
    def ring(xy: Floats) -> Floats:
        jump = np.diff(xy[:, 0])
        turns = np.where((np.abs(jump) > 180.0) & (np.abs(jump) < 360.0), -np.sign(jump), 0.0)
        return np.column_stack((xy[:, 0] + 360.0 * np.concatenate(([0.0], np.cumsum(turns))), xy[:, 1]))

    if shape.geom_type == "Polygon":
        shell = shapely.Polygon(ring(shapely.get_coordinates(shape.exterior)))
        middle = shell.centroid.x
        holes = [ring(shapely.get_coordinates(inner)) for inner in shape.interiors]
        holes = [hole - (360.0 * round((hole[:, 0].mean() - middle) / 360.0), 0.0) for hole in holes]
        out = shapely.Polygon(shell.exterior, holes)
        return out if out.is_valid else shape if shape.is_valid else shell
    return shapely.LineString(ring(shapely.get_coordinates(shape)))


def off_by_km(shapes: Geometries, box: Box) -> float:
    """How far the nearest of the shapes lies from a box, km."""
    best = math.inf
    for turn in (-360.0, 0.0, 360.0):
        tree = shapely.STRtree(shapely.transform(shapes, lambda xy, by=turn: xy + (by, 0.0)))
        line = shapely.shortest_line(box.polygon, tree.geometries[tree.nearest(box.polygon)])
        (x0, y0), (x1, y1) = line.coords
        best = min(best, GEOD.inv(x0, y0, x1, y1)[2] / 1000.0)
    return best


@dataclass(frozen=True)
class Plane:
    """Metres around the middle of a box (azimuthal, true in distance from there): where nearest points and buffers are found.

    Distances in the answer are geodesics (`GEOD`) between the places found here.
    """

    box: Box

    def _transformer(self) -> Transformer:
        lon, lat = (self.box.west + self.box.east) / 2.0, (self.box.south + self.box.north) / 2.0
        return Transformer.from_crs(
            "EPSG:4326", f"+proj=aeqd +lon_0={lon!r} +lat_0={lat!r} +datum=WGS84", always_xy=True
        )

    @property
    def stretch(self) -> float:
        """How much longer than true a distance may be drawn: c / sin c at the farthest corner."""
        b = self.box
        half = GEOD.inv((b.west + b.east) / 2, (b.south + b.north) / 2, b.east, b.north)[2] / 6_371_000.0
        return half / math.sin(half) if 0 < half < 3 else 1.0

    def flat(self, shapes: Geometries) -> Geometries:
        """Shapes in degrees as shapes in metres."""
        cut = shapely.segmentize(shapes, STEP_DEG)
        return np.asarray(shapely.transform(cut, lambda xy: self.points(xy[:, 0], xy[:, 1])))

    def points(self, lon: Floats, lat: Floats) -> Floats:
        """Places as x and y in metres, shape (n, 2)."""
        return np.column_stack(self._transformer().transform(lon, lat))

    def lonlat(self, xy: Floats) -> Floats:
        """Back again: longitude in the frame of the box, and latitude."""
        lon, lat = self._transformer().transform(xy[:, 0], xy[:, 1], direction="INVERSE")
        return np.column_stack((self.box.unwrap(lon), lat))

    def widened(self, shapes: Geometries, metres: Floats) -> Geometries:
        """Shapes in degrees, each with a margin that is never narrower than asked and at most 1 % wider."""
        arc = math.cos(math.pi / 64.0)  # 16 corners a quarter turn: the chords would cut into the round
        drawn = shapely.buffer(self.flat(shapes), metres * self.stretch / arc, quad_segs=16)
        return np.asarray(shapely.transform(drawn, self.lonlat))


def widened(shapes: Shapes, metres: Floats, box: Box) -> Shapes:
    """Shapes with a margin each; 0 leaves one as it is."""
    rows = np.flatnonzero(metres > 0)
    if not len(rows):
        return shapes
    out = shapes.shapes.copy()
    out[rows] = Plane(box).widened(out[rows], metres[rows])
    return replace(shapes, shapes=out)
