"""What a run folder points at: its grids, opened again as they were, and its feature lines."""

from __future__ import annotations

import contextlib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reefscan.base.errors import InputError, MissingInputError, RunFolderError, UnreadableError
from reefscan.io.named import was_named
from reefscan.io.out.runfolder import FEATURES, RunFolder

if TYPE_CHECKING:
    import geopandas as gpd

    from reefscan.base.model import GridSource

_STAYS = ("size", "header")
"""Facts of a file that must not have changed; its time of change may (a copy has a new one)."""


def input_paths(info: Mapping[str, Any]) -> list[str]:
    """Paths of the grids named in ``run.json``, in order."""
    listed = info.get("grids")
    return [path for path in listed if isinstance(path, str)] if isinstance(listed, list) else []


def open_run_grids(run: RunFolder) -> list[GridSource]:
    """Open the grids that a run was made from, the same way, and check that they are still the same.

    Raises
    ------
    RunFolderError
        If the run names no grid, one has changed since, or what was added to it is no number.
    MissingInputError
        If one is gone.
    """
    info = run.info
    paths = input_paths(info)
    if not paths:
        raise RunFolderError(f"{run.path}: run.json names no grid; scan again")
    found = [_find(path, run.path) for path in paths]
    for path, there in zip(paths, found, strict=True):
        if there is None:
            raise MissingInputError(
                f"{path}: the grid this run was made from is gone; put it back or scan the one you have"
            )
    shift_m = info.get("datum_shift_m") or 0.0
    if not isinstance(shift_m, (int, float)):
        raise RunFolderError(f"{run.path}: run.json is damaged: datum_shift_m is no number; scan again")
    from reefscan.io.grids.rasters import open_grids

    sources = open_grids(
        [str(f) for f in found],
        crs=_text(info, "crs"),
        variable=_text(info, "variable"),
        unit=_text(info, "value_unit"),
        prefer=info.get("prefer"),
        positive=info.get("positive") if info.get("positive") in ("up", "down") else None,
        datum_shift_m=float(shift_m),
        bbox=info.get("bbox"),
        area=_area(info.get("area")),
    )
    _check(run, [s.fingerprint() for s in sources])
    return list(sources)


def _text(info: Mapping[str, Any], key: str) -> str | None:
    value = info.get(key)
    return value if isinstance(value, str) else None


def _area(stored: Any) -> Any:
    """The outline the run was cut to, if it is still there; a picture without it is only wider."""
    if not isinstance(stored, str):
        return None
    import shapely

    with contextlib.suppress(shapely.errors.ShapelyError):
        return shapely.from_wkt(stored)
    path = Path(stored)
    if not path.exists():
        return None
    from reefscan.io.areas import read_area

    return read_area(path)


def _find(path: str, folder: Path) -> Path | str | None:
    """Where a grid is now: as named, or beside the run folder's parent if the whole tree was moved."""
    if "://" in path or path.startswith("/vsi"):
        if not was_named(path):
            raise InputError(
                f"{path.split('?')[0]}: this run was made from an address, and only addresses that you typed are asked; "
                "if you trust it, type it once, such as in 'reefscan look ADDRESS'"
            )
        return path
    for place in (
        folder / path,  # an array lies in the run folder itself
        Path(path),
        folder.parent / Path(path).name,
        folder.parent.parent / Path(path).name,
    ):
        if place.exists():
            return place
    return None


def _files(node: Any) -> dict[str, Mapping[str, Any]]:
    """Every description of a file (name, size, header) anywhere in a JSON tree, by name."""
    out: dict[str, Mapping[str, Any]] = {}
    if isinstance(node, Mapping):
        if all(key in node for key in ("name", *_STAYS)):
            out[str(node["name"])] = node
        for value in node.values():
            out.update(_files(value))
    elif isinstance(node, list):
        for value in node:
            out.update(_files(value))
    return out


def _check(run: RunFolder, fingerprints: list[dict[str, object]]) -> None:
    """Refuse a grid whose size or header is not what the run recorded."""
    was, now = _files(run.info), _files(fingerprints)
    for name, old in was.items():
        new = now.get(name)
        if new is None:
            continue
        for key in _STAYS:
            if new[key] != old[key]:
                raise RunFolderError(
                    f"{name}: the grid has changed since the run {run.path} ({key} was {old[key]}, is {new[key]}); "
                    "scan again"
                )


def read_features(run: RunFolder) -> dict[str, gpd.GeoDataFrame]:
    """Feature layers of a run by name; none where the run has no such file (a rescore writes none)."""
    path = run.file(FEATURES)
    if not path.exists():
        return {}
    from reefscan.io.vectors import layer_names, layer_table

    try:
        return {name: layer_table(path, name) for name in layer_names(path)}
    except UnreadableError as error:
        raise InputError(f"{path}: cannot be read ({error}); scan again") from None
