"""Text that keeps to its room on a printed page: measured, not guessed by the number of its letters."""

from __future__ import annotations

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

MORE = "…"
TIED = "\N{NO-BREAK SPACE}"
"""Between words that stay on one line."""


def width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of one line (points) as a page without a raster draws it."""
    font = FontProperties(size=size, weight="bold" if bold else "normal")
    return float(text_to_path.get_text_width_height_descent(text, font, False)[0])


def shrunk(text: str, wide_pt: float, size: float, *, bold: bool = False) -> float:
    """The largest size up to ``size`` at which a line keeps to a width."""
    return min(size, size * wide_pt / max(width(text, size, bold=bold), 1e-9))


def wrapped(text: str, wide_pt: float, size: float, *, bold: bool = False, most: int = 6) -> list[str]:
    """Lines that keep to a width; that words find no room in ``most`` lines is told by a mark."""
    lines: list[str] = []
    for word in filter(None, text.split(" ")):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width(longer, size, bold=bold) <= wide_pt:
            lines[-1] = longer
        elif len(lines) == most:
            lines[-1] = _cut(lines[-1], wide_pt, size, bold)
            break
        else:
            lines.append(word if width(word, size, bold=bold) <= wide_pt else _cut(word, wide_pt, size, bold))
    return lines


def _cut(text: str, wide_pt: float, size: float, bold: bool) -> str:
    """A line with a mark behind it, its end left off until both fit."""
    while text and width(f"{text} {MORE}", size, bold=bold) > wide_pt:
        text = text[:-1]
    return f"{text.rstrip()} {MORE}"
