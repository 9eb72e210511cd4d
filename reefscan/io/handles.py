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
from rasterio._env import del_gdal_config
from rasterio.env import set_gdal_config
from rasterio.errors import NotGeoreferencedWarning, RasterioIOError

from reefscan.errors import UnreadableError

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

CLOSED = "CPL_VSIL_CURL_ALLOWED_EXTENSIONS"
"""GDAL's list of endings it may fetch. Until an address is named it holds one that no file has: a mosaic on this
machine may point anywhere, and nothing is asked of a network that the user did not name."""

NO_ENDING = ".reefscan-was-given-no-address"

_local = threading.local()
_settled = threading.Lock()
_settled_pid = 0


def _settle() -> None:
    """Set GDAL's process-wide limits once per process; what the user set in the environment wins."""
    global _settled_pid
    if _settled_pid == os.getpid():
        return
    with _settled:
        if "GDAL_CACHEMAX" not in os.environ:
            set_gdal_config("GDAL_CACHEMAX", CACHE_BYTES)
        for key, value in HTTP_SETTINGS.items():
            if key not in os.environ and key != "GDAL_DISABLE_READDIR_ON_OPEN":
                set_gdal_config(key, value)
        if CLOSED not in os.environ:
            set_gdal_config(CLOSED, NO_ENDING)
        _settled_pid = os.getpid()


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
    _settle()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", NotGeoreferencedWarning)
            if is_remote(path):
                if CLOSED not in os.environ:
                    del_gdal_config(CLOSED)
                with rasterio.Env(GDAL_DISABLE_READDIR_ON_OPEN="EMPTY_DIR"):
                    return rasterio.open(path, **dict(options))
            return rasterio.open(path, **dict(options))
    except RasterioIOError as error:
        raise UnreadableError(one_line(error)) from error


def one_line(error: BaseException) -> str:
    """An error's text on one line."""
    return " ".join(str(error).split()) or type(error).__name__


def remedy(driver: str, cause: str) -> str:
    """What to do where cells cannot be read."""
    if any(mark in cause for mark in ("/vsicurl", "/vsis3", "/vsigs", "/vsiaz", "://")) and driver in (
        "VRT",
        "GTI",
    ):
        return "it points at a network, of which only addresses that you name are asked: name that address, or fetch the file"
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
