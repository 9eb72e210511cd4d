"""Files, folders and addresses that were named: which can be used, and what is to be said of the others.

The rule for what cannot be used: a file that was named is an error; one that was found in a folder
is skipped and named, as long as at least one file in the folder can be used.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from reefscan.base.errors import AmbiguousError, InputError, MissingInputError
from reefscan.io import handles
from reefscan.io.grids.assemble import Asked
from reefscan.io.grids.forms import GridOptions, open_layer, short_name
from reefscan.io.grids.index import Index
from reefscan.io.grids.layer import Layer
from reefscan.io.grids.walk import ARCHIVES, held_grids, walk
from reefscan.io.named import remember


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


def look_at(paths: Sequence[str], options: GridOptions, asked: Asked) -> Found:
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
            from reefscan.io.grids.remote import gdal_path, open_remote

            remember(path)
            layers.append(open_remote(gdal_path(path), path, options, asked.box))
            continue
        place = Path(path)
        if place.is_dir() and not _is_dataset(place):
            found = _look_in(place, replace(options, crs_only_fills=True))
            layers += found.layers
            notes += found.notes
            skipped += found.skipped
        elif not os.path.lexists(place) and not path.startswith("/vsi") and ":" not in path:
            raise MissingInputError(f"{path}: there is no such file or folder")
        elif place.suffix.lower() in ARCHIVES and place.is_file():
            raise InputError(f"{place.name}: is an archive{held_grids(place)}; unpack it first")
        else:
            if handles.is_remote(path):
                remember(path)
            layers.append(open_layer(path, options))
    unique = {(layer.path, layer.band): layer for layer in layers}
    return Found(list(unique.values()), tuple(notes), tuple(skipped))


MOST_NOTES = 50
"""Skipped files of a folder that are named one by one; of more, only the number."""


def _is_dataset(folder: Path) -> bool:
    return folder.suffix.lower() == ".zarr"


def _look_in(folder: Path, options: GridOptions) -> Found:
    files, strangers, odd = walk(folder)
    if not files:
        held = ", ".join([*(f"{n} {what}" for what, n in strangers.items()), *odd[:5]]) or "nothing"
        raise InputError(
            f"{folder}: no grid in this folder (it holds {held}); wanted GeoTIFF, VRT, netCDF, BAG, S-102, ASCII or XYZ"
        )
    index = Index(folder, options)
    answers = index.look(files, options)
    layers = [a for a in answers if isinstance(a, Layer)]
    failed = [(f, a) for f, a in zip(files, answers, strict=True) if not isinstance(a, Layer)]
    layers, failed = _follow_the_others(folder, layers, failed, options)
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
    said = [*odd, *(text for _, text in skipped)]
    notes += [f"skipped: {text}" for text in said[:MOST_NOTES]]
    if len(said) > MOST_NOTES:
        notes.append(f"skipped: {len(said) - MOST_NOTES} more")
    layers, extra = _without_mosaics(layers)
    return Found(layers, tuple(notes + extra + disagreements(layers)), tuple(skipped))


Failed = list[tuple[Path, InputError]]


def _follow_the_others(
    folder: Path, layers: list[Layer], failed: Failed, options: GridOptions
) -> tuple[list[Layer], Failed]:
    """A tile that alone is ambiguous (all land, say) follows the sign its sisters agree on.

    Sisters are files of the same form, type, cell size and CRS; at least three must agree and none differ.
    """
    unclear: Failed = [(p, e) for p, e in failed if isinstance(e, AmbiguousError) and "--positive" in str(e)]
    if options.positive is not None or not unclear or not layers:
        return layers, failed
    signs: dict[tuple[object, ...], list[bool]] = {}
    for layer in layers:
        signs.setdefault(_family(layer), []).append(layer.factor > 0)
    left = [(p, e) for p, e in failed if (p, e) not in unclear]
    gained: list[Layer] = []
    for sign in ("up", "down"):
        said = replace(options, positive=sign)
        answers = Index(folder, said).look([p for p, _ in unclear], said)
        rest: Failed = []
        for (path, error), answer in zip(unclear, answers, strict=True):
            sisters = signs.get(_family(answer), []) if isinstance(answer, Layer) else []
            if isinstance(answer, Layer) and len(sisters) >= 3 and set(sisters) == {sign == "up"}:
                gained.append(
                    answer.noted(
                        f"its sign is not clear by itself; taken as positive {sign} like the other files of its folder"
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
        found = "; ".join(f"{name} ({n})" for name, n in datums.most_common())
        notes.append(
            f"the files count heights from different levels (datums), which are not converted: {found}"
        )
    return notes
