"""A ledge that runs dead straight for hundreds of metres is told to look like a joint whichever way it runs; edges that ground could have are not."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from reefscan.features import Line
from reefscan.ruled import BEYOND, ruled_like
from reefscan.seams import WIDEST_CELLS

CELL_M = 2.0


def pieces(
    *parts: tuple[np.ndarray, np.ndarray], kind: str = "ledge", width_m: float = 8.0
) -> tuple[pd.DataFrame, dict[str, Line]]:
    """Features, each a line through its stations in order."""
    names = [f"f{k}" for k, (x, _) in enumerate(parts) for _ in x]
    table = pd.DataFrame(
        {
            "x": np.concatenate([x for x, _ in parts]),
            "y": np.concatenate([y for _, y in parts]),
            "kind": kind,
            "width_m": width_m,
            "feature_id": names,
        }
    )
    return table, {f"f{k}": Line(tuple(range(len(x)))) for k, (x, _) in enumerate(parts)}


def course(degrees: float, first_m: float, last_m: float, off: object = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Stations every 10 m along a bearing; ``off`` (m) to its right."""
    along = np.arange(first_m, last_m + 1.0, 10.0)
    across = np.broadcast_to(np.asarray(off, dtype=float), along.shape)
    a = np.radians(degrees)
    return along * np.sin(a) + across * np.cos(a), along * np.cos(a) - across * np.sin(a)


@pytest.mark.parametrize("degrees", [0.0, 17.0, 45.0, 131.0, 260.0])
def test_a_dead_straight_ledge_of_four_hundred_metres_is_a_joint_whichever_way_it_runs(rng, degrees):
    table, lines = pieces(course(degrees, 0.0, 400.0, 0.3 * CELL_M * rng.standard_normal(41).clip(-2, 2)))
    assert ruled_like(table, lines, CELL_M) == pytest.approx(1.0, abs=0.03)


def test_a_straight_ledge_of_two_hundred_metres_is_ground():
    table, lines = pieces(course(30.0, 0.0, 230.0))
    assert not ruled_like(table, lines, CELL_M).any()


@pytest.mark.parametrize("off", [lambda s: 4.0 * np.sin(s / 40.0), lambda s: (s - 300.0) ** 2 / 3000.0])
def test_a_ledge_that_wanders_or_bends_by_a_cell_or_two_is_ground(off):
    """An arc of 1 500 m radius leaves a chord of 240 m by 4.8 m."""
    table, lines = pieces(course(30.0, 0.0, 600.0, off(np.arange(0.0, 601.0, 10.0))))
    assert not ruled_like(table, lines, CELL_M).any()


def test_on_coarse_cells_metres_are_not_enough():
    table, lines = pieces(course(30.0, 0.0, 600.0))
    assert not ruled_like(table, lines, 25.0).any()
    table, lines = pieces(course(30.0, 0.0, 2600.0), width_m=60.0)
    assert (ruled_like(table, lines, 25.0) == 1.0).all()


def test_what_lies_on_the_same_line_farther_on_belongs_to_the_joint_and_what_lies_beside_it_does_not():
    long = course(40.0, 0.0, 400.0)
    end = 400.0 * (1.0 + BEYOND)
    table, lines = pieces(
        long,
        course(40.0, 450.0, 520.0),
        course(40.0, 450.0, 520.0, 4.0),
        course(40.0, end + 20.0, end + 90.0),
    )
    like = [ruled_like(table, lines, CELL_M)[table["feature_id"] == f"f{k}"] for k in range(4)]
    assert (like[0] == 1.0).all()
    assert (like[1] == 1.0).all()
    assert not like[2].any()
    assert not like[3].any()


def test_a_straight_run_is_found_inside_a_ledge_that_bends_before_and_after():
    s = np.arange(0.0, 901.0, 10.0)
    off = np.where(s < 200.0, (200.0 - s) ** 2 / 400.0, 0.0) + np.where(
        s > 700.0, (s - 700.0) ** 2 / 400.0, 0.0
    )
    table, lines = pieces(course(70.0, 0.0, 900.0, off))
    like = ruled_like(table, lines, CELL_M)
    assert (like[(s > 230.0) & (s < 670.0)] == 1.0).all()


@pytest.mark.parametrize(
    ("kind", "width_m"), [("trough", 8.0), ("rise", 8.0), ("ledge", (WIDEST_CELLS["ledge"] + 1) * CELL_M)]
)
def test_troughs_rises_and_wide_faces_are_no_joints(kind, width_m):
    table, lines = pieces(course(30.0, 0.0, 500.0), kind=kind, width_m=width_m)
    assert not ruled_like(table, lines, CELL_M).any()


def test_a_path_told_backwards_is_the_same_joint():
    x, y = course(30.0, 0.0, 330.0)
    there, lines = pieces((x, y))
    back, _ = pieces((x[::-1], y[::-1]))
    assert ruled_like(there, lines, CELL_M) == pytest.approx(ruled_like(back, lines, CELL_M)[::-1], abs=1e-9)
    assert 0.1 < ruled_like(there, lines, CELL_M).max() < 0.9
