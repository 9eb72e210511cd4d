"""Options in groups: a command takes a few small types instead of thirty parameters.

The option parser reads the options of a command off its signature, one parameter an option. `grouped` writes
that signature: a parameter whose type is a dataclass becomes one option for each of its fields.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from dataclasses import MISSING, fields, is_dataclass
from typing import Any, get_type_hints


def grouped(command: Callable[..., None]) -> Callable[..., None]:
    """Return ``command`` as the option parser wants it: every group of options spread over its fields.

    Parameters
    ----------
    command : callable
        Some of its parameters are annotated with a dataclass. Each field of one is an option: its annotation
        (``Annotated[type, typer.Option(...)]``) and its default are those of a parameter.

    Returns
    -------
    callable
        Takes the options one by one, and calls ``command`` with its groups filled.

    Raises
    ------
    TypeError
        If two options have one name.
    """
    options: list[inspect.Parameter] = []
    groups: dict[str, Any] = {}
    types = get_type_hints(command, include_extras=True)
    for parameter in inspect.signature(command).parameters.values():
        kind = types[parameter.name]
        if is_dataclass(kind):
            groups[parameter.name] = kind
            options += _options_of(kind)
        else:
            options.append(parameter.replace(kind=inspect.Parameter.KEYWORD_ONLY, annotation=kind))
    names = [option.name for option in options]
    if len(set(names)) < len(names):
        raise TypeError(f"{command.__module__}: two options have one name among {', '.join(names)}")

    def called(**given: Any) -> None:
        filled = {
            name: kind(**{field.name: given.pop(field.name) for field in fields(kind)})
            for name, kind in groups.items()
        }
        command(**given, **filled)

    called.__doc__ = command.__doc__
    called.__signature__ = inspect.Signature(options)  # type: ignore[attr-defined]
    called.__annotations__ = {option.name: option.annotation for option in options}
    return called


def _options_of(kind: Any) -> list[inspect.Parameter]:
    types = get_type_hints(kind, include_extras=True)
    return [
        inspect.Parameter(
            field.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=inspect.Parameter.empty if field.default is MISSING else field.default,
            annotation=types[field.name],
        )
        for field in fields(kind)
    ]
