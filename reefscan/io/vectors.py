"""The one door to the vector library: local files only, and its GDAL shut to the network."""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from reefscan.base.errors import MissingInputError, UnreadableError
from reefscan.io.jsonfile import parse_json
from reefscan.io.localfile import require_file
from reefscan.io.shut import CLOSED, NO_ENDING, SERVED, SETTINGS, once


def ready() -> Any:
    """Return the vector library, shut to the network."""
    import pyogrio

    once("vectors", _shut)
    return pyogrio


def layer_table(path: Path, layer: str | None = None, **options: Any) -> Any:
    """Read one layer of a vector file as a table: a GeoDataFrame, or a plain one where it has no shapes.

    Parameters
    ----------
    path : Path
        A file of this machine.
    layer : str, optional
        The first one if not given.
    **options
        As `pyogrio.read_dataframe` takes them.

    Raises
    ------
    UnreadableError
        Not a file, or none that the library can read; with its own words.
    """
    library = ready()
    require_file(path)
    _refuse_linked(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of rings that are not closed and the like: what follows says it
            return library.read_dataframe(path, layer=layer, **options)
    except Exception as error:  # it raises its own family, and others' errors on damaged files
        reason = " ".join(str(error).split("; ")[0].split()).rstrip(".") or type(error).__name__
        raise UnreadableError(f"{path.name}: not a vector file that can be read ({reason})") from error


def _refuse_linked(path: Path) -> None:
    """Refuse JSON that names its coordinate system by an address: the library would ask there, whatever its settings.

    Raises
    ------
    UnreadableError
        Or if what begins like JSON is none.
    """
    with open(path, "rb") as file:
        if not file.read(64).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
            return
    for document in parse_json(path):
        crs = document.get("crs") if isinstance(document, dict) else None
        if isinstance(crs, dict) and crs.get("type") not in (None, "name", "EPSG"):
            raise UnreadableError(
                f"{path.name}: names its coordinate system by an address; write the name itself"
            )


def layer_names(path: Path) -> list[str]:
    """Names of the layers of a vector file.

    Raises
    ------
    UnreadableError
        As `layer_table`.
    """
    library = ready()
    require_file(path)
    _refuse_linked(path)
    try:
        return [str(name) for name, _ in library.list_layers(path)]
    except Exception as error:
        raise UnreadableError(f"{path.name}: not a vector file that can be read ({error})") from error


def handed_over(path: Path, flag: str, wants: str = "a file of shapes") -> Iterator[tuple[str, Any]]:
    """Read the layers of a file that an option names, each with its name.

    Raises
    ------
    MissingInputError, UnreadableError
        What is wrong with the file, and what the option wants.
    """
    if not path.exists():
        raise MissingInputError(
            f"{path}: no such file; {flag} wants {wants} (GeoJSON, GPKG, KML, shapefile, chart cell)"
        )
    try:
        for name in layer_names(path):
            yield name, layer_table(path, name)
    except UnreadableError as error:
        raise UnreadableError(f"{error}; {flag} wants {wants}") from error


def _shut() -> None:
    import pyogrio
    from pyogrio._ogr import _register_drivers

    closed = {} if CLOSED in os.environ else {CLOSED: NO_ENDING}
    there = ",".join(name for name in SERVED if name in pyogrio.list_drivers())
    pyogrio.set_gdal_config_options({**SETTINGS, **closed, "GDAL_SKIP": there})
    _register_drivers()  # goes through them again, without those that are skipped
    pyogrio.set_gdal_config_options({"GDAL_SKIP": None})
