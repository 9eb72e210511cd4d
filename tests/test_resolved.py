"""What is narrower than what was measured there can show."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.testing import assert_allclose

from reefscan.resolved import unresolved


def test_a_trough_wants_four_intervals_and_a_ledge_three():
    table = pd.DataFrame(
        {
            "kind": ["trough", "trough", "trough", "ledge", "ledge", "rise"],
            "width_m": [40.0, 30.0, 20.0, 30.0, 15.0, 22.5],
            "interval_m": 10.0,
        }
    )
    assert_allclose(unresolved(table), [0.0, 0.5, 1.0, 0.0, 1.0, 0.5])


def test_nothing_is_held_against_a_place_whose_interval_is_not_known():
    table = pd.DataFrame({"kind": ["ledge", "rise"], "width_m": [1.0, np.nan], "interval_m": [0.0, np.nan]})
    assert not unresolved(table).any()
