"""The cards: what is printed on them, read back from the page."""

from __future__ import annotations

from typing import Any

import pytest
from matplotlib.text import Text

from reefscan.render.card import CardSite, _page

SITE: dict[str, Any] = {
    "rank": 1,
    "id": "s1",
    "kind": "ledge",
    "score": 88.0,
    "depth_m": 9.0,
    "lat": 45.0,
    "lon": -22.5,
}


def words(**site: Any) -> str:
    """All that stands on a page with one card that has neither profile nor small map."""
    card = CardSite({**SITE, **site}, None, 30.0, 0.0, None, 2.0)
    return "\n".join(text.get_text() for text in _page([card], title="Invented", unit="m").findobj(Text))


@pytest.mark.parametrize(
    ("confidence", "said"),
    [(1.0, ">99 % sure"), (0.9951, ">99 % sure"), (0.0, "<1 % sure"), (0.83, "83 % sure")],
)
def test_a_card_never_says_that_anything_is_certain(confidence: float, said: str) -> None:
    text = words(confidence=confidence)
    assert f", {said} it is as high as asked" in text
    assert "100 %" not in text


def test_a_card_tells_no_distance_to_the_rock_that_its_position_does_not_know() -> None:
    assert "rock at 4.0 m   position ±1.4 m" in words(off_m=4.0, position_m=1.4)
    far_from_known = words(off_m=0.5, position_m=17.7)
    assert "rock within the doubt of the position   position ±17.7 m" in far_from_known
    assert "rock at" not in far_from_known
