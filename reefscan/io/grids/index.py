"""What was found out about the files of a folder, looked at once and remembered."""

from __future__ import annotations

import contextlib
import hashlib
import json
import logging
import os
import tempfile
import warnings
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from rasterio.errors import NotGeoreferencedWarning

from reefscan.base.errors import AmbiguousError, InputError, NoCrsError
from reefscan.io.cache import cache_folder, reader_rules, sidecars
from reefscan.io.grids.forms import GridOptions, open_layer
from reefscan.io.grids.layer import Layer

log = logging.getLogger(__name__)

# what a file's own content decides; a damaged file is tried again, for it may be on its way in
_REFUSALS: dict[str, type[InputError]] = {"AmbiguousError": AmbiguousError, "NoCrsError": NoCrsError}


class Index:
    """What was found out about the files of a folder, kept between runs.

    An entry holds as long as size and time of change of the file and its sidecars do, and the user's options.
    """

    def __init__(self, folder: Path, options: GridOptions) -> None:
        key = json.dumps([reader_rules(), os.path.realpath(folder), list(options.__dict__.values())])
        self.path = cache_folder() / f"index-{hashlib.sha256(key.encode()).hexdigest()[:24]}.json"
        self.entries: dict[str, Any] = {}
        try:
            self.entries = json.loads(self.path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            pass
        if not isinstance(self.entries, dict):
            self.entries = {}

    def look(self, files: Sequence[Path], options: GridOptions) -> list[Layer | InputError]:
        """Layer or error for each file; only new and changed files are opened."""
        out: list[Layer | InputError | None] = [self._recall(path) for path in files]
        new = [i for i, answer in enumerate(out) if answer is None]
        if new:
            # catch_warnings is not safe between threads: the filter is set once around them all
            with (
                warnings.catch_warnings(),
                ThreadPoolExecutor(max_workers=min(8, os.cpu_count() or 1)) as pool,
            ):
                warnings.simplefilter("ignore", NotGeoreferencedWarning)
                for i, answer in zip(new, pool.map(lambda i: _try(files[i], options), new), strict=True):
                    out[i] = answer
                    self._remember(files[i], answer)
            self._save()
        return [answer for answer in out if answer is not None]

    def _recall(self, path: Path) -> Layer | InputError | None:
        entry = self.entries.get(str(path))
        try:
            if entry and entry["stamp"] == _stamp(path):
                if "refused" in entry:
                    return _REFUSALS[entry["refused"][0]](entry["refused"][1])
                layer = Layer.from_json(entry["layer"])
                # what was made of a text is kept beside the index, and may have been cleared away
                return layer if layer.path == layer.file or not _cleared(layer.path) else None
        except (OSError, KeyError, TypeError, ValueError):
            pass
        return None

    def _remember(self, path: Path, answer: Layer | InputError) -> None:
        # a virtual mosaic can change without its own file changing: never remembered
        if isinstance(answer, Layer) and answer.driver not in ("VRT", "GTI"):
            self.entries[str(path)] = {"stamp": _stamp(path), "layer": answer.to_json()}
        elif type(answer).__name__ in _REFUSALS:
            self.entries[str(path)] = {
                "stamp": _stamp(path),
                "refused": [type(answer).__name__, str(answer)],
            }

    def _save(self) -> None:
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            handle, temporary = tempfile.mkstemp(dir=self.path.parent)
            with os.fdopen(handle, "w", encoding="utf-8") as out:
                json.dump(self.entries, out)
            os.replace(temporary, self.path)
        except (OSError, ValueError) as error:  # it only saves time
            log.info("the index of the folder could not be kept: %s", error)


def _stamp(path: Path) -> list[int]:
    """Size and time of a file and of the sidecars that may change what it says."""
    facts = path.stat()
    out = [facts.st_size, facts.st_mtime_ns]
    for sidecar in sidecars(str(path)):
        with contextlib.suppress(OSError):
            beside = os.stat(sidecar)
            out += [beside.st_size, beside.st_mtime_ns]
    return out


def _cleared(path: str) -> bool:
    """True if a file of the cache is gone; a name with which a library opens a part of a file is none."""
    return Path(path).parent == cache_folder() and not os.path.exists(path)


def _try(path: Path, options: GridOptions) -> Layer | InputError:
    try:
        return open_layer(str(path), options)
    except InputError as error:
        return error
