"""Bad cells of a grid that must be sampled are set aside as it is stored: sampled, each would be two to four cells that bear one another out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from rasterio.transform import Affine

import reefscan
from reefscan.base.model import Window
from reefscan.io.grids.rasters import open_grids
from tests.io.seabed import write

ROWS, COLS = 260, 300
PLACES = (
    (30, 40),
    (31, 40),
    *((row, col) for row in range(1, ROWS - 1, 11) for col in range(1, COLS - 1, 13)),
)
"""Two side by side; the rest are at every place with regard to blocks and nodes of the sampling, some beside the grid's edge."""


def stored(*, bad: bool) -> np.ndarray:
    z = -9.0 + 0.002 * np.arange(ROWS)[:, None] + np.random.default_rng(3).normal(0.0, 0.03, (ROWS, COLS))
    for i, (row, col) in enumerate(PLACES if bad else ()):
        z[row, col] += 4.0 if i % 2 or i == 0 else -4.0
    return z


def degrees(folder: Path, z: np.ndarray) -> Path:
    # cells of some 2.2 m at 45 degrees north
    place = Affine(2.8e-5, 0, -59.9, 0, -2.0e-5, 45.1)
    return write(folder / "degrees.tif", z.astype("f4"), crs="EPSG:4326", transform=place)


def test_a_bad_cell_leaves_no_trace_in_the_cells_that_are_sampled(tmp_path: Path) -> None:
    read = []
    for bad in (True, False):
        (source,) = open_grids(degrees(tmp_path, stored(bad=bad)))
        read.append(source.read(source.extent).elev_mm)
    with_bad, without = read
    known = without > -100_000
    assert np.array_equal(known, with_bad > -100_000)
    # the middle of the neighbours stands for it, so what is left is noise
    assert np.abs(with_bad - without)[known].max() < 150


def test_how_the_grid_is_cut_changes_neither_the_cells_nor_what_was_set_aside(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    z = stored(bad=False).astype(float)
    # tips from one cell to several wide: whether the flank goes on outward, two cells away, decides for many
    for row in range(3, ROWS - 3, 7):
        for col in range(3, COLS - 3, 8):
            r, c = np.mgrid[row - 3 : row + 4, col - 3 : col + 4]
            far = np.hypot(r - row, c - col)
            z[r, c] += rng.uniform(1.0, 4.0) * np.exp(
                -((far / rng.uniform(0.4, 1.3)) ** rng.uniform(0.7, 2.0))
            )
    (source,) = open_grids(degrees(tmp_path, z))
    whole, extent = source.read(source.extent).elev_mm, source.extent
    count = 0
    # places are exact at every 16th row and column: there a part reads least beyond itself
    for row in range(extent.row // 16 * 16, extent.row_end, 16):
        for col in range(extent.col // 16 * 16, extent.col_end, 16):
            part = Window(row, col, 16, 16).intersect(extent)
            np.testing.assert_array_equal(source.read(part).elev_mm, whole[part.slices_in(extent)])
            count += source.spikes_in(part)
    assert count == source.spikes_in(extent)
    assert 200 < count < 1200


def test_a_grid_in_degrees_lists_no_bad_cell_and_says_how_many_it_set_aside(tmp_path: Path) -> None:
    run = reefscan.scan(degrees(tmp_path, stored(bad=True)), reefscan.Recipe.default())
    assert run.sites.empty
    assert [
        line for line in run.info["warnings"] if line.startswith(f"{len(PLACES)} lone spikes were set aside")
    ]


def test_cells_that_come_as_stored_are_judged_by_the_scan_alone(tmp_path: Path) -> None:
    (one,) = open_grids(write(tmp_path / "plain.tif", stored(bad=True).astype("f4")))
    assert one.spikes_in(one.extent) == 0
    assert np.ptp(one.read(one.extent).elev_mm) > 7_000


def test_on_cells_that_hold_many_soundings_one_that_stands_up_is_a_rock_in_degrees_too(
    tmp_path: Path,
) -> None:
    z = np.full((60, 60), -9.0)
    z[30, 30] = -5.0
    place = Affine(1.4e-4, 0, -59.9, 0, -1.0e-4, 45.1)  # cells of some 11 m
    (source,) = open_grids(write(tmp_path / "coarse.tif", z.astype("f4"), crs="EPSG:4326", transform=place))
    assert source.read(source.extent).elev_mm.max() > -8000
    assert source.spikes_in(source.extent) == 0
