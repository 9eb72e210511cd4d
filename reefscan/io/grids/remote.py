"""Rasters over a network: only the ranges that are needed, and a clear word when the server fails.

Proxies and credentials are GDAL's own environment variables. Nothing is requested unless the user
gave the address.
"""

from __future__ import annotations

import dataclasses

from reefscan.base.errors import InputError, MissingInputError, UnreadableError
from reefscan.io.grids.forms import GridOptions, open_layer
from reefscan.io.grids.layer import Layer

_SCHEMES = {
    "http://": "/vsicurl/http://",
    "https://": "/vsicurl/https://",
    "ftp://": "/vsicurl/ftp://",
    "s3://": "/vsis3/",
    "gs://": "/vsigs/",
    "az://": "/vsiaz/",
}


def gdal_path(url: str) -> str:
    """GDAL's name for an address.

    Examples
    --------
    >>> gdal_path("https://example.org/coast.tif")
    '/vsicurl/https://example.org/coast.tif'
    """
    for scheme, prefix in _SCHEMES.items():
        if url.lower().startswith(scheme):
            return prefix + url[len(scheme) :]
    if url.startswith("file://"):
        return url[len("file://") :]
    raise InputError(f"{url}: wanted an address that starts with one of {', '.join(_SCHEMES)}")


def open_remote(
    path: str, url: str, options: GridOptions, box: tuple[float, float, float, float] | None
) -> Layer:
    """Look at a raster over a network; of its cells only some inside ``box`` are fetched.

    Raises
    ------
    MissingInputError
        If the server says there is no such thing.
    UnreadableError
        If it stalls, refuses, or what it sends is no grid.
    """
    shown = url.split("?")[0]
    try:
        layer = open_layer(path, options, focus_box=box)
    except UnreadableError as error:
        text = str(error)
        if "404" in text:
            raise MissingInputError(f"{shown}: the server says there is no such file (404)") from error
        if "Range downloading not supported" in text:
            raise UnreadableError(
                f"{shown}: its server cannot send parts of a file; download the file and name it instead"
            ) from error
        if any(word in text.lower() for word in ("timed out", "timeout", "too slow", "couldn't connect")):
            raise UnreadableError(
                f"{shown}: the server does not answer in time ({text}); try again later"
            ) from error
        raise UnreadableError(f"{shown}: {text}") from error
    return dataclasses.replace(layer, file=shown)
