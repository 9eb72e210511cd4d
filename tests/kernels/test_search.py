"""The search passes by what cannot reach its floor and reads the same heights as the fields everywhere else."""

from __future__ import annotations

import numpy as np
import pytest

from reefscan.kernels.bounds import square_side, touched
from reefscan.kernels.search import search
from reefscan.kernels.structure import AXES, heights, steps_within, structure_halo
from reefscan.model import NODATA_MM, to_mm

REACH = {"trough_cells": 15.0, "rise_cells": 11.0, "run_cells": 4.0, "ground_cells": 4.0}
EDGE = structure_halo(15.0, 11.0, 4.0, 4.0)
BAND = (-16_000, -6_000)


def ground(
    rng: np.random.Generator, *, shape: tuple[int, int] = (230, 310), grain: float = 0.2
) -> np.ndarray:
    """Ground that looks alike at every scale, with gaps, a cliff out of the band and a slope."""
    wave = np.hypot(np.fft.fftfreq(shape[0])[:, None], np.fft.rfftfreq(shape[1])[None])
    wave[0, 0] = np.inf
    z = np.fft.irfft2(np.fft.rfft2(rng.normal(size=shape)) * wave**-1.8, s=shape)
    z = 1.5 * z / z.std() - 11 + rng.normal(size=shape) * grain + 0.02 * np.arange(shape[1])
    z[:, -40:] -= 60.0
    z[60:75, 90:140] = np.nan
    z[rng.random(shape) < 0.01] = np.nan
    return to_mm(z)


def trough_and_rise(z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    trough, _, rise = heights(z, **REACH)
    in_band = (z >= BAND[0]) & (z <= BAND[1])
    return np.where(in_band, trough, 0), np.where(in_band, rise, 0)


@pytest.mark.parametrize("least", [1, 300, 900, 1800])
@pytest.mark.parametrize("grain", [0.02, 0.3])
def test_the_search_reads_the_fields_numbers_and_loses_none_that_reach_the_floor(
    rng: np.random.Generator, least: int, grain: float
) -> None:
    z = ground(rng, grain=grain)
    (trough, ledge, rise), live, side = search(
        z, **REACH, band_mm=BAND, least_mm=(least, least, least), edge=EDGE
    )
    inner = (slice(EDGE, -EDGE), slice(EDGE, -EDGE))
    field, pile = trough_and_rise(z)
    np.testing.assert_array_equal(trough[inner], np.where(field >= least, field, 0)[inner])
    around = np.full(z.shape, NODATA_MM, np.int32)
    rows, cols = z.shape
    for dr in (-1, 0, 1):
        for dc in (-1, 0, 1):
            part = z[max(0, dr) : rows + min(0, dr), max(0, dc) : cols + min(0, dc)]
            to = around[max(0, -dr) : rows + min(0, -dr), max(0, -dc) : cols + min(0, -dc)]
            np.maximum(to, part, out=to)
    top = z == around
    np.testing.assert_array_equal(rise[inner], np.where(top & (pile >= least), pile, 0)[inner])
    if least < 1000:
        assert (trough[inner] > 0).any()
    # the marks cover every height
    for code, values in enumerate((trough, ledge, rise)):
        r, c = np.nonzero(values)
        assert live[code, (r - EDGE) // side, (c - EDGE) // side].all()
        assert live[code].sum() <= r.size


def test_a_ledge_of_the_search_is_the_ledge_of_the_binomial_mean(rng: np.random.Generator) -> None:
    z = ground(rng, grain=0.05)
    weights = np.outer((1, 2, 1), (1, 2, 1))
    stack = np.stack([np.roll(z.astype(np.int64), (i, j), (0, 1)) for i in (-1, 0, 1) for j in (-1, 0, 1)])
    soft = (np.tensordot(weights.ravel(), stack, 1) + 8) >> 4
    soft = np.where((stack == NODATA_MM).any(axis=0), NODATA_MM, soft).astype(np.int32)
    _, wanted, _ = heights(soft, **REACH)  # which passes by cells that the mean leaves unknown
    in_band = (z >= BAND[0]) & (z <= BAND[1])
    (_, ledge, _), _, _ = search(z, **REACH, band_mm=BAND, least_mm=(500, 500, 500), edge=EDGE)
    inner = (slice(EDGE, -EDGE), slice(EDGE, -EDGE))
    assert (ledge > 0).any()
    seen = np.where(soft != NODATA_MM, ledge, 0)
    np.testing.assert_array_equal(seen[inner], np.where(in_band & (wanted >= 500), wanted, 0)[inner])


@pytest.mark.parametrize("reach", [3.0, 12.5, 25.0, 80.0])
def test_every_cell_of_a_ray_lies_in_a_square_that_is_bounded(reach: float) -> None:
    side, steps = square_side(reach), steps_within(reach)
    offsets, counts = touched(steps, side)
    for axis, (dr, dc) in enumerate(AXES.tolist()):
        for back, sign in enumerate((1, -1)):
            ray = 2 * axis + back
            squares = {tuple(o) for o in offsets[ray, : counts[ray]].tolist()}
            for r in range(0, side, max(1, side // 4)):
                for c in range(side):
                    for k in range(int(steps[axis]) + 1):
                        place = ((r + sign * k * dr) // side, (c + sign * k * dc) // side)
                        assert place in squares


def test_a_long_reach_gives_the_same_numbers(rng: np.random.Generator) -> None:
    z = ground(rng, shape=(420, 400))
    far = {"trough_cells": 90.0, "rise_cells": 70.0, "run_cells": 12.0, "ground_cells": 20.0}
    edge = structure_halo(*far.values())
    (trough, _, _), _, side = search(z, **far, band_mm=BAND, least_mm=(800, 800, 800), edge=edge)
    assert side > 8
    field = np.where((z >= BAND[0]) & (z <= BAND[1]), heights(z, **far)[0], 0)
    inner = (slice(edge, -edge), slice(edge, -edge))
    np.testing.assert_array_equal(trough[inner], np.where(field >= 800, field, 0)[inner])


def test_too_narrow_an_edge_is_refused() -> None:
    with pytest.raises(ValueError, match="edge"):
        search(np.zeros((99, 99), np.int32), **REACH, band_mm=BAND, least_mm=(1, 1, 1), edge=EDGE - 1)
