"""Edges that keep to the lattice of a coarser grid tell how wide its cells are; edges of natural ground tell nothing."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.ndimage import map_coordinates

import reefscan
from reefscan.coarse_edges import coarse_cells, tell_coarse_cells

CELL_M = 25.0


def edges(x, y, facing, *, turn: float = 0.0, interpolated: float = 1.0) -> pd.DataFrame:
    """Ledges, each a feature of its own; places in cells."""
    n = len(x)
    return pd.DataFrame(
        {
            "kind": "ledge", "feature_id": [f"f{i}" for i in range(n)],
            "x": np.asarray(x) * CELL_M, "y": np.asarray(y) * CELL_M,
            "facing": facing, "turn": turn, "lat": 42.0, "interpolated": interpolated,
            "interval_m": 0.0, "position_m": 70.0, "seam_like": 0.0,
        }
    )  # fmt: skip


def staircase(period: float, steps: int = 9, *, spread: float = 0.0, seed: int = 1) -> pd.DataFrame:
    """Down one step of a coarse cell and on by one: an edge that faces east and one that faces north at each."""
    rng = np.random.default_rng(seed)
    k = np.arange(steps) * period
    off = rng.normal(0.0, spread * period, (2, steps)) if spread else np.zeros((2, steps))
    x = np.concatenate([k + off[0], k + 0.4 * period])
    y = np.concatenate([-k - 0.6 * period, -k + off[1]])
    return edges(x, y, np.repeat([90.0, 0.0], steps))


@pytest.mark.parametrize("period", [4.5, 6.13, 9.0, 14.0])
def test_the_steps_of_a_staircase_tell_how_wide_its_cells_are(period):
    wide, lying = coarse_cells(staircase(period, spread=0.05), CELL_M)
    assert lying.mean() > 0.9
    np.testing.assert_allclose(wide, period * CELL_M, rtol=0.03)


def test_a_staircase_along_true_north_is_told_on_a_sheet_that_lies_turned():
    stairs = staircase(6.0)
    a = np.radians(-2.0)  # true north bears 2 degrees west of grid north
    x, y = stairs["x"].to_numpy(), stairs["y"].to_numpy()
    stairs["x"], stairs["y"] = x * np.cos(a) + y * np.sin(a), y * np.cos(a) - x * np.sin(a)
    stairs["facing"] = (stairs["facing"] - 2.0) % 360.0
    stairs["turn"] = 2.0
    np.testing.assert_allclose(coarse_cells(stairs, CELL_M)[0], 150.0, rtol=0.03)


def test_cells_that_are_square_in_degrees_are_narrower_than_high():
    stairs = staircase(8.0)
    stairs["x"] *= np.cos(np.radians(42.0))
    stairs["turn"] = 0.01
    np.testing.assert_allclose(coarse_cells(stairs, CELL_M)[0], 200.0, rtol=0.03)


def test_edges_at_random_tell_a_lattice_in_one_place_of_fifty_at_most():
    told = 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        n = int(rng.integers(14, 60))
        x, y = rng.uniform(0.0, 250.0, (2, n))
        told += coarse_cells(edges(x, y, rng.uniform(0.0, 360.0, n)), CELL_M)[0].any()
    assert told <= 4


def test_edges_that_repeat_in_one_direction_only_are_none():
    rng = np.random.default_rng(3)
    stairs = staircase(6.0, 12)
    stairs.loc[stairs["facing"] == 0.0, "y"] += rng.uniform(0.0, 6.0 * CELL_M, 12)
    assert not coarse_cells(stairs, CELL_M)[0].any()


def test_ground_that_was_sounded_is_no_coarser_grid():
    stairs = staircase(6.0)
    stairs["interpolated"] = 0.0
    assert not coarse_cells(stairs, CELL_M)[0].any()


def test_an_edge_far_from_the_staircase_or_beside_one_line_of_it_keeps_its_own():
    stairs = staircase(6.0, 8)
    away = edges(
        [150.0, 150.0], [0.0, -42.0], [90.0, 45.0]
    )  # the second beside the first, which is on a line by chance
    wide, _ = coarse_cells(pd.concat([stairs, away], ignore_index=True), CELL_M)
    assert (wide[:-2] > 0).all() and not wide[-2:].any()


def test_the_steps_are_joints_and_what_lies_between_is_as_coarse_and_no_surer_of_its_place():
    stairs = staircase(6.0)
    pit = edges([20.0], [-20.5], [45.0])
    pit["kind"], pit["feature_id"] = "trough", "pit"
    table = pd.concat([stairs, pit], ignore_index=True)
    tell_coarse_cells(table, CELL_M)
    assert (table["seam_like"][:-1] == 1.0).all() and table["seam_like"].iloc[-1] == 0.0
    np.testing.assert_allclose(table["interval_m"], 150.0, rtol=0.03)
    np.testing.assert_allclose(table["position_m"], 150.0 / np.sqrt(2.0), rtol=0.03)


def shore(stepped: bool) -> reefscan.Run:
    """A slanting shore at 25 m, filled in from every second cell; the survey off it ends along a slanting line or round cells of 160 m, metres too shallow."""
    y, x = np.mgrid[0:240, 0:180].astype(float)
    off = 0.86 * (40.0 + 0.45 * y + 6.0 * np.sin(y / 17.0) - x) * CELL_M
    z = np.where(off > 0, -14.0 * (1.0 - np.exp(-off / 350.0)) - 0.006 * off, -0.12 * off)
    side = 6.4
    least = off
    if stepped:
        cell = (np.floor(y / side) * 1000 + np.floor(x / side)).astype(int)
        least = pd.Series(off.ravel()).groupby(cell.ravel()).transform("min").to_numpy().reshape(off.shape)
    z = np.where(least > (80.0 if stepped else 300.0), np.minimum(z + (2.5 if stepped else 4.5), -0.3), z)
    nodes = z[::2, ::2]
    filled = map_coordinates(nodes, [y / 2.0, x / 2.0], order=1, mode="nearest")
    everything = reefscan.Recipe.model_validate({"score": {"least_kept": 0}})
    return reefscan.scan_elevation(filled, cell_m=CELL_M, recipe=everything)


def test_steps_and_pits_round_coarse_cells_along_a_shore_count_two_fifths_and_say_why_and_a_slanting_edge_keeps_its_score():
    stairs, edge = shore(True).sites[:20], shore(False).sites[:20]
    told = [site for site in stairs if site["interval_m"] > 0]
    assert len(told) >= 12
    np.testing.assert_allclose([site["interval_m"] for site in told], 160.0, rtol=0.05)
    assert max(site["score"] for site in told) <= 40.0
    assert "no more than one depth for every 1" in told[0]["why"]
    assert edge and not any(site["interval_m"] > 0 for site in edge)
    assert edge[0]["score"] > 55.0
