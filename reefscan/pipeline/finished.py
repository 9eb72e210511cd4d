"""A scan whose run folder already holds its answer: read it, do not make it again.

The folder is believed only if it is a finished run of the same input, recipe, options and program, and every file it
wrote is there at the size it had. Anything else, and the scan simply goes its way (its finished tiles are
still kept).
"""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reefscan.base.errors import ReefscanError
from reefscan.base.model import GridSource
from reefscan.base.recipe import Recipe
from reefscan.io.out.runfolder import CANDIDATES_GEOJSON, CANDIDATES_PARQUET, FEATURES, MAP, RECIPE, RunFolder

if TYPE_CHECKING:
    import geopandas
    import pandas as pd

LAYERS = ("troughs", "ledges", "rises")


@dataclass(frozen=True)
class Answer:
    """What a finished run holds: all candidates as stored, the features, and ``run.json``."""

    candidates: pd.DataFrame
    features: dict[str, geopandas.GeoDataFrame]
    info: dict[str, Any]
    folder: Path


def run_key(sources: Sequence[GridSource], recipe: Recipe, facts: Mapping[str, Any]) -> str:
    """Name everything a run's files follow from: input, recipe, options and the program itself."""
    parts = [[source.fingerprint() for source in sources], recipe.model_dump_json(), dict(facts), program()]
    text = json.dumps(parts, sort_keys=True, default=str)
    return hashlib.blake2b(text.encode(), digest_size=16).hexdigest()


def sizes(folder: RunFolder) -> dict[str, int]:
    """Size of every file a scan writes, for the record in ``run.json``."""
    from reefscan.io.out.surroundings import SURROUNDINGS

    names = [CANDIDATES_GEOJSON, CANDIDATES_PARQUET, FEATURES, MAP, RECIPE, SURROUNDINGS]
    names += sorted(path.name for path in folder.path.glob("score*.tif"))
    return {name: folder.file(name).stat().st_size for name in names if folder.file(name).exists()}


def read_answer(out: Path | str, key: str, *, draw: bool) -> Answer | None:
    """Return the answer in a run folder, or None if the scan has to be made; ``draw`` asks for its map too."""
    try:
        folder = RunFolder.open(out)
        if folder.info.get("state") != "done" or folder.info.get("run_key") != key:
            return None
        if not folder.info.get("files") or folder.info["files"] != sizes(folder):
            return None
        if draw and not folder.file(MAP).exists():
            return None
        return Answer(folder.candidates(), _features(folder.file(FEATURES)), dict(folder.info), folder.path)
    except (ReefscanError, OSError, ValueError, KeyError):
        return None  # not a run, of another version, damaged: the scan itself finds the words for it


def _features(path: Path) -> dict[str, geopandas.GeoDataFrame]:
    from reefscan.io.vectors import layer_table

    return {layer: layer_table(path, layer) for layer in LAYERS}


@functools.cache
def program() -> str:
    """Hash of the package's own source: another program may give another answer, and nobody has to remember."""
    digest = hashlib.blake2b(digest_size=8)
    root = Path(__file__).parents[1]
    for path in sorted(root.rglob("*.py")):
        digest.update(str(path.relative_to(root)).encode() + b"\0" + path.read_bytes())
    return digest.hexdigest()
