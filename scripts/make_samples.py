"""Make ``data_samples``: a small invented coast, what stands and is closed there, and a boat's sounder log over part of it.

    python scripts/make_samples.py [folder]

Everything is drawn from formulas and fixed seeds, so every run gives the same seabed. No real place,
survey, harbour or boat is meant: the coordinates lie over deep ocean, far from any land. The pieces,
from west to east: a headland with a reef cut by gullies, a bay with a harbour (breakwater, stone
pier, dredged channel, spoil heaps), offshore ledges, boulders and piles, a sunken barge with its
scour pit, a field of sand waves; a corner known only from old coarse soundings, and gaps.
"""

from __future__ import annotations

import csv
import json
import sys
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from pyproj import Transformer
from rasterio.features import shapes
from rasterio.transform import from_origin
from scipy.interpolate import CubicSpline, PchipInterpolator
from scipy.ndimage import distance_transform_edt, gaussian_filter, zoom
from scipy.spatial import cKDTree
from shapely.geometry import shape

Grid = NDArray[np.float64]

CELL = 2.0
ROWS, COLS = 1000, 1200
WEST, NORTH = 380_000.0, 4_986_000.0
CRS = "EPSG:32627"
RNG = np.random.default_rng(7321)


def smooth(t: Grid) -> Grid:
    """Half a cosine, 0 at t <= 0 and 1 at t >= 1."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(t, 0, 1)))


def fractal(power: float, outer_m: float) -> Grid:
    """Rough ground of unit spread; 2-D power falls as wavenumber^-power below the outer scale."""
    k = np.hypot(np.fft.fftfreq(ROWS, CELL)[:, None], np.fft.rfftfreq(COLS, CELL)[None, :])
    amplitude = (k**2 + (1 / outer_m) ** 2) ** (-power / 4)
    z = np.fft.irfft2(np.fft.rfft2(RNG.standard_normal((ROWS, COLS))) * amplitude, s=(ROWS, COLS))
    return np.asarray((z - z.mean()) / z.std())


def curve(points: list[tuple[float, float]]) -> Grid:
    """A smooth line through points, one vertex a metre."""
    p = np.array(points, dtype=float)
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
    return np.asarray(CubicSpline(s, p)(np.arange(0, s[-1], 1.0)))


def straight(a: tuple[float, float], b: tuple[float, float]) -> Grid:
    """A straight line between two points, one vertex a metre."""
    p, q = np.array(a, float), np.array(b, float)
    return np.asarray(p + np.linspace(0, 1, int(np.hypot(*(q - p))))[:, None] * (q - p))


class Coast:
    """The seabed as it grows; x runs east and y north from the south-west corner, in metres."""

    def __init__(self) -> None:
        x = (np.arange(COLS) + 0.5) * CELL
        y = (ROWS - np.arange(ROWS) - 0.5) * CELL
        self.x, self.y = np.meshgrid(x, y)
        self.rock = np.zeros((ROWS, COLS))
        self.z = self._shore()

    def _shore(self) -> Grid:
        """Land in the north with a headland and a bay; depth grows with distance from it."""
        coast = PchipInterpolator(
            [-100, 150, 330, 480, 640, 820, 1000, 1250, 1500, 1720, 1900, 2150, 2500],
            [1690, 1650, 1560, 1500, 1540, 1690, 1820, 1880, 1860, 1770, 1700, 1720, 1660],
        )(self.x)
        wander = fractal(3.6, 250) * 14
        land = self.y > coast + wander
        out, inland = distance_transform_edt(~land) * CELL, distance_transform_edt(land) * CELL
        self.offshore = gaussian_filter(out, 6)
        depth = PchipInterpolator(
            [0, 40, 120, 300, 600, 950, 1400, 1900], [0.2, 1.8, 4.0, 6.8, 10.3, 14.0, 19.0, 24.5]
        )(self.offshore + 40 * fractal(3.8, 500) * np.clip(self.offshore / 300, 0, 1))
        hills = 1.2 + 0.10 * inland + 4.5 * np.clip(inland / 90, 0, 1) * fractal(4.2, 260)
        self.land = land
        return np.asarray(np.where(land, np.clip(hills, 0.3, None), -np.clip(depth, 0.1, None)))

    def frame(self, line: Grid, reach: float) -> tuple[Any, Grid, Grid, NDArray[np.intp]]:
        """Cells near a line: mask, distance, signed distance (right positive), nearest vertex."""
        box = (
            (self.x > line[:, 0].min() - reach)
            & (self.x < line[:, 0].max() + reach)
            & (self.y > line[:, 1].min() - reach)
            & (self.y < line[:, 1].max() + reach)
        )
        at = np.stack([self.x[box], self.y[box]], -1)
        dist, i = cKDTree(line).query(at)
        tangent = np.gradient(line, axis=0)[i]
        off = at - line[i]
        return box, dist, dist * np.sign(off[:, 0] * tangent[:, 1] - off[:, 1] * tangent[:, 0]), i

    def reef(self) -> None:
        """A raised rock platform whose outer edge, a ledge of 2 to 3 m, wanders in and out."""
        wander = 70 * fractal(3.8, 160)
        west = 400 - 0.0009 * (self.x - 520) ** 2
        east = 330 - 0.0011 * (self.x - 2080) ** 2
        inside = np.maximum(west, east) + wander - self.offshore
        edge = smooth(inside / 5 + 0.5)
        height = 2.1 + 0.7 * gaussian_filter(fractal(3.4, 300), 10)
        on = edge * smooth((self.offshore - 25) / 60)
        self.z += on * height * (1 - 0.55 * smooth((inside - 20) / 260)) * ~self.land
        self.rock = np.maximum(self.rock, edge * (self.offshore > 8))

    def gully(self, points: list[tuple[float, float]], width: float, depth: float, lift: float) -> None:
        """A winding cut with a sand floor; one crest stands ``lift`` above the other."""
        line = curve(points)
        box, dist, signed, i = self.frame(line, width + 60)
        s = np.minimum(i, len(line) - 1 - i) / 30
        half, floor = width / 2, 0.38 * width / 2
        t = smooth(np.asarray(s, dtype=float))
        crest = np.where(signed > 0, 0.15, 0.15 + lift)
        cut = crest - (crest + depth) * (1 - smooth((dist - floor) / (half - floor)))
        out = crest * (1 - smooth((dist - half) / 30))
        self.z[box] += t * np.where(dist < half, cut, out)
        self.rock[box] = np.maximum(self.rock[box], t * (1 - smooth((dist - half - 4) / 14)))
        self.rock[box] *= 1 - t * (1 - smooth((dist - 0.9 * floor) / (0.35 * half)))

    def ledge(self, points: list[tuple[float, float]], height: float, run: float) -> None:
        """A block that rises gently from the left of the line and drops steeply to its right."""
        line = curve(points)
        box, _, u, i = self.frame(line, 120)
        t = smooth(np.minimum(i, len(line) - 1 - i) / 45.0)
        top = smooth(0.5 - u / run) * (1 - smooth((-u - run) / 85))
        self.z[box] += t * height * top * (1 + 0.18 * np.sin(i / 31.0))
        self.rock[box] = np.maximum(self.rock[box], t * smooth(0.5 - u / run) * (1 - smooth((-u - 30) / 45)))

    def heap(self, x: float, y: float, height: float, radius: float, *, rock: bool = True) -> None:
        """A pile of rock, or a smooth heap of spoil."""
        r = np.hypot((self.x - x) / 1.15, self.y - y) / radius
        self.z += height * (1 - smooth(r)) * (r < 1)
        if rock:
            self.rock = np.maximum(self.rock, 1 - smooth((r - 0.5) / 0.5))

    def boulders(self, x: float, y: float, reach: float, n: int) -> None:
        """Boulders scattered about a place."""
        add = np.zeros_like(self.z)
        for _ in range(n):
            bx, by = x + RNG.normal(0, reach / 2), y + RNG.normal(0, reach / 2)
            r = np.hypot(self.x - bx, self.y - by) / RNG.uniform(4, 7)
            add = np.maximum(add, RNG.uniform(0.6, 2.1) * np.sqrt(np.clip(1 - r**2, 0, None)))
        self.z += add

    def dredge(self, line: Grid, half: float, level: float, batter: float) -> None:
        """Cut to one level, sides of 1 in ``batter``; where the ground is deeper already, nothing."""
        box, dist, _, _ = self.frame(line, half + 60)
        floor = level + np.clip(dist - half, 0, None) / batter
        cut = np.minimum(self.z[box], floor)
        self.rock[box] *= ~(cut < self.z[box] - 0.05)
        self.z[box] = cut

    def wall(self, line: Grid, top: float, half: float, face: float, *, rubble: bool) -> None:
        """A breakwater or pier: never lower than its own section."""
        box, dist, _, _ = self.frame(line, 60)
        knobs = 0.35 * RNG.standard_normal(dist.shape) * (dist > half) if rubble else 0.0
        body = top - np.clip(dist - half, 0, None) / face + knobs
        self.z[box] = np.maximum(self.z[box], np.where(dist < half + 26, body, -99.0))

    def waves(self, x: float, y: float, reach: float) -> None:
        """A field of sand waves, 48 m long and 1.3 m high, steeper to the north-east."""
        across = (self.x - x) * 0.83 + (self.y - y) * 0.56
        along = -(self.x - x) * 0.56 + (self.y - y) * 0.83
        k = 2 * np.pi * (across + 9 * np.sin(along / 70) + 5 * np.sin(along / 31)) / 48
        fade = 1 - smooth((np.hypot((self.x - x) / 1.5, self.y - y) - reach) / 70)
        self.z += fade * 0.65 * (np.sin(k) + 0.25 * np.sin(2 * k))
        self.rock *= 1 - fade


BREAKWATER = [(1790.0, 1790.0), (1700.0, 1640.0), (1560.0, 1560.0), (1420.0, 1545.0)]
PIER = [(1150.0, 1905.0), (1175.0, 1800.0), (1195.0, 1715.0)]
CHANNEL = [(1355.0, 1660.0), (1080.0, 900.0)]
BARGE = (2010.0, 1010.0)


def build() -> Coast:
    """The whole coast, without a survey's faults."""
    c = Coast()
    c.reef()
    c.gully([(300, 1480), (285, 1400), (330, 1310), (290, 1220), (320, 1130)], 18, 2.4, 0.7)
    c.gully([(455, 1430), (480, 1340), (440, 1250), (470, 1150), (455, 1060)], 24, 3.1, 0.4)
    c.gully([(590, 1440), (640, 1350), (625, 1260), (680, 1170), (690, 1090)], 14, 2.0, 0.9)
    c.gully([(760, 1490), (800, 1410), (780, 1330), (850, 1250)], 30, 2.7, 0.5)
    c.ledge([(1330, 690), (1450, 760), (1600, 790), (1760, 770), (1880, 700)], 3.0, 4)
    c.ledge([(1960, 1330), (2060, 1290), (2190, 1310), (2290, 1380)], 2.2, 3)
    c.gully([(1500, 905), (1590, 950), (1680, 930), (1780, 960)], 20, 2.2, 0.6)
    c.ledge([(150, 800), (260, 850), (400, 840), (500, 780)], 2.4, 4)
    for x, y, h, r in (
        (1700, 1180, 2.6, 12),
        (1560, 1290, 1.7, 9),
        (2230, 1060, 2.2, 11),
        (880, 980, 1.9, 9),
    ):
        c.heap(x, y, h, r)
    c.boulders(1860, 1480, 48, 26)
    c.boulders(640, 930, 40, 18)
    for i in range(4):
        c.heap(940 + 46 * i, 640 - 18 * i, 1.5 + 0.2 * (i % 2), 24, rock=False)
    c.waves(2000, 370, 190)
    c.z += c.rock * 0.24 * fractal(3.1, 45) * ~c.land
    c.dredge(straight((1345, 1668), (1560, 1690)), 62, -6.2, 4)
    c.dredge(straight(*CHANNEL), 27, -10.8, 4)
    c.wall(curve(BREAKWATER), 2.6, 4, 1.25, rubble=True)
    c.wall(curve(PIER), 3.0, 4, 0.2, rubble=False)
    # A scour pit round the barge, then the barge: 34 m by 9 m, 2.8 m high.
    bx, by = c.x - BARGE[0], c.y - BARGE[1]
    c.z -= 1.3 * (1 - smooth(np.hypot((bx + 16) / 1.5, by + 10) / 17))
    a, b = bx * 0.94 + by * 0.34, -bx * 0.34 + by * 0.94
    c.z += 2.8 * smooth((17 - np.abs(a)) / 3 + 0.5) * smooth((4.5 - np.abs(b)) / 3 + 0.5)
    return c


def survey(c: Coast) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """What a survey makes of it: elevation and its 1-sigma uncertainty, NaN where nothing was measured."""
    depth = np.clip(-c.z, 0, None)
    sigma = 0.06 + 0.005 * depth + np.where(c.land, 0.10, 0.0)
    swath = np.floor((c.x * 0.91 + c.y * 0.41) / 95).astype(int)
    offset = RNG.uniform(-0.06, 0.06, swath.max() + 1)[swath]
    z = c.z + np.where(c.land, 0, offset) + 0.6 * sigma * RNG.standard_normal(c.z.shape)
    old = (c.x * 0.8 + c.y + 50 * np.sin(c.x / 90)) < 640
    small = gaussian_filter(c.z, 2)[4::8, 4::8] + 0.15 * RNG.standard_normal((ROWS // 8, COLS // 8))
    z = np.where(old, zoom(small, 8, order=3, mode="nearest", grid_mode=True), z)
    sigma = np.where(old, 0.45, sigma)
    lost = np.zeros(z.shape, dtype=bool)
    blob = gaussian_filter(RNG.standard_normal(z.shape), 14)
    lost |= (blob > np.quantile(blob, 0.985)) & ~c.land
    wedge = (c.x - 2050) * 0.41 - (c.y - 1600) * 0.91
    lost |= (np.abs(wedge - 270) < 0.02 * (c.x - 1500)) & (c.x > 1500) & ~old
    surf = gaussian_filter(RNG.standard_normal(z.shape), 25)
    lost |= (depth > 0) & (depth < 1.2) & (surf > 0.3 * surf.std()) & (c.x > 1850)
    stray = RNG.random(z.shape) < 2e-5
    z = np.where(stray & ~c.land & ~old, z + RNG.uniform(1.5, 3, z.shape), z)
    z[lost], sigma[lost] = np.nan, np.nan
    # Steps of 1/64 m, far below the noise: the low bits of a float stay empty, which halves the file.
    return (np.round(z * 64) / 64).astype(np.float32), (np.round(sigma * 64) / 64).astype(np.float32)


def write_grid(path: Path, bands: tuple[NDArray[np.float32], NDArray[np.float32]]) -> None:
    """Two bands, elevation positive up and its uncertainty, deflated."""
    profile: dict[str, Any] = {
        "driver": "GTiff",
        "height": ROWS,
        "width": COLS,
        "count": 2,
        "dtype": "float32",
        "crs": CRS,
        "transform": from_origin(WEST, NORTH, CELL, CELL),
        "nodata": float("nan"),
        "compress": "deflate",
        "predictor": 3,
        "zlevel": 9,
        "tiled": True,
        "blockxsize": 256,
        "blockysize": 256,
    }
    with rasterio.open(path, "w", **profile) as out:
        for i, (name, band) in enumerate(zip(("Elevation", "Uncertainty"), bands, strict=True), 1):
            out.write(band, i)
            out.set_band_description(i, name)
            out.set_band_unit(i, "m")
        out.update_tags(
            TITLE="Invented coast, not a real place; not for navigation",
            POSITIVE="up",
            UNCERTAINTY="1 sigma of an elevation, metres",
        )


TO_LONLAT = Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)


def lonlat(points: Any) -> list[list[float]]:
    """Local metres to longitude and latitude, seven decimals."""
    p = np.atleast_2d(np.asarray(points, dtype=float))
    lon, lat = TO_LONLAT.transform(p[:, 0] + WEST, p[:, 1] + NORTH - ROWS * CELL)
    return [[round(float(a), 7), round(float(b), 7)] for a, b in zip(lon, lat, strict=True)]


def _feature(name: str, kind: str, shape: str, points: Any) -> dict[str, Any]:
    xy: Any = lonlat(points)
    coordinates = xy[0] if shape == "Point" else [xy] if shape == "Polygon" else xy
    return {
        "type": "Feature",
        "properties": {"name": name, "kind": kind},
        "geometry": {"type": shape, "coordinates": coordinates},
    }


def _write_json(path: Path, features: list[dict[str, Any]]) -> None:
    body = ",\n".join(json.dumps(f) for f in features)
    path.write_text('{"type": "FeatureCollection", "features": [\n' + body + "\n]}\n", encoding="utf-8")


def write_land(folder: Path, z: Grid) -> None:
    """Ground above chart datum, as a map maker has it; the mainland goes on for 3 km beyond the grid."""
    dry = np.pad(z > 0, ((1500, 0), (0, 0)), mode="edge")
    outline = from_origin(0.0, (ROWS + 1500) * CELL, CELL, CELL)
    parts = [shape(part) for part, value in shapes(dry.astype("uint8"), mask=dry, transform=outline) if value]
    rings = [part.simplify(3.0).exterior.coords for part in parts if part.area > 200.0]
    _write_json(folder / "land.geojson", [_feature("", "land", "Polygon", list(ring)) for ring in rings])


def write_around(folder: Path) -> None:
    """What stands and what is closed: structure, fairway, reserve."""
    box = np.array([(560, 1400), (900, 1400), (900, 1180), (560, 1180), (560, 1400)], float)[::-1]
    a, b = (np.array(p) for p in CHANNEL)
    side = np.array([(b - a)[1], -(b - a)[0]]) / np.hypot(*(b - a)) * 45
    fairway = np.array([a + side, a - side, b - side, b + side, a + side])
    _write_json(
        folder / "structures.geojson",
        [
            _feature("Quillet breakwater", "breakwater", "LineString", curve(BREAKWATER)[::25]),
            _feature("Salt Pier", "pier", "LineString", curve(PIER)[::25]),
            _feature("barge Ottoline", "wreck", "Point", [BARGE]),
        ],
    )
    _write_json(folder / "closed.geojson", [_feature("Combs nursery ground", "reserve", "Polygon", box)])
    _write_json(folder / "caution.geojson", [_feature("Port Quillet fairway", "fairway", "Polygon", fairway)])


START = datetime(2024, 5, 14, 7, 30, tzinfo=UTC)
TIDE = [(-4.2, 3.31), (2.05, 0.62), (8.3, 3.52), (14.6, 0.48)]
"""High and low waters: hours from the start of the log, height over chart datum in metres."""


def tide_at(hours: float) -> float:
    """Height of the tide by the cosine between high and low water."""
    for (t0, h0), (t1, h1) in pairwise(TIDE):
        if t0 <= hours <= t1:
            return h0 + (h1 - h0) * (1 - float(np.cos(np.pi * (hours - t0) / (t1 - t0)))) / 2
    raise ValueError("outside the tide table")


def write_log(folder: Path, c: Coast) -> None:
    """A day's lines over Lantern Ledge, with cross lines: every 2 s a fix and a depth.

    Depths are below the transducer, 0.4 m under water, and hold the tide, heave and a few wrong echoes.
    """
    legs = [[(1300, y), (1950, y)][:: 1 if i % 2 == 0 else -1] for i, y in enumerate(range(640, 1020, 24))]
    legs += [[(x, 1010), (x, 640)][:: 1 if i % 2 == 0 else -1] for i, x in enumerate((1420, 1600, 1780))]
    path = np.array([p for leg in legs for p in leg], float)
    s = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    along = np.arange(0, s[-1], 2.6 * 2.0)
    xy = np.stack([np.interp(along, s, path[:, 0]), np.interp(along, s, path[:, 1])], -1)
    xy += gaussian_filter(RNG.standard_normal(xy.shape), (25, 0)) * 14
    rows, cols = (ROWS - xy[:, 1] / CELL).astype(int), (xy[:, 0] / CELL).astype(int)
    heave = 0.08 * np.sin(np.arange(len(xy)) * 1.9)
    with (folder / "tide_table.csv").open("w", newline="", encoding="utf-8") as stream:
        table = csv.writer(stream, lineterminator="\n")
        table.writerow(["time_utc", "height_m", "state"])
        for hours, height in TIDE:
            when = START + timedelta(hours=hours)
            table.writerow([f"{when:%Y-%m-%dT%H:%M:%SZ}", f"{height:.2f}", "high" if height > 2 else "low"])
    with (folder / "sounder_log.csv").open("w", newline="", encoding="utf-8") as stream:
        log = csv.writer(stream, lineterminator="\n")
        log.writerow(["time_utc", "lon", "lat", "depth_m"])
        for i, (place, z) in enumerate(zip(lonlat(xy), c.z[rows, cols], strict=True)):
            depth = -z + tide_at(2.0 * i / 3600) - 0.4 + heave[i] + RNG.normal(0, 0.06)
            if RNG.random() < 0.004:
                depth = RNG.choice([1.1, depth * 2])
            when = START + timedelta(seconds=2 * i)
            log.writerow([f"{when:%Y-%m-%dT%H:%M:%SZ}", f"{place[0]:.6f}", f"{place[1]:.6f}", f"{depth:.2f}"])


NIGHT = {
    "tides.csv": """time_utc,height_m,state
2027-02-11T13:02:00Z,0.74,low
2027-02-11T19:14:00Z,3.31,high
2027-02-12T01:31:00Z,0.69,low
2027-02-12T07:45:00Z,3.28,high
2027-02-12T14:03:00Z,0.81,low
""",
    "gear.toml": """# The gear book: every net that is aboard. Lengths carry a unit or are metres.
[[nets]]
name = "A"
count = 4
rope_m = "26m"
marks_m = "2m"
line = "floating"
line_diameter_m = "8mm"
float_lift_kgf = 9
radius_m = "0.6m"
weight_kg = 11
sink_m_per_s = 0.5
light = "white, steady; red tape once pulled"

[[nets]]
name = "B"
count = 2
rope_m = "80ft"
marks_m = "1fathom"
line = "sinking"
float_lift_kgf = 9
radius_m = "0.6m"
light = "white, steady; red tape once pulled"
""",
    "boat.toml": """# The boat, its limits, and who is told. Nothing here is real.
name = "Pipit"
kind = "open boat, outboard"
registration = "XX 0000"
colours = "white hull, orange rail"
engine = "one outboard, 40 hp"
radio = "handheld, channel of your waters"
safety = "life jackets 2, flares 4, torch 2, anchor, bailer"
length_m = "5.2m"
draft_m = "0.5m"
transducer_m = "0.3m"
freeboard_m = "0.6m"
speed_kn = 9
fuel_l_per_h = 11
fuel_l = 45
set_min = 3
handling_min = 7
haul_side = "starboard"

[limits]
wind_kn = 15
gust_kn = 20
wave_m = "1.0m"
visibility_m = "2nmi"
crew = 2
turn_back = "00:30"
refuge = "Port Quillet, inside the breakwater"

[ashore]
skipper = "A. Invented"
phone = "000 0000"
persons = ["A. Invented", "B. Invented"]
contact = "C. Invented"
contact_phone = "000 0001"
rescue_phone = "the number of your coast guard"
late_min = 60
from_place = "Port Quillet slip"
""",
    "forecast.toml": """# The forecast as you read it: the worst of the night.
source = "typed in by hand"
issued = "2027-02-11 16:00"
wind_kn = 11
wind_from_deg = 225
gust_kn = 16
wave_m = "0.6m"
wave_period_s = 7
visibility_m = "5nmi"

[[stream]]
at = "17:00"
to_deg = 70
speed_kn = 0.6

[[stream]]
at = "21:30"
to_deg = 250
speed_kn = 0.4
""",
    "rules.toml": """# Limits that YOU copied from your local rules; these are invented. No law is built in.
source = "invented for the demo"
season_from = "--11-01"
season_to = "--04-30"
hours_from = "17:00"
hours_to = "06:00"
nets_per_person = 5
nets_per_boat = 10
bag_per_person = 6
minimum_size_m = "87mm"
reporting_areas = ["Quillet"]
float_marks = "name and number"
""",
}
"""Books for one invented night at the invented coast."""


def write_night(folder: Path) -> None:
    """Tide, gear, boat, forecast and rules of one night."""
    folder.mkdir(exist_ok=True)
    for name, text in NIGHT.items():
        (folder / name).write_text(text, encoding="utf-8")


README = """# An invented coast

Nothing in this folder is real. `scripts/make_samples.py` draws it from formulas and fixed seeds; the
coordinates lie over deep ocean, far from land, so that nobody takes it for a place. Not for navigation.

- `demo_coast.tif`: elevation (positive up, metres) and its uncertainty (1 sigma), 2 m cells, 2.4 x 2.0 km,
  land included; with gaps, faint swath seams, a few stray cells, and a corner known only from old soundings
  16 m apart.
- `land.geojson`: the land, from which the open water around a site is measured.
- `structures.geojson`: a breakwater, a pier, a sunken barge.
- `closed.geojson`, `caution.geojson`: a reserve; a fairway.
- `sounder_log.csv`, `tide_table.csv`: a boat's depths over Lantern Ledge (below a transducer 0.4 m under
  water, not reduced for tide, a few wrong echoes), and the day's high and low waters.
- `night/`: tide table, gear, boat, forecast and local rules of one invented night, for `reefscan plan`.

What is there to find: the gullies and the outer edge of The Combs, Lantern Ledge and the trough behind it,
Far Step, Widow's Table, rock piles and boulders, the foot of the breakwater. What should not be taken for
it: the dredged channel, the spoil heaps, the barge's scour pit, the sand waves of Dunlin Bank, the seams.
"""


def main(folder: Path) -> None:
    """Write every file of the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    coast = build()
    write_grid(folder / "demo_coast.tif", survey(coast))
    write_land(folder, coast.z)
    write_around(folder)
    write_log(folder, coast)
    write_night(folder / "night")
    (folder / "README.md").write_text(README, encoding="utf-8")
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        print(f"{path.name:20} {path.stat().st_size / 1e3:8.1f} kB")


if __name__ == "__main__":
    default = Path(__file__).resolve().parents[1] / "data_samples"
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else default)
