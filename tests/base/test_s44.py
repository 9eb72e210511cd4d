"""S-44 as it is published, and one table of it for all."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import get_args

import numpy as np
from numpy.testing import assert_allclose

import reefscan
from reefscan.base.recipe import Score
from reefscan.base.s44 import ORDERS, tvu


def test_uncertainty_by_depth_is_that_of_the_published_table():
    # IHO S-44 Ed. 6.1.0 Table 1, computed at 0, 10, 20, 30, 40, 100 m.
    printed = {
        "exclusive": [0.1500, 0.1677, 0.2121, 0.2704, 0.3354, 0.7649],
        "special": [0.2500, 0.2610, 0.2915, 0.3363, 0.3905, 0.7906],
        "1a": [0.5000, 0.5166, 0.5636, 0.6341, 0.7214, 1.3928],
        "1b": [0.5000, 0.5166, 0.5636, 0.6341, 0.7214, 1.3928],
        "2": [1.0000, 1.0261, 1.1007, 1.2149, 1.3588, 2.5080],
    }
    for order, values in printed.items():
        assert_allclose(tvu(order, np.array([0, 10, 20, 30, 40, 100.0])), values, atol=5.1e-5)


def test_the_recipe_and_the_page_know_the_orders_of_the_table_and_no_others():
    assert set(get_args(Score.model_fields["s44_order"].annotation)) == set(ORDERS)
    page = (Path(reefscan.__file__).parent / "review" / "web" / "score.js").read_text(encoding="utf-8")
    told = re.search(r"Reef\.S44 = (\{.*\});", page)
    quoted = re.sub(r"([{,] *)(\w+):", r'\1"\2":', told[1])
    assert {order: tuple(ab) for order, ab in json.loads(quoted).items()} == ORDERS
