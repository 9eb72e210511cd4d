"""Asked where one sits: what a file does not say is asked in a terminal, with what speaks for each answer, and never where nobody reads it.

Piped, in a script or with ``--json`` the same error is one line that names the flag, as of any other.
"""

from __future__ import annotations

import shlex
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Protocol, Self, TypeVar

from reefscan.base.errors import InputError

if TYPE_CHECKING:
    from reefscan.base.question import Question


class Said(Protocol):
    """What a person said of files, which an answer adds to."""

    def answered(self, flag: str, answer: str) -> Self | None:
        """The same with one answer more; None where the flag is none of its own."""


S = TypeVar("S", bound=Said)
T = TypeVar("T")


def at_a_terminal() -> bool:
    """True where a person reads what is asked and can type an answer."""
    return sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()


def asking(work: Callable[[S], T], said: S) -> tuple[T, S]:
    """Do what needs to open files; where one leaves something open and a person is there, ask, and do it again.

    Parameters
    ----------
    work : callable
        Gets what the person says about the files.
    said : Said
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
    before: tuple[S, Question] | None = None
    while True:
        try:
            return work(said), said
        except InputError as error:
            question = getattr(error, "asks", None)
            if question is None and before is not None and before[1].flag in str(error):
                said, question = before  # an answer that cannot be used: it is asked again
            if question is None or said.answered(question.flag, "") is None or not at_a_terminal():
                raise
            answer = _answer(str(error), question)
            more = said.answered(question.flag, answer) if answer else None
            if more is None:
                raise
            before, said = (said, question), more


def ask_datum(of: str = "The grid does") -> str | None:
    """Ask what depths are counted from, where neither a file nor the command says it; None if the person does not know."""
    from reefscan.base.datum import datum_name

    return ask_open(
        f"{of} not say which level depths are counted from (the datum).",
        "The name is written beside each depth; it changes no number. Look at where the depths come from.",
        "  such as: mean lower low water, lowest astronomical tide, mean sea level, NAVD88",
        flag="--datum",
        check=lambda name: datum_name(name, ""),
    )


def ask_open(*lines: str, flag: str, check: Callable[[str], object]) -> str | None:
    """Ask for what the work can do without, though its result is the better for it; None if the person does not know.

    ``check`` gets an answer and raises an ``InputError`` where it cannot be used: it is asked again.
    """
    if not at_a_terminal():
        return None
    for line in lines:
        _tell(line)
    while answer := _line("Answer (Enter: not known): "):
        try:
            check(answer)
        except InputError as error:
            _tell(f"  {error}")
            continue
        _tell(f"To say so next time: {flag} {shlex.quote(answer)}\n")
        return answer
    return None


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
            _tell(f"To say so next time: {question.flag} {shlex.quote(answer)}\n")
            return answer
        _tell(f"  {answer!r} is none of them: {', '.join(words)}")
    return ""


def _tell(text: str) -> None:
    print(text, file=sys.stderr)


def _line(prompt: str) -> str:
    print(prompt, end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip()
