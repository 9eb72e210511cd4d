"""How good a file says its depths are: an uncertainty band, and what its attribute table says of surveys."""

from __future__ import annotations

import dataclasses
import math
import re
from collections.abc import Sequence
from typing import Any

import numpy as np

from reefscan.base.s44 import Z95
from reefscan.io import handles, words
from reefscan.io.grids import probe
from reefscan.io.grids.surveys import Survey, filled_flag, quality_elsewhere, read_surveys, sentence
from reefscan.io.grids.variables import Choice


def stated_sigma(
    dataset: Any,
    choice: Choice,
    unit_m: float,
    focus: tuple[int, int, int, int] | None,
    sample: probe.Sample,
    notes: list[str],
) -> tuple[float, tuple[float, ...], float]:
    """Read of an uncertainty band: millimetres of one sigma per stored unit, what means unknown, and the median (m)."""
    if not choice.sigma_band:
        return 1000.0, (), math.nan
    if choice.sigma_path:
        with handles.open_dataset(choice.sigma_path) as other:
            alone = dataclasses.replace(choice, sigma_path="")
            return stated_sigma(other, alone, unit_m, focus, sample, notes)
    band = choice.sigma_band
    tags = {k.lower(): str(v) for k, v in dataset.tags(band).items()}
    unit = dataset.units[band - 1] or tags.get("units") or tags.get("unittype")
    if words.foreign_unit(unit):
        notes.append(f"uncertainty band {band} is in {unit!r}, which is not a length: not used")
        return 0.0, (), math.nan
    unit_m = words.unit_metres(unit) or unit_m  # in the depths' unit, if it names none of its own
    nodata = dataset.nodatavals[band - 1]
    unknown: tuple[float, ...] = () if nodata is None else (float(nodata),)
    unknown += tuple(v for v in probe.SENTINELS if abs(v) * unit_m > 9000.0)
    scale = float(dataset.scales[band - 1] or 1.0)
    # S-102 takes uncertainty from S-44 (the IHO registry says so), which states 95 %. A band that names no level is taken
    # for one standard deviation, which makes confidence lower, never higher.
    words_of = f"{dataset.descriptions[band - 1] or ''} {tags.get('long_name', '')} {tags.get('netcdf_varname', '')}".lower()
    level, said = 1.0, "±1 sigma"
    if choice.driver == "S102" or re.search(r"(?<!\d)95(?!\d)", words_of):
        level, said = Z95, "95 %"
    elif re.search(r"(?<!\d)2[ _-]?(sigma|std|sd)", words_of):
        level, said = 2.0, "±2 sigma"
    notes.append(f"uncertainty band {band} read as {said}")
    window = probe.windows_over(dataset.width, dataset.height, focus, dataset.block_shapes[band - 1])[
        len(sample.windows) // 2
    ]
    raw = dataset.read(band, window=window).astype(np.float64)
    good = np.isfinite(raw) & ~np.isin(raw, [float(np.float32(u)) for u in unknown]) & (raw > 0)
    median = float(np.median(raw[good])) * scale * unit_m / level if good.any() else math.nan
    return 1000.0 * scale * unit_m / level, tuple(dict.fromkeys(unknown)), median


def stated_surveys(dataset: Any, choice: Choice, notes: list[str]) -> tuple[tuple[Survey, ...], int, str]:
    """What the file says of its surveys, and where their numbers are: band and, if elsewhere, what to open."""
    band, path = choice.quality_band, ""
    surveys: tuple[Survey, ...] = ()
    if choice.filled_path:
        with handles.open_dataset(choice.filled_path) as flag:
            notes.append(
                f"{choice.filled_path.rsplit(':', 1)[-1]} tells which cells were filled in between soundings"
            )
            return filled_flag(flag), 1, choice.filled_path
    if dataset.tags().get("reefscan_schema", "").startswith("reefscan.survey/"):
        own = [i for i, name in enumerate(dataset.descriptions, start=1) if name == "count"]
        if own:
            notes.append("drawn from soundings: cells without one were filled in between")
            return (Survey(0.0, "", 0, math.nan, math.nan),), own[0], ""
    if band:
        surveys = read_surveys(dataset, band)
    elif dataset.driver in ("BAG", "S102") and not choice.options:
        path = quality_elsewhere(dataset)
        if path:
            with handles.open_dataset(path) as other:
                if other.shape == dataset.shape:
                    # both standards keep 0 for cells of which nothing is known
                    surveys, band = tuple(s for s in read_surveys(other, 1) if s.number), 1
    if not surveys:
        if band and words.says(
            str(dataset.descriptions[band - 1] or ""), ("contributor", "survey", "source")
        ):
            notes.append(
                "its cells are numbered by survey, but the table of surveys (the file's name and .aux.xml) is not beside it: "
                "which ground was filled in between soundings is not known"
            )
        return (), choice.quality_band, ""
    notes.append(sentence(surveys))
    return surveys, band, path


def sigma_by_surveys(surveys: Sequence[Survey], elev: Any, notes: list[str]) -> float:
    """Median standard uncertainty that the surveys state, NaN if none does."""
    depth = max(0.0, -float(np.median(elev))) if elev.size else 0.0
    stated = [s.fixed_m + (0.0 if math.isnan(s.factor) else s.factor) * depth for s in surveys]
    stated = [v for v in stated if math.isfinite(v)]
    if not stated:
        return math.nan
    notes.append("no uncertainty band: each cell's is taken from its survey's statement, at 95 %")
    return float(np.median(stated)) / Z95
