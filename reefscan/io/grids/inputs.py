"""What an input is known by: its files with size, time and header, as a whole and under one window.

Cells are not read. Which files may have cells under a window follows from where they lie, so a changed file of a
mosaic (a folder, or a VRT) changes the fingerprint of the windows it touches and of no other.
"""

from __future__ import annotations

import hashlib
import json
import logging
import math
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import UnreadableError
from reefscan.base.model import Window
from reefscan.io import handles
from reefscan.io.behind import tiles_of
from reefscan.io.georef import crs_facts
from reefscan.io.grids.layer import Layer
from reefscan.io.grids.piece import Piece, grid_extent, outline
from reefscan.io.grids.rawgrid import RawGrid

log = logging.getLogger(__name__)

Crop = tuple[int, int, int, int]

WIDE_DEG = 10.0
"""A warped file wider than this is taken to touch every window: its outline on a far zone's map is no box."""

SLACK_CELLS = 8
SLACK_PART = 0.02
"""How much wider than its sampled outline a warped file is taken to be, for edges that curve between samples."""


@dataclass(frozen=True)
class Member:
    """A file behind a virtual mosaic, and the part of the mosaic (rows and columns as stored) it may fill."""

    stamp: str
    crop: Crop | None


Behind = Sequence[tuple[Member, ...]]
"""Files behind each layer that is a virtual mosaic, as `members` gave them."""


def described(layers: Sequence[Layer], behind: Behind) -> list[dict[str, object]]:
    """What identifies each file; JSON-ready."""
    files = []
    for layer, parts in zip(layers, behind, strict=True):
        facts: dict[str, object] = {
            "name": layer.name,
            "size": layer.size,
            "mtime_ns": layer.mtime_ns,
            "form": layer.form,
            "vertical": layer.vertical,
            "header": header(layer),
        }
        if parts:
            facts["parts"] = _hash(*(member.stamp for member in parts))
        files.append(facts)
    return files


def changed(layers: Sequence[Layer], behind: Behind) -> list[str]:
    """Names of files that are no longer what they were when they were opened."""
    out = []
    for layer, parts in zip(layers, behind, strict=True):
        if not layer.size:
            continue  # over a network, or inside an archive
        try:
            stat = os.stat(layer.file)
            same = (stat.st_size, stat.st_mtime_ns) == (layer.size, layer.mtime_ns) and members(
                layer
            ) == parts
        except (OSError, UnreadableError):
            same = False
        if not same and layer.name not in out:
            out.append(layer.name)
    return out


class Touched:
    """Which files touch a window of a sheet; made once for many windows.

    Parameters
    ----------
    pieces : sequence of Piece
        Of the sheet, best first.
    behind : sequence
        `members` of each layer of the pieces.
    seams : set of pairs of str
        Files between which the border is closed.
    clip : Window or None
        Cells outside it are unknown, whatever the files hold; None where nothing was cut off.
    """

    def __init__(
        self,
        pieces: Sequence[Piece],
        behind: Behind,
        seams: frozenset[tuple[str, str]],
        clip: Window | None,
    ) -> None:
        self._survey_seams = seams
        self._has_uncertainty = any(piece.has_uncertainty for piece in pieces)
        self._extents = [] if clip is None else [clip]
        self._extents += [piece.extent for piece in pieces if piece.warped]
        boxes: list[tuple[int, int, int, int]] = []
        stamps: list[str] = []
        files: list[str] = []
        of_layers = iter(behind)
        for number, piece in enumerate(pieces):
            placed = _hash(number if piece.warped else 0, *_placing(piece))
            for i, layer in enumerate(piece.grid.layers):
                of_layer = f"{placed} {layer.size} {layer.mtime_ns} {header(layer)}"
                for member in next(of_layers) or (Member("", None),):
                    boxes.append(_box(piece, i, member.crop))
                    stamps.append(f"{of_layer} {member.stamp}")
                    files.append(layer.file)
        self._boxes: NDArray[np.int64] = np.array(boxes, dtype=np.int64).reshape(-1, 4)
        self._stamps, self._files = stamps, files

    def fingerprint(self, window: Window) -> str:
        """Hash of all that the cells of a window depend on."""
        box = self._boxes
        hit = np.flatnonzero(
            (box[:, 0] < window.row_end)
            & (box[:, 2] > window.row)
            & (box[:, 1] < window.col_end)
            & (box[:, 3] > window.col)
        )
        parts: list[object] = [self._stamps[i] for i in hit]
        files = {self._files[i] for i in hit}
        number = {file: n for n, file in enumerate(dict.fromkeys(self._files[i] for i in hit))}
        parts += sorted((number[a], number[b]) for a, b in self._survey_seams if a in files and b in files)
        parts.append(self._has_uncertainty)
        for extent in self._extents:
            parts.append(extent.intersect(window) if not extent.intersect(window).empty else None)
        return _hash(*parts)


def header(layer: Layer) -> str:
    """Hash of how a file is read. Where it lies, and what its sampled cells were like, does not change that."""
    parts = layer.to_json()
    for key in ("path", "file", "notes", "name", "low_m", "high_m", "sigma_m"):
        parts.pop(key)
    return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()[:16]


def members(layer: Layer) -> tuple[Member, ...]:
    """Files behind a virtual mosaic, in its own order; none for any other file."""
    if layer.driver == "VRT":
        plain = _plain_mosaic(Path(layer.file), (layer.band, layer.sigma_band))
        if plain is not None:
            return tuple(Member(_stamp(path), crop) for path, crop in plain)
        # What it makes of its files is not looked into: each counts for all of it.
        dataset = handles.borrow(layer.path, layer.options)
        return tuple(Member(_stamp(Path(path)), None) for path in dataset.files[1:])
    if layer.driver == "GTI":
        return tuple(Member(_stamp(path), None) for path in _indexed(layer))
    return ()


def _indexed(layer: Layer) -> list[Path]:
    """Files of a tile index, which GDAL does not tell; where they lie in it is not looked into."""
    index = Path(layer.file)
    try:
        index, listed = tiles_of(index)
        places = [Path(place) for place in listed]
        return [index, *(p if p.exists() else index.parent / p for p in places)]
    except (OSError, UnreadableError) as error:
        log.warning(
            "%s: the files behind it are not known (%s); changes of theirs go unseen", layer.name, error
        )
        return [index]


def _plain_mosaic(path: Path, bands: tuple[int, ...]) -> list[tuple[Path, Crop]] | None:
    """Files of a VRT that only lays them side by side, with their part of it; None if it does more."""
    from defusedxml import ElementTree
    from defusedxml.common import DefusedXmlException

    try:
        root = ElementTree.parse(path).getroot()
    except (OSError, ElementTree.ParseError, DefusedXmlException):
        return None
    if root is None or root.get("subClass") or root.find("MaskBand") is not None:
        return None
    found: list[tuple[Path, Crop]] = []
    for band in root.findall("VRTRasterBand"):
        if int(band.get("band", "1")) not in bands:
            continue
        if band.get("subClass") or band.find("MaskBand") is not None:
            return None
        for part in band:
            if not part.tag.endswith("Source"):
                continue
            name, where = part.find("SourceFilename"), part.find("DstRect")
            if part.tag not in ("SimpleSource", "ComplexSource") or name is None or where is None:
                return None
            try:
                col, row, wide, high = (
                    float(where.get(key, "")) for key in ("xOff", "yOff", "xSize", "ySize")
                )
            except ValueError:
                return None
            file = Path((name.text or "").strip())
            if name.get("relativeToVRT") == "1":
                file = path.parent / file
            # one cell more, for parts that end between cells
            crop = (
                math.floor(row) - 1,
                math.floor(col) - 1,
                math.ceil(row + high) + 1,
                math.ceil(col + wide) + 1,
            )
            found.append((file, crop))
    return found or None


def _stamp(path: Path) -> str:
    """Name, size and time of a file; of a mosaic in a mosaic, of all it is made of too."""
    try:
        stat = os.stat(path)
    except (OSError, ValueError):
        return f"{path.name} ?"  # over a network, or gone: reading will say so
    stamp = f"{path.name} {stat.st_size} {stat.st_mtime_ns}"
    if path.suffix.lower() in (".vrt", ".gti"):
        with handles.open_dataset(str(path)) as dataset:
            stamp += _hash(*(_stamp(Path(part)) for part in dataset.files[1:] if Path(part) != path))
    return stamp


def _placing(piece: Piece) -> Iterator[object]:
    """What the cells of a piece depend on besides its files."""
    yield piece.grid.lattice
    yield from (piece.warped, piece.row_shift, piece.col_shift)
    if piece.warped and crs_facts(piece.grid.lattice.crs).geographic:
        yield piece.grid.extent  # the turn of the Earth is counted from its middle


def _box(piece: Piece, i: int, crop: Crop | None) -> tuple[int, int, int, int]:
    """Rows and columns of the sheet outside which a layer, or a part of it, certainly has no cell."""
    layer = piece.grid.layers[i]
    if crop is not None:
        top, left, bottom, right = layer.crop
        part = max(top, crop[0]), max(left, crop[1]), min(bottom, crop[2]), min(right, crop[3])
        if part[0] >= part[2] or part[1] >= part[3]:
            return 0, 0, 0, 0
        layer = replace(layer, crop=part)
    alone = RawGrid(piece.grid.lattice, (layer,))
    if not piece.warped:
        row, col, row_end, col_end = (int(v) for v in alone.boxes[0])
        return (
            row + piece.row_shift,
            col + piece.col_shift,
            row_end + piece.row_shift,
            col_end + piece.col_shift,
        )
    e = piece.extent
    if crs_facts(alone.lattice.crs).geographic:
        x, _ = outline(alone, 0)
        if float(np.ptp(x)) > WIDE_DEG:
            return e.row, e.col, e.row_end, e.col_end
    here = grid_extent(alone, piece.sheet)
    slack = SLACK_CELLS + math.ceil(SLACK_PART * max(here.height, here.width))
    here = here.grow(slack).intersect(e)
    return here.row, here.col, here.row_end, here.col_end


def _hash(*parts: object) -> str:
    return hashlib.blake2b("\n".join(map(str, parts)).encode(), digest_size=16).hexdigest()
