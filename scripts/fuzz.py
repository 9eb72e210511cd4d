"""Attack every reader with damaged files, and look for tracebacks, hangs, memory, half files and requests.

``python scripts/fuzz.py --seconds 300 vrt picks`` does so for five minutes each; without names, all of them. A case is
its reader's name and a number, and nothing else: ``--case 17`` plays that one again. What fails is kept with all its
files in ``--keep``. Each case runs in a process of its own, forked from one in which everything is loaded.
"""

from __future__ import annotations

import argparse
import collections
import contextlib
import copy
import io
import json
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT)]

import geopandas as gpd  # noqa: E402
import h5py  # noqa: E402
import rasterio  # noqa: E402
import rasterio.shutil  # noqa: E402
import shapely  # noqa: E402
from rasterio.transform import Affine  # noqa: E402

import reefscan.pipeline.surveying  # noqa: E402, F401 - loaded before the first fork
from reefscan import cli  # noqa: E402
from reefscan.cli.quiet import hush  # noqa: E402
from reefscan.io.logs.soundings import ReadOptions, read_logs, tabulate  # noqa: E402
from reefscan.io.logs.tides import read_tide  # noqa: E402
from tests.io.baits import grids, vectors  # noqa: E402
from tests.io.loopback import Loopback  # noqa: E402

LONGEST_S = 30.0
MOST_BYTES = 2 << 30

Call = Callable[[], int]


@dataclass
class Toll:
    """What was done with one reader: cases, how they ended, and what failed."""

    ends: collections.Counter[str] = field(default_factory=collections.Counter)
    failures: list[str] = field(default_factory=list)
    asked: int = 0
    slowest_s: float = 0.0
    most_bytes: int = 0

    @property
    def cases(self) -> int:
        """All of them."""
        return sum(self.ends.values())


@dataclass(frozen=True)
class Ground:
    """What the cases of one reader are made from: files by name, and words that mean something in them."""

    files: dict[str, bytes]
    words: tuple[bytes, ...] = ()
    calls: Callable[[Path, random.Random], Call] = lambda folder, dice: lambda: 0


NUMBERS = (
    b"nan", b"inf", b"-inf", b"1e999", b"-1", b"0", b"1e-320", b"9" * 5000, b"0x" + b"f" * 4000, b"1000000", b"99999999999",
    b"true", b"null", b"[]", b"{}", b'"', b"''", b"\x00", b"\xff\xfe", b"\n", b"\r\n" * 40, b"[" * 3000, b"{" * 3000,
    b"../" * 60, b"/dev/zero", b"%s%n", "\u202e\u0000\ufeff".encode(), b"A" * 70_000, b"<a>" * 2000, b"2024-02-30", b"1,5",
)  # fmt: skip


def mutated(data: bytes, dice: random.Random, words: tuple[bytes, ...]) -> bytes:
    """Damage bytes in one to a few of the ways that transport, editors and malice have."""
    out = bytearray(data)
    for _ in range(dice.choice((1, 1, 1, 2, 3, 8))):
        at = dice.randrange(len(out) + 1)
        size = int(2 ** dice.uniform(0, 12))
        kind = dice.randrange(9)
        if kind == 0 and out:  # bits
            for _ in range(dice.choice((1, 3, 40))):
                out[dice.randrange(len(out))] ^= 1 << dice.randrange(8)
        elif kind == 1:  # cut off
            del out[at:]
        elif kind == 2:  # a piece gone
            del out[at : at + size]
        elif kind == 3:  # a piece twice
            out[at:at] = out[at : at + size]
        elif kind == 4:  # zeros, as after a power cut
            out[at : at + size] = bytes(min(size, len(out) - at))
        elif kind == 5:  # a piece elsewhere
            piece = out[at : at + size]
            del out[at : at + size]
            to = dice.randrange(len(out) + 1)
            out[to:to] = piece
        elif kind == 6:  # whole numbers of a header
            out[at : at + 4] = dice.choice((b"\xff" * 4, b"\x7f\xff\xff\xff", b"\x00\x00\x00\x80", bytes(4)))
        elif kind == 7 and (
            marks := [i for i, b in enumerate(out[:200_000]) if b in b' ,=<>":\n']
        ):  # a value
            at = dice.choice(marks) + 1
            end = next((i for i in range(at, min(at + 60, len(out))) if out[i] in b' ,<>":\n'), at)
            out[at:end] = dice.choice(words + NUMBERS)
        else:
            out[at:at] = dice.choice(words + NUMBERS)
    return bytes(out)


ODD: tuple[object, ...] = (
    None, True, -1, 0, 10**400, 1e308, "", "x", "\u202e", "A" * 70_000, [], {}, [[]], {"a": {}}, [None] * 3, "2024-02-30", "nan",
    "../../x", "/dev/zero", -91, 361, 1e-320, "<b>", "\x00",
)  # fmt: skip
"""Values that a document of JSON may hold where others are meant."""

ODD_TOML = (
    "[]", "{}", "-1", "0", "1e400", "nan", "inf", '"x"', "2024-02-30", "2024-01-01", "07:00:00", "true", '"-5ft"', '"1e300m"',
    "9" * 5000, "0x" + "f" * 4000, "[" * 3000, '"9mm"', "[1, 2]", '["9"]',
)  # fmt: skip


def odd_json(data: bytes, dice: random.Random, words: tuple[bytes, ...]) -> bytes:
    """Put odd values into some places of a document, or take places away; it stays JSON."""
    document = json.loads(data)
    values = [*ODD, *(word.decode("utf-8", "replace").strip('"') for word in words)]
    for _ in range(dice.choice((1, 1, 2, 5))):
        node = document
        for _ in range(dice.randrange(1, 7)):
            keys = list(node) if isinstance(node, dict) else list(range(len(node)))
            if not keys:
                break
            key = dice.choice(keys)
            if isinstance(node[key], (dict, list)) and dice.random() < 0.8:
                node = node[key]
                continue
            if isinstance(node, dict) and dice.random() < 0.15:
                del node[key]
            else:
                node[key] = copy.deepcopy(dice.choice(values))  # the next odd value may go into it
            break
    return json.dumps(document).encode()


def odd_toml(data: bytes, dice: random.Random, words: tuple[bytes, ...]) -> bytes:
    """Put odd values behind some keys."""
    lines = data.decode().split("\n")
    keyed = [i for i, line in enumerate(lines) if " = " in line and not line.startswith("#")]
    for i in dice.sample(keyed, dice.choice((1, 1, 2, 5))):
        lines[i] = f"{lines[i].split(' = ')[0]} = {dice.choice(ODD_TOML)}"
    return "\n".join(lines).encode()


def hurt_file(name: str, data: bytes, dice: random.Random, words: tuple[bytes, ...]) -> bytes:
    """Damage a file: in its bytes, or where there is a form to keep half of the time in what it says."""
    odd = {".json": odd_json, ".geojson": odd_json, ".toml": odd_toml}.get(Path(name).suffix)
    return odd(data, dice, words) if odd is not None and dice.random() < 0.6 else mutated(data, dice, words)


# ------------------------------------------------------------------------------------- what is attacked

ROWS, COLS = 60, 70


def seabed(rows: int = ROWS, cols: int = COLS) -> np.ndarray:
    """Ground with something in it."""
    y, x = np.mgrid[:rows, :cols].astype("float32")
    return (-12 - 3 * np.sin(x / 9) - 2 * np.sin(y / 7)).astype("float32")


def tif(path: Path, cells: np.ndarray, **more: object) -> bytes:
    """A GeoTIFF's bytes."""
    profile = {
        "driver": "GTiff",
        "count": 1,
        "dtype": "float32",
        "crs": "EPSG:32631",
        "nodata": -9999.0,
        **more,
    }
    at = Affine(2, 0, 500_000, 0, -2, 5_500_000)
    with rasterio.open(
        path, "w", height=cells.shape[0], width=cells.shape[1], transform=at, **profile
    ) as out:
        out.write(cells, 1)
    return path.read_bytes()


def netcdf(path: Path) -> bytes:
    """A netCDF-4 file's bytes."""
    with h5py.File(path, "w") as file:
        z = file.create_dataset("elevation", data=seabed(), chunks=(20, 20), compression="gzip")
        for name, size in (("lat", ROWS), ("lon", COLS)):
            axis = file.create_dataset(name, data=(3.0 if name == "lon" else 50.0) + np.arange(size) * 2e-5)
            axis.make_scale(name)
        z.dims[0].attach_scale(file["lat"])
        z.dims[1].attach_scale(file["lon"])
        z.attrs["units"] = np.bytes_("m")
    return path.read_bytes()


def bag(path: Path, grid: Path) -> bytes:
    """A BAG's bytes."""
    rasterio.shutil.copy(grid, path, driver="BAG")
    return path.read_bytes()


LOG = "time,lon,lat,depth_m\n" + "".join(
    f"2024-05-01T10:{i // 60:02d}:{i % 60:02d}Z,{3 + i % 40 * 3e-5:.6f},{50 + i // 40 * 1e-4:.6f},{10 + i % 7 * 0.1:.2f}\n"
    for i in range(400)
)
NMEA = "".join(
    f"$GPGGA,10{i // 60:02d}{i % 60:02d},5000.{i:04d},N,00300.{i:04d},E,1,8,1,0,M,,M,,\n$SDDBT,32.8,f,{10 + i % 5 / 10:.1f},M,5.5,F\n"
    for i in range(300)
)
GPX = (
    '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    + "".join(f'<trkpt lat="50.{i:04d}" lon="3.{i:04d}"><ele>-{10 + i % 5}</ele><time>2024-05-01T10:00:{i % 60:02d}Z</time></trkpt>' for i in range(200))
    + "</trkseg></trk></gpx>"
)  # fmt: skip
B12 = json.dumps({
    "type": "FeatureCollection", "crs": {"type": "name", "properties": {"name": "EPSG:4326"}}, "properties": {"platform": {"sensors": []}},
    "features": [{"type": "Feature", "properties": {"depth": 10 + i % 5, "time": f"2024-05-01T10:00:{i % 60:02d}Z"},
                  "geometry": {"type": "Point", "coordinates": [3 + i * 1e-5, 50]}} for i in range(200)],
})  # fmt: skip
AREA = json.dumps(
    {"type": "Polygon", "coordinates": [[[2.9, 49], [3.2, 49], [3.2, 50], [2.9, 50], [2.9, 49]]]}
)
TIDE = "time_utc,height_m\n" + "".join(f"2024-05-01T{h:02d}:00:00Z,{np.sin(h / 2):.2f}\n" for h in range(24))


def look(name: str) -> Callable[[Path, random.Random], Call]:
    """Call ``look`` on a file, or now and then on its folder."""
    return lambda folder, dice: (
        lambda: cli.run(["look", str(folder if dice.random() < 0.2 else folder / name)])
    )


def log(name: str) -> Callable[[Path, random.Random], Call]:
    """Read a log, and now and then make a grid of it."""

    def of(folder: Path, dice: random.Random) -> Call:
        out = ["--out", str(folder / "out.tif"), "--quiet", "--depth-unit", "m", "--date", "2024-05-01"]
        if dice.random() < 0.1:
            return lambda: cli.run(["grid", str(folder / name), *out])

        def read() -> int:
            tabulate(read_logs([folder / name], ReadOptions(date="2024-05-01")))
            return 0

        return read

    return of


def tide(folder: Path, dice: random.Random) -> Call:
    """Read a file of tides."""

    def read() -> int:
        read_tide(folder / "t.csv", unit=1.0)
        return 0

    return read


def with_grid(*args: str) -> Callable[[Path, random.Random], Call]:
    """A command whose option names the damaged file."""
    return lambda folder, dice: lambda: cli.run([a.format(folder=folder) for a in args])


def of_run(folder: Path, dice: random.Random) -> Call:
    """A command that reads a run."""
    run = str(folder)
    picks = ["--picks", str(folder / "picks.json")] if (folder / "picks.json").exists() else []
    commands = [
        ["status", run], ["rescore", run, "--json"], ["export", run, "--out", f"{run}/out.gpx", *picks],
        ["export", run, "--out", f"{run}/out.gpkg", *picks], ["compare", run, run], ["cards", run, "--top", "1", "--out", f"{run}/out.pdf"],
    ]  # fmt: skip
    command = dice.choice(commands[2:4] if picks else commands)
    return lambda: cli.run(command)


def around(folder: Path, dice: random.Random) -> Call:
    """A scan that is handed shapes, a chart and a table of its classes, one of them damaged."""
    roles = [f"--{dice.choice(('closed', 'caution', 'hard', 'land'))}", str(folder / "s.geojson")]
    chart = ["--hard", str(folder / "chart.gpkg"), "--classes", str(folder / "c.toml")]
    asked = dice.choice((roles, chart, roles + chart))
    return lambda: cli.run(["scan", str(folder / "a.tif"), "--depth", "2m", "40m", *asked, "--json"])


def night(launch: str) -> Callable[[Path, random.Random], Call]:
    """A plan from a good run and a damaged book of the night."""

    def of(folder: Path, dice: random.Random) -> Call:
        books = folder / "night"
        words = [
            w
            for name in ("gear", "boat", "forecast", "rules")
            for w in (f"--{name}", str(books / f"{name}.toml"))
        ]
        return lambda: cli.run(
            ["plan", str(folder), "--date", "2027-02-11", "--tz", "UTC", "--until", "23:30", "--launch", launch, "--tide",
             str(books / "tides.csv"), "--tide-datum-offset", "0m", "--out", str(folder / "out"), *words]
        )  # fmt: skip

    return of


READERS = ("geotiff", "netcdf", "bag", "ascii", "xyz", "vrt", "csv", "nmea", "gpx", "geojson", "gpkg", "area", "tide", "recipe", "settings", "around", "picks", "run", "night")  # fmt: skip


def charted(work: Path) -> tuple[gpd.GeoDataFrame, bytes]:
    """A chart of four objects, written as a GeoPackage, and the table of its classes."""
    middle = shapely.Point(500_070, 5_499_940)
    chart = gpd.GeoDataFrame(
        {"OBJL": [112, 122, 42, 129], "RESTRN": ["3", None, None, None], "DRVAL1": [None, None, 5.0, None], "DRVAL2": [None, None, 9.0, None]},
        geometry=[middle.buffer(20), middle.buffer(40).boundary, middle.buffer(90), shapely.Point(500_050, 5_499_950, 7.0)], crs=32631,
    ).to_crs(4326)  # fmt: skip
    chart.to_file(work / "chart.gpkg", driver="GPKG")
    classes = (Path(cli.__file__).parents[1] / "io" / "chart_classes.toml").read_bytes()
    return chart, classes


def of_runs(work: Path, address: bytes) -> dict[str, Ground]:
    """What the readers of a run's folder, of picks and of a night's books are attacked with: a small run and its files."""
    y, x = np.mgrid[:240, :240]
    mounds = sum(
        4.0 * np.exp(-((x - c) ** 2 + (y - r) ** 2) / 50.0) for r, c in ((60, 60), (120, 180), (200, 90))
    )
    rough = np.random.default_rng(1).normal(0, 0.03, x.shape)
    tif(work / "big.tif", (-18 + mounds + 3.0 * (x > 130) + rough).astype("float32"))
    folder = work / "run"
    _printed(["scan", str(work / "big.tif"), "--depth", "5m", "30m", "--out", str(folder), "--quiet"])
    kept = {
        str(p.relative_to(folder)): p.read_bytes()
        for p in folder.rglob("*")
        if p.is_file() and p.name != "lock"
    }
    site = json.loads((folder / "candidates.geojson").read_text())["features"][0]
    lon, lat = site["geometry"]["coordinates"]
    pick = {
        "id": site["id"],
        "state": "keep",
        "name": "a",
        "note": "b",
        "lon": lon,
        "lat": lat,
        "depth_m": 5,
        "kind": "",
        "added": False,
    }
    new = {**pick, "id": "x", "added": True, "name": "<b>$[name]"}
    picks = json.dumps({"schema": "reefscan-picks/1", "run": "run", "picks": [pick, new]}).encode()
    out = {}
    out["run"] = Ground(kept, (b'"' + address + b'/a.tif"', b'"done"', b'"/dev/zero"'), of_run)
    out["picks"] = Ground({**kept, "picks.json": picks}, (b'"keep"', b'"added": true'), of_run)
    books = {f"night/{p.name}": p.read_bytes() for p in (ROOT / "data_samples" / "night").iterdir()}
    out["night"] = Ground(
        {**kept, **books}, (b"[[nets]]", b"[limits]", b"-5ft", b"2kn"), night(f"{lat},{lon}")
    )
    return out


def grounds(work: Path, url: str, names: list[str]) -> dict[str, Ground]:
    """Make what the cases of the named readers are made from."""
    address = url.encode()
    far = (
        address,
        b"/vsicurl/" + address + b"/a.tif",
        b'NETCDF:"' + address + b'/a.nc":z',
        b"WMS:" + address,
    )
    plain = tif(
        work / "a.tif", seabed(), tiled=True, blockxsize=32, blockysize=32, compress="deflate", predictor=3
    )
    asc = (
        "ncols 70\nnrows 60\nxllcorner 500000\nyllcorner 5400000\ncellsize 2\nNODATA_value -9999\n"
        + "\n".join(" ".join(f"{v:.2f}" for v in row) for row in seabed())
    )
    xyz = "".join(
        f"{500_000 + 2 * c} {5_500_000 - 2 * r} {seabed()[r, c]:.2f}\n" for r in range(40) for c in range(40)
    )
    (work / "baits").mkdir()
    mosaics = [p.read_bytes() for p in grids(work / "baits", url) if p.suffix == ".vrt"]
    leads = {p.suffix: p.read_bytes() for p in vectors(work / "baits", url)}
    points = gpd.GeoDataFrame(
        {"depth_m": np.arange(50.0)},
        geometry=gpd.points_from_xy(np.linspace(3, 3.01, 50), np.full(50, 50.0)),
        crs=4326,
    )
    points.to_file(work / "a.gpkg", driver="GPKG")
    recipe = _printed(["recipe"]).encode()
    settings = _printed(["grid", "x", "--out", "x.tif", "--print-settings"]).encode()
    chart, classes = charted(work)
    out = {
        "geotiff": Ground({"a.tif": plain}, far, look("a.tif")),
        "netcdf": Ground({"a.nc": netcdf(work / "a.nc")}, far, with_grid("look", "{folder}/a.nc", "--crs", "EPSG:4326")),
        "bag": Ground({"a.bag": bag(work / "a.bag", work / "a.tif")}, far, look("a.bag")),
        "ascii": Ground({"a.asc": asc.encode(), "a.prj": b"EPSG:32631"}, far, look("a.asc")),
        "xyz": Ground({"a.xyz": xyz.encode()}, (), with_grid("look", "{folder}/a.xyz", "--crs", "EPSG:32631")),
        "vrt": Ground({f"a{i}.vrt": text for i, text in enumerate(mosaics)} | {"a.tif": plain}, (*far, b"a.tif", b"a0.vrt"), with_grid("look", "{folder}")),
        "csv": Ground({"a.csv": LOG.encode()}, (b'"', b"#", b";", b"\t"), log("a.csv")),
        "nmea": Ground({"a.nmea": NMEA.encode()}, (b"$GPRMC", b"*00"), log("a.nmea")),
        "gpx": Ground({"a.gpx": GPX.encode()}, (b"<!DOCTYPE x [<!ENTITY a SYSTEM '" + address + b"'>]>", b"&a;"), log("a.gpx")),
        "geojson": Ground({"a.geojson": B12.encode()}, (b'"link"', b'"' + address + b'"', leads[".json"]), log("a.geojson")),
        "gpkg": Ground({"a.gpkg": (work / "a.gpkg").read_bytes()}, far, log("a.gpkg")),
        "area": Ground({"a.geojson": AREA.encode(), "a.tif": plain}, (b'"link"', leads[".json"], leads[".kml"], leads[".gml"]), with_grid("look", "{folder}/a.tif", "--area", "{folder}/a.geojson")),
        "tide": Ground({"t.csv": TIDE.encode()}, (b"Z0", b"M2,1,2", b"amplitude"), tide),
        "recipe": Ground({"r.toml": recipe}, (b"[[find]]", b"-5ft", b"1e300m"), with_grid("scan", "{folder}/none.tif", "--recipe", "{folder}/r.toml")),
        "settings": Ground({"s.toml": settings}, (b"[[clean]]", b"-5ft"), with_grid("grid", "x", "--out", "x.tif", "--settings", "{folder}/s.toml", "--print-settings")),
        "around": Ground({"s.geojson": chart.iloc[:2].to_json().encode(), "chart.gpkg": (work / "chart.gpkg").read_bytes(), "c.toml": classes, "a.tif": plain}, (b'"from"', b"role", b"margin_m", b"112"), around),
    }  # fmt: skip
    if "around" in names:  # the kernels are compiled before the first fork
        _printed(["scan", str(work / "a.tif"), "--depth", "2m", "40m"])
    if {"run", "picks", "night"} & set(names):
        out |= of_runs(work, address)
    return {name: out[name] for name in names}


def _printed(args: list[str]) -> str:
    with contextlib.redirect_stdout(io.StringIO()) as out, contextlib.redirect_stderr(out):
        if cli.run(args):
            raise SystemExit(f"what is to be damaged could not be made: {out.getvalue()}")
    return out.getvalue()


# ------------------------------------------------------------------------------------- one case


def prepare(ground: Ground, reader: str, number: int, folder: Path) -> random.Random:
    """Write the files of a case, one or more of them damaged; the same number gives the same files."""
    dice = random.Random(f"{reader} {number}")
    folder.mkdir(parents=True)
    names = sorted(ground.files)
    hurt = {"picks.json"} if reader == "picks" else {"t.csv"} if reader == "tide" else {dice.choice(names)}
    if reader == "night":
        hurt = {dice.choice([n for n in names if n.startswith("night/")])}
    if reader == "vrt":
        names = [*sorted(dice.sample([n for n in names if n.endswith(".vrt")], 3)), "a.tif"]
        hurt = {n for n in names if dice.random() < 0.6 and n != "a.tif"}
    for name in names:
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        data = ground.files[name]
        path.write_bytes(hurt_file(name, data, dice, ground.words) if name in hurt else data)
    odd = dice.random()
    if odd < 0.02:
        os.mkfifo(folder / ("pipe" + Path(names[0]).suffix))
    elif odd < 0.04:
        (folder / ("endless" + Path(names[0]).suffix)).symlink_to("/dev/zero")
    return dice


def child(call: Call, said: Path) -> None:
    """Run a call in this (forked) process, its words in a file, and end."""
    code = 70
    try:
        with open(said, "w", buffering=1, errors="replace") as words:
            for channel in (1, 2):
                os.dup2(words.fileno(), channel)
            sys.stdout = words
            sys.stderr = os.fdopen(2, "w", buffering=1, closefd=False)
            hush()
            resource.setrlimit(resource.RLIMIT_AS, (8 << 30, 8 << 30))
            try:
                from reefscan.base.errors import ReefscanError

                try:
                    code = call()
                except ReefscanError as error:
                    code = cli._say(str(error), 1)
            except BaseException:
                import traceback

                traceback.print_exc()
    finally:
        os._exit(code)


def play(ground: Ground, reader: str, number: int, folder: Path, toll: Toll) -> None:
    """Play one case in a process of its own and judge how it ended."""
    dice = prepare(ground, reader, number, folder)
    said = folder.with_name(folder.name + ".said")
    begun = time.monotonic()
    pid = os.fork()
    if pid == 0:
        child(ground.calls(folder, dice), said)
    ended, status, usage = 0, 0, None
    while not ended:
        ended, status, usage = os.wait4(pid, os.WNOHANG)
        if not ended and time.monotonic() - begun > LONGEST_S:
            os.kill(pid, signal.SIGKILL)
            ended, status, usage = os.wait4(pid, 0)
            break
        time.sleep(0.002)
    took, peak = time.monotonic() - begun, (usage.ru_maxrss if usage else 0) * 1024
    toll.slowest_s, toll.most_bytes = max(toll.slowest_s, took), max(toll.most_bytes, peak)
    wrong = judged(folder, said, status, took, peak)
    toll.ends[wrong or f"exit {os.WEXITSTATUS(status)}"] += 1
    if wrong:
        toll.failures.append(f"{reader} {number}: {wrong}")


def judged(folder: Path, said: Path, status: int, took_s: float, peak: int) -> str:
    """What is wrong with how a case ended; empty if nothing is."""
    text = said.read_text(errors="replace") if said.exists() else ""
    if took_s > LONGEST_S:
        return "hang"
    if os.WIFSIGNALED(status):
        return f"signal {os.WTERMSIG(status)}"
    if "Traceback" in text:
        return "traceback: " + text.strip().splitlines()[-1][:120]
    if "internal error" in text:
        return "internal error: " + text.strip().splitlines()[-1][:160]
    if os.WEXITSTATUS(status) not in (0, 1, 2, 3):
        return f"exit {os.WEXITSTATUS(status)}"
    if peak > MOST_BYTES:
        return "memory"
    for path in folder.rglob("*"):
        if ".part" in path.name:
            return "a half file left"
        if path.name == "out.tif":
            try:
                with rasterio.open(path) as out:
                    out.read()
            except rasterio.errors.RasterioError:
                return "half a file"
    return ""


def attack(
    reader: str, ground: Ground, work: Path, cases: Iterator[int], *, keep: Path | None = None
) -> Toll:
    """Play cases of one reader; the files of those that fail go to ``keep``."""
    toll = Toll()
    for number in cases:
        folder = work / f"{reader}-{number}"
        failed = len(toll.failures)
        play(ground, reader, number, folder, toll)
        if keep is not None and len(toll.failures) > failed:
            keep.mkdir(parents=True, exist_ok=True)
            shutil.copytree(
                folder,
                keep / folder.name,
                symlinks=True,
                dirs_exist_ok=True,
                ignore=lambda d, names: [n for n in names if (Path(d) / n).is_fifo()],
            )
            shutil.copy(folder.with_name(folder.name + ".said"), keep)
        shutil.rmtree(folder, ignore_errors=True)
        folder.with_name(folder.name + ".said").unlink(missing_ok=True)
    return toll


@contextlib.contextmanager
def arena(names: list[str]) -> Iterator[tuple[Path, dict[str, Ground], Loopback]]:
    """A folder to work in, what the cases are made from, and a server that counts who asks."""
    os.environ.update(NO_PROXY="127.0.0.1", no_proxy="127.0.0.1")
    with tempfile.TemporaryDirectory() as place, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        work = Path(place)
        os.environ["REEFSCAN_CACHE"] = str(work / "cache")
        with Loopback(work) as server:
            yield work, grounds(work, server.url("").rstrip("/"), names), server


def numbers(first: int, seconds: float, most: int | None) -> Iterator[int]:
    """Numbers of cases until the time or the count is out."""
    begun, number = time.monotonic(), first
    while time.monotonic() - begun < seconds and (most is None or number < first + most):
        yield number
        number += 1


def main() -> int:
    """Attack, and tell what came of it."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument(
        "readers", nargs="*", metavar="READER", help=f"of {', '.join(READERS)}; all if none is named"
    )
    asked.add_argument("--seconds", type=float, default=60.0, help="for each reader")
    asked.add_argument("--cases", type=int, default=None, help="at most so many for each reader")
    asked.add_argument("--first", type=int, default=0, help="number of the first case")
    asked.add_argument("--case", type=int, default=None, help="play this one again")
    asked.add_argument("--keep", type=Path, default=None, help="where the files of cases that fail go")
    told = asked.parse_args()
    readers = told.readers or list(READERS)
    if set(readers) - set(READERS):
        asked.error(f"wanted some of {', '.join(READERS)}")
    first, most = (told.first, told.cases) if told.case is None else (told.case, 1)
    failed = 0
    with arena(readers) as (work, made, server):
        for reader in readers:
            before = len(server.asked)
            toll = attack(reader, made[reader], work, numbers(first, told.seconds, most), keep=told.keep)
            toll.asked = len(server.asked) - before
            ends = ", ".join(f"{n} {what}" for what, n in toll.ends.most_common())
            print(
                f"{reader:9} {toll.cases:6} cases, {toll.asked} requests, longest {toll.slowest_s:.1f} s, most {toll.most_bytes / 1e9:.2f} GB: {ends}",
                flush=True,
            )
            for line in toll.failures[:20]:
                print(f"          {line}", flush=True)
            failed += len(toll.failures) + toll.asked
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
