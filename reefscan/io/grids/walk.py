"""Which files below a folder are grids, by their names, and which are strangers."""

from __future__ import annotations

import os
import re
import zipfile
from collections import Counter
from itertools import islice
from pathlib import Path

from reefscan.io import localfile
from reefscan.io.grids.forms import short_name
from reefscan.io.opening import LOGS

GRID_SUFFIXES = frozenset(
    ".tif .tiff .gtiff .cog .vrt .nc .nc4 .cdf .grd .bag .asc .xyz .h5 .hdf5 .img .flt .bil .dem .hgt .gti".split()
)
"""What a grid may be called inside a folder; any name will do for a file that is given by name."""

ARCHIVES = frozenset(".zip .gz .tgz .7z .tar .bz2 .xz .rar".split())
SIDECARS = frozenset(
    ".xml .ovr .msk .prj .tfw .wld .hdr .aux .dbf .shx .shp .cpg .json .geojson .qmd .lock".split()
)


def walk(folder: Path) -> tuple[list[Path], Counter[str], list[str]]:
    """Grid files below a folder, sorted, each real file once; how many strangers of which kind; what is no file, by name.

    Raises
    ------
    InputError
        If more lies below it than `localfile.MOST_ENTRIES`.
    """
    grids: dict[str, Path] = {}
    strangers: Counter[str] = Counter()
    odd: list[str] = []
    entered: set[tuple[int, int]] = set()
    stack, left = [folder], localfile.MOST_ENTRIES
    while stack:
        here = stack.pop()
        try:
            facts = here.stat()
            if (facts.st_dev, facts.st_ino) in entered and facts.st_ino:
                continue  # a link back to a folder already seen
            entered.add((facts.st_dev, facts.st_ino))
            if here != folder and _is_run(here):
                strangers["folder of an earlier run"] += 1
                continue
            with os.scandir(here) as inside:
                entries = sorted(islice(inside, left + 1), key=lambda entry: entry.name)
        except OSError as error:
            strangers[f"folder that cannot be entered ({error.strerror})"] += 1
            continue
        left -= len(entries)
        if left < 0:
            raise localfile.too_many(folder)
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
            if is_file and suffix in GRID_SUFFIXES:
                real = os.path.realpath(entry.path) if entry.is_symlink() else entry.path
                grids.setdefault(real, Path(entry.path))
            elif is_file:
                strangers[_stranger(suffix)] += 1
            else:
                odd.append(
                    f"{short_name(entry.name)}: is {localfile.odd_kind(entry.path) or 'gone'}, not a file"
                )
    about = _about_others([grids[key] for key in sorted(grids)])
    for path, what in about.items():
        strangers[f"file that by its name is the {what} of another"] += 1
    return [grids[key] for key in sorted(grids) if grids[key] not in about], strangers, odd


def _stranger(suffix: str) -> str:
    """What a file is that by its ending is no grid."""
    if suffix in ARCHIVES:
        return f"archive ({suffix}): unpack it if it holds grids"
    if suffix in LOGS:
        return f"log or table ({suffix}): 'reefscan grid' makes a grid of soundings"
    return f"file of no known form ({suffix or 'no ending'})"


_DERIVED = frozenset(
    "hillshade shade shaded slope aspect rugosity roughness backscatter uncertainty uncert sigma stddev std tvu thu "
    "density count mask contributor tid coverage quality".split()
)
"""Words by which products that lie beside a grid call themselves; without a grid of the same name they say nothing."""


def _is_run(folder: Path) -> bool:
    if not (folder / "run.json").is_file():
        return False
    from reefscan.io.out.runfolder import (
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


def held_grids(archive: Path) -> str:
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
