"""What every part of a recipe is: frozen, strict about names and numbers, and short when printed."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo, field_validator

from reefscan.base.units import parse_length

Metres = Annotated[float, BeforeValidator(parse_length)]

DEEPEST_M = 12_000.0
"""No sea is deeper, and depths in whole millimetres have room for it."""

FARTHEST_M = 10_000.0
"""Reaches and distances beyond it are slips of a unit."""

_SHOWN = 12
"""Changes that a printed recipe names one by one."""


def _changed(value: Any, default: Any, where: str = "") -> Iterator[str]:
    """What of a part of a recipe is not as in another, one ``name=value`` each."""
    if isinstance(value, BaseModel) and isinstance(default, BaseModel):
        value, default = dict(value), dict(default)
    if isinstance(value, dict) and isinstance(default, dict):
        for name, inner in value.items():
            yield from _changed(inner, default.get(name), f"{where}.{name}" if where else name)
    elif value != default:
        yield f"{where}={value!r}"


class Part(BaseModel):
    """A table of the recipe: what it does not name is refused, and nothing is changed in place."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    def __repr__(self) -> str:
        """What differs from the defaults; all of it is in ``model_dump()``."""
        kind = type(self)
        whole = not any(field.is_required() for field in kind.model_fields.values())
        changed = list(_changed(dict(self), dict(kind() if whole else kind.model_construct())))
        more = [f"{len(changed) - _SHOWN} more"] * (len(changed) > _SHOWN)
        return f"{kind.__name__}({', '.join(changed[:_SHOWN] + more) or 'as the default'})"

    def __str__(self) -> str:
        return repr(self)

    @field_validator("*", mode="before")
    @classmethod
    def _true_is_no_number(cls, value: object, info: ValidationInfo) -> object:
        if isinstance(value, bool) and cls.model_fields[str(info.field_name)].annotation in (int, float):
            raise ValueError("wanted a number")
        return value
