"""What the stored numbers of a file mean: their unit, which of them stand for nothing, and whether they can be metres on Earth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import AmbiguousError, InputError
from reefscan.base.question import Question
from reefscan.base.units import both
from reefscan.io import words
from reefscan.io.georef import CrsFacts
from reefscan.io.grids import probe
from reefscan.io.grids.fills import zeros_are_fill

IMPLAUSIBLE = 0.7
"""Median steepness (35 degrees) above which cells of a metre or more are asked about: half of a
surveyed seabed is not that steep (0.01 to 0.10 in the public grids looked at), but centimetres taken for
metres make it so."""

LEAST_SCALE = 1e-9
"""A stored scale below this, or above its inverse, is a slip: no whole number of bytes makes metres of it."""

ROUNDED_M = 0.25
"""Steps of rounding that get a note: smaller ones change no height by much (a guess)."""


@dataclass(frozen=True)
class Scale:
    """From a stored number to metres, whichever way is up: ``number * metres + offset_m``.

    Parameters
    ----------
    metres, offset_m : float
    unit_m : float
        Metres of one unit: what else the file stores in it has a scale of its own.
    word : str
        The unit as people say it.
    said : bool
        True if the file or the user named it, False if metres are only the rule.
    """

    metres: float
    offset_m: float
    unit_m: float
    word: str
    said: bool


def scale_of(
    dataset: Any, band: int, tags: dict[str, str], facts: CrsFacts, name: str, unit: str | None
) -> Scale:
    """Scale of a band; ``unit`` is what the user said.

    Raises
    ------
    AmbiguousError, InputError
        If its unit is no length or not known, or its scale no number.
    """
    unit_m, word, said = _unit(dataset, band, tags, facts, name, unit)
    scale = float(dataset.scales[band - 1])
    offset = float(dataset.offsets[band - 1] or 0.0)
    if not (LEAST_SCALE <= abs(scale) <= 1.0 / LEAST_SCALE and math.isfinite(offset)):
        raise InputError(
            f"{name}: its scale and offset ({scale:g}, {offset:g}) turn no value into a depth; the file is damaged: fetch it again, "
            "or set its scale to 1"
        )
    return Scale(scale * unit_m, offset * unit_m, unit_m, word, said)


def _unit(
    dataset: Any, band: int, tags: dict[str, str], facts: CrsFacts, name: str, unit: str | None
) -> tuple[float, str, bool]:
    if unit:
        return float(words.unit_metres(unit) or 1.0), unit, True
    stated = dataset.units[band - 1] or tags.get("units") or tags.get("unittype")
    metres = words.unit_metres(stated)
    if metres is not None:
        return metres, str(stated), True
    if words.foreign_unit(stated):
        raise AmbiguousError(
            f"{name}: its values are in {stated!r}, which is not a length; if they are, say --value-unit",
            asks=_which_unit(np.zeros(0)),
        )
    if dataset.driver in ("BAG", "S102"):  # both standards allow metres only
        return 1.0, "m", True
    if math.isfinite(facts.vertical_unit_m) and facts.vertical_unit_m != 1.0:
        return facts.vertical_unit_m, f"units of {facts.vertical_unit_m:.7g} m", True
    if (
        facts.metres_per_unit not in (1.0, 1000.0)
        and math.isnan(facts.vertical_unit_m)
        and not facts.geographic
    ):
        # where maps count in feet, heights do in some files and in others not
        raise AmbiguousError(
            f"{name}: its coordinate system counts in units of {facts.metres_per_unit:.7g} m, and nothing says what its values "
            "count in; say --value-unit ft (or us-ft), or --value-unit m",
            asks=_which_unit(np.zeros(0)),
        )
    return 1.0, "m", False


def _which_unit(values: NDArray[np.float64]) -> Question:
    units = ("m", "dm", "cm", "mm", "ft", "us-ft", "fathom")
    return words.which_unit(values, "--value-unit", "values", units, free=False)


def declared_nodata(dataset: Any, band: int, tags: dict[str, str]) -> tuple[float, ...]:
    """Numbers that the file itself says stand for nothing."""
    nodata = dataset.nodatavals[band - 1]
    own: tuple[float, ...] = () if nodata is None else (float(nodata),)
    return own + tuple(_listed(tags.get("missing_value")) + _listed(tags.get("_fillvalue")))


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


def undeclared_nodata(
    sample: probe.Sample, declared: tuple[float, ...], scale: Scale, dtype: str, notes: list[str]
) -> list[float]:
    """Numbers that stand for nothing though the file does not say so; the sample no longer knows them, and a note tells of them."""
    values = sample.values()
    found = probe.undeclared_sentinels(values, abs(scale.metres), dtype)
    if 0.0 not in declared and not scale.offset_m and zeros_are_fill(sample, values, scale.metres):
        found.append(0.0)
    if found:
        shown = ", ".join(f"{v:.6g}" for v in found)
        notes.append(f"value {shown} is taken for 'no data', though the file does not say so")
        for w, k in zip(sample.windows, sample.known, strict=True):
            k &= ~np.isin(w.astype(np.float64), found)
    return found


def never_depths(scale: Scale, dtype: str) -> tuple[float, ...]:
    """Numbers that no file of this form means as a depth, whether they were met or not."""
    out = tuple(v for v in probe.SENTINELS if abs(v) * abs(scale.metres) > 9000.0)
    if np.dtype(dtype).kind == "u" and np.dtype(dtype).itemsize > 1:
        out += (float(np.iinfo(dtype).max),)  # no depth in 16 bits or more ends just there
    return out


def refuse_beyond_earth(values: NDArray[np.float64], scale: Scale, name: str) -> None:
    """Refuse numbers that cannot be metres.

    Raises
    ------
    AmbiguousError
        Asking for their unit.
    """
    deepest = float(np.abs(values * scale.metres + scale.offset_m).max()) if values.size else 0.0
    if deepest > probe.BELIEVABLE_M:
        raise AmbiguousError(
            f"{name}: values run from {values.min():.6g} to {values.max():.6g}, which cannot be metres on Earth; "
            f"what unit are they? Say --value-unit (m, dm, cm, mm, ft, fathom)",
            asks=_which_unit(values),
        )


def refuse_too_steep(
    sample: probe.Sample, values: NDArray[np.float64], scale: Scale, cell: tuple[float, float], name: str
) -> None:
    """Refuse numbers whose unit nobody named and that make the seabed steeper than any is.

    Raises
    ------
    AmbiguousError
        Asking for their unit.
    """
    if scale.said or min(cell) < 1.0:
        return
    steep = probe.typical_gradient(sample, abs(scale.metres), cell)
    if steep > IMPLAUSIBLE:
        raise AmbiguousError(
            f"{name}: half of the seabed would be steeper than {math.degrees(math.atan(steep)):.0f} degrees; "
            f"are the values ({values.min():.6g} to {values.max():.6g}) really metres? "
            "Say --value-unit (m, dm, cm, mm, ft, fathom)",
            asks=_which_unit(values),
        )


def clips(
    sample: probe.Sample, values: NDArray[np.float64], factor: float, add: float, notes: list[str]
) -> tuple[float, ...]:
    """Stored values at which the data were cut off; those under water are unknown from now on."""
    out: list[float] = []
    for clip in probe.clipped_limits(sample, values):
        elev = (clip.value * factor + add) / 1000.0
        if elev < 0.0:
            out.append(clip.value)
            notes.append(
                f"cut off flat at a depth of {both(-elev)} over {100 * clip.share:.0f} % of its cells: the true seabed is not "
                "in the file there, so these cells count as unknown"
            )
        else:
            notes.append(
                f"cut off flat at {both(elev)} above zero over {100 * clip.share:.0f} % of its cells"
            )
    return tuple(out)


def tell_rounding(values: NDArray[np.float64], factor: float, notes: list[str]) -> None:
    """Say so where depths come in steps that read as ledges."""
    step = probe.rounding_step(values) * abs(factor) / 1000.0
    if step >= ROUNDED_M:
        from reefscan.kernels.evidence.rounding import STEPS

        notes.append(
            f"depths come in whole steps of {both(step)}: a height below {both(STEPS * step)} may be the rounding alone, "
            "and is left out where the steps lie open as flat patches"
        )
