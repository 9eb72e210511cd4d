"""From stations to features and candidates: one table, whatever the order of its rows and wherever the tiles lay."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose

from reefscan.base.columns import MEASURED
from reefscan.base.model import Sheet
from reefscan.base.recipe import Recipe
from reefscan.join.merge import Merged, merge

CELL_M = 2.0
SHEET = Sheet("EPSG:32631", CELL_M)
FIND = Recipe.default().find
DEGREES_A_CELL = CELL_M / 111_320.0


def north_up(rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Longitude and latitude on a sheet at the equator whose north is true north."""
    return 3.0 + DEGREES_A_CELL * np.asarray(cols), -DEGREES_A_CELL * np.asarray(rows)


def stations(
    x: np.ndarray, y: np.ndarray, *, kind: str = "ledge", bearing_deg: float = 90.0, height_m: float = 2.0
) -> pd.DataFrame:
    """Stations at metres east and north of the sheet's origin, along one bearing."""
    col, row = np.asarray(x) / CELL_M, -np.asarray(y) / CELL_M
    return pd.DataFrame(
        {
            **dict.fromkeys(MEASURED, np.nan), "kind": kind, "seed_row": np.rint(row).astype(int), "seed_col": np.rint(col).astype(int),
            "at_row": row, "at_col": col, "row": row, "col": col, "rock_row": row, "rock_col": col,
            "axis": bearing_deg % 180.0, "cross": (bearing_deg + 90.0) % 180.0, "facing": (bearing_deg + 90.0) % 360.0,
            "height_m": height_m, "width_m": 6.0, "level_m": -9.0, "steep_deg": 30.0, "depth_m": 9.0,
        }
    )  # fmt: skip


def line(
    length_m: float, *, start: tuple[float, float] = (0.0, 0.0), step_m: float = 10.0
) -> tuple[np.ndarray, np.ndarray]:
    """Places every ``step_m`` to the east; each a little off the line, so that no two are alike."""
    far = np.arange(0.0, length_m + 1.0, step_m)
    return start[0] + far, start[1] + 0.7 * np.sin(far)


def merged(table: pd.DataFrame, lonlat=north_up) -> Merged:
    return merge(table, SHEET, FIND, sheet_name="S", lonlat=lonlat)


def test_no_station_is_no_candidate_and_no_feature_with_the_same_columns():
    some, none = merged(stations(*line(100.0))), merged(stations(*line(100.0)).iloc[:0])
    assert len(some.candidates) > 0
    assert len(none.candidates) == 0
    assert none.features == ()
    assert list(none.candidates.columns) == list(some.candidates.columns)


def test_the_order_of_the_stations_changes_nothing(rng):
    table = pd.concat(
        [
            stations(*line(300.0)),
            stations(*line(200.0, start=(0.0, 400.0)), kind="trough"),
            stations(np.array([600.0]), np.array([600.0]), kind="rise"),
        ]
    ).reset_index(drop=True)
    table["height_m"] += 0.3 * rng.random(len(table))
    want = merged(table)
    assert [features.kind for features in want.features] == ["trough", "ledge", "rise"]
    for _ in range(3):
        got = merged(table.sample(frac=1.0, random_state=rng))
        pd.testing.assert_frame_equal(got.candidates, want.candidates)
        for one, other in zip(got.features, want.features, strict=True):
            pd.testing.assert_frame_equal(one.facts, other.facts)


def test_candidates_of_one_feature_lie_apart_by_the_spacing_and_nowhere_farther_than_two_of_it():
    got = merged(stations(*line(400.0))).candidates
    assert got["feature_id"].nunique() == 1
    east = np.sort(got["col"].to_numpy()) * CELL_M
    gaps = np.diff(east)
    assert len(gaps) >= 8
    assert gaps.min() >= FIND.station_m - CELL_M  # places are whole cells
    assert gaps.max() <= 2.0 * FIND.station_m + CELL_M


def test_stations_that_came_to_lie_on_one_spot_are_one_and_the_highest_of_them():
    twice = stations(np.array([50.0, 51.0]), np.array([0.0, 0.0]))
    twice["height_m"] = [1.5, 2.5]
    got = merged(twice)
    assert got.candidates["height_m"].tolist() == [2.5]
    (features,) = got.features
    assert features.facts["stations"].tolist() == [1]


def test_nothing_that_was_measured_is_changed():
    table = stations(*line(200.0), height_m=1.73)
    got = merged(table).candidates
    assert len(got) > 3
    assert set(got["height_m"]) == {1.73}
    assert set(got["steep_deg"]) == {30.0}
    assert set(got["depth_m"]) == {9.0}


def test_a_feature_knows_its_length_and_how_many_stations_it_has():
    (features,) = merged(stations(*line(300.0))).features
    (facts,) = features.facts.to_dict("records")
    assert facts["stations"] == 31
    assert facts["length_m"] == pytest.approx(300.0, rel=0.05)
    assert facts["height_m"] == 2.0
    assert len(features.lines.way) == 31


@pytest.mark.parametrize("turn_deg", [0.0, 1.5, -40.0])
def test_bearings_are_true_where_the_sheet_is_turned(turn_deg: float):
    """Grid north lies ``turn_deg`` east of true north: a ledge that faces grid south faces 180 + turn."""
    angle = np.radians(turn_deg)

    def turned(rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        east, north = (
            np.asarray(cols) * np.cos(angle) - np.asarray(rows) * np.sin(angle),
            (-np.asarray(rows) * np.cos(angle) - np.asarray(cols) * np.sin(angle)),
        )
        return 3.0 + DEGREES_A_CELL * east, DEGREES_A_CELL * north

    got = merged(stations(*line(100.0)), turned).candidates
    assert len(got) > 2
    assert_allclose(got["facing_deg"], (180.0 + turn_deg) % 360.0, atol=1e-3)
    assert_allclose(got["axis_deg"], (90.0 + turn_deg) % 180.0, atol=1e-3)
    assert got["id"].is_unique
    assert got["id"].str.startswith("L-S-").all()


def test_a_rise_has_no_axis_and_only_a_ledge_faces_somewhere():
    apart = [
        stations(np.array([300.0 * i]), np.array([0.0]), kind=k)
        for i, k in enumerate(("trough", "ledge", "rise"))
    ]
    got = merged(pd.concat(apart)).candidates.set_index("kind")
    assert got["axis_deg"].isna().to_dict() == {"trough": False, "ledge": False, "rise": True}
    assert got["facing_deg"].isna().to_dict() == {"trough": True, "ledge": False, "rise": True}
