"""Options that several commands share, and what turns them into a recipe and a unit."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer

from reefscan.base.errors import InputError, MissingInputError, RecipeError

if TYPE_CHECKING:
    from reefscan.base.recipe import Recipe

T = TypeVar("T")


def asked(name: str, **more: Any) -> Any:
    """Make an option that has no value unless it is given."""
    return typer.Option(name, show_default=False, **more)


Depth = Annotated[
    tuple[str, str] | None,
    asked(
        "--depth",
        metavar="SHALLOW DEEP",
        help="Depths to set in, from shallow to deep: 15ft 60ft, 4 20 (metres) or 3fathom 10fathom.",
    ),
]
Positive = Annotated[
    str | None,
    asked(
        "--positive",
        metavar="up|down",
        help="How the grid counts: up = heights (water is below zero), down = depths (water is above zero).",
    ),
]
Crs = Annotated[
    str | None,
    asked(
        "--crs",
        metavar="EPSG:N",
        help="Coordinate system of a grid that does not state it, such as EPSG:32631.",
    ),
]
DatumShift = Annotated[
    str,
    typer.Option(
        "--datum-shift",
        metavar="LENGTH",
        help="A length that is added to every height of the grid, such as -0.4m. It is recorded; no datum is converted without it.",
    ),
]
Datum = Annotated[
    str | None,
    asked(
        "--datum",
        metavar="NAME",
        help="Level that the depths are counted from, such as 'mean low water': it is written beside each depth. It changes no depth.",
    ),
]
RecipeFile = Annotated[
    Path | None,
    asked(
        "--recipe",
        metavar="FILE",
        help="Your recipe: what to look for and what counts. Write one with 'reefscan recipe'.",
    ),
]


def told_in(otherwise: str) -> Any:
    """Make the option ``--unit``; ``otherwise`` is the unit where it is not given."""
    words = f"Unit to tell depths and heights in. If not given: {otherwise}."
    return asked("--unit", metavar="m|ft|fathom", help=words)


Unit = Annotated[str | None, told_in("the unit of --depth")]
RunUnit = Annotated[str | None, told_in("the unit of the scan")]
Sites = Annotated[
    str,
    typer.Option(
        "--sites",
        metavar="all|best",
        help="all: every listed site. best: the best site of each place, without its neighbours.",
    ),
]
PicksFile = Annotated[
    Path | None,
    asked("--picks", metavar="FILE", help="Choices saved from the page."),
]
Top = Annotated[
    int | None,
    asked("--top", metavar="N", min=1, help="How many sites to list."),
]
Out = Annotated[
    Path | None,
    asked(
        "--out",
        metavar="FOLDER",
        help="Folder to write the run in: a new or empty one, or that of an earlier run.",
    ),
]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON, for other programs.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="Hide progress messages.")]
Variable = Annotated[
    str | None,
    asked(
        "--variable",
        metavar="NAME",
        help="Variable or band of the file that holds the depths; NAME:3 is its third layer.",
    ),
]
ValueUnit = Annotated[
    str | None,
    asked("--value-unit", metavar="UNIT", help="Unit of the grid's values, such as ft."),
]
Prefer = Annotated[
    list[str] | None,
    asked(
        "--prefer",
        metavar="NAME",
        help="Where grids overlap, use this one first (may be given more than once).",
    ),
]


Area = Annotated[
    Path | None,
    asked("--area", metavar="FILE", help="Search inside these polygons only."),
]
Bbox = Annotated[
    tuple[float, float, float, float] | None,
    asked("--bbox", metavar="W S E N", help="Search inside this box only (degrees, WGS 84)."),
]


def depth_metres(depth: tuple[str, str]) -> tuple[float, float]:
    """Read the two depths in metres; a unit on one of them only is refused, for it is rarely meant.

    Raises
    ------
    RecipeError
        If they cannot be read as two depths of one unit.
    """
    from reefscan.base.units import parse_length

    try:
        low, high = parse_length(depth[0]), parse_length(depth[1])
    except InputError as error:
        raise RecipeError(f"--depth {depth[0]} {depth[1]}: {error}") from None
    if _unit(depth[0]) != _unit(depth[1]) and "" in (_unit(depth[0]), _unit(depth[1])):
        unit = _unit(depth[0]) or _unit(depth[1])
        raise RecipeError(
            f"--depth {depth[0]} {depth[1]}: one has a unit and one has none; write both, "
            f"such as {depth[0].removesuffix(unit)}{unit} {depth[1].removesuffix(unit)}{unit}"
        )
    return low, high


def user_unit(depth: tuple[str, str] | None, said: str | None = None) -> str:
    """Return the unit the user speaks (``m``, ``ft`` or ``fathom``): the one that is said, else by the depths given."""
    from reefscan.base.units import check_unit

    if said is not None:
        return check_unit(said)
    unit = _unit(depth[0]).lower() if depth else ""
    if unit in ("ft", "foot", "feet", "us-ft"):
        return "ft"
    return "fathom" if unit in ("fathom", "fathoms", "fm") else "m"


def best_only(which: str) -> bool:
    """Tell whether ``--sites`` asks for the best site of each place alone.

    Raises
    ------
    InputError
        If it is neither ``all`` nor ``best``.
    """
    if which not in ("all", "best"):
        raise InputError(f"--sites {which}: say all or best")
    return which == "best"


def make_recipe(
    path: Path | None, depth: tuple[str, str] | None, top: int | None, *, base: Recipe | None = None
) -> Recipe:
    """Build the recipe from ``--recipe``, ``--depth`` and ``--top``, the latter two winning.

    Without ``--recipe`` it starts from ``base``, or the default.

    Raises
    ------
    MissingInputError, RecipeError
        If the file does not exist or the recipe is wrong.
    """
    from reefscan.base.recipe import Recipe, load_recipe
    from reefscan.io.localfile import read_small_text

    recipe = base or Recipe.default()
    if path is not None:
        try:
            text = read_small_text(path)
        except MissingInputError:
            raise MissingInputError(
                f"{path}: no such recipe; write one with 'reefscan recipe > {path}'"
            ) from None
        recipe = load_recipe(text, name=str(path))
    if depth is not None:
        low, high = depth_metres(depth)
        if low > high >= 0:
            raise RecipeError(
                f"--depth {depth[0]} {depth[1]}: reversed, the shallow edge comes first; "
                f"write --depth {depth[1]} {depth[0]}"
            )
        recipe = recipe.with_depth(low, high)
    return recipe if top is None else recipe.with_top(top)


def read_as(flag: str, read: Callable[[str], T], text: str) -> T:
    """Read the value of an option; what is wrong with it names the option."""
    try:
        return read(text)
    except InputError as error:
        raise InputError(f"{flag}: {error}") from None


def metres(flag: str, text: str) -> float:
    """Read the length that an option was given."""
    from reefscan.base.units import parse_length

    return read_as(flag, parse_length, text)


def check_positive(value: str | None) -> str | None:
    """Check ``--positive``."""
    if value not in (None, "up", "down"):
        raise typer.BadParameter(
            f"{value!r}: write up (elevations) or down (depths)", param_hint="--positive"
        )
    return value


def _unit(text: str) -> str:
    return text.strip().lstrip("+-0123456789.eE ").strip() if text else ""
