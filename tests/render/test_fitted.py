"""Text that keeps to its room: widths against the font's own outlines, lines by laws."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from reefscan.render.fitted import PITCH, ROOM, TIED, Face, fit_line, fit_lines, width_in, wrap

PLAIN, BOLD = Face(9, 9), Face(9, 9, "bold")


def test_a_width_is_that_of_the_outlines_and_grows_with_the_size() -> None:
    """The box round the drawn letters is the line's advance less the bearings of its ends, which are a fraction of a letter."""
    drawn = TextPath((0, 0), "HHHHHHHH", size=10, prop=FontProperties()).get_extents().width / 72.0
    assert width_in("HHHHHHHH", 10, PLAIN) == pytest.approx(drawn, rel=0.05)
    assert width_in("a line", 20, PLAIN) == pytest.approx(2 * width_in("a line", 10, PLAIN), rel=1e-3)
    assert width_in("a line", 10, BOLD) > width_in("a line", 10, PLAIN)


@example(["a", "aaaaaaaafaa"], 0.8125, 1)
@given(
    st.lists(st.text("abcdefgh", min_size=1, max_size=12), min_size=1, max_size=20),
    st.floats(0.8, 4.0),
    st.integers(1, 5),
)
def test_lines_keep_to_the_width_and_what_is_left_out_shows(words: list[str], room: float, most: int) -> None:
    lines, size = fit_lines(" ".join(words), PLAIN, room, most * PITCH * 9 / 72.0)
    assert size == 9 and 1 <= len(lines) <= most
    assert all(width_in(line, 9, PLAIN) <= room + 1e-6 for line in lines)
    # a word that is wider than the room is broken: no letter is lost, whatever the spaces
    assert "…" in lines[-1] or "".join(lines).replace(" ", "") == "".join(words)


def test_tied_words_stay_on_one_line_and_a_long_one_shrinks() -> None:
    tied = f"moon{TIED}lit{TIED}26%"
    room = (width_in(tied, 9, PLAIN) + 0.01) / ROOM
    assert tied in wrap(f"sunset 17:51 {tied}", 9, PLAIN, room)
    text, size = fit_line("a long line of words", Face(12, 1), 0.7)
    assert text == "a long line of words"
    assert width_in(text, size, PLAIN) == pytest.approx(0.7 * ROOM, rel=1e-3)
    assert fit_line("ab", Face(12, 1), 7.0) == ("ab", 12)
