"""What the objects of a chart cell are taken for: one table of classes, which a person may copy and change.

A layer is one of a chart where it has the field ``OBJL`` (the code of the object's class): a cell of IHO S-57 as the vector
library reads it, updates included, or what was exported from one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from reefscan.base.errors import RecipeError
from reefscan.base.recipe import ROLES, read_toml
from reefscan.io.localfile import read_small_text

CODE = "objl"
CHECK = "check"
"""The role of soundings and depth areas: they are no ground, the grid is compared with them."""
LEAST, GREATEST = "DRVAL1", "DRVAL2"
"""Attributes 87 and 88 of IHO S-57 Appendix A: the least and the greatest depth of an area, metres."""

_KEYS = {"code", "role", "what", "attribute", "words", "channel", "margin_m", "restricted"}


@dataclass(frozen=True)
class ChartClass:
    """One class of objects: see the head of ``chart_classes.toml``."""

    acronym: str
    code: int
    role: str = ""
    what: str = ""
    attribute: str = ""
    words: dict[str, str] = field(default_factory=dict)
    channel: bool = False
    margin_m: float = 0.0
    restricted: bool = False


@dataclass(frozen=True)
class ChartClasses:
    """All classes by code, and what restrictions do."""

    by_code: dict[int, ChartClass]
    attribute: str
    harmless: frozenset[int]
    forbids: frozenset[int]
    words: dict[str, str]

    def role_of(self, kind: ChartClass, restrictions: list[int], *, allow_fairways: bool) -> str:
        """What one object is taken for.

        Parameters
        ----------
        kind : ChartClass
        restrictions : list of int
            Values of RESTRN; may be empty.
        allow_fairways : bool
            Fairways and dredged areas are caution ground, not closed.
        """
        stated = set(restrictions)
        if kind.role == "closed":
            if kind.restricted and stated and stated <= self.harmless:
                return "caution"
            if kind.channel and allow_fairways and not stated & self.forbids:
                return "caution"
        if kind.role == "caution" and stated & self.forbids:
            return "closed"
        return kind.role

    def called(self, kind: ChartClass, value: Any, restrictions: list[int]) -> str:
        """What one object is, in words."""
        words = [kind.words[str(v)] for v in numbers(value) if str(v) in kind.words]
        said = [self.words[str(v)] for v in restrictions if str(v) in self.words]
        return (", ".join(words) or kind.what) + (f" ({', '.join(said)})" if said else "")


def numbers(value: Any) -> list[int]:
    """Codes of an attribute as a cell or an export of it holds them: a number, a list, or text with numbers in it.

    Examples
    --------
    >>> numbers(["4", "8"]), numbers('[ "4", "8" ]'), numbers("4,8"), numbers(4.0), numbers(None)
    ([4, 8], [4, 8], [4, 8], [4], [])
    """
    if value is None:
        return []
    if isinstance(value, (int, float)):
        return [int(value)] if value == value else []
    if isinstance(value, str):
        return [int(v) for v in re.findall(r"\d+", value)]
    return [n for v in value for n in numbers(str(v))]


def read_classes(path: str = "") -> ChartClasses:
    """Read the table of classes: the package's own, or a person's.

    Raises
    ------
    MissingInputError, UnreadableError, RecipeError
        If it is not there or not such a table; the message names the class.
    """
    name = path or "chart_classes.toml"
    text = (
        read_small_text(Path(path))
        if path
        else files("reefscan.io").joinpath(name).read_text(encoding="utf-8")
    )
    data = read_toml(text, name)
    codes = data.pop("restrictions", {})
    by_code: dict[int, ChartClass] = {}
    for acronym, row in data.items():
        if not isinstance(row, dict) or not isinstance(row.get("code"), int) or set(row) - _KEYS:
            odd = sorted(set(row) - _KEYS) if isinstance(row, dict) else []
            raise RecipeError(
                f"{name}: [{acronym}] {f'has the unknown key {odd[0]!r}' if odd else 'names no code'}; "
                f"wanted code and some of {', '.join(sorted(_KEYS - {'code'}))}"
            )
        if row.get("role", "") not in (*ROLES, CHECK, ""):
            raise RecipeError(
                f"{name}: [{acronym}] role = {row['role']!r}; wanted {', '.join((*ROLES, CHECK))} or none"
            )
        if row["code"] in by_code:
            raise RecipeError(f"{name}: [{acronym}] code {row['code']} stands twice")
        by_code[row["code"]] = ChartClass(acronym, **row)
    try:
        return ChartClasses(
            by_code, str(codes.get("attribute", "RESTRN")), frozenset(codes.get("harmless", ())),
            frozenset(codes.get("forbids", ())), dict(codes.get("words", {})),
        )  # fmt: skip
    except (TypeError, ValueError, AttributeError):
        raise RecipeError(f"{name}: [restrictions] wants lists of numbers and a table of words") from None
