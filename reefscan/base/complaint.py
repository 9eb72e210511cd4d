"""What is said of a settings file that does not fit its form: the first fault, in one line."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from typing import Any, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError

from reefscan.base.errors import RecipeError
from reefscan.base.units import shown

Form = TypeVar("Form", bound=BaseModel)


def fitted(data: dict[str, Any], form: type[Form], *, name: str, whole: str = "") -> Form:
    """Read the tables of a settings file, called ``name``, by their form; ``whole`` is said where a fault lies in no key.

    Raises
    ------
    RecipeError
        One line: where, what is wrong, what was found, what is wanted.
    """
    try:
        return form.model_validate(data)
    except ValidationError as error:
        raise RecipeError(f"{name}: {first_complaint(error, form, whole or name)}") from None


def first_complaint(error: ValidationError, model: type[BaseModel], name: str) -> str:
    """Turn the first fault into one line, with the nearest key that is known.

    Parameters
    ----------
    error : ValidationError
    model : type
        The form of the whole file.
    name : str
        What the file is called where the fault lies in no key of it.
    """
    # a key that is not known is named first: that another is missing is often the same slip
    first = min(error.errors(), key=lambda fault: fault["type"] != "extra_forbidden")
    loc = tuple(str(part) for part in first["loc"])
    where = ".".join(loc)[:200] or name
    if first["type"] == "extra_forbidden":
        here = list(_owner(model, first["loc"][:-1]).model_fields)
        near = [(_likeness(key, loc[-1]), (*loc[:-1], key)) for key in here]
        far = [
            (_likeness(key, loc[-1]), (*at, key))
            for at, part in _sections(model)
            for key in part.model_fields
        ]
        good = [pair for pair in near if pair[0] >= 0.5] + [pair for pair in far if pair[0] > 0.75]
        if good:
            return (
                f"unknown key {where!r}; did you mean {'.'.join(max(good, key=lambda pair: pair[0])[1])!r}?"
            )
        return f"unknown key {where!r}; known here: {', '.join(here)}"
    message = _said(first["type"], first.get("ctx", {}), first.get("input")) or first["msg"]
    message = message.removeprefix("Value error, ")
    found = first.get("input")
    seen = ""
    if isinstance(found, (str, int, float)) and shown(found) not in message:
        seen = f" (found {shown(found)})"
    return f"{where}: {message[:300]}{seen}"


_PLAIN = {
    "missing": "is missing",
    "tuple_type": "wanted a list in brackets",
    "string_type": "wanted text in quotes",
    "int_from_float": "wanted a whole number",
    "int_parsing": "wanted a whole number",
    "float_parsing": "wanted a number",
    "greater_than": "wanted more than {gt}",
    "greater_than_equal": "wanted {ge} or more",
    "less_than": "wanted less than {lt}",
    "less_than_equal": "wanted {le} or less",
}
"""What the commonest faults are called: their usual words are those of programmers."""


def _said(fault: str, limits: dict[str, Any], found: Any) -> str:
    if fault == "tuple_type" and isinstance(found, dict):
        return "wanted a list of tables: write the name in two brackets, [[such]], above each"
    plain = {key: f"{value:g}" if isinstance(value, (int, float)) else value for key, value in limits.items()}
    return _PLAIN.get(fault, "").format(**plain)


def _likeness(one: str, other: str) -> float:
    return difflib.SequenceMatcher(None, one, other).ratio()


def _owner(model: type[BaseModel], loc: Sequence[int | str]) -> type[BaseModel]:
    """The form of the table at a place; numbers of rows and names of free keys lead to what they hold."""
    free = False
    for part in loc:
        if free or isinstance(part, int):
            free = False
            continue
        kind = model.model_fields[part].annotation
        free, model = get_origin(kind) is dict, _form(kind) or model
    return model


def _sections(
    model: type[BaseModel], at: tuple[str, ...] = ()
) -> Iterator[tuple[tuple[str, ...], type[BaseModel]]]:
    """Every table of a form with its place, those of free keys left out."""
    yield at, model
    for key, field in model.model_fields.items():
        inner = _form(field.annotation)
        if inner is not None and get_origin(field.annotation) is not dict:
            yield from _sections(inner, (*at, key))


def _form(kind: Any) -> type[BaseModel] | None:
    """The form that an annotation holds, directly or in a list or table."""
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        return kind
    return next((form for part in get_args(kind) if (form := _form(part)) is not None), None)
