"""Open datasets, one set per thread, and GDAL's settings.

A GDAL dataset may be used by one thread at a time, so each thread keeps a small number of its own.
Nothing here is pickled: a worker process opens what it needs when it needs it.
"""

from __future__ import annotations

import logging
import os
import re
import threading
import warnings
from collections import OrderedDict
from typing import Any

import rasterio
from rasterio._path import _parse_path
from rasterio.env import ensure_env_with_credentials, set_gdal_config
from rasterio.errors import NotGeoreferencedWarning, RasterioIOError
from rasterio.io import DatasetReader

from reefscan.base.errors import UnreadableError, one_line
from reefscan.io.behind import FAR, named_in, require_local, require_named, require_overview
from reefscan.io.fetch import fetch_text
from reefscan.io.shut import GRIDS, allow, allow_parts, once, shut_rasters

log = logging.getLogger(__name__)

OPEN_PER_THREAD = 32
"""Datasets a thread keeps open; the least used is closed first."""

CACHE_BYTES = 128 << 20
"""GDAL's block cache for the whole process: enough for the rows of a tile (1 100) of a striped file of 29 000
float32 columns, and bounded, where GDAL's own default is a twentieth of the machine's memory."""

HTTP_SETTINGS = {
    "GDAL_HTTP_CONNECTTIMEOUT": "10",
    "GDAL_HTTP_TIMEOUT": "120",
    # a server that sends less than 1 kB in 20 s has stalled
    "GDAL_HTTP_LOW_SPEED_TIME": "20",
    "GDAL_HTTP_LOW_SPEED_LIMIT": "50",
    "GDAL_HTTP_MAX_RETRY": "2",
    "GDAL_HTTP_RETRY_DELAY": "1",
    "GDAL_HTTP_MERGE_CONSECUTIVE_RANGES": "YES",
    # one request a file: no listing of its folder, no hunt for sidecars
    "GDAL_DISABLE_READDIR_ON_OPEN": "EMPTY_DIR",
}

_PART = re.compile(r'^[A-Za-z0-9]{2,}:"?(.+?)"?:[^:/"]+$')

_local = threading.local()


def _settle() -> None:
    """Set GDAL's process-wide limits once per process; what the user set in the environment wins."""
    if "GDAL_CACHEMAX" not in os.environ:
        set_gdal_config("GDAL_CACHEMAX", CACHE_BYTES)
    for key, value in HTTP_SETTINGS.items():
        if key not in os.environ and key != "GDAL_DISABLE_READDIR_ON_OPEN":
            set_gdal_config(key, value)
    shut_rasters()


def is_remote(path: str) -> bool:
    """Tell whether GDAL would fetch ``path`` over a network."""
    return path.startswith(("/vsicurl", "/vsis3", "/vsigs", "/vsiaz", "/vsiadls", "/vsioss", "/vsiswift"))


def open_dataset(path: str, options: tuple[tuple[str, str], ...] = ()) -> Any:
    """Open a dataset for reading; the caller closes it.

    Raises
    ------
    UnreadableError
        With GDAL's own words, on one line.
    """
    once("raster settings", _settle)
    if is_remote(path):
        return _open_remote(path, options)
    require_local(path)
    dataset = _opened(path, options, GRIDS)
    try:
        require_overview(dataset.tags(ns="OVERVIEWS").get("OVERVIEW_FILE", ""), path)
    except UnreadableError:
        dataset.close()
        raise
    return dataset


def _open_remote(path: str, options: tuple[tuple[str, str], ...]) -> Any:
    """Open what lies at an address. A mosaic is read as text first: as it is opened, it may ask any other server."""
    allow(path)
    with rasterio.Env(GDAL_DISABLE_READDIR_ON_OPEN="EMPTY_DIR"):
        if path.lower().partition("?")[0].endswith((".vrt", ".gti", ".xml")):
            address = re.sub(r"^/vsi\w+/", "", path)
            names = named_in(fetch_text(address))
            require_named(address, names)
            allow_parts(path, names)
            return _opened(path, options, ("VRT",))
        return _opened(path, options, tuple(d for d in GRIDS if d not in ("VRT", "GTI")))


def _opened(path: str, options: tuple[tuple[str, str], ...], drivers: tuple[str, ...]) -> Any:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            return _open(path, list(drivers), dict(options))
    except (RasterioIOError, UnicodeError) as error:  # a name in a hurt file may be no text
        raise UnreadableError(one_line(error)) from error


class _InTurn(DatasetReader):  # type: ignore[misc]
    """A dataset of netCDF or HDF5, which one thread at a time may use.

    GDAL holds a lock of its own over those libraries. A thread that holds it and has a warning to tell waits for Python; one
    that closes a file holds Python and waits for that lock: neither ends, and no signal gets through. So whoever may
    come to GDAL's lock takes this one first, for which a thread waits without holding Python.
    """

    def read(self, *args: Any, **options: Any) -> Any:
        with _turn:
            return super().read(*args, **options)

    def read_masks(self, *args: Any, **options: Any) -> Any:
        with _turn:
            return super().read_masks(*args, **options)

    def tags(self, *args: Any, **options: Any) -> Any:
        with _turn:
            return super().tags(*args, **options)

    def close(self) -> None:
        with _turn:
            super().close()

    def __exit__(self, *_: object) -> None:
        self.close()

    def __del__(self) -> None:
        self.close()


_turn = threading.RLock()

_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
"""How a TIFF begins, which most grids are, and which threads may read side by side."""


@ensure_env_with_credentials
def _open(path: str, drivers: list[str], options: dict[str, str]) -> Any:
    # what `rasterio.open` does, which takes no list of drivers
    if _is_tiff(path):
        return DatasetReader(_parse_path(path), driver=drivers, sharing=False, **options)
    with _turn:
        dataset = _InTurn(_parse_path(path), driver=drivers, sharing=False, **options)
        if dataset.driver != "VRT" or not all(_is_tiff(part) for part in dataset.files[1:]):
            return dataset
        dataset.close()
    return DatasetReader(_parse_path(path), driver=drivers, sharing=False, **options)


def _is_tiff(path: str) -> bool:
    if is_remote(path):  # a look would be a request
        return path.lower().partition("?")[0].endswith((".tif", ".tiff", ".vrt"))
    try:
        with open(path, "rb") as file:
            return file.read(4) in _TIFF
    except (OSError, ValueError):
        return False


def remedy(driver: str, cause: str) -> str:
    """What to do where cells cannot be read."""
    if any(mark in cause for mark in ("/vsicurl", "/vsis3", "/vsigs", "/vsiaz", "://")) and driver in (
        "VRT",
        "GTI",
    ):
        return FAR
    if driver in ("VRT", "GTI"):
        return "a file that this mosaic is made of is gone or damaged: put it back"
    if "Numeric conversion not representable" in cause:
        # signed bytes said to be _Unsigned, above 127: GDAL asks the library for what it will not give
        return "its bytes are kept as signed and said to be unsigned (_Unsigned): write them as 16-bit integers or as floats"
    return "the file is damaged or was cut short: fetch it again"


def borrow(path: str, options: tuple[tuple[str, str], ...] = ()) -> Any:
    """Return this thread's open dataset for ``path``, opening it at first use."""
    if getattr(_local, "pid", None) != os.getpid():  # a forked child must not use its parent's handles
        _local.pid = os.getpid()
        _local.open = OrderedDict()
    kept: OrderedDict[tuple[str, tuple[tuple[str, str], ...]], tuple[Any, Any]] = _local.open
    key = (path, options)
    stamp = _stamp(path)
    if key in kept:
        dataset, then = kept[key]
        if then == stamp:
            kept.move_to_end(key)
            return dataset
        kept.pop(key)[0].close()  # the file was replaced: the open handle would give the old cells
    dataset = open_dataset(path, options)
    kept[key] = (dataset, stamp)
    while len(kept) > OPEN_PER_THREAD:
        kept.popitem(last=False)[1][0].close()
    return dataset


def _stamp(path: str) -> tuple[int, int, int] | None:
    """What changes when a local file is replaced; None for what is no plain file, nor a part of one."""
    if path.startswith("/vsi"):
        return None
    part = _PART.match(path)  # a variable of a netCDF file, the quality of an S-102 file
    try:
        facts = os.stat(part[1] if part and not os.path.exists(path) else path)
    except (OSError, ValueError):
        return None
    return facts.st_mtime_ns, facts.st_size, facts.st_ino


def scratch(dtype: str, cells: int) -> Any:
    """Return a one-dimensional buffer of this thread for ``cells`` numbers, reused between calls.

    Fresh memory costs a page fault every 4 kB, which is a fifth of the time of a plain read.
    """
    import numpy as np

    buffers: dict[str, Any] = _local.__dict__.setdefault("buffers", {})
    have = buffers.get(dtype)
    if have is None or have.size < cells:
        have = np.empty(cells, dtype=dtype)
        buffers[dtype] = have
    return have[:cells]


def close_all() -> None:
    """Close this thread's datasets (Windows cannot delete an open file)."""
    for dataset, _ in getattr(_local, "open", {}).values():
        dataset.close()
    _local.open = OrderedDict()
