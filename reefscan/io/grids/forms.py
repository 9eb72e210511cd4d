"""Opening one file of any form: which band, which sign, what is unknown; `reefscan.io.grids.stored` says what the numbers mean.

Metadata speak first, then the numbers are looked at; what neither settles is refused with the flag
that decides. Nothing is guessed silently: whatever was assumed is a note of the layer.
"""

from __future__ import annotations

import contextlib
import dataclasses
import logging
import math
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from rasterio.errors import RasterioError

from reefscan.base.errors import (
    InputError,
    MissingInputError,
    UnreadableError,
    one_line,
)
from reefscan.base.units import METRES_PER
from reefscan.io import handles, words
from reefscan.io.georef import Affine6, CrsFacts, cell_metres
from reefscan.io.grids import duplicate_lines, probe, stored
from reefscan.io.grids.asciicells import without_words
from reefscan.io.grids.axes import placed_by_axes
from reefscan.io.grids.fills import is_mask
from reefscan.io.grids.layer import Layer
from reefscan.io.grids.placing import place_of
from reefscan.io.grids.sign import sign_of
from reefscan.io.grids.uncertainty import sigma_by_surveys, stated_sigma, stated_surveys
from reefscan.io.grids.variables import Choice, choose
from reefscan.io.localfile import odd_kind

log = logging.getLogger(__name__)

FORM_NAMES = {"GTiff": "GeoTIFF", "AAIGrid": "ASCII grid", "S102": "S-102", "XYZ": "XYZ"}


@dataclass(frozen=True)
class GridOptions:
    """What the user said about the input; None where nothing was said."""

    crs: str | None = None
    positive: str | None = None
    variable: str | None = None
    datum_shift_m: float = 0.0
    unit: str | None = None
    crs_only_fills: bool = False
    """True in a folder: ``crs`` is for its files that store none, and replaces nothing."""

    def __post_init__(self) -> None:
        if self.positive not in (None, "up", "down"):
            raise InputError(f"--positive {self.positive!r}: say up (elevation) or down (depth)")
        if self.unit is not None and words.unit_metres(self.unit) is None:
            raise InputError(f"--value-unit {self.unit!r} is not a length; known: {', '.join(METRES_PER)}")
        if not abs(self.datum_shift_m) <= probe.BELIEVABLE_M:
            raise InputError(
                f"--datum-shift of {self.datum_shift_m:g} m: no two datums on Earth lie so far apart; is the unit right?"
            )


def open_layer(path: str, options: GridOptions, *, focus_box: tuple[float, ...] | None = None) -> Layer:
    """Look at one file and say how it must be read.

    Parameters
    ----------
    path : str
        File, or a name that GDAL knows (``/vsicurl/...``).
    options : GridOptions
        What the user said.
    focus_box : tuple of 4 floats, optional
        West, south, east, north (degrees) that will be read, so that of a remote file nothing
        else is fetched.

    Raises
    ------
    MissingInputError, UnreadableError, AmbiguousError, NoCrsError, InputError
        One line: where, what is wrong, what to do.
    """
    name = short_name(path)
    size, mtime = _stat(path, name)
    path_read = path
    if path.lower().endswith((".xyz", ".txt", ".csv")) and not handles.is_remote(path):
        from reefscan.io.grids.pointgrid import grid_from_points

        path_read = grid_from_points(path, name)
    try:
        choice = choose(path_read, name, options.variable)
    except UnreadableError as error:
        raise UnreadableError(f"{name}: not a grid that can be read ({error})") from error
    if choice.driver in ("AAIGrid", "GRASSASCIIGrid") and os.path.isfile(path):
        with choice.dataset as dataset:
            path_read, note = without_words(path, name, dataset.width * dataset.height)
        notes = (*choice.notes, note) if note else choice.notes
        choice = dataclasses.replace(choose(path_read, name, options.variable), notes=notes)
    kept = handles.is_remote(choice.path)
    with contextlib.nullcontext(choice.dataset) if kept else choice.dataset as dataset:
        try:
            layer = _describe(dataset, choice, name, path, options, focus_box)
        except RasterioError as error:
            cause = error.__cause__ or error
            raise UnreadableError(
                f"{name}: its cells cannot be read ({one_line(cause)}); {handles.remedy(dataset.driver, str(cause))}"
            ) from error
    if path_read != path and choice.driver == "GTiff":
        from reefscan.io.grids.pointgrid import notes_of

        layer = dataclasses.replace(layer, form=layer.form.replace("GeoTIFF", "points on a grid", 1))
        layer = layer.noted(*notes_of(path_read))
    return dataclasses.replace(layer, file=path, size=size, mtime_ns=mtime)


def short_name(path: str) -> str:
    """Name of a file for people: its last part, control characters shown."""
    base = path.rsplit("/", 1)[-1] or path
    base = os.path.basename(base) if os.sep != "/" else base
    if handles.is_remote(path) or "://" in path:
        base = base.split("?")[0]  # keys in a URL are nobody's business
    return "".join(ch if ch.isprintable() else repr(ch)[1:-1] for ch in base)


def _stat(path: str, name: str) -> tuple[int, int]:
    if path.startswith("/vsi"):  # GDAL's own names (a web address, a file inside an archive)
        return 0, 0
    if (kind := odd_kind(path)) and kind != "a folder":
        raise UnreadableError(f"{name}: is {kind}, not a file; name a file")
    try:
        facts = Path(path).stat()
    except FileNotFoundError:
        raise MissingInputError(f"{path}: there is no such file or folder") from None
    except OSError as error:
        raise UnreadableError(f"{name}: cannot be opened ({error.strerror or error})") from error
    if Path(path).is_file() and facts.st_size == 0:
        raise UnreadableError(f"{name}: the file is empty (0 bytes); fetch it again")
    return facts.st_size, facts.st_mtime_ns


@dataclass(frozen=True)
class _File:
    """An open file while it is looked at: the band of depths, and the notes that are gathered on the way."""

    dataset: Any
    choice: Choice
    name: str
    tags: dict[str, str]
    notes: list[str]

    @property
    def dtype(self) -> str:
        return str(self.dataset.dtypes[self.choice.band - 1])


@dataclass(frozen=True)
class _Heights:
    """How the stored numbers become elevations: ``number * factor + add_mm``, millimetres; ``unknown`` stand for nothing."""

    sign: float
    factor: float
    add_mm: float
    unknown: tuple[float, ...]
    elev: Any


def _describe(
    dataset: Any,
    choice: Choice,
    name: str,
    path: str,
    options: GridOptions,
    focus_box: tuple[float, ...] | None,
) -> Layer:
    tags = {k.lower(): str(v) for k, v in dataset.tags(choice.band).items()}
    file = _File(dataset, choice, name, tags, list(choice.notes))
    transform, facts = _place(file, path, options)
    scale = stored.scale_of(dataset, choice.band, tags, facts, name, options.unit)
    if "ellips" in facts.vertical.lower() and not options.datum_shift_m:
        file.notes.append(
            "its heights count from the ellipsoid, which may be tens of metres off the sea's level: they are not depths of water "
            "until --datum-shift says how far"
        )
    focus = _focus(dataset, facts, focus_box) if focus_box else None
    masked = _is_masked(dataset, choice.band)
    declared = stored.declared_nodata(dataset, choice.band, tags)
    sample = probe.take(dataset, choice.band, focus, declared, masked)
    unknown = declared + _look(file, sample, scale, declared, (transform, facts), whole=focus is None)
    heights = _elevations(file, facts, scale, sample, unknown, options)
    # what of it only repeats, and how far it is to be trusted
    crop = _crop(sample, dataset.width, dataset.height, file.notes)
    block = dataset.block_shapes[choice.band - 1]
    repeated = () if focus else _duplicate_lines(sample, crop, block, heights.unknown, file.notes)
    sigma_factor, sigma_unknown, sigma_m = stated_sigma(
        dataset, choice, scale.unit_m, focus, sample, file.notes
    )
    surveys, quality_band, quality_path = stated_surveys(dataset, choice, file.notes)
    if not choice.sigma_band:
        sigma_m = sigma_by_surveys(surveys, heights.elev, file.notes)
    return Layer(
        **_as_stored(file),
        transform=transform,
        crs=facts.horizontal,
        quality_band=quality_band,
        quality_path=quality_path,
        surveys=surveys,
        factor=heights.factor,
        add_mm=heights.add_mm,
        unknown=heights.unknown,
        sigma_factor=sigma_factor,
        sigma_unknown=sigma_unknown,
        masked=masked,
        crop=crop,
        copied=repeated,
        vertical=facts.vertical or str(dataset.tags().get(words.DATUM, "")),
        between_m=_between_m(dataset.tags()),
        form=f"{FORM_NAMES.get(dataset.driver, dataset.driver)}, {'elevation' if heights.sign > 0 else 'depth'} in {scale.word}",
        notes=tuple(file.notes),
        low_m=float(heights.elev.min()) if heights.elev.size else math.nan,
        high_m=float(heights.elev.max()) if heights.elev.size else math.nan,
        sigma_m=sigma_m,
    )


def _between_m(tags: Mapping[str, str]) -> float:
    """Distance between tracks that a grid of ours states, metres; 0 for any other."""
    try:
        apart = float(tags.get(words.BETWEEN_TRACKS, "0"))
    except ValueError:
        return 0.0
    return apart if 0.0 < apart < 1e6 else 0.0


def _as_stored(file: _File) -> dict[str, Any]:
    """What of a layer is taken from the file as it is."""
    choice, dataset = file.choice, file.dataset
    return {
        "path": choice.path,
        "name": file.name,
        "file": choice.path,
        "driver": str(dataset.driver),
        "dtype": file.dtype,
        "width": int(dataset.width),
        "height": int(dataset.height),
        "band": choice.band,
        "sigma_band": choice.sigma_band,
        "sigma_path": choice.sigma_path,
        "options": choice.options,
        "date": _date(dataset),
    }


def _place(file: _File, path: str, options: GridOptions) -> tuple[Affine6, CrsFacts]:
    """Where the file lies."""
    dataset = file.dataset
    _refuse_as_stored(dataset, file.choice.band, file.name)
    a, b, c, d, e, f = (float(v) for v in tuple(dataset.transform)[:6])
    transform = placed_by_axes(dataset, (a, b, c, d, e, f), file.name, file.notes)
    facts = place_of(
        dataset, transform, file.name, options.crs, file.notes, only_fills=options.crs_only_fills, file=path
    )
    return transform, facts


def _look(
    file: _File,
    sample: probe.Sample,
    scale: stored.Scale,
    declared: tuple[float, ...],
    place: tuple[Affine6, CrsFacts],
    *,
    whole: bool,
) -> tuple[float, ...]:
    """Refuse numbers that are no depths; return those that stand for nothing though the file does not say so.

    ``whole`` is False where only a part of the file is read: that a part is empty or flat says nothing of the rest.
    """
    values = sample.values()
    if whole and is_mask(values, file.dtype):
        raise InputError(f"{file.name}: holds nothing but 0 and {values.max():.0f}: a mask, not depths")
    undeclared = stored.undeclared_nodata(sample, declared, scale, file.dtype, file.notes)
    values = sample.values()
    if not values.size and sample.whole:
        raise InputError(f"{file.name}: every cell is nodata; there is no seabed in this file")
    stored.refuse_beyond_earth(values, scale, file.name)
    transform, facts = place
    stored.refuse_too_steep(
        sample, values, scale, _cell(facts, transform, file.dataset, file.name), file.name
    )
    return tuple(undeclared)


def _elevations(
    file: _File,
    facts: CrsFacts,
    scale: stored.Scale,
    sample: probe.Sample,
    unknown: tuple[float, ...],
    options: GridOptions,
) -> _Heights:
    values = sample.values()
    if options.positive:
        sign = 1.0 if options.positive == "up" else -1.0
    else:
        sign = sign_of(file.choice, file.tags, facts, sample, values, scale, file.name, file.notes)
    factor = 1000.0 * scale.metres * sign
    add = 1000.0 * scale.offset_m * sign + 1000.0 * options.datum_shift_m
    unknown = tuple(dict.fromkeys((*unknown, *stored.never_depths(scale, file.dtype))))
    unknown += stored.clips(sample, values, factor, add, file.notes)
    stored.tell_rounding(values, factor, file.notes)
    return _Heights(sign, factor, add, unknown, (values * factor + add) / 1000.0)


def _refuse_as_stored(dataset: Any, band: int, name: str) -> None:
    """Refuse what no depth can be, and a header by which the ground would be mirrored."""
    if dataset.dtypes[band - 1].startswith("complex"):
        raise InputError(f"{name}: band {band} holds complex numbers; wanted depths or elevations")
    wide, high = float(dataset.transform.a), float(-dataset.transform.e)
    if dataset.driver == "AAIGrid" and (wide < 0 or high < 0):
        raise InputError(
            f"{name}: its cells are {wide:g} wide and {high:g} high; the header's cellsize (or dx, dy) is a length and wants no minus sign: "
            "correct it"
        )


def _is_masked(dataset: Any, band: int) -> bool:
    flags = [str(flag.name) for flag in dataset.mask_flag_enums[band - 1]]
    return "per_dataset" in flags or "alpha" in flags


def _cell(facts: CrsFacts, transform: Affine6, dataset: Any, name: str) -> tuple[float, float]:
    """Sides of a cell in metres, refused where they can be none."""
    cell = cell_metres(facts, transform, dataset.width, dataset.height)
    if not all(math.isfinite(c) and 1e-4 < c < 1e6 for c in cell):
        raise InputError(
            f"{name}: a cell would be {cell[0]:.3g} x {cell[1]:.3g} m; its placing or its coordinate system is wrong: "
            "check the file, or say --crs"
        )
    return cell


def _focus(dataset: Any, facts: CrsFacts, box: tuple[float, ...]) -> tuple[int, int, int, int] | None:
    """Rows and columns of a box in degrees, if the file holds any of it."""
    from reefscan.io.georef import transformer

    west, south, east, north = box
    lon, lat = np.meshgrid(np.linspace(west, east, 9), np.linspace(south, north, 9))
    a, b, c, d, e, f = tuple(dataset.transform)[:6]
    if facts.geographic:
        middle = c + a * dataset.width / 2 + b * dataset.height / 2
        x, y = (lon - middle + 180.0) % 360.0 - 180.0 + middle, lat
    else:
        x, y = transformer("EPSG:4326", facts.horizontal).transform(lon, lat)
    dx, dy, det = np.asarray(x) - c, np.asarray(y) - f, a * e - b * d
    cols, rows = (e * dx - b * dy) / det, (a * dy - d * dx) / det
    good = np.isfinite(cols) & np.isfinite(rows)
    if not good.any():
        return None
    top, left = max(0, int(rows[good].min())), max(0, int(cols[good].min()))
    bottom = min(dataset.height, int(rows[good].max()) + 1)
    right = min(dataset.width, int(cols[good].max()) + 1)
    return (top, left, bottom, right) if bottom > top and right > left else None


def _crop(sample: probe.Sample, width: int, height: int, notes: list[str]) -> tuple[int, int, int, int]:
    north, west, south, east = (duplicate_lines.repeated_edge(strips) for strips in sample.edges)
    if north + south >= height // 2 or west + east >= width // 2:
        north = west = south = east = 0
    parts = [
        f"{count} {what} at the {side}"
        for count, what, side in (
            (north, "rows", "first"),
            (south, "rows", "last"),
            (west, "columns", "first"),
            (east, "columns", "last"),
        )
        if count
    ]
    if parts:
        notes.append(f"{', '.join(parts)} edge only repeat the cells beside them and are left out")
    return north, west, height - south, width - east


def _duplicate_lines(
    sample: probe.Sample,
    crop: tuple[int, int, int, int],
    block: tuple[int, int],
    unknown: tuple[float, ...],
    notes: list[str],
) -> duplicate_lines.Boxes:
    def numbers(row: int, col: int, height: int, width: int) -> Any:
        part = sample.numbers(row, col, height, width)
        for value in unknown:
            part[part == value] = np.nan
        return part

    top, left, bottom, right = crop
    if sample.whole:
        found = duplicate_lines.in_whole(numbers(top, left, bottom - top, right - left))
        rows, columns = (tuple((r + top, c + left, r1 + top, c1 + left) for r, c, r1, c1 in b) for b in found)
    else:
        rows, columns = duplicate_lines.in_strips(numbers, crop, block)
    if rows or columns:
        notes.append(duplicate_lines.sentence(rows, columns))
    return rows + columns


def _date(dataset: Any) -> str:
    tags = {k.lower(): str(v) for k, v in dataset.tags().items()}
    for key in (
        "survey_date_end",
        "date_end",
        "time_coverage_end",
        "bag_datetime",
        "tifftag_datetime",
        "issuedate",
        "date",
    ):
        if tags.get(key):
            return _day(tags[key])
    return ""


def _day(text: str) -> str:
    """A date as it sorts (2022-11-02), however it was written; the text itself if it is no date by numbers."""
    digits = "".join(ch for ch in text[:19] if ch.isdigit())[:8]
    if len(digits) == 8 and text[:4].isdigit() and "01" <= digits[4:6] <= "12" and "01" <= digits[6:] <= "31":
        return f"{digits[:4]}-{digits[4:6]}-{digits[6:]}"
    return text[:19]
