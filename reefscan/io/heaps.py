"""Heaps of an HDF5 file in which its library would go round for ever."""

from __future__ import annotations

import mmap
import re
import struct

from reefscan.base.errors import UnreadableError

SIGNATURE = b"\x89HDF\r\n\x1a\n"

_HEAP = re.compile(rb"GCOL\x01\x00\x00\x00(.{8})", re.S)
_LEAST = 4096
_LOOKED = 1 << 28
"""Bytes from the beginning that are looked through (a tenth of a second); a library writes its heaps, which hold names, among the first."""


def refuse_endless(path: str) -> None:
    """Refuse an HDF5 file of which a heap holds free space of no size, as zeros after a power cut do.

    The library steps on by that size and so never ends (a hang in C, which no signal stops: version 1.14.5, case 100371 of the
    attack on netCDF). The layout is that of the file format specification, level 1E.

    Parameters
    ----------
    path : str
        An HDF5 file (netCDF-4, BAG, S-102) of this machine.

    Raises
    ------
    UnreadableError
    """
    with open(path, "rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        for found in _HEAP.finditer(data, 0, min(len(data), _LOOKED)):
            (size,) = struct.unpack("<Q", found[1])
            at, end = found.end(), min(found.start() + size, len(data))
            while size >= _LEAST and at + 16 <= end:
                number, length = struct.unpack_from("<H6xQ", data, at)
                if number == 0 and length == 0:
                    raise UnreadableError("a part of it is damaged; fetch the file again")
                at += length if number == 0 else 16 + (length + 7) // 8 * 8
