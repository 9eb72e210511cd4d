"""The awkward files: one row a trap, written afresh, with what must come of it.

`outcome` is ``opens``, ``note`` (opens, and says so) or the name of the error; ``says`` must be in the note or
the message. The table in AWKWARD.md is made from these rows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import h5py
import netCDF4
import numpy as np
from rasterio.transform import Affine

from .seabed import CELL, CRS, NORTH, WEST, cells, write

Make = Callable[[Path], Path]


@dataclass(frozen=True)
class Awkward:
    """A form, its trap and what comes of it."""

    name: str
    form: str
    trap: str
    outcome: str
    make: Make
    says: str = ""
    said: dict[str, Any] = field(default_factory=dict)
    low_m: float | None = None
    """Least elevation that must be read, where it opens."""
    known: float | None = None
    """Share of cells that must be known, where it opens."""


def tif(z: np.ndarray, **more: Any) -> Make:
    return lambda folder: write(folder / "a.tif", z, **more)


def holed(value: float, dtype: str = "f4") -> np.ndarray:
    z = cells().astype(dtype)
    z[40:60, 30:90] = value
    return z


def topo() -> np.ndarray:
    """A shore: rough hills to 60 m on the west side, sea floor to 18 m on the east."""
    z = cells()
    x = np.arange(z.shape[1])
    bumps = np.random.default_rng(3).normal(scale=0.6, size=z.shape)
    hill = np.clip((80 - x) * 0.9, 0, None)
    return np.where(x[None, :] < 70, 3.0 + hill[None, :] + bumps, z)


def clipped() -> np.ndarray:
    x = np.arange(300)[None, :] * 0.2
    return np.maximum(
        -5.0 - x + cells() * 0.05 + np.random.default_rng(2).normal(scale=0.02, size=(260, 300)), -45.0
    )


def repeated() -> np.ndarray:
    z = cells() + np.random.default_rng(2).normal(scale=0.02, size=(260, 300))
    return np.pad(z[6:-6, 4:], ((6, 6), (4, 0)), mode="edge")


def cf(
    variables: dict[str, dict[str, Any]],
    *,
    down: tuple[str, ...] = (),
    lon0: float = 174.0,
    names: tuple[str, str] = ("lat", "lon"),
    bare: bool = False,
) -> Make:
    """A netCDF grid in degrees; ``bare`` leaves its coordinates without attributes, as a plain array library writes them."""

    def make(folder: Path) -> Path:
        with netCDF4.Dataset(folder / "a.nc", "w") as out:
            lat, lon = np.linspace(-41.4, -41.5, 81), np.linspace(lon0 + 0.1, lon0 + 0.2, 91)
            for name, values, unit in zip(names, (lat, lon), ("degrees_north", "degrees_east"), strict=True):
                out.createDimension(name, values.size)
                v = out.createVariable(name, "f8", (name,))
                v[:] = values
                if not bare:
                    v.units = unit
            z = -10.0 - 3.0 * np.sin(lon[None, :] * 300) * np.cos(lat[:, None] * 200)
            for name, attributes in variables.items():
                v = out.createVariable(name, "f4", names)
                v[:] = -z if name in down else z
                for key, value in attributes.items():
                    setattr(v, key, value)
        return folder / "a.nc"

    return make


def s102(folder: Path) -> Path:
    """A minimal S-102 edition 2.2 file (layout after IHO S-102 2.2, and GDAL's reader of it)."""
    rows, cols = 50, 60
    with h5py.File(folder / "a.h5", "w") as f:
        f.attrs["productSpecification"] = np.bytes_("INT.IHO.S-102.2.2")
        f.attrs["horizontalCRS"] = np.int32(32760)
        f.attrs["verticalDatum"] = np.int32(12)
        coverage = f.create_group("BathymetryCoverage")
        coverage.attrs["dataCodingFormat"] = np.uint8(2)
        coverage.attrs["numInstances"] = np.uint8(1)
        one = coverage.create_group("BathymetryCoverage.01")
        for key, value in {
            "gridOriginLongitude": WEST + CELL / 2,
            "gridOriginLatitude": NORTH - rows * CELL + CELL / 2,
            "gridSpacingLongitudinal": CELL,
            "gridSpacingLatitudinal": CELL,
        }.items():
            one.attrs[key] = np.float64(value)
        one.attrs["numPointsLongitudinal"] = np.uint32(cols)
        one.attrs["numPointsLatitudinal"] = np.uint32(rows)
        one.attrs["startSequence"] = np.bytes_("0,0")
        one.attrs["numGRP"] = np.uint8(1)
        values = np.zeros((rows, cols), dtype=[("depth", "<f4"), ("uncertainty", "<f4")])
        values["depth"] = -cells(cols, rows)[::-1]
        values["uncertainty"] = 0.49
        values[:5] = 1e6, 1e6
        group = one.create_group("Group_001")
        group.create_dataset("values", data=values)
        for key in ("minimumDepth", "maximumDepth", "minimumUncertainty", "maximumUncertainty"):
            group.attrs[key] = np.float32(1)
        text = h5py.string_dtype("utf-8")
        kinds = [(n, text) for n in "code name uom.name fillValue datatype lower upper closure".split()]
        facts = f.create_group("Group_F")
        facts.create_dataset(
            "BathymetryCoverage",
            data=np.array(
                [
                    ("depth", "depth", "metres", "1000000", "H5T_FLOAT", "-14", "11050", "gtLeInterval"),
                    (
                        "uncertainty",
                        "uncertainty",
                        "metres",
                        "1000000",
                        "H5T_FLOAT",
                        "0",
                        "",
                        "geSemiInterval",
                    ),
                ],
                dtype=np.dtype(kinds),
            ),
        )
        facts.create_dataset("featureCode", data=np.array(["BathymetryCoverage"], dtype=text))
    return folder / "a.h5"


def text(content: str, name: str) -> Make:
    def make(folder: Path) -> Path:
        (folder / name).write_text(content)
        return folder / name

    return make


LOW = float(cells().min())

ROWS: list[Awkward] = [
    Awkward("nan", "GeoTIFF", "NaN without a nodata tag", "opens", tif(holed(np.nan)), low_m=LOW),
    Awkward("infinite", "GeoTIFF", "infinite cells", "opens", tif(holed(-np.inf)), low_m=LOW),
    Awkward("tag", "GeoTIFF", "nodata tag 1e6", "opens", tif(holed(1e6), nodata=1e6), low_m=LOW),
    Awkward("9999", "GeoTIFF", "9999 not tagged", "note", tif(holed(9999.0)), "9999 is taken for 'no data'", low_m=LOW),
    Awkward("m9999", "GeoTIFF", "-9999 not tagged", "note", tif(holed(-9999.0)), "-9999 is taken", low_m=LOW),
    Awkward("1e6", "GeoTIFF", "1e6 not tagged", "note", tif(holed(1e6)), "1e+06 is taken", low_m=LOW),
    Awkward("lowest", "GeoTIFF float64", "-1.7e308 not tagged", "note", tif(holed(-1.7e308, "f8")), "-1.7e+308", low_m=LOW),
    Awkward("int16", "GeoTIFF int16, decimetres", "-32768 not tagged", "note",
            lambda f: write(f / "a.tif", np.where(np.isnan(holed(np.nan)), -32768, np.rint(cells() * 10)).astype("i2"), unit="dm"),
            "-32768 is taken", low_m=round(LOW, 1)),
    Awkward("alldata", "GeoTIFF", "every cell nodata", "InputError", tif(np.full((20, 20), -9999.0, "f4"), nodata=-9999.0), "every cell is nodata"),
    Awkward("positive", "GeoTIFF", "all values above zero, nothing named", "AmbiguousError", tif(-cells()), "Say --positive down"),
    Awkward("positive-said", "GeoTIFF", "the same with --positive down", "opens", tif(-cells()), said={"positive": "down"}, low_m=LOW),
    Awkward("depth-band", "GeoTIFF", "band called depth, positive", "opens", tif(-cells(), name="Depth"), low_m=LOW),
    Awkward("depth-negative", "GeoTIFF", "band called depth, but negative", "note", tif(cells(), name="depth"), "taken for elevations", low_m=LOW),
    Awkward("shore", "GeoTIFF", "land and sea, nothing named: rough, high land shows the sign", "note", tif(topo()), "sign read off the land"),
    Awkward("shore-down", "GeoTIFF", "land and sea, depths positive, nothing named", "note", tif(-topo()), "the side below zero is rough"),
    Awkward("shore-lies", "GeoTIFF", "band called elevation, but the land is below zero", "AmbiguousError", tif(-topo(), name="elevation"), "--positive"),
    Awkward("flats", "GeoTIFF", "drying flats, -1.2 to 4: no side is clearly land", "AmbiguousError", tif(cells() / 4 + 4), "which side is water"),
    Awkward("millimetres", "GeoTIFF", "millimetres, not said", "AmbiguousError", tif(np.rint(cells() * 1000).astype("i4")), "Say --value-unit"),
    Awkward("centimetres", "GeoTIFF", "centimetres, not said: too steep for metres", "AmbiguousError", tif(cells() * 100), "really metres"),
    Awkward("foreign", "GeoTIFF", "unit dB", "AmbiguousError", tif(cells(), unit="dB"), "'dB', which is not a length"),
    Awkward("nocrs", "GeoTIFF", "no CRS, metres", "NoCrsError", tif(cells(), crs=None), "--crs"),
    Awkward("nocrs-degrees", "GeoTIFF", "no CRS, numbers like degrees", "NoCrsError",
            tif(cells(), crs=None, transform=Affine(1e-4, 0, 204.9, 0, -1e-4, 19.7)), "say --crs EPSG:4326"),
    Awkward("local", "GeoTIFF", "a local (engineering) CRS", "NoCrsError",
            tif(cells(), crs='LOCAL_CS["site",UNIT["metre",1]]'), "is local"),
    Awkward("absurd", "GeoTIFF", "cells of 1e-9 m", "InputError", tif(cells(), transform=Affine(1e-9, 0, WEST, 0, -1e-9, NORTH)), "a cell would be"),
    Awkward("degrees-wrong", "GeoTIFF", "metres labelled as degrees", "InputError", tif(cells(), crs="EPSG:4326"), "not a longitude and latitude"),
    Awkward("clipped", "GeoTIFF", "cut off flat at -45 m", "note", tif(clipped()), "cut off flat at a depth of 45 m (148 ft)"),
    Awkward("repeated", "GeoTIFF", "edge rows and columns that repeat", "note", tif(repeated()), "6 rows at the first"),
    Awkward("backscatter", "GeoTIFF", "only backscatter bands", "InputError", tif(cells(), name="bs11"), "no band of depths"),
    Awkward("unnamed", "GeoTIFF", "three bands without names", "AmbiguousError", tif(np.stack([cells()] * 3)), "--variable 1"),
    Awkward("picture", "GeoTIFF", "a picture", "InputError", tif(np.zeros((3, 9, 9), "u1"), photometric="RGB"), "is a picture"),
    Awkward("complex", "GeoTIFF", "complex numbers", "InputError", tif(cells().astype("c8")), "complex"),
    Awkward("one-cell", "GeoTIFF", "one cell", "opens", tif(cells()[:1, :1])),
    Awkward("one-row", "GeoTIFF", "one row", "opens", tif(cells()[:1])),
    Awkward("empty", "GeoTIFF", "0 bytes", "UnreadableError", text("", "a.tif"), "0 bytes"),
    Awkward("not-a-raster", "GeoTIFF", "text under the name of a raster", "UnreadableError", text("hello", "a.tif"), "not a grid"),
    Awkward("nc", "netCDF", "one variable, named", "opens", cf({"elevation": {"units": "m"}})),
    Awkward("nc-standard", "netCDF", "two variables: standard_name decides", "note",
            cf({"foo": {"units": "m", "standard_name": "sea_floor_depth_below_mean_sea_level"}, "bar": {"units": "m"}}, down=("foo",)),
            "variable 'foo'"),
    Awkward("nc-three", "netCDF", "three variables alike", "AmbiguousError",
            cf({n: {"units": "m"} for n in ("depth_a", "depth_b", "elevation")}), "--variable"),
    Awkward("nc-three-said", "netCDF", "the same with --variable", "note",
            cf({n: {"units": "m"} for n in ("depth_a", "depth_b", "elevation")}), "variable 'elevation'", {"variable": "elevation"}),
    Awkward("nc-none", "netCDF", "no variable like a seabed", "InputError", cf({"t": {"units": "K"}, "s": {"units": "1e-3"}}), "looks like a seabed"),
    Awkward("nc-positive", "netCDF", "positive = down", "opens", cf({"z": {"units": "m", "positive": "down"}}, down=("z",))),
    Awkward("nc-contradicts", "netCDF", "positive = down, all below zero", "AmbiguousError",
            cf({"z": {"units": "m", "positive": "down"}}), "all below zero"),
    Awkward("nc-sigma", "netCDF", "uncertainty as a variable of its own", "note",
            cf({"elevation": {"units": "m"}, "elevation_uncertainty": {"units": "m"}}), "±1 sigma"),
    Awkward("nc-360", "netCDF", "across the antimeridian, 179.9 to 180.2", "opens", cf({"elevation": {"units": "m"}}, lon0=179.8)),
    Awkward("nc-bare", "netCDF", "coordinates x and y without attributes", "NoCrsError",
            cf({"elevation": {"units": "m"}}, names=("y", "x"), bare=True), "say --crs EPSG:4326"),
    Awkward("nc-bare-said", "netCDF", "the same with --crs", "note",
            cf({"elevation": {"units": "m"}}, names=("y", "x"), bare=True), "places taken from its coordinate variables", {"crs": "EPSG:4326"}),
    Awkward("s102", "S-102", "depth with uncertainty at 95 %, nodata 1e6", "note", s102, "read as 95 %", low_m=float(cells(60, 50)[:45].min())),
    Awkward("soundings", "XYZ", "points on no grid", "InputError",
            text("\n".join(f"{1000 + 7.3 * i % 97} {2000 + 3.1 * i * i % 89} {-i % 9}" for i in range(200)), "a.xyz"), "no regular grid"),
    Awkward("words", "XYZ", "words", "UnreadableError", text("a b c\nd e f\n", "a.xyz"), "not a table"),
]  # fmt: skip


def table(rows: list[Awkward]) -> str:
    """The rows as a Markdown table."""
    outcome = {"opens": "opens", "note": "opens, with a note"}
    lines = [
        "# Awkward files",
        "",
        "What comes of each, checked by `test_awkward.py`, which also keeps this table as it is.",
        "",
        "| form | trap | outcome | says |",
        "|---|---|---|---|",
    ]
    lines += [
        f"| {r.form} | {r.trap} | {outcome.get(r.outcome, f'refused ({r.outcome})')} | {r.says} |"
        for r in rows
    ]
    return "\n".join(lines) + "\n"


__all__ = ["CRS", "ROWS", "Awkward", "table"]
