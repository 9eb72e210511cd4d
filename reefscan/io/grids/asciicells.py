"""Cells of an ASCII grid that hold no number: GDAL takes them for 0, which is a depth."""

from __future__ import annotations

import re

from reefscan.base.errors import InputError

_CHUNK = 8 << 20
_ODD = re.compile(
    rb"(?<!\S)(?!(?:[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?|[+-]?(?:nan|inf\w*)|1\.#\w+)(?!\S))\S+",
    re.IGNORECASE,
)
_HEADER = re.compile(rb"\s*(?:[A-Za-z_]\w*:?[ \t]+\S+[ \t]*(?:\r\n|\r|\n))+")


def refuse_words(path: str, name: str) -> None:
    """Refuse an ASCII grid in whose cells a word stands.

    Parameters
    ----------
    path : str
        A file of this machine.
    name : str
        What to call it.

    Raises
    ------
    InputError
        With how many there are, and the first.
    """
    count, first, rest = 0, b"", b""
    with open(path, "rb") as file:
        while block := file.read(_CHUNK):
            if file.tell() == len(block):  # the first one
                head = _HEADER.match(block)
                block = block[head.end() :] if head else block
            block = rest + block
            cut = max(block.rfind(b" "), block.rfind(b"\n")) + 1 or len(block)
            rest = block[cut:]
            found = _ODD.findall(block[:cut])
            count, first = count + len(found), first or (found[0] if found else b"")
        found = _ODD.findall(rest)
        count, first = count + len(found), first or (found[0] if found else b"")
    if count:
        shown = repr(first[:30].decode("utf-8", "replace"))
        raise InputError(
            f"{name}: {count:,} of its cells hold no number, the first of them {shown}, and would be read as depth 0; "
            "write the nodata value there"
        )
