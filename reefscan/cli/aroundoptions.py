"""Options for what lies around a site: the files from outside the grid, and how they are read."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Annotated, Any

import typer

from reefscan.cli.options import asked, metres

if TYPE_CHECKING:
    from reefscan.base.recipe import Recipe


def _shapes(role: str, words: str) -> Any:
    """Make an option that names files of shapes."""
    return asked(f"--{role}", metavar="FILE", help=f"{words} (may be given more than once).")


Closed = Annotated[list[str] | None, _shapes("closed", "Closed ground: no site in it is ever listed")]
Caution = Annotated[
    list[str] | None,
    _shapes("caution", "Ground to take care in, such as fairways: a site near it is marked"),
]
Hard = Annotated[
    list[str] | None,
    _shapes("hard", "Hard structure (breakwaters, wrecks, piles): sites near it score higher"),
]
ClosedBuffer = Annotated[
    str | None,
    asked(
        "--closed-buffer",
        metavar="LENGTH",
        help="Distance around closed ground that counts as closed too, such as 50m.",
    ),
]
Land = Annotated[list[str] | None, _shapes("land", "Land: shows how open the water around a site is")]
WindFrom = Annotated[
    str | None, asked("--wind-from", metavar="SW|225", help="Where the wind comes from; needs --land too.")
]
Tide = Annotated[
    str | None,
    asked(
        "--tide",
        metavar="LENGTH",
        help="How high the water can rise above the grid's datum: a net keeps farther from a breakwater.",
    ),
]
Layer = Annotated[
    list[str] | None,
    asked(
        "--layer",
        metavar="NAME=FILE",
        help="A map of your own (raster), for the recipe: its values become the column layer_NAME (may be given more than once).",
    ),
]
Worth = Annotated[
    list[str] | None,
    asked(
        "--worth",
        metavar="'NAME: 1=1, 3=0.2'",
        help="What each class of a layer is worth: becomes the column layer_NAME_worth.",
    ),
]
AllowFairways = Annotated[
    bool,
    typer.Option(
        "--allow-fairways",
        help="Do not treat the fairways and dredged areas of a chart as closed. The run records it.",
    ),
]
Classes = Annotated[
    str | None,
    asked(
        "--classes",
        metavar="FILE",
        help="Your own table of what each class of object in a chart is taken for.",
    ),
]
Date = Annotated[
    str | None,
    asked(
        "--date",
        metavar="DAY",
        help="Day of your visit, such as 2026-05-01: ground that is closed for a season is judged by it.",
    ),
]


@dataclass(frozen=True)
class AroundOptions:
    """What the person hands over; a group for `reefscan.cli.grouped`."""

    closed: Closed = None
    caution: Caution = None
    hard: Hard = None
    land: Land = None
    wind_from: WindFrom = None
    tide: Tide = None
    layer: Layer = None
    worth: Worth = None
    closed_buffer: ClosedBuffer = None
    allow_fairways: AllowFairways = False
    classes: Classes = None
    date: Date = None

    def added_to(self, recipe: Recipe) -> Recipe:
        """Return the recipe with what was given; see `reefscan.base.recipe.Recipe.with_around`."""
        given: dict[str, Any] = {field.name: getattr(self, field.name) for field in fields(self)}
        given["layers"] = given.pop("layer")
        for name in ("tide", "closed_buffer"):
            length = given.pop(name)
            given[f"{name}_m"] = None if length is None else metres("--" + name.replace("_", "-"), length)
        return recipe.with_around(**given)
