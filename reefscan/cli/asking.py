"""Asked where one sits: what a file does not say is asked in a terminal, with what speaks for each answer, and never where nobody reads it.

Piped, in a script or with ``--json`` the same error is one line that names the flag, as of any other.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

from reefscan.cli.gridarguments import GridArguments

if TYPE_CHECKING:
    from reefscan.base.question import Question

T = TypeVar("T")

FIELDS = {"--positive": "positive", "--crs": "crs", "--value-unit": "value_unit", "--variable": "variable"}
"""Which field of `GridArguments` a flag is."""


def at_a_terminal() -> bool:
    """True where a person reads what is asked and can type an answer."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()


def asking(work: Callable[[GridArguments], T], reading: GridArguments) -> tuple[T, GridArguments]:
    """Do what needs to open grids; where a file leaves something open and a person is there, ask, and do it again.

    Parameters
    ----------
    work : callable
        Gets what the person says about the files.
    reading : GridArguments
        What was said with the command.

    Returns
    -------
    tuple
        What ``work`` gave, and what the person says about the files in the end.

    Raises
    ------
    ReefscanError
        As ``work`` does, where nothing can be asked or no answer comes.
    """
    from reefscan.base.errors import InputError

    while True:
        try:
            return work(reading), reading
        except InputError as error:
            question = getattr(error, "asks", None)
            if question is None or question.flag not in FIELDS or not at_a_terminal():
                raise
            answer = _answer(str(error), question)
            if not answer:
                raise
            said: dict[str, Any] = {FIELDS[question.flag]: answer}
            reading = replace(reading, **said)


def ask_datum() -> str | None:
    """Ask what depths are counted from, where neither the grid nor the command says it; None if the person does not know."""
    if not at_a_terminal():
        return None
    _tell("The grid does not say which level its depths are counted from (its datum).")
    _tell("The name is written beside each depth; it changes no number. Look at where the grid comes from.")
    _tell("  such as: mean lower low water, lowest astronomical tide, mean sea level, NAVD88")
    name = _line("Name of the level (Enter: not known): ")
    if not name:
        return None
    _tell(f"To say so next time: --datum '{name}'\n")
    return name


def _answer(why: str, question: Question) -> str:
    """Ask one thing; empty if the person gives no answer."""
    _tell(f"{why.split('; say ')[0]}.")
    _tell(question.text)
    words = [word for word, _ in question.choices]
    wide = max((len(word) for word in words), default=0)
    for number, (word, speaks) in enumerate(question.choices, 1):
        _tell(f"  {number}  {word:<{wide}}  {speaks}")
    hint = "Number or word" if words else "Answer"
    while answer := _line(f"{hint} (Enter: stop): "):
        if answer.isdigit() and 1 <= int(answer) <= len(words):
            answer = words[int(answer) - 1]
        if not words or question.free or answer in words:
            _tell(f"To say so next time: {question.flag} {answer}\n")
            return answer
        _tell(f"  {answer!r} is none of them: {', '.join(words)}")
    return ""


def _tell(text: str) -> None:
    print(text, file=sys.stderr)


def _line(prompt: str) -> str:
    print(prompt, end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip()
