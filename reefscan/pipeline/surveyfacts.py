"""What the report of a survey says: counts, corrections, how well the surface holds, and what to mind."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from pyproj import Transformer

from reefscan.base.caution import OF_SOUNDINGS
from reefscan.io.grids.ground import PublicGround
from reefscan.survey.build import Corrections, Prepared, SurveySurface
from reefscan.survey.crossings import summary
from reefscan.survey.fuse import Bias
from reefscan.survey.next_lines import Line, route_length
from reefscan.survey.settings import SurveySettings, dump_settings
from reefscan.survey.table import REASONS, Log

SCHEMA = "reefscan.survey/1"


@dataclass(frozen=True)
class Laid:
    """The public grid that the soundings were laid onto, and how far it lies off them."""

    ground: PublicGround
    bias: Bias


@dataclass(frozen=True)
class Surveyed:
    """What a survey gave, before it is reported.

    Attributes
    ----------
    out : str
        Name of the grid's file.
    corrections, settings, logs
        What it was made from.
    skipped : sequence of str
        Logs that were left out, and why.
    ready, surface
        The cleaned soundings and the surface through them.
    covered_km2 : float
        Ground that has a depth.
    onto : Laid or None
    lines : list of Line
        What to sound next.
    """

    out: str
    corrections: Corrections
    settings: SurveySettings
    logs: Sequence[Log]
    skipped: Sequence[str]
    ready: Prepared
    surface: SurveySurface
    covered_km2: float
    onto: Laid | None
    lines: list[Line]


def survey_facts(made: Surveyed) -> dict[str, Any]:
    """What the report of a survey says, JSON-ready."""
    ready, surface, onto, lines = made.ready, made.surface, made.onto, made.lines
    data, tuning = ready.soundings, surface.tuning
    kept, tally = data.kept, data.tally()
    to_lonlat = Transformer.from_crs(surface.sheet.crs, 4326, always_xy=True)
    return {
        "schema": SCHEMA,
        "caution": OF_SOUNDINGS,
        "out": made.out,
        "crs": surface.sheet.crs,
        "cell_m": surface.sheet.cell_m,
        "soundings": {"read": len(data), "kept": tally["kept"]},
        "depth_m": [round(float(v), 2) for v in np.percentile(data.depth[kept], [0, 100])],
        "covered_km2": round(made.covered_km2, 4),
        "gap_m": round(ready.gap_m, 1),
        "step_m": round(ready.step_m, 2),
        "noise_m": round(ready.noise_m, 3),
        "reach_m": surface.reach_m,
        "files": [
            {"name": g.name, "soundings": int(g.depth.size), "reference": g.reference, "notes": list(g.notes),
             "unusable": sum(_unusable(g).values()), "counts": g.counts} for g in made.logs
        ],
        "set_aside": [
            {"reason": name, "soundings": tally[name], "share": round(tally[name] / len(data), 6), "why": why}
            for name, why in REASONS[1:] if name in tally
        ],
        "steep": int((data.steep & kept).sum()),
        "corrections": ready.corrections,
        "delay": {"seconds": ready.delay[0], "gain": ready.delay[1]} if ready.delay else None,
        "crossings": {"before": summary(ready.before), "after": summary(ready.after)},
        "validation": {
            "method": tuning.method, "block_cells": tuning.block_cells, "table": list(tuning.table),
            "left_out": tuning.left_out, "rms_m": _number(tuning.rms_m), "median_m": _number(tuning.median_m),
            "spread": _number(tuning.spread), "learnt": tuning.uncertainty.learnt,
        },
        "onto": None if onto is None else {
            "name": onto.ground.name, "notes": list(onto.ground.notes), "bias_m": round(onto.bias.value_m, 3), "spread_m": _number(onto.bias.spread_m), "cells": onto.bias.cells
        },
        "next_lines": [
            {"line": k, "from": _lonlat(to_lonlat, g.x0, g.y0), "to": _lonlat(to_lonlat, g.x1, g.y1), "length_m": round(g.length_m, 1)}
            for k, g in enumerate(lines, start=1)
        ],
        "next_total_m": round(route_length(lines), 1),
        "warnings": _warnings(made),
        "settings": dump_settings(made.settings),
    }  # fmt: skip


def _warnings(made: Surveyed) -> list[str]:
    """What a reader of the report should know before trusting the grid."""
    data, onto = made.ready.soundings, made.onto
    kept = data.kept
    warnings = [f"skipped: {text}" for text in made.skipped]
    if made.corrections.tide is None:
        warnings.append(
            "No tide was taken off: depths are as deep as the water was that day, and days differ."
        )
    if (
        made.corrections.draft_m is None
        and "transducer" in data.references
        and np.isnan(data.to_surface[kept]).any()
    ):
        warnings.append(
            "No draft was given: depths are below the sounder's transducer, not below the surface."
        )
    if onto is not None:
        warnings += onto.ground.notes
        if onto.bias.cells < 50:
            warnings.append(
                f"Only {onto.bias.cells} cells are shared with the public grid: its bias was not estimated."
            )
    if len(data) and 1.0 - kept.sum() / len(data) > 0.1:
        warnings.append(
            "More than a tenth of the soundings was set aside: look at the map below before trusting the rest."
        )
    for log in made.logs:
        warnings += _of_log(log, tide=made.corrections.tide is not None)
    return warnings


def _unusable(log: Log) -> dict[str, int]:
    """Lines that nothing could be made of, by reason."""
    reasons = ("bad lines", "wrong checksum", "cut off", "invalid or empty")
    return {name: log.counts[name] for name in reasons if log.counts.get(name)}


BACK_S = 60.0
"""Times that go back by less are two devices' clocks."""


def _of_log(log: Log, *, tide: bool) -> list[str]:
    """What the person should know of one log without opening the report."""
    out = [f"{log.name}: {note}." for note in log.notes if "such as" in note or "left out" in note]
    lost = _unusable(log)
    if sum(lost.values()) > 0.1 * (sum(lost.values()) + max(log.depth.size, log.lon.size)):
        why = ", ".join(f"{name} {count:,}" for name, count in lost.items())
        out.append(f"{log.name}: more than a tenth of its lines could not be used ({why}).")
    times = log.time[np.isfinite(log.time)]
    back = -np.diff(times)
    if tide and (back > BACK_S).any():
        out.append(
            f"{log.name}: its times go back at {int((back > BACK_S).sum())} place(s), by up to {back.max() / 3600:.1f} h; the tide was "
            "taken off at the times as logged: is its clock right?"
        )
    return out


def _number(value: float) -> float | None:
    return round(float(value), 4) if np.isfinite(value) else None


def _lonlat(made: Transformer, x: float, y: float) -> list[float]:
    lon, lat = made.transform(x, y)
    return [round(float(lon), 7), round(float(lat), 7)]
