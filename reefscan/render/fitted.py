"""Text that keeps to a width: set smaller, broken into lines, and cut last of all.

Widths are those of the font's own outlines, as they are in print; on a screen type may be a hair wider, so `ROOM` is left.
"""

from __future__ import annotations

import functools
import re
from dataclasses import dataclass

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

ROOM = 0.97
"""Share of a width that text may take."""

PITCH = 1.22
"""Height of a line over the size of its type."""


TIED = "\N{NO-BREAK SPACE}"
"""Between words that stay on one line."""


@dataclass(frozen=True)
class Face:
    """A face of type: its largest and smallest size (points), weight and family."""

    size: float
    least: float
    weight: str = "normal"
    family: str = "sans-serif"


@functools.lru_cache(maxsize=4096)
def _pen_at_10(letters: str, weight: str, family: str) -> float:
    """How far a letter moves the pen, as it stands between two strokes; the strokes' own width for none."""
    font = FontProperties(family=family, weight=weight, size=10)
    wide = float(text_to_path.get_text_width_height_descent(f"|{letters}|", font, False)[0])
    return wide - _pen_at_10("", weight, family) if letters else wide


def width_in(text: str, size: float, face: Face) -> float:
    """Width of one line, inches: letter by letter, since the library takes a millisecond for a line. Letters that the font draws nearer
    to each other leave a little room."""
    return sum(_pen_at_10(letter, face.weight, face.family) for letter in text) * size / 10.0 / 72.0


def cut(text: str, size: float, face: Face, width: float) -> str:
    """As much of a text as is no wider than ``width`` inches, with an ellipsis where some of it goes."""
    fits = width_in(text, size, face) <= width * ROOM * (1 + 1e-9)
    return text if fits else _left_off(text, size, face, width)


def _left_off(text: str, size: float, face: Face, width: float) -> str:
    """The beginning of a text and an ellipsis, together no wider than ``width`` inches."""
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        fits = width_in(text[:middle].rstrip() + "…", size, face) <= width * ROOM
        low, high = (middle, high) if fits else (low, middle - 1)
    return text[:low].rstrip() + "…"


def fit_line(text: str, face: Face, width: float) -> tuple[str, float]:
    """One line no wider than ``width`` inches, and its size: smaller type first, an ellipsis where that is not enough."""
    wide = width_in(text, face.size, face)
    size = face.size if wide <= width * ROOM else max(face.least, face.size * width * ROOM / wide)
    return cut(text, size, face, width), size


def wrap(text: str, size: float, face: Face, width: float) -> list[str]:
    """Break a text into lines no wider than ``width`` inches, between words; a word that is wider is broken too.

    Words with a `TIED` space between them are one.
    """
    lines: list[str] = []
    line = ""
    for word in filter(None, re.split(r"[ \t\n]+", text)):
        whole = f"{line} {word}" if line else word
        if width_in(whole, size, face) <= width * ROOM:
            line = whole
            continue
        if line:
            lines.append(line)
        while width_in(word, size, face) > width * ROOM:
            some = max(1, len(cut(word, size, face, width)) - 1)
            lines.append(word[:some])
            word = word[some:]
        line = word
    return [*lines, line] if line else lines


def fit_lines(text: str, face: Face, width: float, height: float) -> tuple[list[str], float]:
    """Lines that keep to a box (inches), and their size: the largest type with which all of it goes in; else cut at the end."""
    size = face.size
    while True:
        lines = wrap(text, size, face, width)
        most = max(1, int(height * 72.0 / (PITCH * size) + 1e-9))
        if len(lines) <= most:
            return lines, size
        if size <= face.least:
            last = _left_off(f"{lines[most - 1]} {lines[most]}", size, face, width)
            return [*lines[: most - 1], last], size
        size = max(face.least, size - 0.4)
