"""Cells of an ASCII grid that hold no number: GDAL takes them for 0, which is a depth."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

from reefscan.base.errors import InputError
from reefscan.io.cache import keeping, made_of, sidecars
from reefscan.io.pointtext import ODD_SHARE

_CHUNK = 8 << 20
_ODD = re.compile(
    rb"(?<!\S)(?!(?:[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?|[+-]?(?:nan|inf\w*)|1\.#\w+)(?!\S))\S+",
    re.IGNORECASE,
)
_HEADER = re.compile(
    rb"\s*(?:(?:ncols|nrows|[xy]ll\w+|cellsize|d[xy]|nodata_value|(?:north|south|east|west|rows|cols|null|type|multiplier):)\s+\S+\s+"
    rb"|[a-z_]\w*:?[ \t]+\S+[ \t]*[\r\n]\s*)*",
    re.IGNORECASE,
)
"""The names that are known however the lines are broken, and any other name that has a line to itself with its value."""

_UNKNOWN = re.compile(rb"(?<!\S)(?:nodata_value|null:)\s+(\S+)", re.IGNORECASE)
_MARK = b"-2147483648"
"""Stands for an unknown cell where the header names no number for it: no depth in any unit, and whole, so that the type stays."""


def without_words(path: str, name: str, cells: int) -> tuple[str, str]:
    """Return what to read in place of an ASCII grid: itself, or where words stand in it a copy in which they are unknown.

    A word that the header names for unknown cells is no fault and is not counted.

    Parameters
    ----------
    path : str
        A file of this machine.
    name : str
        What to call it.
    cells : int
        How many it has by its header.

    Returns
    -------
    path, note : str
        What to read, and how many words there are and the first of them; no note where there is none.

    Raises
    ------
    InputError
        If more than `ODD_SHARE` of the cells hold no number, or the words and numbers are more or fewer than the cells.
    """
    blocks = _blocks(path)
    header = next(blocks)
    stated = _UNKNOWN.search(header)
    unknown = stated[1] if stated else b""
    count, first, line = 0, "", header.count(b"\n") + 1
    clean = not _ODD.fullmatch(unknown)
    for block in blocks:
        for found in _ODD.finditer(block):
            clean = False
            if found[0] != unknown:
                count += 1
                if not first:
                    word = found[0][:30].decode("utf-8", "replace")
                    at = line + block.count(b"\n", 0, found.start())
                    first = f"{word!r} in line {at:,}"
        line += block.count(b"\n")
    if clean:
        return path, ""
    if count > ODD_SHARE * cells:
        raise InputError(
            f"{name}: {count:,} of its {cells:,} cells hold no number, the first of them {first}, and would be read as depth 0; "
            "write the nodata value there"
        )
    note = f"{count:,} of its {cells:,} cells hold no number and are taken for unknown, such as {first}"
    target = made_of(path, "words.asc")
    if not target.exists():
        _copy(path, name, cells, target)
    return str(target), note if count else ""


def _copy(path: str, name: str, cells: int, target: Path) -> None:
    """Write an ASCII grid anew with a number for each word, and what stands beside it."""
    blocks = _blocks(path)
    header = next(blocks)
    stated = _UNKNOWN.search(header)
    mark = stated[1] if stated and not _ODD.fullmatch(stated[1]) else _MARK
    if stated:
        header = header[: stated.start(1)] + mark + header[stated.end(1) :]
    else:
        header += (b"null: " if b":" in header else b"NODATA_value ") + mark + b"\n"
    for beside, kept in zip(sidecars(path), sidecars(str(target)), strict=True):
        if os.path.isfile(beside):
            with keeping(Path(kept)) as part:
                shutil.copyfile(beside, part)
    with keeping(target) as part, open(part, "wb") as out:
        out.write(header)
        found = 0
        for block in blocks:
            found += len(block.split())
            out.write(_ODD.sub(mark, block))
        if found != cells:
            raise InputError(
                f"{name}: holds words where numbers should stand, and {found:,} of both for {cells:,} cells: "
                "it is not known which belongs where; correct it"
            )


def _blocks(path: str) -> Iterator[bytes]:
    """The header, then the cells in parts that cut no word."""
    rest, begun = b"", False
    with open(path, "rb") as file:
        while block := file.read(_CHUNK):
            if not begun:
                head = _HEADER.match(block)
                end, begun = head.end() if head else 0, True
                yield block[:end]
                block = block[end:]
            block = rest + block
            cut = max(block.rfind(gap) for gap in (b" ", b"\n", b"\t", b"\r")) + 1 or len(block)
            rest = block[cut:]
            yield block[:cut]
    yield rest
