"""Figures that pool over seeds: shares as counts, medians as lists, the rest as sums or maxima; and the table they are printed in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Share:
    """``n`` of ``of``."""

    n: float
    of: float

    def __add__(self, other: Share) -> Share:
        return Share(self.n + other.n, self.of + other.of)

    @property
    def value(self) -> float:
        """The share; NaN of nothing."""
        return self.n / self.of if self.of else float("nan")


@dataclass(frozen=True)
class Values:
    """Numbers of which the ``how`` (median, max, sum or mean) is told."""

    values: tuple[float, ...]
    how: str = "median"

    def __add__(self, other: Values) -> Values:
        return Values(self.values + other.values, self.how)

    @property
    def value(self) -> float:
        """The figure; NaN of nothing."""
        finite = [v for v in self.values if np.isfinite(v)]
        if not finite:
            return float("nan")
        return float({"median": np.median, "max": np.max, "sum": np.sum, "mean": np.mean}[self.how](finite))


Figures = dict[str, Any]
"""Name of a figure to a `Share`, `Values` or a text (a reason for skipping)."""


def pooled(parts: list[Figures]) -> Figures:
    """Figures of several seeds taken together, in the order of their first mention."""
    out: Figures = {}
    for part in parts:
        for name, figure in part.items():
            out[name] = figure if name not in out or isinstance(figure, str) else out[name] + figure
    return out


def line(name: str, figure: Any, wanted: str = "") -> str:
    """One row of the table."""
    if isinstance(figure, str):
        return f"  {name:<46} {figure}"
    if isinstance(figure, Share):
        count = f"{figure.n:.0f} of {figure.of:.0f}"
        return f"  {name:<46} {figure.value:6.2f}  {count:<14}{wanted}".rstrip()
    return f"  {name:<46} {figure.value:6.1f}  {figure.how:<14}{wanted}".rstrip()
