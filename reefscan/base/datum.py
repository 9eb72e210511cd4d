"""What depths are counted from, in words: at the top of every output in full, short at each depth."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from reefscan.base.errors import InputError

LONGEST = 40
"""Characters of a name: it stands beside every depth, on a card and in a plotter's box."""


@dataclass(frozen=True)
class Datum:
    """The level that the depths of a run are counted from; no tide is in it.

    Parameters
    ----------
    name : str
        Such as ``mean low water``; empty where neither the grid nor the person states it.
    """

    name: str = ""

    @property
    def top(self) -> str:
        """The sentence that stands once, at the top."""
        if self.name:
            return f"Depths are below {self.name}; the tide is not added."
        return "Datum not stated by the grid: depths are below its own zero; the tide is not added."

    @property
    def short(self) -> str:
        """What stands beside a depth: under the number on a card, in a column of a table."""
        return f"below {self.name}, tide not added" if self.name else "datum not stated, tide not added"

    def of(self, depth: str) -> str:
        """A depth in words with what it is counted from.

        Examples
        --------
        >>> Datum("mean low water").of("35 ft")
        '35 ft below mean low water, tide not added'
        >>> Datum().of("35 ft")
        '35 ft (datum not stated, tide not added)'
        """
        return f"{depth} {self.short}" if self.name else f"{depth} ({self.short})"


NOT_STATED = Datum()


def datum_name(given: str | None, stated: str, *, moved_m: float = 0.0) -> str:
    """The name that is recorded: what the person says, else what the grids state with the shift that was asked for.

    Parameters
    ----------
    given : str or None
        The person's word (``--datum``): it names the level after any shift.
    stated : str
        What the files state, empty where nothing.
    moved_m : float
        Metres added to every elevation; after that a stated datum is no longer the level that depths are below.

    Raises
    ------
    InputError
        If the person's word is empty, not printable or longer than `LONGEST`.

    Examples
    --------
    >>> datum_name(None, "MLLW", moved_m=-0.4), datum_name("mean low water", "MLLW", moved_m=-0.4), datum_name(None, "")
    ('MLLW moved by -0.4 m', 'mean low water', '')
    """
    if given is not None:
        if not given.strip() or not given.isprintable() or len(given) > LONGEST:
            raise InputError(
                f"--datum {given[:60]!r}: wanted the name of a level in up to {LONGEST} letters, such as 'mean low water'"
            )
        return given.strip()
    name = stated if len(stated) <= LONGEST else f"{stated[: LONGEST - 1].rstrip()}…"
    return f"{name} moved by {moved_m:+g} m" if name and moved_m else name


def datum_of(info: Mapping[str, Any]) -> Datum:
    """What ``run.json`` says of the datum; a run that an earlier version made says nothing."""
    name = info.get("datum")
    return Datum(name if isinstance(name, str) else "")
