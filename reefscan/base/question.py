"""What has to be asked of a person before a file can be read: the flag that answers it, and what speaks for each answer."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Question:
    """One question.

    Parameters
    ----------
    flag : str
        Option that answers it, such as ``--positive``.
    text : str
        The question, in a sentence.
    choices : tuple of (str, str)
        Answers, each with what speaks for it; empty where anything may be the answer.
    free : bool
        True if another answer than the choices may be given.
    """

    flag: str
    text: str
    choices: tuple[tuple[str, str], ...] = ()
    free: bool = False
