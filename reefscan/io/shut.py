"""GDAL shut to the network: only an address that the person typed is ever asked.

There are two copies of GDAL in a process, the raster library's and the vector library's. From both, the drivers that
speak to servers are taken away, and the file systems that do are closed to all names but those that were typed. What
a file on this machine points at is looked through besides (`reefscan.io.behind`), for netCDF fetches by itself.

It holds for the whole process, from the first opening: the register of drivers is the process's, and a mosaic opens its parts
when it is read, in any thread, so that a shut that ends with a call would stand open while another one reads.
"""

from __future__ import annotations

import os
import re
import threading
from collections.abc import Callable

import rasterio._env as raster_gdal
from rasterio._env import del_gdal_config
from rasterio.env import set_gdal_config

GRIDS = (
    "GTiff", "COG", "VRT", "GTI", "netCDF", "HDF5", "HDF5Image", "HDF4", "HDF4Image", "BAG", "S102", "S104", "S111",
    "AAIGrid", "GRASSASCIIGrid", "GSAG", "GSBG", "GS7BG", "EHdr", "ENVI", "ERS", "HFA", "SRTMHGT", "USGSDEM", "DTED",
    "BT", "BYN", "GTX", "NTv2", "GXF", "GRIB", "HF2", "ILWIS", "KRO", "LCP", "Leveller", "NITF", "NWT_GRD", "PCIDSK",
    "PCRaster", "PAux", "RMF", "RST", "RRASTER", "SAGA", "SDTS", "SIGDEM", "SNODAS", "Terragen", "VICAR", "XYZ", "ZMap",
    "ISG", "PDS", "PDS4", "ISIS3", "MFF", "JDEM", "Zarr", "GPKG", "JPEG", "PNG", "GIF", "BIGGIF", "BMP", "PNM",
    "WEBP", "JP2OpenJPEG", "JPEGXL", "JPEGLS", "LIBERTIFF", "SGI", "TGA", "XPM",
)  # fmt: skip
"""Drivers that may open what is taken for a grid (pictures too, so that the message can say that they are pictures); none of them asks a server."""

SERVED = (
    "ADBC", "AmigoCloud", "CSW", "Carto", "DAAS", "EEDA", "EEDAI", "Elasticsearch", "GDALG", "GMLAS", "GPSBabel",
    "GeoRaster", "HANA", "HTTP", "KMLSUPEROVERLAY", "MSSQLSpatial", "MongoDBv3", "MySQL", "NGW", "OAPIF", "OCI", "ODBC",
    "OGCAPI", "OGR_VRT", "PLMOSAIC", "PLSCENES", "PostGISRaster", "PostgreSQL", "STACIT", "STACTA", "WCS",
    "WFS", "WMS", "WMTS",
)  # fmt: skip
"""Drivers that connect to servers or other programs, or open files that a text names: they are removed."""

CLOSED = "CPL_VSIL_CURL_ALLOWED_EXTENSIONS"
"""GDAL's list of endings that may be fetched. An address that was typed stands in it whole; until then, no file's."""

NO_ENDING = ".reefscan-was-given-no-address"

SETTINGS = {
    "GDAL_VRT_ENABLE_PYTHON": "NO",
    "GML_DOWNLOAD_SCHEMA": "NO",
}

_lock = threading.RLock()
_done: dict[str, int] = {}
_named: list[str] = []


def once(what: str, act: Callable[[], None]) -> None:
    """Do something once in each process; a forked child does it again."""
    if _done.get(what) != os.getpid():
        with _lock:
            if _done.get(what) != os.getpid():
                act()
                _done[what] = os.getpid()


def shut_rasters() -> None:
    """Shut the raster library's GDAL."""
    once("rasters", _shut_rasters)


def _shut_rasters() -> None:
    for key, value in SETTINGS.items():
        set_gdal_config(key, value)
    if CLOSED not in os.environ:
        set_gdal_config(CLOSED, NO_ENDING)
    made = raster_gdal.GDALEnv()
    made.start()
    there = [name for name in SERVED if name in made.drivers()]
    if there:  # gone through again, without those that are skipped
        set_gdal_config("GDAL_SKIP", ",".join(there))
        raster_gdal._have_registered_drivers = False
        raster_gdal.GDALEnv().start()
        del_gdal_config("GDAL_SKIP")


def allow(address: str) -> None:
    """Let GDAL fetch one address (by its name for it), which a person typed or which is a part of a mosaic that they did.

    The library compares true ends of names without their query, and parts its list at commas and blanks: what stands behind the last
    of these has to do.
    """
    if CLOSED in os.environ:  # what the person set there wins
        return
    tail = re.split("[?#]", address[1:])[0].replace(",", " ").rsplit(" ", 1)[-1]
    with _lock:
        if tail not in _named:
            _named.append(tail)
    set_gdal_config(CLOSED, ",".join([NO_ENDING, *_named]))


def allow_parts(path: str, parts: list[str]) -> None:
    """Let the parts of a mosaic at a typed address be fetched, where they lie on the same server; no others.

    Parameters
    ----------
    path : str
        GDAL's name of the address, such as ``/vsicurl/https://example.org/coast.vrt``.
    parts : list of str
        As the mosaic names them.
    """
    server = re.match(r"/vsi\w+/(?:\w+://)?[^/]*/", path)
    for part in parts:
        if server and part.startswith(server[0]):
            allow(part)
        elif "://" not in part and not part.startswith("/"):
            allow(f"{path.rpartition('/')[0]}/{part}")
