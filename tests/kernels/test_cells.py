"""Stored numbers to millimetres, and one lattice read off another, against numpy and scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from reefscan.base.model import NODATA_MM, to_mm
from reefscan.kernels.cells import whole_mm
from reefscan.kernels.sampling import NODE_STEP, sample, spread_of


@pytest.mark.parametrize("dtype", ["float32", "float64", "int16", "int32", "uint8"])
def test_millimetres_are_those_of_numpy(dtype: str, rng: np.random.Generator) -> None:
    raw = (rng.normal(scale=40, size=(50, 60)) + 60).clip(0, 250).astype(dtype)
    expected = np.rint(raw.astype(np.float64) * -304.8 + 12.5).astype(np.int32)
    np.testing.assert_array_equal(whole_mm(raw, factor=-304.8, add_mm=12.5), expected)


def test_halves_go_to_the_even_neighbour() -> None:
    raw = np.array([[0.0005, 0.0015, -0.0005, -0.0025]])
    np.testing.assert_array_equal(whole_mm(raw, factor=1000.0), [[0, 2, 0, -2]])


def test_metres_agree_with_the_model(rng: np.random.Generator) -> None:
    raw = rng.normal(scale=4000, size=(80, 80))
    raw[3] = np.nan
    raw[4] = np.inf
    raw[5] = 13_000.0
    np.testing.assert_array_equal(whole_mm(raw, factor=1000.0), to_mm(raw))


def test_every_listed_value_is_unknown_in_the_precision_of_the_file() -> None:
    values = (0.1, -3.4028234663852886e38, 7.0, 8.0, 9.0, 10.0, 11.0)
    raw = np.array([[*values, 12.0]], dtype=np.float32)
    got = whole_mm(raw, factor=1000.0, unknown=values)
    np.testing.assert_array_equal(got, [[NODATA_MM] * 7 + [12000]])


def nodes(rows: np.ndarray, cols: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    r, c = np.meshgrid(rows, cols, indexing="ij")
    return np.ascontiguousarray(r), np.ascontiguousarray(c)


def test_a_lattice_read_off_another_is_scipys_bilinear(rng: np.random.Generator) -> None:
    src = rng.integers(-40_000, 0, size=(90, 110)).astype(np.int32)
    # 0.7 source cells a target cell, from (3.3, 5.6)
    at = np.arange(7.0) * NODE_STEP * 0.7
    node_rows, node_cols = nodes(3.3 + at, 5.6 + at)
    out = np.empty((80, 80), dtype=np.int32)
    sample(src, 0, 0, node_rows, node_cols, 4, 9, NODE_STEP, *spread_of(node_rows, node_cols, NODE_STEP), out)
    rows, cols = 3.3 + 0.7 * (4 + np.arange(80.0)), 5.6 + 0.7 * (9 + np.arange(80.0))
    expected = ndimage.map_coordinates(src.astype(float), np.meshgrid(rows, cols, indexing="ij"), order=1)
    np.testing.assert_allclose(out, expected, rtol=0, atol=0.5 + 1e-6)


def test_a_cell_is_known_where_the_nearest_source_cell_is(rng: np.random.Generator) -> None:
    src = rng.integers(-40_000, 0, size=(40, 40)).astype(np.int32)
    src[rng.random(src.shape) < 0.3] = NODATA_MM
    at = np.arange(4.0) * NODE_STEP * 0.9
    node_rows, node_cols = nodes(0.31 + at, 0.17 + at)
    out = np.empty((40, 40), dtype=np.int32)
    sample(src, 0, 0, node_rows, node_cols, 0, 0, NODE_STEP, *spread_of(node_rows, node_cols, NODE_STEP), out)
    r = np.rint(0.31 + 0.9 * np.arange(40.0)).astype(int)
    c = np.rint(0.17 + 0.9 * np.arange(40.0)).astype(int)
    np.testing.assert_array_equal(out != NODATA_MM, src[np.ix_(r, c)] != NODATA_MM)
    known = out[out != NODATA_MM]
    assert known.min() >= src[src != NODATA_MM].min()
    assert known.max() <= src.max()


def test_outside_the_source_and_where_it_has_no_place_nothing_is_known() -> None:
    src = np.zeros((10, 10), dtype=np.int32)
    node_rows, node_cols = nodes(np.array([-8.0, 8.0]), np.array([0.0, 16.0]))
    out = np.empty((16, 16), dtype=np.int32)
    sample(src, 0, 0, node_rows, node_cols, 0, 0, NODE_STEP, *spread_of(node_rows, node_cols, NODE_STEP), out)
    expected = np.zeros((16, 16), dtype=bool)
    expected[8:, :10] = True  # rows -8 to 7, columns 0 to 15: those inside -0.5 to 9.5
    np.testing.assert_array_equal(out == 0, expected)
    node_rows[0, 0] = np.nan
    sample(src, 0, 0, node_rows, node_cols, 0, 0, NODE_STEP, *spread_of(node_rows, node_cols, NODE_STEP), out)
    assert (out[:, :15] == NODATA_MM).all()


def read_off(
    src: np.ndarray, ratio_r: float, ratio_c: float, size: tuple[int, int]
) -> tuple[np.ndarray, ...]:
    """Every cell of a lattice of so many source cells a cell, and the source positions."""
    rows = 20.3 + np.arange(size[0] // NODE_STEP + 2) * NODE_STEP * ratio_r
    cols = 30.6 + np.arange(size[1] // NODE_STEP + 2) * NODE_STEP * ratio_c
    node_rows, node_cols = nodes(rows, cols)
    out = np.empty(size, dtype=np.int32)
    sample(src, 0, 0, node_rows, node_cols, 0, 0, NODE_STEP, *spread_of(node_rows, node_cols, NODE_STEP), out)
    return out, 20.3 + ratio_r * np.arange(size[0]), 30.6 + ratio_c * np.arange(size[1])


@pytest.mark.parametrize("ratio", [1.6, 2.92, 5.1])
def test_a_plane_read_off_a_much_finer_lattice_is_that_plane(ratio: float) -> None:
    r, c = np.mgrid[0:140, 0 : int(60 + 96 * ratio)].astype(float)
    src = np.rint(-20_000 + 37.0 * r - 211.0 * c).astype(np.int32)
    out, rows, cols = read_off(src, 1.0, ratio, (90, 96))
    np.testing.assert_allclose(out, -20_000 + 37.0 * rows[:, None] - 211.0 * cols[None, :], atol=1.0)


def test_noise_of_a_much_finer_lattice_is_averaged_as_the_box_says(rng: np.random.Generator) -> None:
    ratio = 2.92
    src = rng.normal(scale=10_000, size=(900, 2700)).round().astype(np.int32)
    out, _, _ = read_off(src, 1.0137, ratio, (800, 864))
    # Rows: linear between two, 2/3 of the variance over all phases. Columns: the integral of the squared kernel, box (b, a
    # target cell) by hat: (b - E|t|) / b^2 with E|t| = 7/15 of the cubic B-spline, for b >= 2 (worked by hand).
    expected = 2 / 3 * (ratio - 7 / 15) / ratio**2
    assert out.astype(float).var() / 10_000**2 == pytest.approx(expected, rel=0.03)


def test_stripes_too_fine_for_the_target_do_not_come_out_as_wide_ones() -> None:
    # 3.1 source columns a stripe, 2.92 a target cell: read at points it beats as a stripe of 50 cells, full height
    c = np.arange(2700)
    src = np.broadcast_to(np.rint(1000 * np.cos(2 * np.pi * c / 3.1)), (60, c.size)).astype(np.int32)
    out, _, _ = read_off(src, 1.0, 2.92, (32, 864))
    # transfer function of box and hat, sinc(b f) sinc(f)^2, at that frequency and its images in the source's samples
    f = 1 / 3.1 + np.arange(-60, 61)
    left = np.abs(np.sinc(2.92 * f) * np.sinc(f) ** 2).sum()
    assert left < 0.2
    assert np.abs(out).max() <= 1000 * left + 2


def test_averaging_sets_in_without_a_jump(rng: np.random.Generator) -> None:
    src = rng.normal(scale=1000, size=(120, 400)).round().astype(np.int32)
    at = np.arange(8.0) * NODE_STEP
    node_rows, node_cols = nodes(20.3 + at, 30.6 + 1.502 * at)
    sides = spread_of(node_rows, node_cols, NODE_STEP)
    assert 0.0 < sides[1].max() < 0.01
    got = []
    for rows, cols in (sides, (np.zeros_like(sides[0]), np.zeros_like(sides[1]))):
        out = np.empty((80, 100), dtype=np.int32)
        sample(src, 0, 0, node_rows, node_cols, 0, 0, NODE_STEP, rows, cols, out)
        got.append(out)
    # a box of side s moves a mean by at most s/4 times the bend at a cell, here 4 sigma = 4000 and then some
    assert np.abs(got[0] - got[1]).max() <= 0.25 * sides[1].max() * 8000 + 1
