"""What is said of the smallest shapes that a grid can show, held to what the finder finds on planted ground."""

from __future__ import annotations

import numpy as np
import pytest
from surfaces import scan_cells

import reefscan
from reefscan.base.recipe import load_recipe
from reefscan.score.limits import INTERVALS, limits_of

ORIGIN = (500_000.0, 5_000_000.0)
SIDE, APART = 220, 55


def _listed(form: np.ndarray, cell_m: float, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Cells (row, col) of the drop points that are listed on a bottom with this form on it."""
    z = (-9.0 + form + rng.normal(size=form.shape) * 0.05).astype(np.float32)
    run = scan_cells(z, cell_m=cell_m, crs="EPSG:32633", origin=ORIGIN)
    table = run.candidates
    first = round(ORIGIN[1] / cell_m), round(ORIGIN[0] / cell_m)
    return [
        (float(r) + first[0], float(c) - first[1]) for r, c in zip(table["row"], table["col"], strict=True)
    ]


def _share(cell_m: float, kind: str, cells: float, rng: np.random.Generator) -> float:
    """Share of sixteen forms 2 m high, so many cells across, with a site beside them."""
    row, col = np.mgrid[:SIDE, :SIDE].astype(float)
    form, middles = np.zeros((SIDE, SIDE)), []
    for r0 in range(APART // 2, SIDE, APART):
        for c0 in range(APART // 2, SIDE, APART):
            mr, mc = r0 + rng.uniform(-0.5, 0.5), c0 + rng.uniform(-0.5, 0.5)
            bearing = rng.uniform(0, np.pi)
            along = -(row - mr) * np.cos(bearing) + (col - mc) * np.sin(bearing)
            across = (row - mr) * np.sin(bearing) + (col - mc) * np.cos(bearing)
            if kind == "rise":
                form += 2.0 * np.clip(1.2 * (1 - np.hypot(along, across) / (cells / 2)), 0, 1)
            else:
                fade = np.clip((16 - np.abs(along)) / 4, 0, 1)
                form -= 2.0 * fade * np.clip((cells / 2 - np.abs(across)) / (0.3 * cells), 0, 1)
            middles.append((mr, mc))
    near = 16 + 30 / cell_m
    sites = np.array(_listed(form, cell_m, rng)).reshape(-1, 2)
    return float(np.mean([(np.hypot(*(sites - m).T) < near).any() for m in middles]))


@pytest.mark.parametrize("cell_m", [2.0, 4.0, 8.0])
def test_a_rise_is_found_from_the_stated_width_on(cell_m):
    assert _share(cell_m, "rise", INTERVALS["rise"] + 0.5, np.random.default_rng(2000)) >= 0.9


@pytest.mark.parametrize("cell_m", [2.0, 4.0])
def test_where_one_cell_may_be_a_bad_sounding_a_narrower_rise_is_not_found(cell_m):
    assert _share(cell_m, "rise", INTERVALS["rise"] - 2.5, np.random.default_rng(2000)) <= 0.1


@pytest.mark.parametrize("cell_m", [2.0, 4.0, 8.0])
def test_a_trough_is_found_from_the_stated_width_on(cell_m):
    assert _share(cell_m, "trough", INTERVALS["trough"], np.random.default_rng(2001)) >= 0.9


def test_sizes_are_told_in_three_figures_without_an_exponent():
    recipe = reefscan.Recipe.default()
    odd = limits_of("a", 89.99407, recipe, sigma_m=None).sentence()
    assert "cells of 90 m: smallest trough or rise 360 m across, smallest ledge 270 m" in odd
    vast = limits_of("a", 460.0, recipe, sigma_m=None).sentence()
    assert "rise 1840 m" in vast


@pytest.mark.parametrize(("order", "low"), [("special", 0.4), ("1a", 0.7), ("2", 1.4)])
def test_what_is_too_low_follows_the_order_of_the_recipe_where_the_grid_states_no_uncertainty(order, low):
    # table 1 at 9.5 m: TVU 0.260, 0.515 and 1.024 m; a height is a difference of two depths, root of two times as much
    recipe = load_recipe(f'[score]\ns44_order = "{order}"')
    said = limits_of("a", 2.0, recipe, sigma_m=None).sentence()
    assert f"features under {low} m can't be trusted" in said and f"order {order};" in said
    assert "by the uncertainty that the grid states" in limits_of("a", 2.0, recipe, sigma_m=0.1).sentence()


def test_what_a_grid_of_soundings_shows_follows_the_distance_between_its_tracks_not_its_cells():
    """Four intervals from crest to crest and three across a ledge, of tracks 20 m apart: 80 m and 60 m, whatever the cells."""
    recipe = reefscan.Recipe.default()
    for cell_m in (2.0, 4.0, 10.0):
        told = limits_of("a", cell_m, recipe, sigma_m=0.1, between_m=20.0).sentence()
        assert (
            "from tracks about 20 m apart: smallest trough or rise 80 m across, smallest ledge 60 m" in told
        )
    wide = limits_of("a", 30.0, recipe, sigma_m=0.1, between_m=20.0).sentence()
    assert "cells of 30 m: smallest trough or rise 120 m" in wide


def test_sizes_are_told_in_the_unit_of_the_person():
    # 8 m and 6 m are 26.2 and 19.7 feet of 0.3048 m
    told = limits_of("a", 2.0, reefscan.Recipe.default(), sigma_m=0.1).sentence("ft")
    assert "cells of 6.56 ft: smallest trough or rise 26.2 ft across, smallest ledge 19.7 ft" in told
