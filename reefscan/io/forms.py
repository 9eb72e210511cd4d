"""Opening one file of any form: which band, which sign, which unit, what is unknown.

Metadata speak first, then the numbers are looked at; what neither settles is refused with the flag
that decides. Nothing is guessed silently: whatever was assumed is a note of the layer.
"""

from __future__ import annotations

import contextlib
import dataclasses
import logging
import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from rasterio.errors import RasterioError

from reefscan.errors import (
    AmbiguousError,
    InputError,
    MissingInputError,
    NoCrsError,
    UnreadableError,
)
from reefscan.io import handles, probe, words
from reefscan.io.georef import CrsFacts, cell_metres, crs_facts
from reefscan.io.layer import Layer
from reefscan.io.variables import Choice, choose
from reefscan.units import METRES_PER

log = logging.getLogger(__name__)

Z95 = 1.959963984540054
"""Half width of 95 % in standard deviations (CHECKS k6)."""


IMPLAUSIBLE = 0.7
"""Median steepness (35 degrees) above which cells of a metre or more are asked about: half of a
surveyed seabed is not that steep (0.01 to 0.10 in the public grids looked at), but centimetres taken for
metres make it so."""

FORM_NAMES = {"GTiff": "GeoTIFF", "AAIGrid": "ASCII grid", "S102": "S-102", "XYZ": "XYZ"}


@dataclass(frozen=True)
class Wishes:
    """What the user said about the input; None where nothing was said."""

    crs: str | None = None
    positive: str | None = None
    variable: str | None = None
    datum_shift_m: float = 0.0
    unit: str | None = None

    def __post_init__(self) -> None:
        if self.positive not in (None, "up", "down"):
            raise InputError(f"--positive {self.positive!r}: say up (elevation) or down (depth)")
        if self.unit is not None and words.unit_metres(self.unit) is None:
            raise InputError(f"--unit {self.unit!r} is not a length; known: {', '.join(METRES_PER)}")


def open_layer(path: str, wishes: Wishes, *, focus_box: tuple[float, ...] | None = None) -> Layer:
    """Look at one file and say how it must be read.

    Parameters
    ----------
    path : str
        File, or a name that GDAL knows (``/vsicurl/...``).
    wishes : Wishes
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
    if path.lower().endswith((".xyz", ".txt", ".csv")) and not handles.is_remote(path):
        from reefscan.io.pointgrid import grid_from_points

        path_read = grid_from_points(path, name)
    else:
        path_read = path
    try:
        choice = choose(path_read, name, wishes.variable)
    except UnreadableError as error:
        raise UnreadableError(f"{name}: not a grid that can be read ({error})") from error
    kept = handles.is_remote(choice.path)
    with contextlib.nullcontext(choice.dataset) if kept else choice.dataset as dataset:
        try:
            layer = _describe(dataset, choice, name, wishes, focus_box)
        except RasterioError as error:
            cause = error.__cause__ or error
            raise UnreadableError(
                f"{name}: its cells cannot be read ({handles.one_line(cause)}); "
                "the file is damaged or was cut short: fetch it again"
            ) from error
    return dataclasses.replace(layer, file=path, size=size, mtime_ns=mtime)


def short_name(path: str) -> str:
    """Name of a file for people: its last part, control characters shown."""
    base = path.rsplit("/", 1)[-1] or path
    base = os.path.basename(base) if os.sep != "/" else base
    base = base.split("?")[0]  # keys in a URL are nobody's business
    return "".join(ch if ch.isprintable() else repr(ch)[1:-1] for ch in base)


def _stat(path: str, name: str) -> tuple[int, int]:
    if handles.is_remote(path):
        return 0, 0
    try:
        told = Path(path).stat()
    except FileNotFoundError:
        raise MissingInputError(f"{path}: there is no such file or folder") from None
    except OSError as error:
        raise UnreadableError(f"{name}: cannot be opened ({error.strerror or error})") from error
    if Path(path).is_file() and told.st_size == 0:
        raise UnreadableError(f"{name}: the file is empty (0 bytes); fetch it again")
    return told.st_size, told.st_mtime_ns


def _describe(
    dataset: Any, choice: Choice, name: str, wishes: Wishes, focus_box: tuple[float, ...] | None
) -> Layer:
    band = choice.band
    tags = {k.lower(): str(v) for k, v in dataset.tags(band).items()}
    dtype = dataset.dtypes[band - 1]
    if dtype.startswith("complex"):
        raise InputError(f"{name}: band {band} holds complex numbers; wanted depths or elevations")
    transform = tuple(float(v) for v in tuple(dataset.transform)[:6])
    notes = list(choice.notes)
    facts = _georeference(dataset, transform, name, wishes, notes)
    unit_m, unit_word, unit_said = _unit(dataset, band, tags, facts, name, wishes)
    scale = float(dataset.scales[band - 1] or 1.0)
    offset = float(dataset.offsets[band - 1] or 0.0)
    metres = scale * unit_m

    nodata = dataset.nodatavals[band - 1]
    declared = () if nodata is None else (float(nodata),)
    declared += tuple(_listed(tags.get("missing_value")) + _listed(tags.get("_fillvalue")))
    flags = [str(flag.name) for flag in dataset.mask_flag_enums[band - 1]]
    masked = "per_dataset" in flags or "alpha" in flags
    focus = _focus(dataset, facts, focus_box) if focus_box else None
    sample = probe.take(dataset, band, focus, declared, masked)

    values = sample.values()
    sentinels = probe.undeclared_sentinels(values, abs(metres))
    if sentinels:
        shown = ", ".join(f"{v:.6g}" for v in sentinels)
        notes.append(f"value {shown} is taken for nodata, though the file does not say so")
        for w, k in zip(sample.windows, sample.known, strict=True):
            k &= ~np.isin(w.astype(np.float64), sentinels)
        values = sample.values()
    integers = tuple(v for v in probe.SENTINELS if abs(v) * abs(metres) > 9000.0)
    if not values.size and sample.whole:
        raise InputError(f"{name}: every cell is nodata; there is no seabed in this file")

    deepest = float(np.abs(values * metres + offset * unit_m).max()) if values.size else 0.0
    if deepest > probe.BELIEVABLE_M:
        raise AmbiguousError(
            f"{name}: values run from {values.min():.6g} to {values.max():.6g}, which cannot be metres on Earth; "
            f"what unit are they? Say --unit (m, dm, cm, mm, ft, fathom)"
        )
    cell = cell_metres(facts, transform, dataset.width, dataset.height)  # type: ignore[arg-type]
    if not all(math.isfinite(c) and 1e-4 < c < 1e6 for c in cell):
        raise InputError(
            f"{name}: a cell would be {cell[0]:.3g} x {cell[1]:.3g} m; the transform or the CRS is wrong: "
            "check the file, or say --crs"
        )
    if not wishes.unit and not unit_said and min(cell) >= 1.0:
        steep = probe.typical_gradient(sample, abs(metres), cell)
        if steep > IMPLAUSIBLE:
            raise AmbiguousError(
                f"{name}: half of the seabed would be steeper than {math.degrees(math.atan(steep)):.0f} degrees; "
                f"are the values ({values.min():.6g} to {values.max():.6g}) really metres? "
                "Say --unit (m, dm, cm, mm, ft, fathom)"
            )

    sign = _sign(choice, tags, facts, sample, values, metres, offset * unit_m, name, wishes, notes)
    factor = 1000.0 * metres * sign
    add = 1000.0 * offset * unit_m * sign + 1000.0 * wishes.datum_shift_m
    unknown = tuple(dict.fromkeys((*declared, *sentinels, *integers)))
    unknown += _clips(sample, values, factor, add, notes)
    crop = _crop(sample, dataset.width, dataset.height, notes)
    elev = (values * factor + add) / 1000.0
    sigma_factor, sigma_unknown, sigma_m = _sigma(dataset, choice, unit_m, focus, sample, notes)
    form = f"{FORM_NAMES.get(dataset.driver, dataset.driver)}, {'elevation' if sign > 0 else 'depth'} in {unit_word}"
    return Layer(
        path=choice.path,
        name=name,
        file=choice.path,
        driver=str(dataset.driver),
        dtype=str(dtype),
        width=int(dataset.width),
        height=int(dataset.height),
        transform=transform,  # type: ignore[arg-type]
        crs=facts.horizontal,
        band=band,
        sigma_band=choice.sigma_band,
        quality_band=choice.quality_band,
        factor=factor,
        add_mm=add,
        unknown=unknown,
        sigma_factor=sigma_factor,
        sigma_unknown=sigma_unknown,
        masked=masked,
        crop=crop,
        options=choice.options,
        vertical=facts.vertical or str(dataset.tags().get("VERTICAL_DATUM_ABBREV", "")),
        form=form,
        notes=tuple(notes),
        low_m=float(elev.min()) if elev.size else math.nan,
        high_m=float(elev.max()) if elev.size else math.nan,
        sigma_m=sigma_m,
        date=_date(dataset),
    )


def _georeference(
    dataset: Any, transform: tuple[float, ...], name: str, wishes: Wishes, notes: list[str]
) -> CrsFacts:
    a, b, c, d, e, f = transform
    plain = (a, b, c, d, abs(e), f) == (1.0, 0.0, 0.0, 0.0, 1.0, 0.0)
    if plain and dataset.gcps[0]:
        raise InputError(f"{name}: is placed by control points only; warp it to a grid first")
    if not all(math.isfinite(v) for v in transform) or a * e - b * d == 0.0:
        raise InputError(f"{name}: its transform {transform} is no grid; the file is damaged: fetch it again")
    stored = dataset.crs.to_wkt() if dataset.crs else ""
    if plain and not stored:
        hint = ""
        if dataset.driver in ("HDF5", "HDF5Image", "netCDF"):
            hint = "; if it is a MATLAB file or another table of numbers, save it as a grid first (GeoTIFF, netCDF)"
        raise NoCrsError(f"{name}: says neither where on Earth it lies nor how large its cells are{hint}")
    if wishes.crs:
        facts = crs_facts(wishes.crs)
        if stored:
            try:
                had = crs_facts(stored)
            except InputError:
                had = None
            if had is not None and had.horizontal != facts.horizontal:
                notes.append(f"--crs {wishes.crs} replaces the CRS stored in the file")
            if had is not None and not facts.vertical:
                facts = dataclasses.replace(
                    facts,
                    vertical=had.vertical,
                    vertical_down=had.vertical_down,
                    vertical_unit_m=had.vertical_unit_m,
                )
    elif not stored and _cf_degrees(dataset):
        # CF allows a grid of longitude and latitude to name no datum
        notes.append("longitude and latitude without a datum: taken for WGS 84")
        facts = crs_facts("EPSG:4326")
    elif stored:
        try:
            facts = crs_facts(stored)
        except InputError as error:
            raise NoCrsError(f"{name}: {error}") from error
    else:
        east, north = c + a * dataset.width / 2, f + e * dataset.height / 2
        hint = (
            f"its numbers ({c:.6g}, {f:.6g}) look like longitude and latitude: if so say --crs EPSG:4326"
            if -180 <= east <= 360 and -90 <= north <= 90 and abs(a) < 1
            else f"its corner is at {c:.8g}, {f:.8g}; say which with --crs, such as --crs EPSG:32756"
        )
        raise NoCrsError(f"{name}: no coordinate reference system is stored; {hint}")
    if facts.geographic:
        south, north = sorted((f, f + e * dataset.height))
        if abs(a) * dataset.width > 361.0 or south < -91.0 or north > 91.0:
            raise InputError(
                f"{name}: its corners ({c:.6g}, {f:.6g}) are no longitude and latitude; say the true --crs"
            )
    return facts


def _cf_degrees(dataset: Any) -> bool:
    units = {str(v).lower() for k, v in dataset.tags().items() if k.lower().endswith("#units")}
    east = {"degrees_east", "degree_east", "degrees_e", "degree_e"} & units
    north = {"degrees_north", "degree_north", "degrees_n", "degree_n"} & units
    return bool(east and north)


def _unit(
    dataset: Any, band: int, tags: dict[str, str], facts: CrsFacts, name: str, wishes: Wishes
) -> tuple[float, str, bool]:
    if wishes.unit:
        return float(words.unit_metres(wishes.unit) or 1.0), wishes.unit, True
    told = dataset.units[band - 1] or tags.get("units") or tags.get("unittype")
    metres = words.unit_metres(told)
    if metres is not None:
        return metres, str(told), True
    if words.foreign_unit(told):
        raise AmbiguousError(
            f"{name}: its values are in {told!r}, which is no length; if they are, say --unit"
        )
    if dataset.driver in ("BAG", "S102"):  # both standards allow metres only
        return 1.0, "m", True
    if math.isfinite(facts.vertical_unit_m) and facts.vertical_unit_m != 1.0:
        return facts.vertical_unit_m, f"units of {facts.vertical_unit_m:.7g} m", True
    return 1.0, "m", False


def _listed(text: str | None) -> list[float]:
    if not text:
        return []
    out = []
    for part in text.strip("{}").split(","):
        try:
            out.append(float(part))
        except ValueError:
            continue
    return out


def _focus(dataset: Any, facts: CrsFacts, box: tuple[float, ...]) -> tuple[int, int, int, int] | None:
    """Rows and columns of a box in degrees, if the file holds any of it."""
    from reefscan.io.georef import transformer

    west, south, east, north = box
    t = np.linspace(0.0, 1.0, 9)
    lon = np.concatenate([west + t * (east - west)] * 2 + [np.full(9, west), np.full(9, east)])
    lat = np.concatenate([np.full(9, south), np.full(9, north)] + [south + t * (north - south)] * 2)
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


def _sign(
    choice: Choice,
    tags: dict[str, str],
    facts: CrsFacts,
    sample: probe.Sample,
    values: Any,
    metres: float,
    offset_m: float,
    name: str,
    wishes: Wishes,
    notes: list[str],
) -> float:
    """+1 for elevations, -1 for depths; see the table in the tests' AWKWARD.md."""
    if wishes.positive:
        return 1.0 if wishes.positive == "up" else -1.0
    elev = values * metres + offset_m
    low, high = (float(elev.min()), float(elev.max())) if values.size else (0.0, 0.0)
    span = f"{low:.6g} to {high:.6g} m"
    stated = {"up": "up", "down": "down"}.get(tags.get("positive", "").lower(), "")
    stated = stated or words.STANDARD_NAMES.get(tags.get("standard_name", ""), "")
    described = choice.label.lower()
    up_by_name = words.says(described, words.UP_WORDS) or choice.driver == "BAG"
    if not stated and facts.vertical_down and not up_by_name and high >= 0.0:
        stated = "down"  # the axis of a compound CRS is often written carelessly: a name beats it
    if stated == "down":
        if high < 0.0:
            raise AmbiguousError(
                f"{name}: says its values are depths, positive down, but they are all below zero ({span}); "
                "say --positive up if they are elevations"
            )
        return -1.0
    if stated == "up" and low < 0.0:
        return 1.0
    named = "down" if words.says(described, words.DOWN_WORDS) else ""
    named = named or ("up" if words.says(described, words.UP_WORDS) else "")
    if choice.driver == "S102":
        return -1.0 if named == "down" else 1.0
    if values.size == 0:
        return -1.0 if named == "down" else 1.0
    if high <= 0.0:
        if named == "down":
            notes.append(f"the band is called {choice.label!r} but runs {span}: taken for elevations")
        return 1.0
    if low >= 0.0:
        if named == "down":
            return -1.0
        if stated == "up":
            notes.append(f"all of it is land: elevations run {span}")
            return 1.0
        if high == 0.0:
            return 1.0
        raise AmbiguousError(
            f"{name}: elevations run {low:.6g} to {high:.6g} m above zero; is this depth, positive down? "
            "Say --positive down (or --positive up if it is all land)"
        )
    two = probe.shore(sample, metres, offset_m)
    if named:
        if two is not None and two.reading() and two.reading() != named:
            raise AmbiguousError(
                f"{name}: the band is called {choice.label!r} but the side of zero that looks like land says "
                f"otherwise ({span}); say --positive up or --positive down"
            )
        return 1.0 if named == "up" else -1.0
    if two is None:  # a handful of cells on the other side of zero
        negative = float((elev < 0).mean()) > 0.5
        if negative:
            return 1.0
        raise AmbiguousError(
            f"{name}: nearly all values are above zero ({span}); are they depths? Say --positive down, "
            "or --positive up"
        )
    reading = two.reading()
    if not reading:
        raise AmbiguousError(
            f"{name}: values lie on both sides of zero ({span}) and nothing says which side is water; "
            "say --positive up (elevation) or --positive down (depth)"
        )
    side = "above" if reading == "up" else "below"
    notes.append(f"sign read off the land: the side {side} zero is rough and runs far ({span})")
    return 1.0 if reading == "up" else -1.0


def _clips(
    sample: probe.Sample, values: Any, factor: float, add: float, notes: list[str]
) -> tuple[float, ...]:
    """Stored values at which the data were cut off; those under water are unknown from now on."""
    out: list[float] = []
    for clip in probe.clipped_limits(sample, values):
        elev = (clip.value * factor + add) / 1000.0
        if elev < 0.0:
            out.append(clip.value)
            notes.append(
                f"cut off flat at a depth of {-elev:.6g} m over {clip.share:.0%} of its cells: the true seabed is not "
                "in the file there, so these cells count as unknown"
            )
        else:
            notes.append(f"cut off flat at {elev:.6g} m above zero over {clip.share:.0%} of its cells")
    return tuple(out)


def _crop(sample: probe.Sample, width: int, height: int, notes: list[str]) -> tuple[int, int, int, int]:
    north, west, south, east = (probe.repeated_edge(strips) for strips in sample.edges)
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


def _sigma(
    dataset: Any,
    choice: Choice,
    unit_m: float,
    focus: tuple[int, int, int, int] | None,
    sample: probe.Sample,
    notes: list[str],
) -> tuple[float, tuple[float, ...], float]:
    if not choice.sigma_band:
        return 1000.0, (), math.nan
    band = choice.sigma_band
    nodata = dataset.nodatavals[band - 1]
    unknown = () if nodata is None else (float(nodata),)
    unknown += tuple(v for v in probe.SENTINELS if abs(v) * unit_m > 9000.0)
    scale = float(dataset.scales[band - 1] or 1.0)
    # S-102 states uncertainty at 95 % (value from memory); the other forms name no level, and are taken
    # for one standard deviation, which makes confidence lower, never higher.
    level = Z95 if choice.driver == "S102" else 1.0
    notes.append(f"uncertainty band {band} taken at {'95 %' if level != 1.0 else 'one standard deviation'}")
    window = probe.windows_over(dataset.width, dataset.height, focus, dataset.block_shapes[band - 1])[
        len(sample.windows) // 2
    ]
    raw = dataset.read(band, window=window).astype(np.float64)
    good = np.isfinite(raw) & ~np.isin(raw, [float(np.float32(u)) for u in unknown]) & (raw > 0)
    median = float(np.median(raw[good])) * scale * unit_m / level if good.any() else math.nan
    return 1000.0 * scale * unit_m / level, tuple(dict.fromkeys(unknown)), median


def _date(dataset: Any) -> str:
    tags = {k.lower(): str(v) for k, v in dataset.tags().items()}
    for key in (
        "survey_date_end",
        "date_end",
        "time_coverage_end",
        "bag_datetime",
        "tifftag_datetime",
        "date",
    ):
        if tags.get(key):
            return tags[key][:19]
    return ""
