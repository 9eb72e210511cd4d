"""A survey in three plain lines: what is covered, how good it is, what to sound next."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from reefscan.base.degrees import position_words
from reefscan.base.units import METRES_PER, far_unit, three_figures


def summed_up(facts: Mapping[str, Any], *, narrowest_m: float, unit: str = "m", datum: str = "") -> list[str]:
    """Three sentences for a person.

    Parameters
    ----------
    facts : mapping
        Of the survey, as ``own.report.json`` holds them.
    narrowest_m : float
        Narrowest trough or rise that shows everywhere.
    unit : {"m", "ft", "fathom"}
        Of depths; lengths on the map are in feet for the last two.
    datum : str
        Level that depths are counted from; empty where it is not known.
    """
    along = far_unit(unit)

    def deep(metres: float) -> str:
        return f"{metres / METRES_PER[unit]:.1f}"

    def far(metres: float) -> str:
        return f"{three_figures(metres / METRES_PER[along])} {along}"

    below = f" below {datum}" if datum else ""
    low, high = facts["depth_m"]
    covered = (
        f"Covered: {facts['covered_km2']:.2f} km² of ground, {deep(low)} to {deep(high)} {unit} deep{below}, "
        f"from tracks about {far(facts['gap_m'])} apart."
    )
    miss = facts["validation"]["rms_m"]
    checked = (
        f"soundings that were left out to check it were missed by {deep(miss)} {unit} (root mean square)"
        if facts["validation"]["left_out"] and miss is not None
        else "there are too few soundings to check it, so its uncertainty is a guess"
    )
    good = f"How good: {checked}. What is narrower than {far(narrowest_m)} can lie unseen between the tracks."
    lines = facts["next_lines"]
    if not lines:
        return [covered, good, "Next: no line stands out."]
    (lon0, lat0), (lon1, lat1) = lines[0]["from"], lines[0]["to"]
    first = f"from {position_words(lon0, lat0)} to {position_words(lon1, lat1)}"
    many = (
        f"the {len(lines)} lines of the report, {far(facts['next_total_m'])} in all; the first runs"
        if len(lines) > 1
        else "the line"
    )
    return [covered, good, f"Next: sound {many} {first}."]
