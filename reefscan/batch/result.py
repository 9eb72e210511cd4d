"""What one tile gives back, and its one form as bytes.

The bytes are a header line of JSON and then the parts: every table as an Arrow IPC stream, every
raster as packed cells. A checksum over all of it stands in the first line, so that reading shows
whether a file is cut short, half written or damaged on the disk.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from reefscan.base.model import Window

MAGIC = b"reefscan-tile 2"
"""First word of a stored tile; the number changes with the layout, and other numbers are not read."""

PACKING = "lz4"
"""A rough score raster of 2048 x 2048 packs in 11 ms to 1.9 MB and unpacks in 2 ms; zstd 1: 18, 1.6 and 7."""

_SUM_BYTES = 16


@dataclass(frozen=True)
class TileResult:
    """Everything that later steps need from one tile.

    Parameters
    ----------
    core : Window
        The cells the tile answers for (its halo is not part of it).
    tables : mapping of str to pyarrow.Table
        Candidates, pieces of features and the like.
    rasters : mapping of str to ndarray
        Cell values: of the core's shape, or thinned as the name says.
    stats : mapping of str to float or int
        Counts and seconds, for the record of the run.
    inputs : mapping of str to str
        Hashes of what it was made from, as read: by them a later run may take it over.
    carried : bool
        True if it was taken over from a stored tile. Not stored.
    """

    core: Window
    tables: Mapping[str, pa.Table] = field(default_factory=dict)
    rasters: Mapping[str, NDArray[Any]] = field(default_factory=dict)
    stats: Mapping[str, float | int] = field(default_factory=dict)
    inputs: Mapping[str, str] = field(default_factory=dict)
    carried: bool = False


@dataclass(frozen=True)
class TileFailure:
    """A tile that could not be done; the others go on, and the next run tries it again.

    Parameters
    ----------
    core : Window
        The tile.
    message : str
        One line fit for a person.
    detail : str
        The traceback, for ``--debug`` and for the record of the run ("" when there is none).
    attempts : int
        How often it was tried in this run.
    """

    core: Window
    message: str
    detail: str = ""
    attempts: int = 1


class DamagedTileError(Exception):
    """Bytes that are not a whole stored tile; the store treats such a file as not there."""


def encode(result: TileResult, stamp: str) -> bytes:
    """Turn a result into bytes that carry their own checksum.

    Parameters
    ----------
    result : TileResult
    stamp : str
        What the result was made from; given back by `decode`.

    Returns
    -------
    bytes
        The same bytes for equal results: parts are ordered by name.
    """
    parts: list[bytes] = []
    tables: dict[str, int] = {}
    rasters: dict[str, dict[str, object]] = {}
    for name in sorted(result.tables):
        sink = pa.BufferOutputStream()
        table = result.tables[name]
        with pa.ipc.new_stream(sink, table.schema, options=pa.ipc.IpcWriteOptions(compression="zstd")) as out:
            out.write_table(table)
        parts.append(sink.getvalue().to_pybytes())
        tables[name] = len(parts[-1])
    codec = pa.Codec(PACKING)
    for name in sorted(result.rasters):
        cells = np.ascontiguousarray(result.rasters[name])
        parts.append(codec.compress(cells.reshape(-1).view(np.uint8), asbytes=True) if cells.size else b"")
        rasters[name] = {"dtype": cells.dtype.str, "shape": list(cells.shape), "bytes": len(parts[-1])}
    core = result.core
    header = {
        "stamp": stamp,
        "core": [core.row, core.col, core.height, core.width],
        "tables": tables,
        "rasters": rasters,
        "stats": plain_stats(result),
        "inputs": dict(sorted(result.inputs.items())),
    }
    body = json.dumps(header, separators=(",", ":")).encode() + b"\n" + b"".join(parts)
    return MAGIC + b" " + _checksum(body) + b"\n" + body


def decode(data: bytes) -> tuple[TileResult, str]:
    """Turn bytes from `encode` back into the result and its stamp.

    Raises
    ------
    DamagedTileError
        If a single bit differs from what was written, or the layout is another version's.
    """
    header, rest = _open(data)
    tables: dict[str, pa.Table] = {}
    rasters: dict[str, NDArray[Any]] = {}
    for name, size in header["tables"].items():
        tables[name] = pa.ipc.open_stream(pa.py_buffer(rest[:size])).read_all()
        rest = rest[size:]
    codec = pa.Codec(PACKING)
    for name, about in header["rasters"].items():
        dtype, shape, size = np.dtype(about["dtype"]), tuple(about["shape"]), about["bytes"]
        count = int(np.prod(shape)) * dtype.itemsize
        plain = codec.decompress(bytes(rest[:size]), decompressed_size=count, asbytes=True) if size else b""
        # A copy, because an array over bytes is read-only and callers may paint into it.
        rasters[name] = np.frombuffer(plain, dtype=dtype).reshape(shape).copy()
        rest = rest[size:]
    result = TileResult(Window(*header["core"]), tables, rasters, header["stats"], header["inputs"])
    return result, header["stamp"]


def stamp_in(data: bytes) -> str:
    """Check the bytes and return their stamp, without unpacking the parts.

    Raises
    ------
    DamagedTileError
        As for `decode`.
    """
    header, _ = _open(data)
    return str(header["stamp"])


def _open(data: bytes) -> tuple[dict[str, Any], memoryview]:
    start = len(MAGIC) + 1 + 2 * _SUM_BYTES
    if data[: len(MAGIC) + 1] != MAGIC + b" " or data[start : start + 1] != b"\n":
        raise DamagedTileError("not a stored tile of this version")
    body = memoryview(data)[start + 1 :]
    if data[len(MAGIC) + 1 : start] != _checksum(body):
        raise DamagedTileError("the checksum does not fit")
    line_end = data.index(b"\n", start + 1)
    return json.loads(data[start + 1 : line_end]), memoryview(data)[line_end + 1 :]


def _checksum(body: bytes | memoryview) -> bytes:
    return hashlib.blake2b(body, digest_size=_SUM_BYTES).hexdigest().encode()


def plain_stats(result: TileResult) -> dict[str, float | int]:
    """Counts and seconds in the order of their names, as Python numbers, which JSON knows."""
    return {
        name: value.item() if isinstance(value, np.generic) else value
        for name, value in sorted(result.stats.items())
    }
