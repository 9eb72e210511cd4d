"""Options for what the files of a grid do not say themselves, shared by the commands that open grids."""

from __future__ import annotations

from dataclasses import dataclass
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

    def keywords(self) -> dict[str, Any]:
        """The same as keywords of `reefscan.io.grids.rasters.open_grids`."""
        return {
            "positive": self.positive,
            "crs": self.crs,
            "variable": self.variable,
            "unit": self.value_unit,
            "prefer": self.prefer,
        }
