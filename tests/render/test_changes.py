"""The map of what changed between two runs carries what is known of closed ground, and the caution."""

from __future__ import annotations

import html

import matplotlib
import numpy as np
import pytest

from reefscan.base.caution import CAUTION
from reefscan.base.overview import MapGround
from reefscan.render.changes import draw_changes

GROUND = MapGround(np.linspace(-20, -5, 12_000).reshape(100, 120), 500_000.0, 5_000_000.0, 5.0, "EPSG:32633")


@pytest.mark.parametrize(
    "closed_text", ["Closed ground: none given.", "Closed ground: from a.gpkg. " + "x y " * 90]
)
def test_words_on_closed_ground_and_the_caution_stand_below_the_map(closed_text):
    with matplotlib.rc_context({"svg.fonttype": "none"}):
        picture = draw_changes(GROUND, [], band_max_m=20.0, title="a", closed_text=closed_text, fmt="svg")
    said = " ".join(html.unescape(picture.decode()).replace("\n", " ").split())
    for words in (closed_text, CAUTION):
        assert all(word in said for word in words.split())
    assert "Closed ground:" in said
