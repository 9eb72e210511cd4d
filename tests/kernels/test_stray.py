"""How far a cell strays from its neighbours, against the operator's own properties (Immerkaer 1996, doi:10.1006/cviu.1996.0060)."""

from __future__ import annotations

import numpy as np
import pytest

from reefscan.base.model import NODATA_MM
from reefscan.kernels.stray import mixed, strays

ROW, COL = np.mgrid[0:41, 0:41].astype(float)


def every(elev: np.ndarray) -> np.ndarray:
    """The operator's answer at each cell that has eight neighbours."""
    whole = np.rint(elev).astype(np.int32)
    return np.array([[mixed(whole, r, c) for c in range(1, 40)] for r in range(1, 40)])


@pytest.mark.parametrize(
    "shape",
    [70 * ROW - 30 * COL, np.where(COL > 20, 4000.0, 0.0), 9 * ROW**2 - 5 * COL**2 + 3 * ROW * COL],
    ids=["plane", "edge along a column", "quadratic"],
)
def test_what_hangs_together_strays_by_nothing(shape: np.ndarray) -> None:
    assert (every(shape) == 0).all()


def test_white_noise_strays_by_six_times_itself(rng: np.random.Generator) -> None:
    """The weights' squares sum to 36."""
    told = every(100.0 * rng.standard_normal(ROW.shape))
    assert np.sqrt((told.astype(float) ** 2).mean()) == pytest.approx(600.0, rel=0.1)


def test_beside_an_unknown_cell_nothing_is_said() -> None:
    elev = np.zeros(ROW.shape, np.int32)
    elev[20, 20] = NODATA_MM
    told = np.array([[mixed(elev, r, c) for c in range(18, 23)] for r in range(18, 23)])
    assert (told[1:4, 1:4] == -1).all()
    assert (told == -1).sum() == 9


def about_the_middle(elev: np.ndarray, radius: float) -> float:
    middle = np.array([20.0])
    return float(strays(np.rint(elev).astype(np.int32), middle, middle, np.array([radius]))[0])


def test_a_narrow_gully_jumps_less_than_weed_of_a_third_of_its_depth(rng: np.random.Generator) -> None:
    """A gully 3 m deep and 12 m wide at 20 degrees to the cells of 2 m; weed that half of the soundings hit."""
    across = (COL - 20) * np.cos(np.radians(20)) + (ROW - 20) * np.sin(np.radians(20))
    gully = -12000.0 - 1500.0 * (1.0 + np.cos(np.clip(2 * np.pi * across / 6.0, -np.pi, np.pi)))
    weed = -12000.0 + np.where(rng.random(ROW.shape) < 0.5, 1000.0 * rng.random(ROW.shape), 0.0)
    told = about_the_middle(weed, 15.0)
    assert told == pytest.approx(1e-3 * weed.std(), rel=0.15)
    assert about_the_middle(gully, 3.0) < 0.5 * told


@pytest.mark.parametrize("radius", [6.0, 12.0, 19.0])
def test_a_few_cells_that_jump_far_are_seen_in_a_disc_of_any_width(
    rng: np.random.Generator, radius: float
) -> None:
    weed = -12000.0 + np.where(rng.random(ROW.shape) < 0.1, 2000.0, 0.0)
    assert about_the_middle(weed, radius) == pytest.approx(1e-3 * weed.std(), rel=0.35)
