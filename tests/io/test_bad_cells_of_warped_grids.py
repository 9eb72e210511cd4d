"""Bad cells of a grid that must be sampled are set aside as it is stored: sampled, each would be two to four cells that bear one another out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from rasterio.transform import Affine

import reefscan
from reefscan.io.rasters import open_grids
from reefscan.model import GridSource, Window

from .seabed import write

ROWS, COLS = 260, 300
PLACES = ((30, 40), (31, 40), (77, 200), (128, 127), (129, 256), (200, 90), (258, 150), (140, 298))
"""Two side by side, some on the borders of blocks of 128 and 256, two beside the grid's edge."""


def stored(*, bad: bool) -> np.ndarray:
    z = -9.0 + 0.002 * np.arange(ROWS)[:, None] + np.random.default_rng(3).normal(0.0, 0.03, (ROWS, COLS))
    for i, (row, col) in enumerate(PLACES if bad else ()):
        z[row, col] += 4.0 if i < 5 else -4.0
    return z.astype("f4")


def degrees(folder: Path, *, bad: bool = True) -> Path:
    # cells of some 2.2 m at 45 degrees north
    place = Affine(2.8e-5, 0, -59.9, 0, -2.0e-5, 45.1)
    return write(
        folder / f"{'bad' if bad else 'good'}.tif", stored(bad=bad), crs="EPSG:4326", transform=place
    )


@pytest.fixture
def source(tmp_path: Path) -> GridSource:
    (one,) = open_grids(degrees(tmp_path))
    return one


def test_a_bad_cell_leaves_no_trace_in_the_cells_that_are_sampled(source: GridSource, tmp_path: Path) -> None:
    (good,) = open_grids(degrees(tmp_path, bad=False))
    with_bad, without = source.read(source.extent).elev_mm, good.read(source.extent).elev_mm
    known = without > -100_000
    assert np.array_equal(known, with_bad > -100_000)
    # the middle of the neighbours stands for it, so what is left is noise
    assert np.abs(with_bad - without)[known].max() < 150


def test_how_the_grid_is_cut_changes_neither_the_cells_nor_what_was_set_aside(source: GridSource) -> None:
    whole, extent = source.read(source.extent).elev_mm, source.extent
    count = 0
    for row in range(extent.row - 7, extent.row_end, 41):
        for col in range(extent.col - 5, extent.col_end, 53):
            part = Window(row, col, 41, 53).intersect(extent)
            np.testing.assert_array_equal(source.read(part).elev_mm, whole[part.slices_in(extent)])
            count += source.fliers_in(part)
    assert count == source.fliers_in(extent) == len(PLACES)


def test_a_grid_in_degrees_lists_no_bad_cell_and_says_how_many_it_set_aside(tmp_path: Path) -> None:
    run = reefscan.scan(degrees(tmp_path), reefscan.Recipe.default())
    assert run.sites == []
    assert [line for line in run.info["warnings"] if line.startswith("8 lone spikes were set aside")]


def test_cells_that_come_as_stored_are_judged_by_the_scan_alone(tmp_path: Path) -> None:
    (one,) = open_grids(write(tmp_path / "plain.tif", stored(bad=True)))
    assert one.fliers_in(one.extent) == 0
    assert np.ptp(one.read(one.extent).elev_mm) > 7_000
