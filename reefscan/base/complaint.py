"""What is said of a settings file that does not fit its form: the first fault, in one line."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Sequence
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError

from reefscan.base.units import shown


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
    message = first["msg"].removeprefix("Value error, ")
    if first["type"] == "tuple_type":
        message = "wanted a list in brackets"
    found = first.get("input")
    seen = ""
    if isinstance(found, (str, int, float)) and shown(found) not in message:
        seen = f" (found {shown(found)})"
    return f"{where}: {message[:300]}{seen}"


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
