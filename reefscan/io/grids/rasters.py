"""Open bathymetry of any form as sheets of metric cells.

`open_grids` is the one door: files, folders and URLs go in, one source per sheet comes out. What
had to be assumed, mended or skipped is in each source's ``notes``.
"""

from __future__ import annotations

import dataclasses
import logging
from collections.abc import Iterable, Sequence
from typing import Any

from reefscan.base.errors import InputError
from reefscan.io import handles
from reefscan.io.areas import outline_of
from reefscan.io.grids.assemble import Asked, Box, assemble
from reefscan.io.grids.crosscheck import between
from reefscan.io.grids.folder import Found, look_at
from reefscan.io.grids.forms import GridOptions
from reefscan.io.grids.overlaps import is_survey_seam, overlaps
from reefscan.io.grids.source import SheetSource

log = logging.getLogger(__name__)


def open_grids(
    paths: str | Any | Iterable[str | Any],
    *,
    crs: str | None = None,
    positive: str | None = None,
    variable: str | None = None,
    datum_shift_m: float = 0.0,
    unit: str | None = None,
    prefer: str | Sequence[str] | None = None,
    bbox: Sequence[float] | None = None,
    area: Any = None,
) -> list[SheetSource]:
    """Open files, folders or URLs of bathymetry as metric sheets.

    Parameters
    ----------
    paths : path or list of paths
        Files, folders (searched to the bottom) or ``https://`` addresses.
    crs : str, optional
        CRS such as ``EPSG:32760``. For a named file it replaces what is stored (with a note); in a folder
        it is for the files that store none.
    positive : {"up", "down"}, optional
        Sign of the stored values; read off the files where not given.
    variable : str, optional
        Variable or band (name or number) to use.
    datum_shift_m : float
        Metres added to every elevation (positive makes all shallower).
    unit : str, optional
        Unit of the stored values (``dm``, ``ft``...).
    prefer : str or list of str, optional
        File name patterns whose coverage goes before all other.
    bbox : 4 floats, optional
        West, south, east, north in degrees; west > east crosses the antimeridian. Cells are read some
        way around it, but only cells inside are owned (`SheetSource.owns`).
    area : shapely geometry, optional
        Outline in degrees; as ``bbox``, but of any shape.

    Returns
    -------
    list of SheetSource
        One per sheet, best first. Candidates of a sheet count only where it ``owns`` the cell.

    Raises
    ------
    InputError
        Or one of its kinds: nothing usable, ambiguous, no CRS, damaged; in one line.

    Notes
    -----
    From the first opening on, this process's GDAL (``rasterio``'s) has no drivers of web services and fetches the addresses
    that were given here; what `CPL_VSIL_CURL_ALLOWED_EXTENSIONS` of the environment says goes before that.
    """
    if isinstance(paths, (str, bytes)) or not isinstance(paths, Iterable):
        paths = [paths]
    options = GridOptions(crs, positive, variable, datum_shift_m, unit)
    asked = asked_for(bbox, area)
    patterns = [prefer] if isinstance(prefer, str) else list(prefer or ())
    named = [str(p) for p in paths]
    if "" in named:  # a variable of the shell that is not set; as a path it would be this folder
        raise InputError("a grid's name is empty; wanted a file, a folder or an address")
    found = look_at(named, options, asked)
    return sheets_of(found, asked, patterns)


def sheets_of(found: Found, asked: Asked, prefer: Sequence[str]) -> list[SheetSource]:
    """Put looked-at files on sheets and hand on what was noticed."""
    sheets = assemble(found.layers, asked, prefer)
    for note in found.notes:
        log.warning("%s", note)
    out = []
    for i, sheet in enumerate(sheets):
        for note in sheet.notes:
            log.warning("%s", note)
        sheet = with_survey_seams(sheet)
        sheet = dataclasses.replace(sheet, notes=(*sheet.notes, *_against_better(sheet)))
        # what concerns no one sheet (skipped files) goes with the first
        out.append(dataclasses.replace(sheet, notes=sheet.notes + (found.notes if i == 0 else ())))
    return out


MOST_NOTES = 12
"""Disagreements that get a note each; of more, only the number."""


def with_survey_seams(sheet: SheetSource) -> SheetSource:
    """Compare files where they meet; note where they disagree, and close the border between those.

    Files over a network are not compared: that would fetch cells nobody asked for.
    """
    if len(sheet.layers) < 2 or any(handles.is_remote(layer.path) for layer in sheet.layers):
        return sheet
    met = overlaps(sheet)
    worst = sorted((o for o in met if not o.agrees), key=lambda o: -abs(o.offset_m))
    sentences = [o.sentence() for o in worst[:MOST_NOTES]]
    if len(worst) > MOST_NOTES:
        sentences.append(f"{len(worst) - MOST_NOTES} more pairs of files disagree where they meet")
    for note in sentences:
        log.warning("%s", note)
    seams = frozenset(o.files for o in met if is_survey_seam(o))
    return dataclasses.replace(sheet, notes=(*sheet.notes, *sentences), seams=seams)


SHEET_PAIRS = 12
"""Better sheets that one sheet is compared with at the most."""


def _against_better(sheet: SheetSource) -> list[str]:
    """Sentences about sheets of other cells that disagree over the same ground."""
    sentences = []
    for better in sheet.better[:SHEET_PAIRS]:
        if any(handles.is_remote(layer.path) for s in (sheet, better) for layer in s.layers):
            continue
        met = between(sheet, better)
        if met is not None and not met.agrees:
            sentences.append(met.sentence())
            log.warning("%s", met.sentence())
    return sentences


def asked_for(bbox: Sequence[float] | None, area: Any) -> Asked:
    """Check and join the two ways to name a part of the world."""
    box: Box | None = None
    outline = b""
    if bbox is not None:
        values = tuple(float(v) for v in bbox)
        if len(values) != 4:
            raise InputError(f"--bbox has {len(values)} numbers; wanted west south east north in degrees")
        west, south, east, north = values
        if (
            not (-90 <= south < north <= 90)
            or not all(-540 <= v <= 540 for v in (west, east))
            or west == east
        ):
            raise InputError(
                f"--bbox {west:g} {south:g} {east:g} {north:g}: wanted west south east north in degrees, south < north"
            )
        box = _unrolled(west, south, east, north)
    if area is not None:
        import shapely

        area = outline_of(area)
        outline = bytes(shapely.to_wkb(area))
        around = _unrolled(*area.bounds)
        if box is None:
            box = around
        else:
            west, south = max(box[0], around[0]), max(box[1], around[1])
            east, north = min(box[2], around[2]), min(box[3], around[3])
            if west >= east or south >= north:
                raise InputError("--bbox and --area do not meet")
            box = (west, south, east, north)
    return Asked(box, outline)


def _unrolled(west: float, south: float, east: float, north: float) -> Box:
    turn = 360.0 * ((west + 180.0) // 360.0)
    west, east = west - turn, east - turn
    while east <= west:
        east += 360.0
    return west, south, east, north
