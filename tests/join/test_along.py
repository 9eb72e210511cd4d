"""What the stations of a feature tell of it as a whole, and which stations are one feature."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reefscan.base.doubts import DOUBTS
from reefscan.join.along import measured_along
from reefscan.join.features import join

SIDE_M = 10.0


def stations(x, y, axis, **more):
    n = len(x)
    frame = {
        "kind": "ledge",
        "x": x,
        "y": y,
        "axis": np.asarray(axis) % 180,
        "facing": (np.asarray(axis) + 90) % 360,
    }
    frame |= {"height_m": np.full(n, 2.0), "width_m": np.full(n, 4.0), "level_m": np.full(n, -8.0)}
    return pd.DataFrame(frame | more)


@pytest.mark.parametrize(("gap", "shift", "taller", "features"), [
    (20, 0, 1.0, 1), (40, 0, 1.0, 1), (30, 15, 1.0, 2), (40, 0, 2.0, 2), (60, 0, 1.0, 2),
])  # fmt: skip
def test_a_hole_in_the_survey_is_bridged_on_a_straight_course_between_like_heights(
    gap, shift, taller, features
):
    first, second = np.arange(0.0, 60, 10), np.arange(50.0 + gap, 110 + gap, 10)
    x, y = np.r_[first, second], np.r_[0 * first, 0 * second + shift]
    part = stations(x, y, 90 + 0 * x, height_m=np.r_[0 * first + 2, 0 * second + 2 * taller])
    assert len(np.unique(join(part, "ledge", SIDE_M))) == features


def test_facts_of_features_are_those_of_pandas(rng):
    n, count = 200, 17
    code = np.r_[np.arange(count), rng.integers(0, count, n - count)]
    part = stations(
        rng.normal(size=n), rng.normal(size=n), rng.uniform(0, 180, n), height_m=rng.uniform(1, 4, n)
    )
    doubts = [doubt.column for doubt in DOUBTS]
    for name in ("length_m", "turn", "sinuosity", *doubts):
        part[name] = rng.uniform(size=n)
    told = measured_along(part, code, count)
    groups = part.groupby(code)
    np.testing.assert_allclose(told["height_typical_m"], groups["height_m"].median())
    np.testing.assert_allclose(told["height_m"], groups["height_m"].max())
    for name in doubts:
        np.testing.assert_allclose(told[name], groups[name].mean())
