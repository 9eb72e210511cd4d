"""Heights told in noise are right on the mean: what is picked as highest among many readings is told lower by as much as
noise lifts it, however fine the cells are; and what was filled in is told with its doubt."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from surfaces import scan_cells

from reefscan.base.model import Sheet
from reefscan.find.localnoise import filled_in, rounded
from reefscan.pipeline.interpolated import mark_interpolated

STEP_M = 1.5
SIDE_M = 320.0


def ledge_errors(rng, cell_m: float, noise_m: float) -> np.ndarray:
    """Error (m) of all candidates on some ledges of `STEP_M` on a slope, each facing its own way."""
    errors = []
    for _ in range(8):
        u = np.arange(0.0, SIDE_M, cell_m) - SIDE_M / 2
        x, y = np.meshgrid(u, -u)
        a = rng.uniform(0, 2 * np.pi)
        down = x * np.sin(a) + y * np.cos(a)
        z = -9 - STEP_M * np.clip(down / 3.0 + 0.5, 0, 1) - 0.01 * down + noise_m * rng.normal(size=x.shape)
        run = scan_cells(z, cell_m=cell_m)
        found = run.candidates[run.candidates["kind"] == "ledge"]
        errors += list(found["height_m"] - STEP_M)
    return np.array(errors)


def test_noise_does_not_lift_a_pile_on_fine_cells(rng):
    """On cells of 1 m the top is picked among many: without regard to that it reads .15 m too tall in noise of .2."""
    errors = []
    for _ in range(25):
        y, x = np.mgrid[-40:41, -40:41] * 1.0
        z = -9 + np.maximum(0, STEP_M * (1 - (x**2 + y**2) / 8.0**2)) + 0.2 * rng.normal(size=x.shape)
        found = scan_cells(z, cell_m=1.0).candidates
        found = found[(found["kind"] == "rise") & (found["width_m"] > 4)]
        if len(found):
            errors.append(found["height_m"].max() - STEP_M)
    assert len(errors) > 15
    assert abs(np.mean(errors)) < 0.1


@pytest.mark.parametrize(("cell_m", "most_m"), [(1.0, 0.1), (2.0, 0.1), (4.0, 0.2)])
def test_noise_neither_lifts_nor_lowers_a_ledge_whatever_the_cells(rng, cell_m, most_m):
    errors = ledge_errors(rng, cell_m, 0.2)
    assert len(errors) > 60
    assert abs(errors.mean()) < most_m


def test_ground_that_was_filled_in_is_told_with_a_fifth_of_its_height_as_doubt():
    own = np.array([0.1, 0.1, 0.1])
    told = filled_in(own, np.array([2.0, 2.0, 2.0]), np.array([0.0, 0.5, 1.0]))
    np.testing.assert_allclose(told, np.sqrt([0.01, 0.01 + 0.04, 0.01 + 0.16]))


def test_what_a_file_says_was_filled_in_adds_only_the_doubt_that_the_cells_did_not_show():
    sheet = Sheet("EPSG:32631", 2.0)
    heights, share = np.array([2.0, 2.0, 2.0]), np.array([0.0, 0.5, 1.0])
    table = pd.DataFrame(
        {
            "structure_lon": 3.0, "structure_lat": 45.0, "row": [0, 1, 2], "col": 0, "position_m": 1.4,
            "interval_m": [0.0, 0.0, 4.0],
            "height_m": heights, "interpolated": share, "height_sigma_m": filled_in(np.full(3, 0.1), heights, share),
        }
    )  # fmt: skip
    mark_interpolated(table, sheet, lambda rows, cols: np.ones(len(rows), bool))
    np.testing.assert_allclose(table["height_sigma_m"], np.hypot(0.1, 0.4))
    assert (table["interpolated"] == 1.0).all()
    # half the diagonal of four cells, or of the cells that are repeated where their width is known
    np.testing.assert_allclose(table["position_m"], np.sqrt(0.5) * np.array([8.0, 8.0, 4.0]))


def test_the_rounding_of_both_depths_adds_the_doubt_of_two_even_spreads():
    """An even spread over a step has a twelfth of its square for variance, two of them a sixth: 1.2 m steps, .49 m."""
    told = rounded(np.array([0.1, 0.1, 0.0]), np.array([0.0, 1.2, 1.2]))
    np.testing.assert_allclose(told, [0.1, (0.1**2 + 1.2**2 / 6) ** 0.5, 1.2 / 6**0.5])
    spread = np.random.default_rng(5007).uniform(-0.6, 0.6, (200_000, 2))
    assert np.std(spread[:, 0] - spread[:, 1]) == pytest.approx(told[2], rel=0.01)
