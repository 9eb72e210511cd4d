"""The cards: what is printed on them, read back from the page."""

from __future__ import annotations

from typing import Any

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text

from reefscan.base.caution import SHORT
from reefscan.base.datum import Datum
from reefscan.render.card import HINTING, CardSite, _page

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
    [(1.0, ">99 %"), (0.9951, ">99 %"), (0.0, "<1 %"), (0.83, "83 %")],
)
def test_a_card_never_says_that_anything_is_certain(confidence: float, said: str) -> None:
    text = words(confidence=confidence)
    assert f", chance it is tall enough: {said}" in text
    assert "100 %" not in text


def test_a_card_tells_no_distance_to_the_rock_that_its_position_does_not_know() -> None:
    assert "rock at 4.0 m · net lands within 5.2 m: may land on the rock" in words(
        off_m=4.0, position_m=1.4, lands_within_m=5.2
    )
    assert "rock at 7.0 m · net lands within 5.2 m" in (
        clear := words(off_m=7.0, position_m=1.4, lands_within_m=5.2)
    )
    assert "may land" not in clear
    far_from_known = words(off_m=0.5, position_m=17.7, lands_within_m=18.4)
    assert (
        "rock closer than the position is sure · net lands within 18.4 m: may land on the rock"
        in far_from_known
    )
    assert "rock at" not in far_from_known


def test_each_card_carries_the_caution_and_what_its_depth_is_counted_from() -> None:
    for datum in (Datum("mean low water"), Datum()):
        page = _page(
            [CardSite(SITE, None, 30.0, 0.0, None, 2.0)] * 2, title="Invented", unit="m", datum=datum
        )
        texts = [text.get_text() for text in page.findobj(Text)]
        assert sum(datum.short in text for text in texts) == 2
        assert sum(SHORT in text for text in texts) == 2
        assert sum(datum.top in text for text in texts) == 1


LONGEST: dict[str, Any] = {
    **SITE,
    "rank": 10_000, "kind": "man-made", "score": 100.0, "confidence": 0.999, "depth_m": 1234.5, "lat": -45.123456,
    "lon": -179.99999, "name": "The long name that someone gave to a rock which has no name " * 3, "note": "a note " * 300,
    "height_m": 12.34, "width_m": 123.4, "off_m": 14.9, "axis_deg": 179.0, "position_m": 17.7, "lands_within_m": 18.4,
    "flags": ["position-uncertain", "closed-ground-near", "caution-ground", "height-unsure", "interpolated", "looks-ruled"],
    "why": "Trough 12.3 m deep and 123.4 m or more from crest to crest, running west-north-west to east-south-east; " * 6,
    "id": "T-32627-12.345m-12345678-12345678",
}  # fmt: skip


@pytest.mark.parametrize(("unit", "dpi"), [("m", 150), ("ft", 150), ("fathom", 150), ("fathom", 60)])
@pytest.mark.parametrize(
    "site",
    [
        LONGEST,
        {**LONGEST, "name": "W" * 200, "note": "M" * 900, "why": "W" * 900},
        {**LONGEST, "kind": "ledge", "drop_m": 12.3, "run_m": 45.6},
    ],
)
def test_nothing_runs_off_a_card_or_over_what_stands_beside_it(
    monkeypatch: pytest.MonkeyPatch, unit: str, dpi: int, site: dict[str, Any]
) -> None:
    """Every text of a page, measured by the drawing library on its canvas, lies within its card (or the page's edges) and on no other."""
    patch = np.add.outer(np.linspace(-60.0, -1200.0, 61), np.zeros(61))
    card = CardSite(site, np.linspace(1180.0, 1240.0, 41), 80.0, 359.0, patch, 4.0, [(-12.0, "foot")])
    page = _page([card, card], title="Sites of a very long name " * 3, unit=unit, closed_text="Closed ground: " + "x" * 500,
                 datum=Datum("mean lower low water of the older epoch"))  # fmt: skip
    page.set_dpi(dpi)
    canvas = page.canvas
    assert isinstance(canvas, FigureCanvasAgg)
    renderer = canvas.get_renderer()
    monkeypatch.setitem(matplotlib.rcParams, "text.hinting", HINTING)
    canvas.draw()
    wide, high = page.bbox.width, page.bbox.height
    boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in page.texts if text.get_text()]
    assert len(boxes) > 15
    for said, box in boxes:
        assert box.x0 >= 0.05 * wide, said
        assert box.x1 <= 0.95 * wide, said
        assert box.y0 >= 0 and box.y1 <= high, said
    for i, (one, a) in enumerate(boxes):
        for other, b in boxes[i + 1 :]:
            apart = a.x1 <= b.x0 or b.x1 <= a.x0 or a.y1 <= b.y0 + 2 or b.y1 <= a.y0 + 2
            assert apart, (one, other)
    for picture in page.axes:
        if picture.get_zorder() >= 0:
            edge = picture.get_tightbbox(renderer)
            assert edge is not None and edge.x0 >= 0.05 * wide and edge.x1 <= 0.95 * wide
            assert all(not edge.overlaps(box.padded(-1)) for _, box in boxes)
    assert {"m": "1234.5 m", "ft": "4050 ft", "fathom": "675.0 fathom"}[unit] in dict(boxes)
    assert any("Mind: position uncertain" in said for said, _ in boxes)
