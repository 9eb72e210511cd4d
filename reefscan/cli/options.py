"""Options that several commands share, and what turns them into a recipe and a unit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from reefscan.base.recipe import Recipe


def _asked(name: str, **more: Any) -> Any:
    """Make an option that has no value unless it is given."""
    return typer.Option(name, show_default=False, **more)


Depth = Annotated[
    tuple[str, str] | None,
    _asked(
        "--depth",
        metavar="SHALLOW DEEP",
        help="Band of depths to set in, such as 15ft 60ft, 4 20 (metres) or 3fathom 10fathom.",
    ),
]
Positive = Annotated[
    str | None,
    _asked(
        "--positive", metavar="up|down", help="Which way the grid counts: up = elevations, down = depths."
    ),
]
Crs = Annotated[
    str | None,
    _asked("--crs", metavar="EPSG:N", help="Coordinate system of a grid that states none."),
]
DatumShift = Annotated[
    str,
    typer.Option(
        "--datum-shift",
        metavar="LENGTH",
        help="Added to every elevation, such as -0.4m; nothing is converted silently, and this is recorded.",
    ),
]
RecipeFile = Annotated[
    Path | None,
    _asked("--recipe", metavar="FILE", help="A recipe (see 'reefscan recipe')."),
]
Top = Annotated[
    int | None,
    _asked("--top", metavar="N", min=1, help="How many sites to list."),
]
Out = Annotated[
    Path | None,
    _asked("--out", metavar="FOLDER", help="Folder of the run; new, empty or an earlier run."),
]
Json = Annotated[bool, typer.Option("--json", help="Print the result as JSON on standard output.")]
Quiet = Annotated[bool, typer.Option("--quiet", help="No progress on standard error.")]
Workers = Annotated[
    int | None,
    _asked("--workers", metavar="N", min=1, help="Processes to use; all cores if not given."),
]
Tile = Annotated[
    int | None,
    _asked("--tile", metavar="CELLS", min=1, help="Side of a tile; the result does not depend on it."),
]
Scheduler = Annotated[
    str | None,
    _asked("--scheduler", metavar="ADDRESS", help="Work on this Dask scheduler instead of here."),
]
Variable = Annotated[
    str | None,
    _asked(
        "--variable",
        metavar="NAME",
        help="Variable or band that holds the depths; NAME:3 is its third layer.",
    ),
]
ValueUnit = Annotated[
    str | None,
    _asked("--value-unit", metavar="UNIT", help="Unit of the grid's values, such as ft."),
]
Prefer = Annotated[
    list[str] | None,
    _asked(
        "--prefer",
        metavar="NAME",
        help="Where grids overlap, this one goes first (may be given more than once).",
    ),
]


def _shapes(role: str, words: str) -> Any:
    """Make an option that names files of shapes."""
    return _asked(f"--{role}", metavar="FILE", help=f"{words} (may be given more than once).")


Closed = Annotated[list[str] | None, _shapes("closed", "Closed ground: no site in it is ever listed")]
Caution = Annotated[
    list[str] | None,
    _shapes("caution", "Ground to take care in, such as fairways: a site near it is flagged"),
]
Hard = Annotated[
    list[str] | None, _shapes("hard", "Hard structure (breakwaters, wrecks, piles): what lies near it gains")
]
ClosedBuffer = Annotated[
    str | None,
    _asked(
        "--closed-buffer",
        metavar="LENGTH",
        help="Margin around closed ground that is closed too, such as 50m.",
    ),
]
Land = Annotated[list[str] | None, _shapes("land", "Land, from which the open water around a site is told")]
WindFrom = Annotated[
    str | None, _asked("--wind-from", metavar="SW|225", help="Where the wind comes from; wants --land.")
]
Tide = Annotated[
    str | None,
    _asked(
        "--tide",
        metavar="LENGTH",
        help="Rise of the water above the grid's datum, for the stand-off from a breakwater.",
    ),
]
Layer = Annotated[
    list[str] | None,
    _asked(
        "--layer",
        metavar="NAME=FILE",
        help="A raster of your own, as the column layer_NAME (may be given more than once).",
    ),
]
Worth = Annotated[
    list[str] | None,
    _asked(
        "--worth",
        metavar="'NAME: 1=1, 3=0.2'",
        help="What the classes of a layer are worth, as the column layer_NAME_worth.",
    ),
]
AllowFairways = Annotated[
    bool,
    typer.Option(
        "--allow-fairways", help="Fairways and dredged areas of a chart are not closed; this is recorded."
    ),
]
Classes = Annotated[
    str | None,
    _asked(
        "--classes", metavar="FILE", help="Your own table of what the classes of a chart cell are taken for."
    ),
]
Date = Annotated[
    str | None,
    _asked(
        "--date",
        metavar="DAY",
        help="Day of the visit, such as 2026-05-01: closures with dates are judged by it.",
    ),
]
Area = Annotated[
    Path | None,
    _asked("--area", metavar="FILE", help="Search inside these polygons only."),
]
Bbox = Annotated[
    tuple[float, float, float, float] | None,
    _asked("--bbox", metavar="W S E N", help="Search inside this box only (degrees, WGS 84)."),
]


def depth_metres(depth: tuple[str, str]) -> tuple[float, float]:
    """Read the two depths in metres; a unit on one of them only is refused, for it is rarely meant.

    Raises
    ------
    RecipeError
        If they cannot be read as two depths of one unit.
    """
    from reefscan.base.errors import InputError, RecipeError
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


def user_unit(depth: tuple[str, str] | None) -> str:
    """Return the unit the user speaks (``m``, ``ft`` or ``fathom``), by the depths given."""
    unit = _unit(depth[0]).lower() if depth else ""
    if unit in ("ft", "foot", "feet", "us-ft"):
        return "ft"
    return "fathom" if unit in ("fathom", "fathoms", "fm") else "m"


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
    from reefscan.base.errors import MissingInputError, RecipeError
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


def metres(flag: str, text: str) -> float:
    """Read the length that an option was given; what is wrong with it names the option."""
    from reefscan.base.errors import InputError
    from reefscan.base.units import parse_length

    try:
        return parse_length(text)
    except InputError as error:
        raise InputError(f"{flag}: {error}") from None


def check_positive(value: str | None) -> str | None:
    """Check ``--positive``."""
    if value not in (None, "up", "down"):
        raise typer.BadParameter(
            f"{value!r}: write up (elevations) or down (depths)", param_hint="--positive"
        )
    return value


def _unit(text: str) -> str:
    return text.strip().lstrip("+-0123456789.eE ").strip() if text else ""
