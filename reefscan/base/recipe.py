"""Reading and writing a recipe: TOML in, TOML with a comment on every line out.

The models are in `reefscan.base.recipe_parts` and are offered here too. The comments of the written
file come from the descriptions of the fields, so a new field is explained without touching this
module.
"""

from __future__ import annotations

import json
import math
import re
import tomllib
from typing import Any

from pydantic import BaseModel

from reefscan.base.complaint import fitted
from reefscan.base.errors import RecipeError
from reefscan.base.recipe_around import ROLES, Around
from reefscan.base.recipe_parts import (
    KINDS,
    RECIPE_VERSION,
    Find,
    Kind,
    Rank,
    Recipe,
    Score,
    Term,
)
from reefscan.base.terms import DEFAULT_TERMS
from reefscan.base.units import shown

__all__ = [
    "KINDS",
    "RECIPE_VERSION",
    "ROLES",
    "Around",
    "Find",
    "Kind",
    "Rank",
    "Recipe",
    "Score",
    "Term",
    "dump_recipe",
    "load_recipe",
]


def load_recipe(text: str, *, name: str = "recipe") -> Recipe:
    """Read a recipe from TOML text.

    Parameters
    ----------
    text : str
        TOML; keys that are not named keep their defaults.
    name : str
        What to call it in a message (a file name).

    Raises
    ------
    RecipeError
        One line: where, what is wrong, what was found, what is wanted.

    Examples
    --------
    >>> load_recipe('[rank]\\nspacing_m = "80ft"').rank.spacing_m
    24.384
    """
    data = read_toml(text, name)
    version = data.get("version", RECIPE_VERSION)
    if isinstance(version, bool) or version != RECIPE_VERSION:
        raise RecipeError(
            f"{name}: version = {shown(version)}; this program reads version {RECIPE_VERSION}; "
            "write a fresh one with 'reefscan recipe'"
        )
    return fitted(data, Recipe, name=name, whole="recipe")


def read_toml(text: str, name: str) -> dict[str, Any]:
    """Return the tables of a text of TOML.

    Raises
    ------
    RecipeError
        If it is none, is nested deeper than can be followed, or holds a whole number larger than any measure.
    """
    try:
        data = tomllib.loads(text)
        left: list[Any] = [data]
        while left:
            value = left.pop()
            if isinstance(value, (dict, list)):
                left += value.values() if isinstance(value, dict) else value
            elif isinstance(value, int) and abs(value) >= 1 << 63:
                raise RecipeError(f"{name}: a whole number in it is too large ({shown(value)})")
    except RecursionError:
        raise RecipeError(f"{name}: not valid TOML: it is nested too deep") from None
    except RecipeError:
        raise
    except ValueError as error:  # of which one is that the interpreter reads no number of thousands of digits
        digits = "integer string conversion" in str(error)
        said = "a number in it has too many digits" if digits else str(error)[:300]
        raise RecipeError(f"{name}: not valid TOML: {said}") from None
    return data


_COLUMN = 34  # comments start here, so that values read as one column


def dump_recipe(recipe: Recipe) -> str:
    """Write a recipe as TOML; `load_recipe` reads it back equal.

    Returns
    -------
    str
        TOML text; each line carries a comment that says what it does.
    """
    lines = [
        "# What reefscan looks for, how it judges a place, and what it lists.",
        '# Lengths carry a unit ("80ft", "24m", "13fathom") or are metres. Depths are positive down.',
        "# The numbers are first guesses of the trade: change them, run again, keep what catches.",
        _line("version", recipe.version, "form of this file"),
        "",
        "[find]  # what is searched for: changing anything here needs a new scan",
        *commented(recipe.find),
        "",
        "[score]  # how a place is judged: rescore is enough, no grid is read",
        *commented(recipe.score, skip=("terms",)),
    ]
    for name, term in recipe.score.terms.items():
        note = DEFAULT_TERMS[name].note if name in DEFAULT_TERMS else "a term of your own"
        key = name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else json.dumps(name)
        lines += ["", f"[score.terms.{key}]  # {note}", *commented(term)]
    lines += ["", "[rank]  # how many are listed: rescore is enough", *commented(recipe.rank)]
    lines += [
        "",
        "[around]  # files of your own: changing anything here needs a new scan",
        *commented(recipe.around),
    ]
    return "\n".join(lines) + "\n"


def commented(part: BaseModel, *, skip: tuple[str, ...] = ()) -> list[str]:
    """The values of a part as lines of TOML, each with what it does; one that is not set is left to the program."""
    return [
        _line(name, getattr(part, name), field.description or name)
        for name, field in type(part).model_fields.items()
        if name not in skip
    ]


def _line(name: str, value: Any, comment: str) -> str:
    text = f"# {name} = (unset)" if value is None else f"{name} = {_toml(value)}"
    return f"{text:<{_COLUMN}}  # {comment}"


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        if math.isinf(value):
            return "inf" if value > 0 else "-inf"
        return repr(value)
    if isinstance(value, int):
        return str(value)
    if isinstance(value, tuple):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return json.dumps(str(value), ensure_ascii=False)
