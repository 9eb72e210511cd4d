"""The tile store: finished tiles by content, in the run folder, written whole or not at all.

A tile's file is named by *what was asked of which place*, and carries a stamp of *what it was made from*. A
file that is missing, cut short, damaged, of another version or of another stamp is simply not there,
and the tile is computed again. Nothing is trusted that was not read and checked; there is no index to
fall out of step with the files.
"""

from __future__ import annotations

import hashlib
import json
import logging
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from reefscan.base.model import Window
from reefscan.batch.pack import NAME as PACK
from reefscan.batch.pack import TilePack
from reefscan.batch.result import DamagedTileError, TileResult, decode, encode, stamp_in
from reefscan.io.whole import write_error, write_whole

logger = logging.getLogger(__name__)

_TOKEN = "store.json"
_HALF = ".*.part.*"
"""Names that `reefscan.io.whole` writes to before it moves them into place."""


def tile_key(core: Window, *parts: object) -> str:
    """Name a tile by its place and by everything it depends on.

    Parameters
    ----------
    core : Window
        The tile's cells.
    *parts : JSON-ready objects
        Say the input fingerprint, the ``[find]`` key, the version of the code, the sheet.

    Returns
    -------
    str
        32 hexadecimal digits; equal parts give equal names on any machine.
    """
    text = json.dumps([core.row, core.col, core.height, core.width, *parts], sort_keys=True, default=str)
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


def _program_of(folder: Path) -> str:
    """Which program's tiles are in a store, as far as it says."""
    try:
        return str(json.loads((folder / _TOKEN).read_bytes())["program"])
    except (OSError, ValueError, KeyError, TypeError):
        return ""


@dataclass(frozen=True)
class TileStore:
    """A folder of finished tiles. Small, frozen, picklable: workers hold a copy.

    Parameters
    ----------
    folder : Path
        The folder.
    token : str
        What `open` wrote into it; a worker on another machine that does not find the same token
        at the same path does not share the disk and sends its result back instead.
    """

    folder: Path
    token: str

    @classmethod
    def open(cls, folder: Path | str, *, program: str = "") -> TileStore:
        """Open the store, making it if need be, and clear what a killed run left half written.

        Call it with the run folder locked: files that another run is writing would be cleared too.

        Parameters
        ----------
        folder : path
        program : str
            What the names of tiles have in them of the program. Tiles of any other can never be asked for
            again, and are removed.

        Raises
        ------
        RunFolderError
            If the folder cannot be made or written; `DiskFullError` if the disk is full.
        """
        folder = Path(folder).absolute()
        token = uuid.uuid4().hex
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for left in [*folder.glob(_HALF), *folder.glob(f"??/{_HALF}")]:
                left.unlink(missing_ok=True)
            if program and _program_of(folder) != program:
                for old in [*folder.glob("??/*.tile"), folder / PACK]:
                    old.unlink(missing_ok=True)
        except OSError as error:
            raise write_error(folder, error) from error
        write_whole(folder / _TOKEN, json.dumps({"token": token, "program": program}))
        return cls(folder, token)

    def reachable(self) -> bool:
        """True if this process sees the very folder that `open` made."""
        try:
            return bool(json.loads((self.folder / _TOKEN).read_bytes())["token"] == self.token)
        except (OSError, ValueError, KeyError):
            return False

    def path(self, name: str) -> Path:
        """Where the tile of that name lies (256 subfolders keep each short on a long coast)."""
        return self.folder / name[:2] / f"{name}.tile"

    def look(self, name: str, stamp: str) -> str:
        """Read and check a tile without unpacking it: ``good``, ``stale``, ``damaged`` or ``absent``."""
        data = self._read(name)
        if data is None:
            return "absent"
        try:
            return "good" if stamp_in(data) == stamp else "stale"
        except DamagedTileError:
            return "damaged"

    def load(self, name: str, stamp: str) -> TileResult | None:
        """Return the tile, or None if it is absent, damaged or made from something else."""
        found = self._decoded(name)
        return found[0] if found is not None and found[1] == stamp else None

    def load_stale(self, name: str) -> TileResult | None:
        """Return the tile whatever it was made from, or None if it is absent or damaged."""
        found = self._decoded(name)
        return None if found is None else found[0]

    def save(self, name: str, stamp: str, result: TileResult) -> None:
        """Write a tile whole or not at all; an older one of that name is replaced.

        Raises
        ------
        RunFolderError
            If it cannot be written; `DiskFullError` if the disk is full. What was there before stays.
        """
        self.save_bytes(name, encode(result, stamp))

    def save_bytes(self, name: str, data: bytes) -> None:
        """Write the bytes of `reefscan.batch.result.encode`; see `save`."""
        path = self.path(name)
        try:
            path.parent.mkdir(exist_ok=True)
        except OSError as error:
            raise write_error(path.parent, error) from error
        write_whole(path, data)

    def names(self) -> Iterator[str]:
        """Names of all tiles in the store, good or not; not of those that somebody is writing just now."""
        for path in self.folder.glob("??/[!.]*.tile"):
            yield path.stem

    def count(self) -> int:
        """How many tiles are in the store, the small ones with them; others may be adding to it."""
        return len({*self.names(), *TilePack.read(self.folder).places})

    def _decoded(self, name: str) -> tuple[TileResult, str] | None:
        data = self._read(name)
        if data is None:
            return None
        try:
            return decode(data)
        except DamagedTileError:
            return None

    def _read(self, name: str) -> bytes | None:
        try:
            return self.path(name).read_bytes()
        except FileNotFoundError:
            return None
        except OSError as error:
            # A sector that cannot be read is a damaged file: compute the tile again.
            logger.warning("%s: %s; the tile is computed again", self.path(name), error)
            return None
