"""Weed, fish and false bottoms are told from rock: by how depths jump from cell to cell, over a patch and not at one pile."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from planted.canopy import Growth, canopy, overgrown
from planted.judge import judge
from planted.scan import find
from planted.survey import fractal

import reefscan
from reefscan.kernels import variogram_columns
from reefscan.overgrown import jumbled, of_patch, weed_like
from reefscan.recipe import Recipe
from reefscan.scoring import score_table

SIDE = 160


def sand(rng: np.random.Generator) -> np.ndarray:
    return -9 + 0.05 * rng.standard_normal((SIDE, SIDE))


def ground(**told: float | np.ndarray) -> np.ndarray:
    """A row of the variogram's answer; what is not named is not known."""
    return np.column_stack([told.get(name, np.nan) for name in variogram_columns.FIELDS])


def piled(rng: np.random.Generator, cell_m: float, width_cells: float) -> np.ndarray:
    """Nine piles apart from each other, each a drum with upright sides: the sharpest there is."""
    y, x = np.mgrid[:SIDE, :SIDE].astype(float)
    z = sand(rng)
    for row in (40, 80, 120):
        for col in (40, 80, 120):
            r, c = row + rng.uniform(-0.5, 0.5), col + rng.uniform(-0.5, 0.5)
            z += rng.uniform(1.5, 3.0) * (np.hypot(y - r, x - c) < 0.5 * width_cells)
    return z


@pytest.mark.parametrize("cell_m", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("growth", [Growth(0.3, 1, "uniform", False), Growth(1.0, 1, "exponential", True)])  # fmt: skip
def test_a_patch_of_growth_says_so_and_is_neither_sure_nor_high_in_the_list(rng, cell_m, growth):
    z = sand(rng)
    z[40:120, 40:120] += overgrown(rng, (80, 80), growth)
    everything = Recipe.model_validate({"score": {"least_kept": 0}})
    sites = reefscan.scan_elevation(np.minimum(z, -0.5), cell_m=cell_m, recipe=everything).sites
    assert len(sites) >= 3
    said = np.array(["looks-like-weed" in site["flags"] for site in sites])
    assert said.mean() >= 0.75
    assert "looks like weed, fish or a false bottom" in sites[int(said.argmax())]["why"]
    assert np.median([site["confidence"] for site in sites]) <= 0.05
    assert np.median([site["score"] for site in sites]) <= 25


@pytest.mark.parametrize("cell_m", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("width_cells", [3, 4, 6])
def test_a_single_pile_however_sharp_is_no_growth(rng, cell_m, width_cells):
    found = reefscan.scan_elevation(piled(rng, cell_m, width_cells), cell_m=cell_m).candidates
    found = found[found["height_m"] > 1.0]
    assert len(found) >= 8
    assert (found["weed_like"] < 0.2).all()


@pytest.mark.parametrize("cell_m", [2.0, 5.0])
@pytest.mark.parametrize("crest_m", [2.0, -3.0])
def test_a_breakwater_along_the_grid_is_no_growth_however_narrow(rng, cell_m, crest_m):
    y, x = np.mgrid[:SIDE, :SIDE] * cell_m
    across, along = np.abs(x - 80.3 * cell_m), np.abs(y - 80 * cell_m)
    wall = np.where(along < 60 * cell_m, crest_m - np.maximum(0, across - 4) / 1.5, -99)
    rough = 0.1 * rng.standard_normal(x.shape)  # blocks, and no cells that repeat each other
    found = reefscan.scan_elevation(np.maximum(sand(rng), wall + rough), cell_m=cell_m).candidates
    assert found["score"].max() > 80
    assert (found["weed_like"] < 0.2).all()


@pytest.mark.parametrize("jump_m", [0.4, 0.8])
def test_a_wall_of_loose_blocks_stands_higher_than_they_jump_and_is_no_growth(rng, jump_m):
    """Two cells wide, across the grid, 2.5 m high: without `TALL` three stations in four are told, or all."""
    y, x = np.mgrid[:SIDE, :SIDE]
    turn = np.radians(22)
    off = np.abs((y - 80.3) * np.cos(turn) + (x - 80) * np.sin(turn))
    along = np.abs((x - 80) * np.cos(turn) - (y - 80.3) * np.sin(turn))
    blocks = -6.5 + jump_m * rng.standard_normal(x.shape)
    z = np.where((off < 1.0) & (along < 60), blocks, sand(rng))
    found = reefscan.scan_elevation(z, cell_m=2.0).candidates
    assert len(found) >= 10
    assert (found["weed_like"] < 0.2).all()


@pytest.mark.parametrize("apart", [3, 4, 6])
def test_narrow_walls_side_by_side_along_the_grid_are_no_growth(rng, apart):
    """One cell wide each: they jump at every cell across and never along; without `EVERY_WAY` all are told."""
    z = sand(rng)
    tops = 2.0 + 0.5 * rng.standard_normal((80, len(range(40, 120, apart))))
    z[40:120, 40:120:apart] += tops
    found = reefscan.scan_elevation(z, cell_m=2.0).candidates
    assert len(found) >= 10
    assert (found["weed_like"] < 0.2).all()


def test_cells_that_stray_by_a_tenth_of_a_height_did_not_make_it_and_by_a_third_they_did():
    strays = np.array([0.0, 0.3, 0.45, 0.6, 0.75, 1.0])
    like = np.full(6, 0.8)
    assert_allclose(weed_like(like, strays, np.full(6, 3.0)), [0.0, 0.0, 0.0, 0.4, 0.8, 0.8], atol=1e-12)


@pytest.mark.parametrize("cell_m", [1.0, 2.0])
def test_a_field_of_boulders_and_a_ridge_of_rubble_are_no_growth(rng, cell_m):
    """Boulders of 4 to 7 m across the radius, thirty of them; and blocks of half a metre, each cell its own, on a ridge of 3 m."""
    y, x = np.mgrid[:SIDE, :SIDE] * cell_m
    z = sand(rng)
    for _ in range(30):
        by, bx = 40 * cell_m + rng.normal(0, 24, 2)
        r = np.hypot(y - by, x - bx) / rng.uniform(4, 7)
        z = np.maximum(z, -9 + rng.uniform(0.6, 2.1) * np.sqrt(np.clip(1 - r**2, 0, None)))
    off = np.abs(y - 110 * cell_m + 0.3 * x - 20)
    z += np.where(off < 12, 3.0 - off / 4 + 0.4 * rng.standard_normal(x.shape), 0.0)
    found = reefscan.scan_elevation(np.minimum(z, -0.5), cell_m=cell_m).candidates
    found = found[found["height_m"] > 1.0]
    assert len(found) >= 20
    assert (found["weed_like"] >= 0.5).mean() < 0.05


@pytest.mark.parametrize("power", [2.2, 2.6, 3.2])
@pytest.mark.parametrize("cell_m", [1.0, 4.0])
def test_rock_however_spiky_is_no_growth(rng, power, cell_m):
    """Metres of fractal rock: neighbours differ half as much as cells four apart, but it is as uneven below as above."""
    y, x = np.mgrid[:SIDE, :SIDE]
    patch = np.clip((60 - np.hypot(y - 80, x - 80)) / 8, 0, 1)
    rock = fractal(rng, SIDE, power=power, cell_m=cell_m, outer_m=60.0)
    found = reefscan.scan_elevation(
        np.minimum(sand(rng) + 1.3 * rock * patch, -0.3), cell_m=cell_m
    ).candidates
    found = found[found["height_m"] > 1.0]
    assert len(found) >= 20
    assert (found["weed_like"] >= 0.2).mean() < 0.05


def test_planted_structure_leads_the_list_before_growth_on_seabeds_of_other_seeds():
    """Without the term, growth takes nine of ten first places."""
    verdicts = []
    for seed, growth in enumerate((Growth(0.3, 1, "uniform", False), Growth(1.0, 1, "exponential", False))):
        bed = canopy(6000 + seed, 2.0, growth)
        sites, _ = find(bed)
        verdicts.append(judge(bed, sites))
    k = sum(v.k for v in verdicts)
    assert k >= 12
    assert sum(v.found for v in verdicts) >= 0.75 * k


def test_the_surveys_own_noise_is_no_growth_whether_white_or_going_together():
    white, soft = np.array([[1.0, 0.0, 0.0]]), np.array([[1.0, 0.9, 0.2]])
    for kind in (white, soft):
        near, far = 0.04 * (1.0 - kind[:, 1]), 0.04 * (1.0 - kind[:, 2])
        seen = ground(near=near, far=far, quiet=near, floor=0.0, lesser=1.0)
        like, strays = jumbled(seen, np.array([0.2]), kind[:, 1:])
        assert weed_like(like, strays, np.array([1.0])) == 0.0


def test_ground_that_is_not_known_is_not_told():
    like, strays = jumbled(ground(), np.array([0.1]), np.zeros((1, 2)))
    assert_array_equal(weed_like(like, strays, np.array([2.0])), 0.0)


def test_a_station_that_most_near_it_outvote_is_told_with_them_and_one_far_off_is_not():
    x = np.array([0.0, 10.0, 20.0, 30.0, 500.0, 510.0])
    like = np.array([1.0, 1.0, 0.0, 1.0, 0.0, 0.0])
    assert_allclose(of_patch(x, np.zeros(6), like, 10.0), [1, 1, 1, 1, 0, 0])
    few = np.array([1.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    assert_array_equal(of_patch(x, np.zeros(6), few, 10.0), few)


def test_the_confidence_falls_by_the_chance_that_it_is_growth_and_the_score_with_it():
    site = {"kind": "rise", "depth_m": 9.0, "height_m": 2.5, "slope_deg": 2.0, "vrm": 0.06, "height_sigma_m": 0.1, "uncertainty_m": 0.1, "noise_m": 0.05, "interpolated": 0.0}  # fmt: skip
    table = pd.DataFrame([{**site, "weed_like": like} for like in (0.0, 0.4, 1.0, np.nan)])
    scored = score_table(table, Recipe.default().score)
    assert_allclose(scored.confidence, [1.0, 0.6, 0.0, 1.0])
    assert scored.score[0] > scored.score[1] > scored.score[2]
    assert scored.score[2] == pytest.approx(0.2 * scored.score[0], abs=0.1)
