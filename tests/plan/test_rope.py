"""Rope: arithmetic written out by hand, published watch circles, and laws that no rope may break."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from reefscan.plan.books import Net
from reefscan.plan.rope import (
    Allowances,
    deepest,
    line_pull_kgf,
    rope_needed,
    rope_out,
    slack,
    slack_beyond,
    swing,
    up_to_mark,
)
from reefscan.plan.tide import NightTide
from reefscan.survey.tide import make_table


def test_the_nine_metre_site_takes_fifteen_metres_of_rope() -> None:
    """By hand: low 0.3 m at 18:00, high 2.1 m at 00:12, waves of 1 m, surge 0.3 m, no freeboard, scope 1.25, marks 1.5 m.

    The float is out over the high water at 00:12, so the tide that counts is 2.1 m.
        9.0 + 2.1 + 0.3 + 1.0 / 2 = 11.9 m of water to stand over
        11.9 x 1.25 = 14.875 m, which is told as 14.9
        14.875 / 1.5 = 9.92 marks, so 10 marks: 15.0 m
    At low water 0.3 m stand over the zero: slack 15.0 - 9.0 - 0.3 = 5.7 m, of which the rule itself asks for
    (9.0 + 0.3 + 0.8) x 1.25 = 12.625 m of rope, so 2.375 m are beyond it: under the limit of 3 m, one setting will do.
    The float swings sqrt(15.0^2 - 9.3^2) = sqrt(225 - 86.49) = sqrt(138.51) = 11.77 m.
    """
    evening = 1_800_000_000.0 - 1_800_000_000.0 % 86400 + 18 * 3600
    table = make_table(np.array([0, 6.2, 12.4]) * 3600 + evening, np.array([0.3, 2.1, 0.3]), kind="high-low")
    low, high = NightTide(table, 0.0).span(evening, evening + 10 * 3600)
    assert (low, high) == pytest.approx((0.3, 2.1), abs=1e-9)
    add = Allowances(surge_m=0.3, wave_m=1.0, freeboard_m=0.0, scope=1.25)
    needed = rope_needed(9.0, high, add)
    assert needed == pytest.approx(14.875, abs=1e-9)
    assert rope_out(needed, Net(rope_m=24, marks_m=1.5)) == 15.0
    assert slack(15.0, 9.0, low) == pytest.approx(5.7)
    assert slack_beyond(15.0, 9.0, low, add) == pytest.approx(2.375)
    assert swing(15.0, 9.0, low) == pytest.approx(math.sqrt(138.51))


@pytest.mark.parametrize(
    ("rope", "depth", "tide", "circle"),
    # CHECKS, trade practice: sqrt(L^2 - D^2), computed by hand
    [(33.0, 20.0, 0.0, 26.249), (33.0, 20.0, 2.0, 24.597), (45.0, 30.0, 0.0, 33.541)],
)
def test_watch_circles_are_those_of_the_worked_numbers(
    rope: float, depth: float, tide: float, circle: float
) -> None:
    assert swing(rope, depth, tide) == pytest.approx(circle, abs=5e-4)


@pytest.mark.parametrize(
    ("depth", "tide", "factor", "rope"), [(20, 2, 1.5, 33.0), (20, 2, 2, 44.0), (10, 1.5, 1.5, 17.25), (30, 2, 1.5, 48.0)]
)  # fmt: skip
def test_a_plain_factor_on_the_water_gives_the_worked_lengths(
    depth: float, tide: float, factor: float, rope: float
) -> None:
    """FAO training manual on traps and pots (Slack-Smith 2001, ch. 8): 1.5 to 2 times the water; numbers of CHECKS."""
    assert rope_needed(depth, tide, Allowances(surge_m=0, scope=factor)) == pytest.approx(rope)


def test_a_line_in_a_stream_pulls_as_the_trade_says_and_with_the_square_of_the_speed() -> None:
    """Issue 21: a 20 m, 8 mm line pulls roughly 1.3 kgf at 1 knot and four times that at 2 (common practice, no source)."""
    assert line_pull_kgf(20, 0.008, 1) == pytest.approx(1.3, abs=0.05)
    assert line_pull_kgf(20, 0.008, 2) == pytest.approx(4 * line_pull_kgf(20, 0.008, 1))
    assert line_pull_kgf(20, 0.008, 0) == 0


@given(st.floats(0.01, 100), st.sampled_from([0.0, 0.5, 1.0, 1.5, 1.8288, 2.0, 3.0]))
def test_a_length_goes_up_to_the_next_mark_and_no_farther(length: float, marks: float) -> None:
    out = up_to_mark(length, marks)
    step = marks or 0.1
    assert length - 1e-6 <= out < length + step + 1e-6
    assert out / step == pytest.approx(round(out / step), abs=1e-4)


@given(
    st.floats(0.5, 60), st.floats(-1, 10), st.floats(0, 3), st.floats(0, 5), st.floats(1, 3), st.floats(5, 80), st.floats(0, 3)
)  # fmt: skip
def test_no_float_goes_under_and_no_rope_is_longer_than_it_is(
    depth: float, tide: float, surge: float, wave: float, scope: float, length: float, marks: float
) -> None:
    add = Allowances(surge, wave, 0.0, scope)
    if marks and length < marks:
        return
    net = Net(rope_m=length, marks_m=marks)
    out = rope_out(rope_needed(depth, tide, add), net)
    if out is None:
        assert depth > deepest(net, tide, add) - 1e-6
        return
    assert out <= length + 1e-6
    assert out >= depth + tide + surge + wave / 2 - 1e-6 or depth + tide < 0
    assert depth <= deepest(net, tide, add) + 1e-6
