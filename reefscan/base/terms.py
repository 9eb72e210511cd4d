"""The default terms of the score: one row a term, with its numbers and the words that explain it.

A reason to like a site is one row here. What it costs to look like something else comes from `reefscan.base.doubts`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from reefscan.base.doubts import DOUBTS

GUESS = "a guess of the trade"
NATURAL = ("trough", "ledge", "rise")


@dataclass(frozen=True)
class DefaultTerm:
    """One row.

    Attributes
    ----------
    values : dict
        Fields of `reefscan.base.recipe.Term`.
    note : str
        The comment in the written recipe.
    carries : str
        What raises the score where it is worth much, as named in the reasons.
    carries_little : str
        The same where a recipe is turned round, so that little of it is good.
    low, high : str
        What costs where the value is below, or above, what is worth the full amount.
    unknown : str
        What is said to be unknown where there is no value.
    called : str
        What it judges, in plain words.
    """

    values: dict[str, Any]
    note: str
    carries: str = ""
    carries_little: str = ""
    low: str = ""
    high: str = ""
    unknown: str = ""
    called: str = ""


def _height(kind: str, half: float, note: str) -> DefaultTerm:
    """What the height of a kind counts: nothing under 1 m, half of all at ``half`` above it, ever more."""
    return DefaultTerm(
        {"column": "height_m", "a": 1.0, "b": 1.0, "half": half, "weight": 2.0, "required": True, "kinds": (kind,)},
        f"{note} ({GUESS})", carries="height", low="little height", unknown="height", called="height",
    )  # fmt: skip


DEFAULT_TERMS: dict[str, DefaultTerm] = {
    "depth": DefaultTerm(
        {"column": "depth_m", "a": 4.0, "b": 4.0, "c": 15.0, "d": 15.0, "weight": 0.2, "required": True},
        f"water over the net; hard edges ({GUESS})",
        carries="its depth", low="shallow for the band asked", high="deep for the band asked", called="depth",
    ),
    "height_trough": _height("trough", 0.6, "how far one must climb out of a trough on its lower side"),
    "height_ledge": _height("ledge", 1.6, "height of the step beyond the slope of the ground"),
    "height_rise": _height("rise", 1.0, "height of the rock pile above its surroundings"),
    "steep": DefaultTerm(
        {"column": "steep_deg", "a": 4.6, "b": 21.8, "weight": 5.0},  # gradients of 0.08 and 0.4
        "gradient of the face, degrees: a gentle slope of the same height is no shelter (set on planted seabeds)",
        carries="a steep face", carries_little="a gentle face", low="a gentle face", high="a steep face", unknown="how steep its face is", called="steepness of its face",
    ),
    "contrast": DefaultTerm(
        {"column": "contrast", "a": 0.0, "b": 1.0, "weight": 1.0},
        "how far it stands out: a lone ledge on sand gathers what lives around (common practice, no source)",
        carries="standing alone", carries_little="other structure around it", low="much other structure around it", high="standing alone", unknown="what stands around it", called="how far it stands out from the ground around, 0 to 1",
    ),
    "extent": DefaultTerm(
        {"column": "extent", "a": 0.0, "b": 1.0, "weight": 0.5, "kinds": ("trough", "ledge")},
        "a long edge holds more than its tip, and is surer to be one (common practice, no source)",
        carries="a long edge", carries_little="the end of a feature", low="the end of a feature", high="a long edge", unknown="how far it goes on", called="how far its edge goes on, 0 to 1",
    ),
    "floor": DefaultTerm(
        {"column": "slope_deg", "c": 10.0, "d": 30.0, "weight": 0.5},
        f"a net must lie flat: slope of the floor under it, degrees ({GUESS})",
        carries="a flat floor", high="a steep floor", unknown="floor slope", called="slope of the floor",
    ),
    "refuge": DefaultTerm(
        # 1 - cos 18 deg = 0.05: ground that tilts some 18 degrees either way within a few cells
        {"column": "vrm", "a": 0.0, "b": 0.05, "weight": 0.2},
        f"rough ground nearby, where animals hide by day ({GUESS})",
        carries="rough ground nearby", carries_little="smooth ground nearby", low="little rough ground nearby", high="rough ground nearby", unknown="rough ground nearby", called="rough ground nearby",
    ),
    "hangs_together": DefaultTerm(
        {"column": "scatter", "c": 0.2, "d": 0.4, "weight": 0.8, "penalty": True, "kinds": NATURAL},
        "weed, fish and false bottoms jump from cell to cell, rock does not (set on planted seabeds)",
        carries="depths that agree from cell to cell", high="depths that jump from cell to cell",
        unknown="whether depths agree from cell to cell", called="depths that jump from cell to cell",
    ),
    **{
        doubt.term: DefaultTerm(
            {"column": doubt.column, "c": doubt.full, "d": doubt.none, "weight": doubt.weight, "penalty": True, "kinds": NATURAL},
            doubt.note,
            high=doubt.costs,
            called=doubt.looks_like,
        )
        for doubt in DOUBTS
    },
    "hard_structure": DefaultTerm(
        {"column": "hard_m", "c": 30.0, "d": 150.0, "weight": 0.1, "bonus": True},
        f"near a breakwater, wreck or pile that was given with --hard; can only raise a score ({GUESS})",
        carries="hard structure nearby", called="distance to hard structure",
    ),
    "lee": DefaultTerm(
        {"column": "wind_fetch_m", "c": 500.0, "d": 5000.0, "weight": 0.3, "penalty": True},
        f"open water to where the stated wind comes from, over which waves grow ({GUESS})",
        carries="land to windward", high="open water to windward", called="open water to windward",
    ),
}  # fmt: skip


def called(name: str) -> str:
    """What a term judges, in plain words; the name itself of a term of the user's own.

    Examples
    --------
    >>> called("floor"), called("my_layer")
    ('slope of the floor', 'my layer')
    """
    row = DEFAULT_TERMS.get(name)
    return (row.called if row is not None else "") or name.replace("_", " ")
