"""What a mosaic or a name points at: files of this machine, or it is not opened.

GDAL opens whatever a VRT names: a pipe waits for ever, an address is asked, another driver's syntax reaches a server.
So every name is followed to its file first. Files that are gone are left for the reading to tell.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

from defusedxml import ElementTree
from defusedxml.common import DefusedXmlException

from reefscan.base.errors import UnreadableError
from reefscan.io.heaps import SIGNATURE, refuse_endless
from reefscan.io.localfile import odd_kind

_INSIDE = re.compile(
    r"(?:NETCDF|HDF5|HDF4_[A-Z:_]+|BAG|S10[24]|S111|ZARR|GPKG|GTI|GTIFF_RAW|GTIFF_DIR:[^:]+):(.+)",
    re.I | re.S,
)
"""One dataset inside a file, as the drivers that are allowed write it."""

_PACKED = re.compile(r"/vsi(?:zip|gzip|tar|7z|rar)/+(.+)", re.S)
_NAMES = {"SourceFilename", "SourceDataset", "IndexDataset"}
_DEEPEST = 8

FAR = "it points at a network, of which only addresses that you name are asked: name that address, or fetch the file"


def require_local(path: str) -> None:
    """Refuse a dataset's name that leads, by itself or through a mosaic, to anything but files of this machine.

    Raises
    ------
    UnreadableError
        Saying what it leads to.
    """
    try:
        path.encode("utf-8")
    except UnicodeEncodeError:
        raise UnreadableError("its name holds letters that are not UTF-8: give it another") from None
    file = _file_of(path)
    kind = odd_kind(file)
    if kind and not (kind == "a folder" and os.path.isdir(file)):
        raise UnreadableError(f"it is {kind}, not a file")
    for place in (file, f"{file}.ovr", f"{file}.msk"):  # which may be mosaics too, whatever they are called
        _follow(place, "", _DEEPEST)


def require_overview(name: str, file: str) -> None:
    """Refuse a file whose metadata name overviews that are no file of this machine; an empty name is none.

    Raises
    ------
    UnreadableError
        Saying what it leads to.
    """
    if name:
        _follow(name.removeprefix(":::BASE:::"), os.path.dirname(file), _DEEPEST)


def require_named(address: str, names: list[str]) -> None:
    """Refuse a mosaic at a typed address, any part of which lies on another server or is opened in another way.

    Raises
    ------
    UnreadableError
        Naming the part.
    """
    server = "/".join(address.split("/")[:3]) + "/"
    for name in names:
        beside = "://" not in name and not re.match(r"/|\w+:|<", name)
        if not beside and not name.startswith((server, f"/vsicurl/{server}")):
            raise UnreadableError(f"it is made of {name[:80]}: {FAR}")


def named_in(text: str) -> list[str]:
    """Names in the text of a VRT, as they are written."""
    return [name for name, _ in _named(_parsed(text.encode()))] if text else []


@lru_cache(maxsize=256)
def _check(file: str, _time: int, _size: int, _number: int, deeper: int) -> None:
    """Follow what a mosaic names, and look for what would hang; nothing for most files. What was found holds while the mosaic is not changed."""
    with open(file, "rb") as stream:
        head = stream.read(4096)
        if SIGNATURE in head:
            refuse_endless(file)
        index = file.lower().endswith((".gti.gpkg", ".gti.fgb"))
        if not index and not any(
            mark in head for mark in (b"<VRTDataset", b"<GDALTileIndexDataset", b"<OGRVRT")
        ):
            return
        root = None if index else _parsed(head + stream.read())
    names = [] if root is None else list(_named(root))
    if index or (root is not None and root.tag == "GDALTileIndexDataset"):
        names += [(place, True) for place in tiles_of(Path(file))[1]]
    for name, beside in names:
        _follow(name, os.path.dirname(file) if beside else "", deeper)


def _follow(name: str, folder: str, deeper: int) -> None:
    if name.startswith("<"):
        for inner, beside in _named(_parsed(name.encode())):
            _follow(inner, folder if beside else "", deeper)
        return
    file = _file_of(name)
    if folder and not os.path.isabs(file):
        file = os.path.join(folder, file)
    kind = odd_kind(file)
    if kind and kind != "a broken link":
        raise UnreadableError(f"it is made of {name[:80]}, which is {kind}, not a file; take that out")
    if os.path.isfile(file):
        if deeper == 0:
            raise UnreadableError(
                f"its mosaics lie in one another more than {_DEEPEST} deep; name the files themselves"
            )
        facts = os.stat(file)
        _check(file, facts.st_mtime_ns, facts.st_size, facts.st_ino, deeper - 1)


def _file_of(name: str) -> str:
    """The file a dataset lies in, by its name.

    Raises
    ------
    UnreadableError
        If the name is a server's, or of a form that is not known.
    """
    if os.path.exists(name) or name.startswith("/vsimem/"):
        return name
    if packed := _PACKED.fullmatch(name):
        inner = packed[1].lstrip("{")
        if inner.startswith(("vsi", "/vsi")):
            return _file_of("/" + inner.lstrip("/"))
        places = [inner, *(str(parent) for parent in Path(inner).parents)]
        return next((p for p in places if os.path.isfile(p)), inner)
    if inside := _INSIDE.fullmatch(name):
        text = inside[1].strip()
        if text.startswith('"'):
            return _file_of(text[1:].partition('"')[0])
        ends = [text[: m.start()] for m in re.finditer(":", text)]
        return _file_of(
            next((e for e in [text, *reversed(ends)] if os.path.exists(e)), ends[0] if ends else text)
        )
    if "://" in name or re.match(r"/vsi|\w{2,}:", name):
        raise UnreadableError(
            FAR if "://" in name or "/vsi" in name else f"{name[:60]!r} is not a file of this machine"
        )
    return name


def _parsed(text: bytes) -> Any:
    try:
        return ElementTree.fromstring(text)
    except (ElementTree.ParseError, DefusedXmlException, ValueError) as error:
        raise UnreadableError(f"it is a mosaic, but not well-formed ({error}); make it again") from None


def _named(root: Any) -> Iterator[tuple[str, bool]]:
    """Names in a mosaic, and whether each counts from the mosaic's own folder."""
    stack = [root]
    while stack:
        node = stack.pop()
        if node.tag in ("Metadata", "SRS"):
            continue
        stack += reversed(list(node))
        if node.tag in _NAMES or (node.tag == "Argument" and "filename" in node.get("name", "")):
            text = (node.text or "").strip()
            if text:
                yield (
                    text,
                    node.get("relativeToVRT", node.get("relativetoVRT", "0")) == "1"
                    or node.tag == "IndexDataset",
                )


def tiles_of(file: Path) -> tuple[Path, list[str]]:
    """The table of a tile index, and places of its tiles as they are written.

    Raises
    ------
    UnreadableError
        If the index cannot be read.
    """
    from reefscan.io.vectors import layer_table

    field, layer, index = "location", None, file
    if file.suffix.lower() in (".gti", ".xml", ".vrt"):
        root = _parsed(file.read_bytes())
        field = root.findtext("LocationField") or field
        layer = root.findtext("IndexLayer")
        index = Path(os.path.join(file.parent, _file_of(root.findtext("IndexDataset") or "")))
    table = layer_table(index, layer, columns=[field], read_geometry=False)
    if field not in table:
        raise UnreadableError(f"it is a tile index, but has no field {field!r}; make it again")
    return index, [str(place) for place in table[field]]
