"""A sheet of paper: text and lines placed in points from its top left corner."""

from __future__ import annotations

from collections.abc import Sequence

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from reefscan.render.fitted import PITCH, Face, fit_line

WIDE, TALL = 842.0, 595.0
"""A4 on its side: a row of rounds needs the width."""

EDGE = 16.0
"""Left free all round, since printers do not reach the edge."""


class Paper:
    """One page; ``x`` to the right and ``y`` down, in points."""

    def __init__(self) -> None:
        self.figure = Figure(figsize=(WIDE / 72, TALL / 72), facecolor="white")
        FigureCanvasAgg(self.figure)

    def text(
        self, at: tuple[float, float], words: str, size: float, *, bold: bool = False, right: bool = False
    ) -> None:
        """One line; ``y`` is its top."""
        self.figure.text(
            at[0] / WIDE, 1 - at[1] / TALL, words, fontsize=size, weight="bold" if bold else "normal", va="top",
            ha="right" if right else "left", parse_math=False,
        )  # fmt: skip

    def fitted(self, at: tuple[float, float], words: str, face: Face, wide: float) -> float:
        """One line that is no wider than its place, smaller where it must be; returns the ``y`` below it."""
        line, size = fit_line(words, face, wide / 72)
        self.text(at, line, size, bold=face.weight == "bold")
        return at[1] + PITCH * size

    def lines(
        self, at: tuple[float, float], lines: Sequence[str], size: float, *, bold: bool = False
    ) -> float:
        """Lines one below the other; returns the ``y`` below them."""
        for k, line in enumerate(lines):
            self.text((at[0], at[1] + k * PITCH * size), line, size, bold=bold)
        return at[1] + len(lines) * PITCH * size

    def rule(
        self, start: tuple[float, float], end: tuple[float, float], width: float, color: str = "black"
    ) -> None:
        """A straight line."""
        x, y = (start[0] / WIDE, end[0] / WIDE), (1 - start[1] / TALL, 1 - end[1] / TALL)
        self.figure.add_artist(Line2D(x, y, color=color, linewidth=width))

    def frame(self, box: tuple[float, float, float, float], width: float) -> None:
        """The four sides of a box: left, top, right, bottom."""
        left, top, right, bottom = box
        corners = ((left, top), (right, top), (right, bottom), (left, bottom), (left, top))
        for a, b in zip(corners, corners[1:], strict=False):
            self.rule(a, b, width)

    def axes(self, box: tuple[float, float, float, float]) -> Axes:
        """Room for a picture: left, top, right, bottom."""
        left, top, right, bottom = box
        return self.figure.add_axes(
            (left / WIDE, 1 - bottom / TALL, (right - left) / WIDE, (bottom - top) / TALL)
        )
