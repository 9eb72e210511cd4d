"""Cells to measure from: where ground of known form falls fastest, and nowhere on ground that only slopes."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from surfaces import bank, plane, ramp, sample, sand_waves

from reefscan.base.model import to_mm
from reefscan.kernels.find.edges import find_faces
from reefscan.kernels.find.smooth import smooth

CELL_M, SIDE = 2.0, 5
EDGE = LOOK = 20


def seeds(z, *, steep=0.06, sight=0.05, least_m=0.4, band_m=(-40.0, -1.0), origin=(0, 0), side=SIDE):
    """Rows, columns, headings (degrees) and the heights (m) of every cell, on cells of 2 m."""
    height = np.zeros(z.shape, np.int32)
    rows, cols, way = find_faces(
        smooth(to_mm(z), 1), band_m, steep * CELL_M, sight * CELL_M, LOOK, least_m, EDGE + 2, origin, side, height
    )  # fmt: skip
    return rows, cols, np.degrees(way) % 360, height / 1000.0


def bed(surface) -> np.ndarray:
    return sample(surface, 121, 121, CELL_M)


@pytest.mark.parametrize("azimuth", [0.0, 30.0, 45.0, 101.0, 250.0])
def test_seeds_lie_on_the_face_and_look_down_it(azimuth):
    rows, cols, way, height = seeds(bed(lambda x, y: ramp(x, y, height_m=3.0, run_m=6.0, facing_deg=azimuth)))
    assert len(rows) >= 10
    a = np.radians(azimuth)
    along = (cols - 60) * CELL_M * np.sin(a) - (rows - 60) * CELL_M * np.cos(a)
    assert np.abs(along).max() <= 3.0
    assert np.abs((way - azimuth + 180) % 360 - 180).max() <= 10
    # what stands above and falls away, less the sight line over the 12 m or so that smoothing makes of the 6
    told = height[rows, cols]
    assert 3.0 - 0.05 * 14.0 <= told.min() <= told.max() <= 3.0


def test_no_two_seeds_that_face_alike_stand_nearer_than_0_6_of_a_square():
    rows, cols, _, _ = seeds(bed(lambda x, y: ramp(x, y, height_m=3.0, run_m=6.0, facing_deg=30.0)))
    far = np.hypot(rows[:, None] - rows, cols[:, None] - cols)
    assert far[np.triu_indices(len(rows), 1)].min() >= 0.6 * SIDE


@pytest.mark.parametrize(
    "surface",
    [
        lambda x, y: sand_waves(x, y, height_m=1.5, length_m=100.0, axis_deg=25.0),
        lambda x, y: bank(x, y),
        lambda x, y: plane(x, y, gradient=0.05, facing_deg=30.0),
    ],
)
def test_what_rises_no_faster_than_the_sight_line_is_passed_by(surface):
    rows, _, _, height = seeds(bed(surface), steep=0.02)
    assert len(rows) == 0
    assert not height.any()


@pytest.mark.parametrize("gap", range(0, 3))
def test_beside_unknown_cells_nothing_is_made_up(gap):
    """An even slope that ends at unknown ground on its deep side has no edge there."""
    z = bed(lambda x, y: plane(x, y, gradient=0.04, facing_deg=90.0))
    z[:, 70 + gap :] = np.nan
    assert len(seeds(z)[0]) == 0


def test_only_the_band_and_what_is_tall_enough_is_looked_at():
    z = bed(lambda x, y: ramp(x, y, height_m=3.0, run_m=6.0))
    assert len(seeds(z, band_m=(-5.0, -1.0))[0]) == 0
    assert len(seeds(z, least_m=3.5)[0]) == 0
    assert len(seeds(z)[0]) > 0


@pytest.mark.parametrize("cut", [(10, 0), (3, 17), (40, 40)])
def test_seeds_are_those_of_the_place_whatever_the_cut(rng, cut):
    """Squares lie on the absolute lattice: a part of the grid has the seeds of the whole."""
    y, x = np.mgrid[0:200, 0:200]
    z = np.cumsum(np.cumsum(rng.normal(size=(200, 200)), axis=0), axis=1) * 0.004 - 12
    z += np.where((x + y) % 60 < 30, 1.5, 0.0)
    whole, part = seeds(z, origin=(-7, 3)), seeds(z[cut[0] :, cut[1] :], origin=(-7 + cut[0], 3 + cut[1]))
    first = (cut[0] + EDGE + 2 + 2 * SIDE, cut[1] + EDGE + 2 + 2 * SIDE)
    inside = (whole[0] >= first[0]) & (whole[1] >= first[1])
    r, c = part[0] + cut[0], part[1] + cut[1]
    held = (r >= first[0]) & (c >= first[1])
    assert inside.sum() > 20
    for name, a, b in (("row", whole[0], r), ("col", whole[1], c), ("way", whole[2], part[2])):
        assert_array_equal(a[inside], b[held], err_msg=name)
