"""What a grid's attribute table tells of the surveys it was put together from.

National compilations, BAG and S-102 number the survey behind every cell in a band (or a raster) of its own
and tell about each number in a raster attribute table. GDAL reads all their forms of it, but the Python
binding hands out no tables: a virtual copy of the dataset, which is a page of XML, does.
"""

from __future__ import annotations

import contextlib
import math
import re
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from reefscan.base.s44 import Z95
from reefscan.io import handles

COLUMNS: dict[str, tuple[str, ...]] = {
    # BAG metadata profile NOAA-OCS-2022.10 and the compilation of the same office; S-102 2.2 and 3.0.
    "number": ("value", "id"),
    "name": ("sourcesurveyid",),
    "measured": ("bathycoverage",),
    "fixed": ("verticaluncertfixed", "verticaluncertaintyuncertaintyfixed"),
    "factor": ("verticaluncertvar", "verticaluncertaintyuncertaintyvariablefactor"),
}
"""Columns that are used, by their names in lower case without anything but letters."""


class Survey(NamedTuple):
    """One row of the table.

    Parameters
    ----------
    number : float
        Value of the contributor band.
    name : str
        Of the survey; empty if not stated.
    measured : int
        1 if the cells were sounded, 0 if they were filled in between soundings, -1 if that is not known
        (the compilation's own questions and answers: depths without ``bathy_coverage`` are interpolated).
    fixed_m, factor : float
        Vertical uncertainty at 95 %: ``fixed_m + factor * depth``; NaN if not stated.
    """

    number: float
    name: str
    measured: int
    fixed_m: float
    factor: float


def read_surveys(dataset: Any, band: int) -> tuple[Survey, ...]:
    """Read the attribute table of a band; empty if it has none about surveys."""
    rows = _table(dataset, band)
    out = []
    for index, row in enumerate(rows):
        facts = {name: next((row[c] for c in columns if c in row), "") for name, columns in COLUMNS.items()}
        number = _number(facts["number"])
        survey = Survey(
            float(index) if math.isnan(number) else number,
            facts["name"].strip(),
            _flag(facts["measured"]),
            _positive(facts["fixed"]),
            _positive(facts["factor"]),
        )
        if survey.name or survey.measured >= 0 or math.isfinite(survey.fixed_m):
            out.append(survey)
    return tuple(out)


def filled_flag(dataset: Any) -> tuple[Survey, ...]:
    """The two kinds of cells that a flag of interpolation distinguishes, each as if it were a survey.

    By CF's ``flag_values`` and ``flag_meanings`` where they are given; else 1 is filled in and 0 sounded.
    """
    tags = {k.lower(): str(v) for k, v in dataset.tags(1).items()}
    values = [_number(v) for v in tags.get("flag_values", "").strip("{}").replace(",", " ").split()]
    meanings = tags.get("flag_meanings", "").lower().split()
    if not values or len(values) != len(meanings):
        return (Survey(1.0, "", 0, math.nan, math.nan), Survey(0.0, "", 1, math.nan, math.nan))
    out = []
    for value, meaning in zip(values, meanings, strict=True):
        filled = "interpolat" in meaning and not re.search(r"(?:^|_)(?:not|non|no|un)_?interpolat", meaning)
        out.append(Survey(value, "", int(not filled), math.nan, math.nan))
    return tuple(out)


def quality_elsewhere(dataset: Any) -> str:
    """Name of the raster of survey numbers that BAG and S-102 keep beside the depths; empty if there is none."""
    for name in dataset.subdatasets:
        last = name.rsplit(":", 1)[-1].lower()
        if last.startswith("qualityof") or "georef_metadata" in name.lower():
            return str(name)
    return ""


def _table(dataset: Any, band: int) -> list[dict[str, str]]:
    from defusedxml import ElementTree
    from rasterio.errors import RasterioError
    from rasterio.shutil import copy

    with tempfile.TemporaryDirectory() as folder, contextlib.suppress(RasterioError, OSError):
        page = Path(folder) / "a.vrt"
        copy(dataset, str(page), driver="VRT")
        try:
            root = ElementTree.fromstring(page.read_text(encoding="utf-8", errors="replace"))
        except (ElementTree.ParseError, ValueError):
            return []
        found = root.find(f"./VRTRasterBand[@band='{band}']/GDALRasterAttributeTable")
        if found is None:
            return []
        names = [_plain(field.findtext("Name") or "") for field in found.findall("FieldDefn")]
        return [
            dict(zip(names, [cell.text or "" for cell in row.findall("F")], strict=False))
            for row in found.findall("Row")
        ]
    return []


def _plain(name: str) -> str:
    return "".join(ch for ch in name.lower() if ch.isalpha())


def _number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return math.nan


def _positive(text: str) -> float:
    value = _number(text)
    return value if value >= 0.0 and math.isfinite(value) else math.nan


def _flag(text: str) -> int:
    word = text.strip().lower()
    if word in ("true", "yes"):
        return 1
    if word in ("false", "no"):
        return 0
    value = _number(word)
    return -1 if math.isnan(value) else int(value != 0.0)


def sigma_mm(
    surveys: Sequence[Survey], numbers: NDArray[Any], elev_mm: NDArray[np.int32], unknown_mm: int
) -> NDArray[np.int32]:
    """Standard uncertainty (1 sigma, whole mm; 0 unknown) of cells by what their surveys state.

    S-101 gives vertical uncertainty as a fixed part and a part that grows with depth, at 95 %.
    """
    out = np.zeros(elev_mm.shape, dtype=np.int32)
    known = elev_mm != unknown_mm
    for survey in surveys:
        if not math.isfinite(survey.fixed_m):
            continue
        cells = known & (numbers == np.asarray(survey.number, dtype=numbers.dtype))
        depth = np.maximum(0.0, -elev_mm[cells] / 1000.0)
        factor = 0.0 if math.isnan(survey.factor) else survey.factor
        out[cells] = np.rint(1000.0 * (survey.fixed_m + factor * depth) / Z95)
    return out


def numbers_at(
    path: str,
    band: int,
    options: tuple[tuple[str, str], ...],
    rows: NDArray[np.int64],
    cols: NDArray[np.int64],
) -> NDArray[np.float64]:
    """Survey numbers of single cells, by stored row and column; NaN outside the raster."""
    from rasterio.windows import Window as RasterWindow

    dataset = handles.borrow(path, options)
    out = np.full(rows.size, math.nan)
    inside = (rows >= 0) & (rows < dataset.height) & (cols >= 0) & (cols < dataset.width)
    high, wide = dataset.block_shapes[band - 1]
    groups: dict[tuple[int, int], list[int]] = {}
    for i in np.flatnonzero(inside).tolist():
        groups.setdefault((int(rows[i]) // high, int(cols[i]) // wide), []).append(i)
    for members in groups.values():
        r, c = rows[members], cols[members]
        top, left = int(r.min()), int(c.min())
        window = RasterWindow(left, top, int(c.max()) - left + 1, int(r.max()) - top + 1)
        out[members] = dataset.read(band, window=window)[r - top, c - left]
    return out


def sentence(surveys: Iterable[Survey]) -> str:
    """Say in one line what the table tells."""
    many = list(surveys)
    filled = sum(s.measured == 0 for s in many)
    text = f"its attribute table tells of {len(many)} survey{'s' if len(many) != 1 else ''}"
    if filled:
        text += f"; {filled} of them {'are' if filled > 1 else 'is'} filled in between soundings, not sounded"
    return text


__all__ = ["Survey", "filled_flag", "numbers_at", "quality_elsewhere", "read_surveys", "sentence", "sigma_mm"]
