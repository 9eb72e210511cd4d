"""Options for what the files of a grid do not say themselves, shared by the commands that open grids."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from reefscan.cli.options import Crs, Positive, Prefer, ValueUnit, Variable


@dataclass(frozen=True)
class GridArguments:
    """What the person says about the files of a grid; a group for `reefscan.cli.grouped`."""

    positive: Positive = None
    crs: Crs = None
    variable: Variable = None
    value_unit: ValueUnit = None
    prefer: Prefer = None

    def answered(self, flag: str, answer: str) -> GridArguments | None:
        """The same with an answer to what a file left open; None where it is not for one of these options."""
        names = {
            "--positive": "positive",
            "--crs": "crs",
            "--value-unit": "value_unit",
            "--variable": "variable",
        }
        more: dict[str, Any] = {names[flag]: answer} if flag in names else {}
        return replace(self, **more) if more else None

    def keywords(self) -> dict[str, Any]:
        """The same as keywords of `reefscan.io.grids.rasters.open_grids`."""
        return {
            "positive": self.positive,
            "crs": self.crs,
            "variable": self.variable,
            "unit": self.value_unit,
            "prefer": self.prefer,
        }
