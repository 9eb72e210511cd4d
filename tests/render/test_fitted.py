"""Text that keeps to its room: widths against the font's own outlines, wrapping by laws."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import TextPath

from reefscan.render.fitted import MORE, TIED, shrunk, width, wrapped


def test_a_width_is_that_of_the_outlines_and_grows_with_the_size() -> None:
    """The box round the drawn letters is the line's advance less the bearings of its ends, which are a fraction of a letter."""
    drawn = TextPath((0, 0), "HHHHHHHH", size=10, prop=FontProperties()).get_extents().width
    assert width("HHHHHHHH", 10) == pytest.approx(drawn, rel=0.05)
    assert width("a line", 20) == pytest.approx(2 * width("a line", 10), rel=1e-3)
    assert width("a line", 10, bold=True) > width("a line", 10)


@given(
    st.lists(st.text("abcdefgh", min_size=1, max_size=12), min_size=1, max_size=20),
    st.floats(60, 300),
    st.integers(1, 5),
)
def test_lines_keep_to_the_width_and_what_is_left_out_is_told(
    words: list[str], room: float, most: int
) -> None:
    lines = wrapped(" ".join(words), room, 9, most=most)
    assert 1 <= len(lines) <= most
    assert all(width(line, 9) <= room + 1e-6 for line in lines)
    whole = " ".join(lines)
    assert whole == " ".join(words) or MORE in whole


def test_tied_words_stay_on_one_line_and_a_long_one_shrinks() -> None:
    tied = f"moon{TIED}lit{TIED}26%"
    assert tied in wrapped(f"sunset 17:51 {tied}", width(tied, 9) + 1, 9)
    assert width("a long line of words", shrunk("a long line of words", 50, 12)) == pytest.approx(
        50, rel=1e-3
    )
    assert shrunk("ab", 500, 12) == 12
