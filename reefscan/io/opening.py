"""Opening logs: compressed or not, in any encoding, in chunks of whole lines.

A log is read once, front to back, in chunks of a few megabytes, so that its size never matters.
"""

from __future__ import annotations

import bz2
import gzip
import lzma
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO, cast

from reefscan.base.errors import MissingInputError, UnreadableError
from reefscan.io.localfile import require_file

LOGS = frozenset(".csv .nmea .nme .gpx .log".split())
"""Endings under which sounders and navigators log; what is in such a file is no grid yet."""

CHUNK = 16 << 20
LARGEST = 1 << 30
LINE_LIMIT = 1 << 16
"""A longer 'line' is not text: it is dropped and counted."""

TOO_LONG = b"(a line without an end)\n"

PACKED = {".gz", ".xz", ".zip", ".bz2", ".lzma"}
_DAMAGE = (EOFError, lzma.LZMAError, gzip.BadGzipFile, zipfile.BadZipFile, OSError)


def inner_suffix(path: Path) -> str:
    """Suffix of what is inside: ``.csv`` for ``log.csv.gz``."""
    suffixes = [s.lower() for s in path.suffixes]
    while suffixes and suffixes[-1] in PACKED:
        suffixes.pop()
    return suffixes[-1] if suffixes else ""


@contextmanager
def open_bytes(path: Path) -> Iterator[BinaryIO]:
    """Open a log for reading bytes, unpacking gz, xz, bz2 and a zip with one file in it.

    Raises
    ------
    MissingInputError
        No such file.
    UnreadableError
        A damaged archive, or a zip that holds several files.
    """
    require_file(path)
    suffix = path.suffix.lower()
    try:
        if suffix == ".zip":
            with zipfile.ZipFile(path) as archive:
                names = [n for n in archive.namelist() if not n.endswith("/")]
                if len(names) != 1:
                    raise UnreadableError(
                        f"{path.name}: the zip holds {len(names)} files; wanted one log; unpack it and name the folder"
                    )
                with archive.open(names[0]) as stream:
                    yield cast(BinaryIO, stream)
        elif suffix in (".gz", ".xz", ".lzma", ".bz2"):
            openers: dict[str, Any] = {".gz": gzip.open, ".bz2": bz2.open}
            opener = openers.get(suffix, lzma.open)
            with opener(path, "rb") as stream:
                yield cast(BinaryIO, stream)
        else:
            with path.open("rb") as stream:
                yield stream
    except _DAMAGE as error:
        if isinstance(error, (MissingInputError, UnreadableError)):
            raise
        raise UnreadableError(f"{path.name}: cannot be read to its end ({error}); copy it again") from error


def read_head(path: Path, size: int = 1 << 16) -> bytes:
    """Return the first bytes of what is inside, as UTF-8, without NUL bytes or byte-order mark."""
    with open_bytes(path) as stream:
        return _clean(stream.read(size), _wide(path))


def read_all(path: Path) -> bytes:
    """Return everything inside (for the small structured forms).

    Raises
    ------
    UnreadableError
        If it is larger than `LARGEST` bytes.
    """
    with open_bytes(path) as stream:
        data = stream.read(LARGEST + 1)
    if len(data) > LARGEST:
        raise UnreadableError(
            f"{path.name}: larger than {LARGEST >> 20} MB; split it or give it as delimited text"
        )
    return data


def chunks(path: Path) -> Iterator[bytes]:
    """Yield chunks of whole lines as UTF-8 bytes; lines end in a newline, whatever they ended in.

    Lines longer than `LINE_LIMIT` are dropped, and `TOO_LONG` stands for them: a gigabyte without a line end costs
    no memory.
    """
    wide = _wide(path)
    rest, dropping = b"", False
    with open_bytes(path) as stream:
        while block := stream.read(CHUNK):
            data = rest + _clean(block, wide)
            cut = data.rfind(b"\n") + 1
            if dropping and cut:
                start = data.find(b"\n") + 1
                data, cut, dropping = data[start:], cut - start, False
            if cut:
                yield data[:cut]
                rest = data[cut:]
            else:
                rest = data
            if len(rest) > LINE_LIMIT:
                if not dropping:
                    yield TOO_LONG
                rest, dropping = b"", True
    if rest and not dropping:
        yield rest + b"\n"


def _wide(path: Path) -> str | None:
    """UTF-16 flavour of a file by its byte-order mark or its pattern of NUL bytes."""
    with open_bytes(path) as stream:
        head = stream.read(512)
    if head[:2] == b"\xff\xfe":
        return "utf-16-le"
    if head[:2] == b"\xfe\xff":
        return "utf-16-be"
    half = len(head) // 2
    if half > 8 and head[1::2].count(0) > 0.9 * half:
        return "utf-16-le"
    return None


def _clean(block: bytes, wide: str | None) -> bytes:
    if wide is not None:
        block = block[: len(block) // 2 * 2].decode(wide, "replace").encode()
    if block[:3] == b"\xef\xbb\xbf":
        block = block[3:]
    if b"\x00" in block:
        block = block.replace(b"\x00", b"")
    if b"\r" in block:
        block = block.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return block


def as_text(data: bytes) -> str:
    """Decode UTF-8, and where it is not, Latin-1, in which every byte is something."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")
