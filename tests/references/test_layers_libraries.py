"""Terrain layers against two independent libraries and naive sums, on rough ground with holes."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from numpy.lib.stride_tricks import sliding_window_view
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM, to_metres, to_mm
from reefscan.kernels.layers import gradient, position, relief, rugosity
from tests.surfaces import fractal

CELL_M = 2.0


def rough(rng: np.random.Generator, side: int, holes: bool) -> NDArray[np.int32]:
    """Fractal-like ground about 15 m down; with holes, a blot and single cells are unknown."""
    mm = to_mm(fractal(rng, side, side, power=1.6) * 4.0 - 15.0)
    if holes:
        mm[rng.random(mm.shape) < 0.004] = NODATA_MM
        mm[side // 3 : side // 2, side // 4 : side // 3] = NODATA_MM
    return mm


@pytest.fixture
def ground(rng: np.random.Generator) -> NDArray[np.int32]:
    return rough(rng, 160, holes=True)


def inner(values: NDArray[np.floating], cells: int) -> NDArray[np.floating]:
    return values[cells:-cells, cells:-cells]


@pytest.mark.parametrize(
    ("attribute", "mine"),
    [
        ("slope", gradient.slope_deg),
        ("terrain_ruggedness_index", gradient.tri_riley_m),
        ("rugosity", rugosity.surface_ratio),
    ],
)
def test_xdem_agrees(attribute: str, mine: object, ground: NDArray[np.int32]) -> None:
    xdem = pytest.importorskip("xdem")
    options = {"slope": {"surface_fit": "Horn"}, "terrain_ruggedness_index": {"tri_method": "Riley"}}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = xdem.terrain.get_terrain_attribute(
            to_metres(ground), attribute, resolution=CELL_M, **options.get(attribute, {})
        )
    ours = mine(ground, CELL_M)  # type: ignore[operator]
    assert np.isfinite(ours).sum() > 10_000
    # An unknown cell in the middle does not enter Horn's sums: theirs is known there, ours is not.
    both = np.isfinite(ours) & np.isfinite(theirs)
    assert both.sum() == np.isfinite(ours).sum()
    assert_allclose(ours[both], theirs[both], rtol=2e-6, atol=2e-5)


@pytest.mark.parametrize(("theirs", "mine"), [("slope", gradient.slope_deg), ("aspect", gradient.aspect_deg)])
def test_xarray_spatial_agrees(theirs: str, mine: object, ground: NDArray[np.int32]) -> None:
    xrspatial = pytest.importorskip("xrspatial")
    xarray = pytest.importorskip("xarray")
    raster = xarray.DataArray(to_metres(ground), dims=("y", "x"), attrs={"res": (CELL_M, CELL_M)})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        values = getattr(xrspatial, theirs)(raster).values.astype(np.float64)
    ours = mine(ground, CELL_M).astype(np.float64)  # type: ignore[operator]
    both = np.isfinite(ours)
    assert both.sum() > 10_000
    difference = (ours[both] - values[both] + 180.0) % 360.0 - 180.0
    if theirs == "aspect":  # theirs is worked in float32: on level ground the direction is its rounding
        difference *= np.tan(np.radians(gradient.slope_deg(ground, CELL_M)[both]))
    assert_allclose(difference, 0.0, atol=1e-4)


@pytest.mark.parametrize("n", [3, 7])
def test_ruggedness_equals_a_plain_sum_of_unit_vectors(n: int, ground: NDArray[np.int32]) -> None:
    z = to_metres(ground)
    east = sum(w * (z[1 + i : 159 + i, 2:] - z[1 + i : 159 + i, :-2]) for i, w in ((-1, 1), (0, 2), (1, 1)))
    south = sum(w * (z[2:, 1 + j : 159 + j] - z[:-2, 1 + j : 159 + j]) for j, w in ((-1, 1), (0, 2), (1, 1)))
    p, q = east / (8 * CELL_M) + 0 * inner(z, 1), south / (8 * CELL_M)
    normal = np.stack([p, q, np.ones_like(p)]) / np.sqrt(1 + p * p + q * q)
    windows = sliding_window_view(normal, (n, n), axis=(1, 2))
    known = np.isfinite(windows[2]).sum(axis=(-1, -2))
    total = np.sqrt((np.nansum(windows, axis=(-1, -2)) ** 2).sum(axis=0))
    expected = 1.0 - total / np.maximum(known, 1)
    expected[(2 * known < n * n) | ~np.isfinite(inner(normal[2], n // 2))] = np.nan
    seen = inner(rugosity.vrm(ground, CELL_M, n), n // 2 + 1)
    assert_allclose(seen, expected, rtol=1e-6, atol=3e-8)
    assert np.nanmax(seen) > 1e-3


def disc(radius: float) -> NDArray[np.float64]:
    reach = int(radius)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    return np.hypot(x, y)


def naive_bpi(mm: NDArray[np.int32], inner_cells: float, outer_cells: float) -> NDArray[np.float64]:
    """Sum the annulus by convolution (FFT in float64, sums rounded back to the whole numbers they are)."""
    from scipy.signal import fftconvolve

    distance = disc(outer_cells)
    ring = ((distance >= inner_cells - 1e-9) & (distance <= outer_cells + 1e-9)).astype(np.float64)
    known = mm != NODATA_MM
    heights = np.where(known, mm, 0).astype(np.float64)
    total = np.rint(fftconvolve(heights, ring, "same"))
    count = np.rint(fftconvolve(known.astype(np.float64), ring, "same"))
    with np.errstate(invalid="ignore", divide="ignore"):
        out = (heights - total / count) / 1000.0
    out[~known | (count < 0.5 * ring.sum())] = np.nan
    return np.asarray(out)


@pytest.mark.parametrize("annulus", [(1.0, 3.0), (3.0, 25.0), (2.5, 31.9)])
def test_a_near_bpi_is_the_plain_convolution(annulus: tuple[float, float], ground: NDArray[np.int32]) -> None:
    assert_allclose(position.bpi(ground, *annulus, 0, 0), naive_bpi(ground, *annulus), atol=2e-7)


@pytest.mark.parametrize("annulus", [(3.0, 40.0), (25.0, 125.0), (40.0, 150.0)])
def test_a_far_bpi_is_the_plain_convolution_within_a_hundredth_of_its_spread(
    annulus: tuple[float, float], rng: np.random.Generator
) -> None:
    mm = rough(rng, 512, holes=True)
    seen, expected = position.bpi(mm, *annulus, 31, -777), naive_bpi(mm, *annulus)
    both = np.isfinite(seen) & np.isfinite(expected)
    assert both.mean() > 0.8
    # Only cells whose coverage is within rounding of one half may be known to one and not the other.
    assert (np.isfinite(seen) != np.isfinite(expected)).mean() < 2e-3
    miss = (seen - expected)[both]
    assert np.sqrt(np.mean(miss**2)) < 0.01 * np.std(expected[both])


@pytest.mark.parametrize("radius", [1.0, 3.0, 5.5, 12.0])
def test_a_small_relief_is_the_highest_less_the_lowest_in_the_disc(
    radius: float, ground: NDArray[np.int32]
) -> None:
    from scipy import ndimage

    footprint = disc(radius) <= radius + 1e-9
    known = ground != NODATA_MM
    high = ndimage.maximum_filter(
        np.where(known, ground, -(2**30)), footprint=footprint, mode="constant", cval=-(2**30)
    )
    low = ndimage.minimum_filter(
        np.where(known, ground, 2**30), footprint=footprint, mode="constant", cval=2**30
    )
    expected = np.where(known, (high - low) / 1000.0, np.nan)
    assert_allclose(relief.relief(ground, radius), expected, rtol=1e-6)


@pytest.mark.parametrize("radius", [12.5, 20.0, 25.0, 60.0])
def test_a_large_relief_looks_as_far_as_the_disc_within_a_tenth(radius: float) -> None:
    # One high cell: relief shows the window's own shape (seen through its mirror image, the same).
    side = 2 * int(1.2 * radius) + 11
    spike = np.zeros((side, side), np.int32)
    spike[side // 2, side // 2] = 1000
    seen = relief.relief(spike, radius) == 1.0
    y, x = np.mgrid[:side, :side] - side // 2
    distance = np.hypot(x, y)
    assert seen[distance <= 0.9 * radius - 0.5].all()
    assert not seen[distance > 1.1 * radius + 0.5].any()
    assert_allclose(seen.sum(), np.pi * radius**2, rtol=0.05)


@pytest.mark.parametrize("radius", [5.0, 12.5, 40.0])
def test_relief_of_a_plane_is_its_gradient_across_the_window(radius: float) -> None:
    x = np.arange(201)
    plane = np.repeat((x * 100).astype(np.int32)[None], 201, axis=0)
    assert_allclose(relief.relief(plane, radius)[100, 100], 2 * radius * 0.1, rtol=0.07)


@pytest.mark.parametrize(("annulus", "share"), [((3.0, 25.0), 1e-6), ((25.0, 125.0), 0.02)])
def test_the_index_of_a_candidate_is_that_of_the_layer(
    annulus: tuple[float, float], share: float, rng: np.random.Generator
) -> None:
    from reefscan.kernels.measure.ground_at import position_index, row_sums

    mm = rough(rng, 400, holes=True)
    layer = position.bpi(mm, *annulus, -60, 91)
    places = rng.integers(100, 300, (200, 2))
    none, kept = row_sums(mm, False), row_sums(mm, True)
    points = [position_index(mm, none, int(r), int(c), *annulus) for r, c in places]
    summed = [position_index(mm, kept, int(r), int(c), *annulus) for r, c in places]
    np.testing.assert_array_equal(summed, points)
    at = layer[places[:, 0], places[:, 1]]
    known = np.isfinite(at)
    assert known.sum() > 150
    assert_allclose(np.array(points)[known], at[known], rtol=0, atol=share * np.nanstd(layer))
