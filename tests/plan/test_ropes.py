"""One rope a night where it will do, and one a round where a floating line would lie about in loops."""

from __future__ import annotations

import numpy as np
import pytest

from reefscan.base.errors import InputError
from reefscan.plan.books import Net
from reefscan.plan.clock import Visit
from reefscan.plan.rope import Allowances
from reefscan.plan.ropes import ropes
from reefscan.plan.sites import Site
from reefscan.plan.tide import NightTide
from reefscan.survey.tide import make_table

HOUR = 3600.0


def tide(low: float, high: float) -> NightTide:
    """High at 0 h, low at 6 h, high at 12 h."""
    return NightTide(
        make_table(np.array([0, 6, 12]) * HOUR, np.array([high, low, high]), kind="high-low"), 0.0
    )


SITE = Site("a", 0.0, 0.0, 10.0)
PLAIN = Allowances(surge_m=0.0, scope=1.0)
VISITS = (Visit(0.5 * HOUR, 1.5 * HOUR), Visit(1.6 * HOUR, 2.8 * HOUR), Visit(3 * HOUR, 4 * HOUR))


def test_a_small_tide_takes_one_rope_all_night() -> None:
    made = ropes(SITE, Net(rope_m=20, marks_m=1), VISITS, 4 * HOUR, tide(0.0, 2.0), PLAIN, 3.0)
    assert made.lengths_m == (12.0, 12.0, 12.0) and made.words == ()


def test_a_large_tide_that_falls_takes_a_rope_a_round() -> None:
    """Highest water falls from 5.9 m (half an hour past a high of 6 m, cosine) to 4.9 m at 1.6 h and 3.0 m at 3 h.

    One rope of 16 m would leave 6 m of slack at low water on 10 m, all of it beyond a rule of scope 1.
    6 (1 + cos(30 deg t)) / 2 at 0.5, 1.6 and 3 h: 5.898, 5.007, 3.000; so 15.898, 15.007 and 13 m: 16, 16 and 13 marks.
    """
    made = ropes(SITE, Net(rope_m=20, marks_m=1), VISITS, 4 * HOUR, tide(0.0, 6.0), PLAIN, 3.0)
    assert made.lengths_m == (16.0, 16.0, 13.0)
    assert "set it anew at each round" in made.words[0] and "propellers" in made.words[0]


def test_a_sinking_line_is_left_as_it_is() -> None:
    made = ropes(SITE, Net(rope_m=20, marks_m=1, line="sinking"), VISITS, 4 * HOUR, tide(0.0, 6.0), PLAIN, 3.0)  # fmt: skip
    assert made.lengths_m == (16.0,) * 3 and made.words == ()


def test_where_no_round_can_take_less_the_remedy_is_weight() -> None:
    one = (Visit(0.5 * HOUR, 4 * HOUR),)
    made = ropes(SITE, Net(rope_m=20, marks_m=1), one, 4 * HOUR, tide(0.0, 6.0), PLAIN, 3.0)
    assert made.lengths_m == (16.0,) and "weight the line" in made.words[0]


def test_a_rope_that_does_not_reach_is_refused_by_name() -> None:
    with pytest.raises(InputError, match=r"site a: 16\.0 m of rope are needed, and net 7 has 15 m"):
        ropes(SITE, Net(name="7", rope_m=15.5, marks_m=1), VISITS, 4 * HOUR, tide(0.0, 6.1), PLAIN, 3.0)
