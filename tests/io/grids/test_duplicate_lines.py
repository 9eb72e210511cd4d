"""Lines that only repeat their neighbours, planted in seabeds of known numbers, and ground that repeats by nature."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import rasterio

from reefscan.base.model import NODATA_MM, Window
from reefscan.io.grids import duplicate_lines
from reefscan.io.grids.rasters import open_grids
from tests.io.seabed import write


def ground(rows: int = 120, cols: int = 150, seed: int = 3) -> np.ndarray:
    """A slope of 0.3 m a row with a roughness of 0.1 m, in whole centimetres."""
    r = np.arange(rows)[:, None]
    return np.round(-10.0 - 0.3 * r + np.random.default_rng(seed).normal(scale=0.1, size=(rows, cols)), 2)


def joined(z: np.ndarray, at: int, lines: int = 6) -> np.ndarray:
    """Pad the ground on both sides of a joint at row ``at`` with copies: the last row before, the first after."""
    z = z.copy()
    z[at - lines : at] = z[at - lines]
    z[at : at + lines] = z[at + lines - 1]
    return z


def test_copied_bands_on_both_sides_of_a_joint_are_found_to_the_row() -> None:
    rows, columns = duplicate_lines.in_whole(joined(ground(), 60))
    assert rows == ((54, 0, 66, 150),)
    assert columns == ()


def test_copied_columns_are_found_as_rows_are() -> None:
    rows, columns = duplicate_lines.in_whole(joined(ground(150, 120), 60).T.copy())
    assert rows == ()
    assert columns == ((0, 54, 120, 66),)


def test_a_band_over_a_part_of_the_width_is_found_there_and_an_odd_cell_does_not_save_it() -> None:
    z = ground()
    z[60:66, 20:90] = z[60, 20:90]
    z[63, 50] += 0.05
    rows, _ = duplicate_lines.in_whole(z)
    assert rows == ((60, 20, 66, 90),)


@pytest.mark.parametrize(
    "z",
    [
        # constant along a row to the last cell: every column repeats
        np.round(-10.0 - 0.3 * np.arange(120.0)[:, None] + np.zeros((1, 150)), 2),
        # dips along rows: every row repeats
        np.round(-10.0 - 0.3 * np.arange(150.0)[None, :] + np.zeros((120, 1)), 2),
        # the same with a step across, so that runs end in it
        -10.0 - 0.3 * np.arange(150.0)[None, :] - 2.0 * (np.arange(120)[:, None] // 10),
        # a coarse grid on finer cells
        np.kron(ground(30, 38), np.ones((4, 4))),
        # a swell so long that rows over its crest are alike in whole centimetres
        np.round(-10.0 + 2.0 * np.cos((np.arange(120)[:, None] - 60) / 60.0) + 0.05 * np.arange(150)[None, :], 2),
        # a flat floor below a slope
        np.maximum(ground(), -20.0),
        # two repeats only
        np.concatenate([ground()[:60], np.repeat(ground()[60:61], 2, axis=0), ground()[60:]]),
    ],
    ids=["plane-down", "plane-along", "steps", "coarse", "swell", "floor", "two"],
)  # fmt: skip
def test_ground_that_repeats_by_nature_is_left_alone(z: np.ndarray) -> None:
    assert duplicate_lines.in_whole(z) == ((), ())
    assert duplicate_lines.in_whole(np.ascontiguousarray(z.T)) == ((), ())


def test_a_joint_is_unknown_however_the_file_is_cut_and_is_told(tmp_path: Path) -> None:
    z = joined(ground(), 60)
    (sheet,) = open_grids(write(tmp_path / "a.tif", z))
    assert any("12 rows (55-66) inside it only repeat" in note for note in sheet.notes)
    e = sheet.extent
    elev = sheet.read(e).elev_mm
    assert ((elev == NODATA_MM).all(axis=1) == ((np.arange(120) >= 54) & (np.arange(120) < 66))).all()
    np.testing.assert_array_equal(elev[:54], np.rint(z[:54] * 1000))
    part = sheet.read(Window(e.row + 57, e.col + 30, 20, 40)).elev_mm
    np.testing.assert_array_equal(part, elev[57:77, 30:70])


@pytest.mark.parametrize("turned", [False, True])
def test_a_file_too_large_to_look_at_whole_is_looked_at_in_a_strip(tmp_path: Path, turned: bool) -> None:
    z = joined(ground(1500, 700), 901)
    path = write(tmp_path / "a.tif", z.T.copy() if turned else z)
    tiled = tmp_path / "b.tif"
    with rasterio.open(path) as src:
        profile = {**src.profile, "tiled": True, "blockxsize": 256, "blockysize": 256}
        with rasterio.open(tiled, "w", **profile) as out:
            out.write(src.read())
    (sheet,) = open_grids(tiled)
    elev = sheet.read(sheet.extent).elev_mm
    unknown = (elev.T if turned else elev) == NODATA_MM
    assert (np.flatnonzero(unknown.all(axis=1)) == np.arange(895, 907)).all()
    assert unknown.sum() == 12 * 700


def test_no_more_is_read_than_the_stated_cells_and_the_bands_found() -> None:
    z = joined(ground(3000, 2000), 901)
    read = 0

    def counted(row: int, col: int, height: int, width: int) -> np.ndarray:
        nonlocal read
        read += height * width
        return z[row : row + height, col : col + width]

    rows, columns = duplicate_lines.in_strips(counted, (0, 0, 3000, 2000), (256, 256))
    assert rows == ((895, 0, 907, 2000),)
    assert columns == ()
    assert read < 256 * 5000 + 50 * 2000
    # stored by whole rows, a strip from top to bottom would decode all of it
    assert duplicate_lines.in_strips(counted, (0, 0, 3000, 2000), (1, 2000))[0] == ()


def test_an_odd_cell_in_a_padded_edge_does_not_save_it_but_one_line_must_be_whole() -> None:
    z = ground()
    z[:10] = z[10]
    z[4, 77] += 0.01
    assert duplicate_lines.repeated_edge([z[:48]]) == 10
    one = ground()
    one[0] = one[1]
    assert duplicate_lines.repeated_edge([one[:48]]) == 1
    one[0, 3] += 0.01
    assert duplicate_lines.repeated_edge([one[:48]]) == 0


def test_unknown_cells_at_an_edge_do_not_count_as_alike() -> None:
    z = ground(120, 1000)
    z[:, 40:] = np.nan
    assert duplicate_lines.repeated_edge([z[:48]]) == 0
