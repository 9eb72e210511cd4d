"""Which files of a folder are grids, and which are strangers; looked at once and remembered.

The rule for what cannot be used: a file that was named is an error; one that was found in a folder
is skipped and named, as long as at least one file in the folder can be used.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import json
import logging
import os
import re
import tempfile
import warnings
import zipfile
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rasterio.errors import NotGeoreferencedWarning

from reefscan.errors import AmbiguousError, InputError, MissingInputError, NoCrsError
from reefscan.io import handles
from reefscan.io.assemble import Asked
from reefscan.io.forms import Wishes, open_layer, short_name
from reefscan.io.layer import Layer
from reefscan.io.soundings_open import LOGS

log = logging.getLogger(__name__)

GRID_SUFFIXES = frozenset(
    ".tif .tiff .gtiff .cog .vrt .nc .nc4 .cdf .grd .bag .asc .xyz .h5 .hdf5 .img .flt .bil .dem .hgt .gti".split()
)
"""What a grid may be called inside a folder; any name will do for a file that is given by name."""

ARCHIVES = frozenset(".zip .gz .tgz .7z .tar .bz2 .xz .rar".split())
SIDECARS = frozenset(
    ".xml .ovr .msk .prj .tfw .wld .hdr .aux .dbf .shx .shp .cpg .json .geojson .qmd .lock".split()
)


@dataclass(frozen=True)
class Found:
    """Files that can be used, and sentences about what cannot.

    Parameters
    ----------
    layers : list of Layer
        Usable files.
    notes : tuple of str
        Skipped files and why, strangers, disagreements.
    skipped : tuple of (str, str)
        Name and reason of every grid that could not be used.
    """

    layers: list[Layer]
    notes: tuple[str, ...]
    skipped: tuple[tuple[str, str], ...] = ()


def look_at(paths: Sequence[str], wishes: Wishes, asked: Asked) -> Found:
    """Look at files, folders and URLs.

    Raises
    ------
    InputError
        If a named file cannot be used, or nothing in a folder can.
    """
    if not paths:
        raise InputError("no input was named; wanted files, folders or URLs of bathymetry")
    layers: list[Layer] = []
    notes: list[str] = []
    skipped: list[tuple[str, str]] = []
    for path in paths:
        if "://" in path:
            from reefscan.io.remote import gdal_path, open_remote

            layers.append(open_remote(gdal_path(path), path, wishes, asked.box))
            continue
        place = Path(path)
        if place.is_dir() and not _is_dataset(place):
            found = _look_in(place, replace(wishes, crs_only_fills=True))
            layers += found.layers
            notes += found.notes
            skipped += found.skipped
        elif not os.path.lexists(place) and not path.startswith("/vsi") and ":" not in path:
            raise MissingInputError(f"{path}: there is no such file or folder")
        elif place.suffix.lower() in ARCHIVES and place.is_file():
            raise InputError(f"{place.name}: is an archive{_held(place)}; unpack it first")
        else:
            layers.append(open_layer(path, wishes))
    unique = {(layer.path, layer.band): layer for layer in layers}
    return Found(list(unique.values()), tuple(notes), tuple(skipped))


def _held(archive: Path) -> str:
    """What grids a zip archive holds, for the refusal; a zip that cannot be read says nothing."""
    if archive.suffix.lower() != ".zip":
        return ""
    try:
        with zipfile.ZipFile(archive) as held:
            names = [n for n in held.namelist() if os.path.splitext(n)[1].lower() in GRID_SUFFIXES]
    except (OSError, zipfile.BadZipFile):
        return " (and a damaged one)"
    if not names:
        return " without a grid"
    more = f" and {len(names) - 1} more" if len(names) > 1 else ""
    return f" (it holds {short_name(names[0])}{more})"


def _is_dataset(folder: Path) -> bool:
    return folder.suffix.lower() == ".zarr"


def walk(folder: Path) -> tuple[list[Path], Counter[str]]:
    """Grid files below a folder, sorted, each real file once, and how many strangers of which kind."""
    grids: dict[str, Path] = {}
    strangers: Counter[str] = Counter()
    entered: set[tuple[int, int]] = set()
    stack = [folder]
    while stack:
        here = stack.pop()
        try:
            told = here.stat()
            if (told.st_dev, told.st_ino) in entered and told.st_ino:
                continue  # a link back to a folder already seen
            entered.add((told.st_dev, told.st_ino))
            if here != folder and _is_run(here):
                strangers["folder of an earlier run"] += 1
                continue
            entries = sorted(os.scandir(here), key=lambda entry: entry.name)
        except OSError as error:
            strangers[f"folder that cannot be entered ({error.strerror})"] += 1
            continue
        for entry in entries:
            if entry.name.startswith("."):
                continue
            try:
                is_dir, is_file = entry.is_dir(), entry.is_file()
            except OSError:
                is_dir = is_file = False
            if is_dir:
                stack.append(Path(entry.path))
                continue
            suffix = os.path.splitext(entry.name)[1].lower()
            if suffix in SIDECARS or entry.name.lower().endswith(".aux.xml"):
                continue
            if not is_file:
                strangers["broken link"] += 1
            elif suffix in GRID_SUFFIXES:
                real = os.path.realpath(entry.path) if entry.is_symlink() else entry.path
                grids.setdefault(real, Path(entry.path))
            elif suffix in ARCHIVES:
                strangers[f"archive ({suffix}): unpack it if it holds grids"] += 1
            elif suffix in LOGS:
                strangers[f"log or table ({suffix}): 'reefscan grid' makes a grid of soundings"] += 1
            else:
                strangers[f"file of no known form ({suffix or 'no ending'})"] += 1
    about = _about_others([grids[key] for key in sorted(grids)])
    for path, what in about.items():
        strangers[f"file that by its name is the {what} of another"] += 1
    return [grids[key] for key in sorted(grids) if grids[key] not in about], strangers


_DERIVED = frozenset(
    "hillshade shade shaded slope aspect rugosity roughness backscatter uncertainty uncert sigma stddev std tvu thu "
    "density count mask contributor tid coverage quality".split()
)
"""Words by which products that lie beside a grid call themselves; without a grid of the same name they say nothing."""


def _is_run(folder: Path) -> bool:
    if not (folder / "run.json").is_file():
        return False
    from reefscan.io.runfolder import (
        is_run,  # loads the libraries of tables, which looking at grids does without
    )

    return is_run(folder)


def _about_others(paths: list[Path]) -> dict[Path, str]:
    """Files whose name is that of another grid beside them and a word for something other than depths."""
    named = {path: _derived(path) for path in paths}
    plain = [path for path, word in named.items() if not word]
    out = {}
    for path, word in named.items():
        head = path.stem.lower().partition(word)[0].rstrip("_-. ") if word else ""
        if head and any(p.parent == path.parent and p.stem.lower().startswith(head) for p in plain):
            out[path] = word
    return out


def _derived(path: Path) -> str:
    """The word at the end of a name (a cell size may follow) that says it holds no depths; empty if there is none."""
    parts = [
        part for part in re.split(r"[^a-z]+", path.stem.lower()) if part not in ("", "m", "cm", "ft", "v")
    ]
    return parts[-1] if len(parts) > 1 and parts[-1] in _DERIVED else ""


def _look_in(folder: Path, wishes: Wishes) -> Found:
    files, strangers = walk(folder)
    if not files:
        held = ", ".join(f"{n} {what}" for what, n in strangers.items()) or "nothing"
        raise InputError(
            f"{folder}: no grid in this folder (it holds {held}); wanted GeoTIFF, VRT, netCDF, BAG, S-102, ASCII or XYZ"
        )
    index = _Index(folder, wishes)
    answers = index.look(files, wishes)
    layers = [a for a in answers if isinstance(a, Layer)]
    failed = [(f, a) for f, a in zip(files, answers, strict=True) if not isinstance(a, Layer)]
    layers, failed = _follow_the_others(folder, layers, failed, wishes)
    notes: list[str] = [
        f"passed over in {folder.name or folder.resolve().name}: {n} x {what}"
        for what, n in sorted(strangers.items())
    ]
    skipped: list[tuple[str, str]] = []
    for path, error in failed:
        text = str(error)
        skipped.append((short_name(str(path)), text))
    if not layers:
        first = skipped[0][1]
        more = f" (and {len(skipped) - 1} more, none of which can be used)" if len(skipped) > 1 else ""
        raise type(failed[0][1])(f"{first}{more}")
    notes += [f"skipped: {text}" for _, text in skipped[:20]]
    if len(skipped) > 20:
        notes.append(f"skipped: {len(skipped) - 20} more")
    layers, extra = _without_mosaics(layers)
    return Found(layers, tuple(notes + extra + disagreements(layers)), tuple(skipped))


Failed = list[tuple[Path, InputError]]


def _follow_the_others(
    folder: Path, layers: list[Layer], failed: Failed, wishes: Wishes
) -> tuple[list[Layer], Failed]:
    """A tile that alone is ambiguous (all land, say) follows the sign its sisters agree on.

    Sisters are files of the same form, type, cell size and CRS; at least three must agree and none differ.
    """
    unclear: Failed = [(p, e) for p, e in failed if isinstance(e, AmbiguousError) and "--positive" in str(e)]
    if wishes.positive is not None or not unclear or not layers:
        return layers, failed
    signs: dict[tuple[object, ...], list[bool]] = {}
    for layer in layers:
        signs.setdefault(_family(layer), []).append(layer.factor > 0)
    left = [(p, e) for p, e in failed if (p, e) not in unclear]
    gained: list[Layer] = []
    for sign in ("up", "down"):
        said = replace(wishes, positive=sign)
        answers = _Index(folder, said).look([p for p, _ in unclear], said)
        rest: Failed = []
        for (path, error), answer in zip(unclear, answers, strict=True):
            sisters = signs.get(_family(answer), []) if isinstance(answer, Layer) else []
            if isinstance(answer, Layer) and len(sisters) >= 3 and set(sisters) == {sign == "up"}:
                gained.append(
                    answer.noted(
                        f"its sign is not clear by itself; taken as positive {sign} like its sister files"
                    )
                )
            else:
                rest.append((path, error))
        unclear = rest
        if not unclear:
            break
    return layers + gained, left + unclear


def _family(layer: Layer) -> tuple[object, ...]:
    return layer.driver, layer.dtype, layer.crs, f"{layer.transform[0]:.6g}"


def _without_mosaics(layers: list[Layer]) -> tuple[list[Layer], list[str]]:
    """Leave out virtual mosaics whose parts are all here themselves."""
    here = {os.path.realpath(layer.file) for layer in layers}
    kept, notes = [], []
    for layer in layers:
        if layer.driver in ("VRT", "GTI"):
            with handles.open_dataset(layer.path, layer.options) as dataset:
                parts = [os.path.realpath(p) for p in dataset.files[1:]]
            if parts and all(p in here for p in parts):
                notes.append(f"{layer.name}: is a mosaic of files that are here themselves: passed over")
                continue
        kept.append(layer)
    return kept, notes


def disagreements(layers: Sequence[Layer]) -> list[str]:
    """Sentences about files of one folder that differ in sign or vertical datum."""
    notes = []
    signs = Counter(layer.factor > 0 for layer in layers)
    if len(signs) == 2:
        odd = min(signs, key=lambda s: signs[s])
        names = [layer.name for layer in layers if (layer.factor > 0) == odd]
        what = "elevations" if odd else "depths"
        notes.append(
            f"{names[0]}{f' and {len(names) - 1} more' if len(names) > 1 else ''} read as {what}, the other "
            f"{signs[not odd]} as {'depths' if odd else 'elevations'}: check that this is so"
        )
    datums = Counter(layer.vertical for layer in layers if layer.vertical)
    if len(datums) > 1:
        told = "; ".join(f"{name} ({n})" for name, n in datums.most_common())
        notes.append(f"vertical datums differ and are not converted: {told}")
    return notes


# what a file's own content decides; a damaged file is tried again, for it may be on its way in
_REFUSALS: dict[str, type[InputError]] = {"AmbiguousError": AmbiguousError, "NoCrsError": NoCrsError}


class _Index:
    """What was found out about the files of a folder, kept between runs.

    An entry holds as long as size and time of change of the file and its sidecars do, and the user's wishes.
    """

    def __init__(self, folder: Path, wishes: Wishes) -> None:
        key = json.dumps([_rules(), os.path.realpath(folder), list(wishes.__dict__.values())])
        self.path = cache_folder() / f"index-{hashlib.sha256(key.encode()).hexdigest()[:24]}.json"
        self.entries: dict[str, Any] = {}
        try:
            self.entries = json.loads(self.path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            pass
        if not isinstance(self.entries, dict):
            self.entries = {}

    def look(self, files: Sequence[Path], wishes: Wishes) -> list[Layer | InputError]:
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
                for i, answer in zip(new, pool.map(lambda i: _try(files[i], wishes), new), strict=True):
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
                return Layer.from_json(entry["layer"])
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


@functools.cache
def _rules() -> str:
    """Name the reader's own source as it is installed: read by other rules, a file may say something else."""
    files = sorted(Path(__file__).parent.glob("*.py"))
    told = [(path.name, path.stat().st_size, path.stat().st_mtime_ns) for path in files]
    return hashlib.sha256(repr(told).encode()).hexdigest()[:16]


def _stamp(path: Path) -> list[int]:
    """Size and time of a file and of the sidecars that may change what it says."""
    told = path.stat()
    out = [told.st_size, told.st_mtime_ns]
    for sidecar in (f"{path}.aux.xml", f"{path}.msk", path.with_suffix(".prj")):
        with contextlib.suppress(OSError):
            beside = os.stat(sidecar)
            out += [beside.st_size, beside.st_mtime_ns]
    return out


def _try(path: Path, wishes: Wishes) -> Layer | InputError:
    try:
        return open_layer(str(path), wishes)
    except InputError as error:
        return error


def cache_folder() -> Path:
    """Where indexes and converted point files are kept (``REEFSCAN_CACHE`` or the system's cache folder)."""
    told = os.environ.get("REEFSCAN_CACHE")
    if told:
        return Path(told)
    base = os.environ.get("LOCALAPPDATA") or os.environ.get("XDG_CACHE_HOME") or "~/.cache"
    return Path(base).expanduser() / "reefscan"
