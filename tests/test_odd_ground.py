"""Ground at the edge of what the finder is made for: nothing is made of what is not there, and what is there is found."""

from __future__ import annotations

import numpy as np
import pytest
from unseen import odd
from unseen.found import reefscan_finder
from unseen.process_grounds import ground

GRIDS = odd.grids(1000)


@pytest.mark.parametrize("name", GRIDS)
def test_odd_ground(name):
    """An even slope, an end of the data at 4, 8 and 20 m, cells of 100 m: no list. Cells of 0.2 m, a long front: a net near each of its rocks."""
    given = GRIDS[name]
    sites = reefscan_finder()(given.elev, given.cell_m)
    if given.empty:
        assert [(s.kind, s.height_m, s.score) for s in sites] == []
    for x, y in given.rock:
        assert any(np.hypot(s.x - x, s.y - y) < 65 for s in sites)
    known = np.isfinite(given.elev)
    for site in sites:
        assert known[int(-site.y / given.cell_m), int(site.x / given.cell_m)]
        assert site.confidence <= 1.0 and site.depth_m > 0


def test_on_a_grid_of_holes_every_net_lies_on_known_ground(rng):
    z = odd.full_of_holes(ground("platform", 1000, cell_m=2.0, cells=320), rng)
    sites = reefscan_finder()(z, 2.0)
    assert len(sites) > 3
    known = np.isfinite(z)
    for site in sites:
        r, c = int(-site.y / 2.0), int(site.x / 2.0)
        assert known[max(0, r - 2) : r + 3, max(0, c - 2) : c + 3].mean() > 0.5  # small gaps are bridged
