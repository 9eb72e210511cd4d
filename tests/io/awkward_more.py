"""More awkward files: stored masks and fills, netCDF's many ways, text of points, mosaics, folders."""

from __future__ import annotations

import gzip
import shutil
import zipfile
from pathlib import Path
from typing import Any

import netCDF4
import numpy as np
import rasterio
from rasterio.transform import Affine

from .awkward import LOW, Awkward, Make, cf, text, tif
from .seabed import CELL, CRS, NORTH, WEST, cells, write

LAT, LON = np.linspace(-41.4, -41.5, 81), np.linspace(174.1, 174.2, 91)
SEA = -10.0 - 3.0 * np.sin(LON[None, :] * 300) * np.cos(LAT[:, None] * 200)
COLUMN = np.arange(300)[None, :]
ROUND = (COLUMN - 150) ** 2 + (np.arange(260)[:, None] - 130) ** 2 > 120**2
"""Cells outside a round survey."""


def masked(*, inside: bool, nodata: bool) -> Make:
    def make(folder: Path) -> Path:
        z = cells()
        if nodata:
            z[:26] = -9999.0
        write(folder / "a.tif", z, nodata=-9999.0 if nodata else None)
        with rasterio.Env(GDAL_TIFF_INTERNAL_MASK=inside), rasterio.open(folder / "a.tif", "r+") as out:
            mask = np.full(z.shape, 255, dtype="u1")
            mask[:, :60] = 0
            out.write_mask(mask)
        return folder / "a.tif"

    return make


def point(folder: Path) -> Path:
    write(folder / "a.tif", cells())
    with rasterio.open(folder / "a.tif", "r+") as out:
        out.update_tags(AREA_OR_POINT="Point")
    return folder / "a.tif"


def packed_in(driver: str, name: str) -> Make:
    def make(folder: Path) -> Path:
        from rasterio.shutil import copy

        write(folder / "t.tif", cells().astype("f4"))
        copy(folder / "t.tif", folder / name, driver=driver)
        (folder / "t.tif").unlink()
        return folder / name

    return make


def archive(name: str) -> Make:
    def make(folder: Path) -> Path:
        write(folder / "t.tif", cells())
        if name.endswith(".zip"):
            with zipfile.ZipFile(folder / name, "w") as out:
                out.write(folder / "t.tif", "inside/t.tif")
        else:
            with gzip.open(folder / name, "wb") as packed:
                packed.write((folder / "t.tif").read_bytes())
        (folder / "t.tif").unlink()
        return folder / name

    return make


# -- netCDF ---------------------------------------------------------------------------------------


def nc(
    z: np.ndarray | None = None,
    *,
    lat: np.ndarray = LAT,
    lon: np.ndarray = LON,
    kind: str = "f4",
    coordinates: str = "f8",
    dims: tuple[str, str] = ("lat", "lon"),
    fill: Any = None,
    name: str = "elevation",
    **attributes: Any,
) -> Make:
    def make(folder: Path) -> Path:
        with netCDF4.Dataset(folder / "a.nc", "w") as out:
            for label, values, unit in (("lat", lat, "degrees_north"), ("lon", lon, "degrees_east")):
                out.createDimension(label, values.size)
                v = out.createVariable(label, coordinates, (label,))
                v[:] = values
                v.units = unit
            v = out.createVariable(name, kind, dims, fill_value=fill)
            v.set_auto_maskandscale(False)
            v.setncatts({"units": "m", **attributes})
            v[:] = SEA if z is None else z
        return folder / "a.nc"

    return make


def fine() -> Make:
    """Cells of 1/9 arc-second, of which 32 bits at 174 degrees tell two apart at the most."""
    step = 1 / 32400
    lat, lon = -41.4 - step * np.arange(81), 174.1 + step * np.arange(91)
    z = -10.0 - 3.0 * np.sin(lon[None, :] * 300) * np.cos(lat[:, None] * 200)
    return nc(z, lat=lat, lon=lon, coordinates="f4")


def packed(missing: bool) -> np.ndarray:
    z = np.rint(SEA * 100).astype("i2")
    z[:10] = -32767
    z[10:20] = -32768 if missing else -32767
    return z


def layers(count: int) -> Make:
    def make(folder: Path) -> Path:
        with netCDF4.Dataset(folder / "a.nc", "w") as out:
            out.createDimension("time", count)
            for label, values, unit in (("lat", LAT, "degrees_north"), ("lon", LON, "degrees_east")):
                out.createDimension(label, values.size)
                v = out.createVariable(label, "f8", (label,))
                v[:] = values
                v.units = unit
            v = out.createVariable("elevation", "f4", ("time", "lat", "lon"))
            v.units = "m"
            for i in range(count):
                v[i] = SEA - 50.0 * (count - 1 - i)
        return folder / "a.nc"

    return make


def curvilinear(folder: Path) -> Path:
    with netCDF4.Dataset(folder / "a.nc", "w") as out:
        out.createDimension("y", 81)
        out.createDimension("x", 91)
        for label, values, unit in (
            ("lat", LAT[:, None] + 0.1 * (LON - LON[0]), "degrees_north"),
            ("lon", LON + 0.0 * LAT[:, None], "degrees_east"),
        ):
            v = out.createVariable(label, "f8", ("y", "x"))
            v[:] = values
            v.units = unit
        v = out.createVariable("elevation", "f4", ("y", "x"))
        v.units, v.coordinates = "m", "lat lon"
        v[:] = SEA
    return folder / "a.nc"


# -- points ---------------------------------------------------------------------------------------

X, Y = np.meshgrid(WEST + 2 + CELL * np.arange(60), NORTH - 2 - CELL * np.arange(50))
SMALL = cells(60, 50)
SHALLOW = float(SMALL.min())


def points(
    line: str, heading: str = "", *, comma: bool = False, name: str = "a.xyz", twins: float | None = None
) -> Make:
    rows = [line.format(x=x, y=y, z=z, d=-z) for x, y, z in zip(X.flat, Y.flat, SMALL.flat, strict=True)]
    if twins is not None:
        rows += [
            line.format(x=x, y=y, z=z + twins, d=-z)
            for x, y, z in zip(X.flat, Y.flat, SMALL.flat, strict=True)
        ][:90]
    body = "\n".join(row.replace("COUNT", str(number)) for number, row in enumerate(rows, start=1))
    return text(heading + (body.replace(".", ",") if comma else body) + "\n", name)


def swapped_points() -> Make:
    step = 1 / 27000
    rows = [
        f"{-41.4 - j * step:.9f} {174.2 + i * step:.9f} {SMALL[j, i]}" for j in range(50) for i in range(60)
    ]
    return text("\n".join(rows) + "\n", "a.xyz")


# -- mosaics and folders --------------------------------------------------------------------------


def mosaic(*, moved: bool = False, gone: bool = False) -> Make:
    def make(folder: Path) -> Path:
        from rasterio.shutil import copy

        there = folder / "there"
        there.mkdir()
        write(there / "part.tif", cells())
        copy(there / "part.tif", there / "a.vrt", driver="VRT")
        if gone:
            (there / "part.tif").unlink()
        if moved:
            shutil.move(there, folder / "elsewhere")
            there = folder / "elsewhere"
        return there / "a.vrt"

    return make


def tiles(*more: tuple[str, np.ndarray], sign: float = 1.0) -> Make:
    def make(folder: Path) -> Path:
        home = folder / "tiles"
        home.mkdir()
        for i, col in enumerate((0, 150)):
            place = Affine(CELL, 0, WEST + CELL * col, 0, -CELL, NORTH)
            write(home / f"t{i}.tif", sign * cells()[:, col : col + 150], transform=place)
        for name, data in more:
            photometric = {"photometric": "RGB"} if data.ndim == 3 else {}
            write(home / name, data, **photometric)
        return home

    return make


def in_feet(folder: Path) -> Path:
    home = folder / "tiles"
    home.mkdir()
    write(home / "a.tif", cells()[:, :170])
    place = Affine(CELL, 0, WEST + CELL * 150, 0, -CELL, NORTH)
    write(home / "b.tif", cells()[:, 150:] / 0.3048, transform=place)
    return home


def foot_map(folder: Path) -> Path:
    place = Affine(13, 0, WEST / 0.3048, 0, -13, NORTH / 0.3048)
    return write(
        folder / "a.tif", cells(), transform=place, crs="+proj=utm +zone=60 +south +datum=WGS84 +units=ft"
    )


def no_transform(folder: Path) -> Path:
    return write(folder / "a.tif", cells(), transform=Affine.identity())


def scattered(value: float) -> Make:
    def make(folder: Path) -> Path:
        z = cells()
        z[::10] = value
        return write(folder / "a.tif", z)

    return make


def scaled(scale: float) -> Make:
    def make(folder: Path) -> Path:
        path = write(folder / "a.tif", np.rint(cells() * 100).astype("i2"))
        with rasterio.open(path, "r+") as out:
            out.scales = (scale,)
        return path

    return make


def called_odd(folder: Path) -> Path:
    return write(folder / "a?b=1.tif", np.full((40, 40), np.nan, "f4"))


def prj_beside(folder: Path) -> Path:
    (folder / "a.prj").write_text(rasterio.crs.CRS.from_string(CRS).to_wkt(), encoding="utf-8")
    return write(folder / "a.tif", cells(), crs=None)


def bands(names: tuple[str, ...]) -> Make:
    """Elevations a metre apart, then a spread and a count."""

    def make(folder: Path) -> Path:
        z = cells()
        data = [z - i for i in range(len(names) - 2)] + [0.0 * z + 0.2, 0.0 * z + 5.0]
        write(folder / "a.tif", np.stack(data).astype("f4"))
        with rasterio.open(folder / "a.tif", "r+") as out:
            out.descriptions = names
        return folder / "a.tif"

    return make


def grouped(folder: Path) -> Path:
    with netCDF4.Dataset(folder / "a.nc", "w") as out:
        group = out.createGroup("data")
        for label, values, unit in (("lat", LAT, "degrees_north"), ("lon", LON, "degrees_east")):
            group.createDimension(label, values.size)
            v = group.createVariable(label, "f8", (label,))
            v[:] = values
            v.units = unit
        for label, values in (("elevation", SEA), ("uncertainty", 0.0 * SEA + 0.3)):
            v = group.createVariable(label, "f4", ("lat", "lon"))
            v[:] = values
            v.units = "m"
    return folder / "a.nc"


def called(name: str) -> Make:
    """Two variables (so that GDAL has to name one) in a file of an odd name."""
    make = cf({"elevation": {"units": "m"}, "elevation_uncertainty": {"units": "m"}})

    def renamed(folder: Path) -> Path:
        return make(folder).rename(folder / name)

    return renamed


ELLIPSOID = (
    'COMPD_CS["tall",PROJCS["WGS 84 / UTM zone 60S",GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],'
    'PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["latitude_of_origin",0],'
    'PARAMETER["central_meridian",177],PARAMETER["scale_factor",0.9996],PARAMETER["false_easting",500000],'
    'PARAMETER["false_northing",10000000],UNIT["metre",1],AUTHORITY["EPSG","32760"]],'
    'VERT_CS["WGS 84 ellipsoid",VERT_DATUM["Ellipsoid",2002],UNIT["metre",1],AXIS["Up",UP]]]'
)
NOISE = np.random.default_rng(0).random((260, 300))
DOWN = {"positive": "down"}
AT = {"crs": CRS}
DEGREES = {"crs": "EPSG:4326"}

MORE: list[Awkward] = [
    Awkward("mask-nodata", "GeoTIFF", "a mask inside and a nodata tag: both hold", "opens", masked(inside=True, nodata=True), known=0.72),
    Awkward("mask-beside", "GeoTIFF", "a mask in a file beside it (.msk)", "opens", masked(inside=False, nodata=False), low_m=LOW, known=0.8),
    Awkward("point", "GeoTIFF", "PixelIsPoint", "opens", point, low_m=LOW),
    Awkward("big-endian", "GeoTIFF", "big-endian", "opens", tif(cells(), ENDIANNESS="BIG"), low_m=LOW),
    Awkward("uint16", "GeoTIFF uint16, centimetres", "65535 not tagged", "note",
            tif(np.where(COLUMN < 30, 65535, np.rint(-cells() * 100)).astype("u2"), unit="cm", name="depth"), "65535 is taken", low_m=LOW, known=0.9),
    Awkward("uint8", "GeoTIFF uint8, metres", "255 not tagged", "note",
            tif(np.where(COLUMN < 30, 255, np.rint(-cells())).astype("u1"), unit="m", name="depth"), "255 is taken", known=0.9),
    Awkward("zeros", "GeoTIFF", "0 outside the survey, no tag: no shore is all wall", "note", tif(np.where(ROUND, 0.0, cells())), "value 0 is taken for 'no data'", known=0.58),
    Awkward("zeros-down", "GeoTIFF", "the same as depths", "note", tif(np.where(ROUND, 0.0, -cells()), name="depth"), "value 0 is taken for 'no data'", known=0.58),
    Awkward("land-zero", "GeoTIFF", "land set to 0 above a shelving shore: 0 is land", "opens", tif(np.minimum(cells() + 0.08 * COLUMN, 0.0), name="elevation"), known=1.0),
    Awkward("mask-only", "GeoTIFF uint8", "a mask of 0 and 1, said to be depths", "InputError", tif((NOISE > 0.5).astype("u1")), "a mask, not depths", DOWN),
    Awkward("misplaced", "GeoTIFF", "northing and easting swapped", "InputError", tif(cells(), transform=Affine(CELL, 0, NORTH, 0, -CELL, WEST)), "are x and y swapped"),
    Awkward("statistics", "GeoTIFF", "bands of least, mean and greatest depth, spread, count", "note",
            bands(("depth_min", "depth_mean", "depth_max", "depth_std", "count")), "band 'depth_mean' of depth_min, depth_mean, depth_max", low_m=LOW - 1),
    Awkward("two-depths", "GeoTIFF", "two bands of depths, neither plainer", "AmbiguousError", bands(("depth_lead", "depth_sonar", "std", "count")), "--variable"),
    Awkward("two-doubts", "GeoTIFF", "elevation and two bands of doubt", "note", bands(("elevation", "height error", "horizontal error")), "uncertainty band 2", low_m=LOW),
    Awkward("two-unnamed", "GeoTIFF", "two bands without names", "note", tif(np.stack([cells(), cells() * 0 + 0.2])), "the first of two bands", low_m=LOW),
    Awkward("ellipsoid", "GeoTIFF", "heights above the ellipsoid", "note", tif(cells(), crs=ELLIPSOID), "until --datum-shift says", low_m=LOW),
    Awkward("prj", "GeoTIFF", "no CRS, but a .prj beside it", "note", prj_beside, "is taken from a.prj", low_m=LOW),
    Awkward("old-datum", "GeoTIFF", "an old datum: EPSG gives Tokyo to WGS 84 (108) 9 m", "note",
            tif(cells(), crs="EPSG:30169", transform=Affine(CELL, 0, -1000, 0, -CELL, 1000)), "positions may be off by", low_m=LOW),
    Awkward("gpkg", "GeoPackage", "a grid among its tables", "opens", packed_in("GPKG", "a.gpkg"), low_m=round(LOW, 2)),
    Awkward("img", "HFA (.img)", "statistics in its own tables", "opens", packed_in("HFA", "a.img"), low_m=LOW),
    Awkward("flt", "EHdr (.flt)", "header and CRS in files beside it", "opens", packed_in("EHdr", "a.flt"), low_m=LOW),
    Awkward("surfer", "GS7BG (.grd)", "rows from south to north", "opens", packed_in("GS7BG", "a.grd"), low_m=LOW),
    Awkward("zip", "zip", "given by name", "InputError", archive("a.zip"), "is an archive (it holds t.tif); unpack it first"),
    Awkward("gz", "gzip", "given by name", "InputError", archive("a.tif.gz"), "is an archive; unpack it first"),
    Awkward("asc-centre", "ASCII grid", "xllcenter, upper case, no nodata line", "opens",
            text(f"NCOLS 60\nNROWS 50\nXLLCENTER {WEST + 2}\nYLLCENTER {NORTH - 198}\nCELLSIZE 4\n"
                 + "\n".join(" ".join(f"{v:.2f}" for v in row) for row in SMALL), "a.asc"), said=AT, low_m=SHALLOW),
    Awkward("asc-short", "ASCII grid", "rows missing at the end", "UnreadableError",
            text(f"ncols 60\nnrows 50\nxllcorner {WEST}\nyllcorner {NORTH}\ncellsize 4\n"
                 + "\n".join(" ".join(f"{v:.2f}" for v in row) for row in SMALL[:30]), "a.asc"), "cut short", said=AT),
    Awkward("asc-minus", "ASCII grid", "cellsize with a minus sign", "InputError",
            text(f"ncols 60\nnrows 50\nxllcorner {WEST}\nyllcorner {NORTH}\ncellsize -4\n"
                 + "\n".join(" ".join(f"{v:.2f}" for v in row) for row in SMALL), "a.asc"), "wants no minus sign", said=AT),
    Awkward("asc-minus-dy", "ASCII grid", "dy with a minus sign", "InputError",
            text(f"ncols 60\nnrows 50\nxllcorner {WEST}\nyllcorner {NORTH}\ndx 4\ndy -4\n"
                 + "\n".join(" ".join(f"{v:.2f}" for v in row) for row in SMALL), "a.asc"), "wants no minus sign", said=AT),
    Awkward("asc-word", "ASCII grid", "a word in one cell", "note",
            text(f"ncols 60\nnrows 50\nxllcorner {WEST}\nyllcorner {NORTH}\ncellsize 4\n"
                 + "\n".join(" ".join("n/a" if (r, c) == (20, 30) else f"{v:.2f}" for c, v in enumerate(row)) for r, row in enumerate(SMALL)), "a.asc"),
            "hold no number and are taken for unknown", said=AT, low_m=SHALLOW),
    Awkward("nc-range", "netCDF", "actual_range that is nonsense", "opens", nc(actual_range=np.array([0.0, 1.0]))),
    Awkward("nc-valid", "netCDF", "numbers outside valid_range", "opens", nc(np.where(np.arange(91) < 9, 500.0, SEA), valid_range=np.array([-100.0, 0.0], "f4"))),
    Awkward("nc-packed", "netCDF int16", "scale_factor, _FillValue and another missing_value", "opens", nc(packed(True), kind="i2", fill=-32768, scale_factor=0.01, missing_value=np.int16(-32767))),
    Awkward("nc-missing", "netCDF int16", "missing_value alone, packed", "opens", nc(packed(False), kind="i2", fill=False, scale_factor=0.01, missing_value=np.int16(-32767))),
    Awkward("nc-unsigned", "netCDF int16", "_Unsigned", "opens", nc(np.rint(-SEA * 1000).astype("u2").view("i2"), kind="i2", scale_factor=0.001, positive="down", _Unsigned="true")),
    Awkward("nc-unsigned-byte", "netCDF int8", "_Unsigned, with values above 127", "UnreadableError", nc(np.rint(-SEA * 18).astype("u1").view("i1"), kind="i1", scale_factor=1 / 18, positive="down", _Unsigned="true"), "write them as 16-bit"),
    Awkward("nc-north-up", "netCDF", "latitudes from south to north", "opens", nc(SEA[::-1], lat=LAT[::-1])),
    Awkward("nc-float", "netCDF", "coordinates kept in 32 bits: not quite even", "note", nc(coordinates="f4"), "but for their rounding"),
    Awkward("nc-float-up", "netCDF", "the same, from south to north", "note", nc(SEA[::-1], lat=LAT[::-1], coordinates="f4"), "but for their rounding"),
    Awkward("nc-fine", "netCDF", "32-bit coordinates as coarse as half a cell", "opens", fine()),
    Awkward("nc-negative", "netCDF", "long_name 'depth, negative below sea level'", "opens", nc(name="h", long_name="depth, negative below sea level")),
    Awkward("nc-wrap", "netCDF", "longitudes that jump from 360 to 0", "opens", nc(lon=(LON - 174.15) % 360.0, z=SEA)),
    Awkward("nc-uneven", "netCDF", "latitudes with a jump of two cells", "InputError", nc(lat=np.where(np.arange(81) < 40, LAT, LAT - 0.003)), "not evenly spaced"),
    Awkward("nc-turned", "netCDF", "dimensions in the order lon, lat", "InputError", nc(SEA.T, dims=("lon", "lat")), "are swapped"),
    Awkward("nc-turned-near", "netCDF", "the same at 10 degrees east, where either could be a latitude", "InputError", nc(SEA.T, lon=LON - 164.0, dims=("lon", "lat")), "are swapped"),
    Awkward("nc-turned-square", "netCDF", "the same with as many rows as columns", "InputError", nc(SEA[:, :81].T, lon=LON[:81] - 164.0, dims=("lon", "lat")), "are swapped"),
    Awkward("nc-curvilinear", "netCDF", "longitude and latitude as tables", "NoCrsError", curvilinear, "curvilinear"),
    Awkward("nc-times", "netCDF", "several layers in time", "AmbiguousError", layers(3), "has 3 layers along time"),
    Awkward("nc-time", "netCDF", "one layer in time", "opens", layers(1)),
    Awkward("nc-times-said", "netCDF", "the same with --variable elevation:3", "opens", layers(3), said={"variable": "elevation:3"}),
    Awkward("nc-long-name", "netCDF", "a variable h, long_name says depth below sea level", "opens", nc(-SEA, name="h", long_name="Depth below mean sea level")),
    Awkward("nc-unit-words", "netCDF", "unit 'm below MSL'", "opens", nc(-SEA, name="h", units="m below MSL")),
    Awkward("nc-no-unit", "netCDF", "unit '1'", "opens", cf({"elevation": {"units": "1"}})),
    Awkward("nc-family", "netCDF", "elevation, elevation_max, elevation_min", "note",
            cf({n: {"units": "m"} for n in ("elevation_max", "elevation", "elevation_min")}), "variable 'elevation' of"),
    Awkward("nc-group", "netCDF", "variables in a group", "note", grouped, "±1 sigma"),
    Awkward("nc-apostrophe", "netCDF", "an apostrophe and a colon in the file's name", "note", called("it's 1:2.nc"), "variable 'elevation'"),
    Awkward("nc-quote", "netCDF", "a quotation mark in the file's name", "UnreadableError", called('a"b.nc'), "without the quotation mark"),
    Awkward("xyz-heading", "XYZ", "heading northing, easting, depth", "opens", points("{y},{x},{d}", "northing,easting,depth\n"), said=AT, low_m=SHALLOW),
    Awkward("xyz-id", "XYZ", "a number of its own in the first column", "opens", points("7,{x},{y},{z}", "id,x,y,z\n", name="a.csv"), said=AT, low_m=SHALLOW),
    Awkward("xyz-counted", "XYZ", "no heading, the rows counted in the first column", "note", points("COUNT {x} {y} {z}"), "column 2 is taken for x, 3 for y, 4 for z", AT, low_m=SHALLOW),
    Awkward("xyz-counted-comma", "XYZ", "the same with decimal commas, semicolons and a fifth column", "note", points("COUNT;{x};{y};{z};0.2", comma=True), "column 2 is taken for x", AT, low_m=SHALLOW),
    Awkward("xyz-n", "XYZ", "heading N, X, Y, Z: a count, no northing", "opens", points("COUNT,{x},{y},{z}", "N,X,Y,Z\n"), said=AT, low_m=SHALLOW),
    Awkward("xyz-comma", "XYZ", "decimal commas, semicolons", "opens", points("{x};{y};{z}", comma=True), said=AT, low_m=SHALLOW),
    Awkward("xyz-space", "XYZ", "decimal commas, spaces and tabs mixed", "opens", points("  {x}   {y}\t{z} ", comma=True), said=AT, low_m=SHALLOW),
    Awkward("xyz-grouped", "XYZ", "thousands separators", "UnreadableError", points("{x:,.1f}\t{y:,.1f}\t{z}"), "without thousands separators", AT),
    Awkward("xyz-quoted", "XYZ", "quoted numbers, byte-order mark, comments", "opens", points('"{x}","{y}","{z}"', "\ufeff// made by hand\n# twice\n"), said=AT, low_m=SHALLOW),
    Awkward("xyz-twins", "XYZ", "two depths on one place", "InputError", points("{x} {y} {z}", twins=5.0), "differ from it (by up to 5)", AT),
    Awkward("xyz-same", "XYZ", "the same point twice", "opens", points("{x} {y} {z}", twins=0.0), said=AT, low_m=SHALLOW),
    Awkward("xyz-lat-lon", "XYZ", "latitude before longitude, no heading", "InputError", swapped_points(), "are swapped", DEGREES),
    Awkward("vrt-moved", "VRT", "relative paths, moved with its parts", "opens", mosaic(moved=True), low_m=LOW),
    Awkward("vrt-gone", "VRT", "a part is gone", "UnreadableError", mosaic(gone=True), "put it back"),
    Awkward("folder-picture", "folder", "a coloured picture among tiles", "note", tiles(("hill.tif", np.full((3, 20, 20), 90, "u1"))), "skipped: hill.tif: is a picture", low_m=LOW, known=1.0),
    Awkward("folder-shade", "folder", "a grey hillshade named after a tile, sign said", "note", tiles(("t0_hillshade.tif", (NOISE * 255).astype("u1")), sign=-1.0), "is the hillshade of another", DOWN, low_m=LOW, known=1.0),
    Awkward("folder-sigma", "folder", "uncertainty as a file of its own, sign said", "note", tiles(("t0_uncertainty_4m.tif", 0.3 + NOISE / 10), sign=-1.0), "is the uncertainty of another", DOWN, low_m=LOW, known=1.0),
    Awkward("folder-mask", "folder", "a mask among tiles, sign said", "note", tiles(("land.tif", (NOISE > 0.5).astype("u1")), sign=-1.0), "skipped: land.tif: holds nothing but 0 and 1", DOWN, low_m=LOW, known=1.0),
    Awkward("foot-map", "GeoTIFF", "a map in feet, the unit of its values not said", "AmbiguousError", foot_map, "say --value-unit ft"),
    Awkward("foot-map-said", "GeoTIFF", "the same with --value-unit ft", "opens", foot_map, said={"unit": "ft"}),
    Awkward("no-transform", "GeoTIFF", "a CRS, but no transform", "InputError", no_transform, "neither where in it"),
    Awkward("unlisted", "GeoTIFF", "-5000 in scattered cells, not tagged", "note", scattered(-5000.0), "value -5000 is taken for 'no data'", known=0.9),
    Awkward("scale-nan", "GeoTIFF", "a scale that is no number", "InputError", scaled(float("nan")), "turn no value into a depth"),
    Awkward("question-mark", "GeoTIFF", "a question mark in the file's name, every cell nodata", "InputError", called_odd, "a?b=1.tif: every cell"),
    Awkward("folder-feet", "folder", "one of two files in feet, not said", "note", in_feet, "b.tif looks like feet"),
]  # fmt: skip
