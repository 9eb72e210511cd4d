"""The run folder: everything that a run writes. A mark that it is ours is written first.

A folder that holds anything and is not marked is never touched. `run.json` carries the state
(``started``, ``done``, ``partial``, ``failed``, ``interrupted``): a reader sees at once whether the
rest can be trusted.
"""

from __future__ import annotations

import json
import logging
import platform
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from reefscan.base.caution import CAUTION
from reefscan.base.datum import datum_of
from reefscan.base.errors import MissingInputError, RecipeError, RunFolderError, UnreadableError
from reefscan.base.recipe import Recipe, dump_recipe, load_recipe
from reefscan.io.localfile import odd_kind, read_small_text
from reefscan.io.lock import NAME as LOCK
from reefscan.io.lock import FolderLock
from reefscan.io.out import geojson
from reefscan.io.whole import write_error, write_whole
from reefscan.surroundings.known import closed_words

if TYPE_CHECKING:
    import pandas as pd

logger = logging.getLogger(__name__)

RUN_SCHEMA_VERSION = 1
MARK = "reefscan-run"

RUN_JSON = "run.json"
RECIPE = "recipe.toml"
CANDIDATES_GEOJSON = "candidates.geojson"
CANDIDATES_PARQUET = "candidates.parquet"
FEATURES = "features.gpkg"
SCORE = "score.tif"
MAP = "map.png"
STORE = "store"

_LIBRARIES = ("reefscan", "numpy", "numba", "rasterio", "pyproj", "pyarrow", "scipy")


class RunFolder:
    """A run folder, open for writing (`create`) or for reading (`open`).

    Use `create` as a context manager: an exception is written into ``run.json`` as ``failed`` or
    ``interrupted``, and the lock is given back.
    """

    def __init__(self, path: Path, info: dict[str, Any], lock: FolderLock | None) -> None:
        self.path = path
        self.info = info
        self._lock = lock

    @classmethod
    def create(cls, path: Path | str, *, command: str = "scan") -> RunFolder:
        """Make the folder, or take over an earlier run in it; lock it; mark it as started.

        Parameters
        ----------
        path : path
            A new folder, an empty one, or an earlier run.
        command : str
            What is being done, as recorded.

        Raises
        ------
        RunFolderError
            If the path is a file, holds something that is not a run, or cannot be written.
        LockedError
            If another process uses it.
        """
        path = Path(path)
        _refuse_foreign(path)
        lock = FolderLock(path)
        try:
            path.mkdir(parents=True, exist_ok=True)
            lock.acquire()
        except RunFolderError:
            raise
        except OSError as error:
            raise write_error(path, error) from error
        info: dict[str, Any] = {
            "mark": MARK,
            "schema_version": RUN_SCHEMA_VERSION,
            "state": "started",
            "command": command,
            "started": _now(),
            "finished": None,
            "versions": _versions(),
            "caution": CAUTION,
            "warnings": [],
        }
        run = cls(path, info, lock)
        try:
            run._write_info()
        except BaseException:
            lock.release()
            raise
        return run

    @classmethod
    def open(cls, path: Path | str, *, finished: bool = True) -> RunFolder:
        """Open a run folder for reading.

        Parameters
        ----------
        finished : bool
            Refuse a run that did not reach its end (``done`` or ``partial``).

        Raises
        ------
        MissingInputError
            If there is no such folder.
        RunFolderError
            If it is not a run, is of another version, or is not finished.
        """
        path = Path(path)
        if not path.exists():
            raise MissingInputError(
                f"{path}: no such run folder; make one with 'reefscan scan GRID --out {path}'"
            )
        info = _read_mark(path)
        if info is None:
            raise RunFolderError(
                f"{path}: not a run folder (no {RUN_JSON} of ours); give the --out of a scan"
            )
        found = info.get("schema_version")
        if found != RUN_SCHEMA_VERSION:
            raise RunFolderError(
                f"{path}: run of version {found!r}; this program reads {RUN_SCHEMA_VERSION}; scan again"
            )
        if finished and info.get("state") not in ("done", "partial"):
            raise RunFolderError(
                f"{path}: the run is {info.get('state')!r}, not done; give the same scan again to finish it"
            )
        return cls(path, info, None)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if error is not None and self.info["state"] == "started":
                self.info["state"] = "interrupted" if isinstance(error, KeyboardInterrupt) else "failed"
                self.info["error"] = str(error) or type(error).__name__
                self.info["finished"] = _now()
                try:
                    self._write_info()
                except RunFolderError as second:  # a full disk: the first error is the one to tell
                    logger.warning("%s", second)
        finally:
            self.close()

    def close(self) -> None:
        """Give the lock back."""
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def file(self, name: str) -> Path:
        """Path of a file of the run."""
        return self.path / name

    def note(self, **fields: Any) -> None:
        """Record facts in ``run.json`` (JSON-ready values); written at once."""
        self.info.update(fields)
        self._write_info()

    def warn(self, *warnings: str) -> None:
        """Record warnings, each once, in the order they came."""
        seen = self.info["warnings"]
        seen.extend(w for w in dict.fromkeys(warnings) if w not in seen)
        self._write_info()

    def finish(self, state: str = "done", **fields: Any) -> None:
        """Mark the run as ``done`` or ``partial`` and record the last facts. Do it last of all."""
        self.info.update(fields)
        self.info["state"] = state
        self.info["finished"] = _now()
        self._write_info()

    def write(self, name: str, data: bytes | str) -> Path:
        """Write one file of the run whole."""
        return write_whole(self.path / name, data)

    def write_recipe(self, recipe: Recipe) -> Path:
        """Write the recipe as used."""
        return self.write(RECIPE, dump_recipe(recipe))

    def write_candidates(self, table: pd.DataFrame) -> Path:
        """Write all candidates with their raw measures (``candidates.parquet``)."""
        from reefscan.io.out import tables

        return self.write(CANDIDATES_PARQUET, tables.candidates_to_bytes(table))

    def write_listed(self, sites: Sequence[Mapping[str, Any]], info: Mapping[str, Any] | None = None) -> Path:
        """Write the ranked list (``candidates.geojson``) with what ``info`` knows of closed ground and of the datum; see `reefscan.io.out.geojson.to_text`."""
        known = info or {}
        caution = f"{closed_words(known)} {CAUTION}"
        return self.write(CANDIDATES_GEOJSON, geojson.to_text(sites, caution=caution, datum=datum_of(known)))

    def recipe(self) -> Recipe:
        """Return the recipe the run used."""
        path = self.path / RECIPE
        try:
            recipe = load_recipe(self._text(RECIPE), name=str(path))
        except RecipeError as error:
            raise RunFolderError(f"{error}; scan again") from None
        # what a damaged one lost would be taken from the defaults, and the list be another
        if not {"find", "score", "rank"} <= recipe.model_fields_set:
            raise RunFolderError(f"{path}: damaged, a part of it is missing; scan again")
        return recipe

    def candidates(self) -> pd.DataFrame:
        """Return all candidates with their raw measures."""
        path = self.path / CANDIDATES_PARQUET
        if kind := odd_kind(path):
            raise RunFolderError(f"{path}: is {kind}, not a file; scan again")
        if not path.exists():
            raise RunFolderError(f"{path}: missing; scan again")
        from reefscan.io.out import tables

        return tables.read_candidates(path)

    def listed(self) -> dict[str, Any]:
        """Return the ranked list as a GeoJSON object."""
        try:
            result: dict[str, Any] = json.loads(self._text(CANDIDATES_GEOJSON))
        except (ValueError, RecursionError):
            raise RunFolderError(f"{self.path / CANDIDATES_GEOJSON}: damaged; scan again") from None
        return result

    def _text(self, name: str) -> str:
        path = self.path / name
        try:
            return read_small_text(path, most=2_000_000_000)
        except MissingInputError:
            raise RunFolderError(f"{path}: missing; scan again") from None
        except UnreadableError as error:
            raise RunFolderError(f"{error}; scan again") from None

    def _write_info(self) -> None:
        text = json.dumps(self.info, indent=1, ensure_ascii=False, allow_nan=False, default=_plain)
        write_whole(self.path / RUN_JSON, text + "\n")


def _refuse_foreign(path: Path) -> None:
    if not path.exists() and not path.is_symlink():
        return
    if not path.is_dir():
        raise RunFolderError(f"{path}: is a file, not a folder; choose another --out")
    try:
        empty = not any(_is_foreign(entry.name) for entry in path.iterdir())
    except OSError as error:
        raise RunFolderError(f"{path}: cannot be read ({error.strerror})") from error
    if not empty and _read_mark(path) is None:
        raise RunFolderError(
            f"{path}: holds files and is not a run of ours, so it is left alone; choose another --out"
        )


def _is_foreign(name: str) -> bool:
    """False for what another scan, or one that was killed, puts into a folder before its mark is there."""
    return name not in (".DS_Store", LOCK) and not (name.startswith(".") and ".part" in name)


def score_name(number: int) -> str:
    """Name of the score raster of a run's sheet, counted from 0."""
    return SCORE if number == 0 else SCORE.replace(".tif", f"_{number + 1}.tif")


def run_inputs(folder: Path, *others: Path | None) -> list[Path]:
    """Files that a command reads when it opens a run (not its map, which is only looked at), and others that are named with it."""
    mine = (RUN_JSON, RECIPE, CANDIDATES_GEOJSON, CANDIDATES_PARQUET, FEATURES, SCORE, "surroundings.gpkg")
    return [*(folder / name for name in mine), folder / STORE, *(path for path in others if path is not None)]


def is_run(path: Path) -> bool:
    """Tell whether a folder holds a run of ours, finished or not."""
    return _read_mark(path) is not None


def _read_mark(path: Path) -> dict[str, Any] | None:
    try:
        info = json.loads(read_small_text(path / RUN_JSON, most=200_000_000))
    except (OSError, ValueError, RecursionError):
        return None
    return info if isinstance(info, dict) and info.get("mark") == MARK else None


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _versions() -> dict[str, str]:
    found = {"python": platform.python_version()}
    for name in _LIBRARIES:
        try:
            found[name] = version(name)
        except PackageNotFoundError:
            continue
    return found


def _plain(value: Any) -> Any:
    """numpy numbers and paths for JSON."""
    if hasattr(value, "item"):
        return value.item()
    if isinstance(value, Path):
        return str(value)
    raise TypeError(f"{type(value).__name__} cannot be written to {RUN_JSON}")
