"""What a survey does to a seabed: noise, seams, ripple, spikes, gaps, and old coarse data made fine."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, zoom

Grid = NDArray[np.float64]


def fractal(rng: np.random.Generator, side: int, *, power: float, cell_m: float, outer_m: float) -> Grid:
    """Random ground of unit spread whose 2-D power falls as wavenumber^-power below the outer scale (Hurst = power / 2 - 1)."""
    k = np.hypot(np.fft.fftfreq(side, cell_m)[:, None], np.fft.rfftfreq(side, cell_m)[None, :])
    amplitude = (k**2 + (1 / outer_m) ** 2) ** (-power / 4)
    amplitude[0, 0] = 0
    z = np.fft.irfft2(np.fft.rfft2(rng.standard_normal((side, side))) * amplitude, s=(side, side))
    return np.asarray((z - z.mean()) / z.std())


def correlated(rng: np.random.Generator, shape: tuple[int, int], cells: float) -> Grid:
    """Noise of unit spread with a correlation length in cells (0: white)."""
    z = rng.standard_normal(shape)
    if cells > 0:
        z = gaussian_filter(z, cells, mode="wrap")
        z /= z.std()
    return z


def coarsen(elev: Grid, factor: int) -> Grid:
    """Keep one value in ``factor`` x ``factor`` (the mean of the middle four; factor even) and fill in between with a cubic, as a gridding program would."""
    side = elev.shape[0]
    a, b = factor // 2 - 1, factor // 2
    rows = 0.5 * (elev[a::factor] + elev[b::factor])
    small = 0.5 * (rows[:, a::factor] + rows[:, b::factor])
    return np.asarray(zoom(small, side / small.shape[0], order=3, mode="nearest", grid_mode=True))[
        :side, :side
    ]


def seams(rng: np.random.Generator, x: Grid, y: Grid, *, size_m: float) -> Grid:
    """Survey lines side by side, each off by a constant: steps of up to ``size_m`` along straight seams."""
    bearing = rng.uniform(0, np.pi)
    across = x * np.cos(bearing) - y * np.sin(bearing)
    swath = np.floor((across - across.min()) / rng.uniform(60, 140)).astype(int)
    return np.asarray(rng.uniform(-size_m / 2, size_m / 2, swath.max() + 1)[swath])


def ripple(rng: np.random.Generator, x: Grid, y: Grid, *, height_m: float) -> Grid:
    """What heave leaves along track: bands across the boat's course, a few metres to tens of metres apart."""
    bearing = rng.uniform(0, np.pi)
    along = x * np.sin(bearing) + y * np.cos(bearing)
    return np.asarray(0.5 * height_m * np.sin(2 * np.pi * along / rng.uniform(9, 22)))


def spikes(rng: np.random.Generator, elev: Grid, *, share: float) -> Grid:
    """Isolated wrong cells, 1 to 4 m up or down; a few in pairs."""
    out = elev.copy()
    n = int(share * elev.size)
    r, c = rng.integers(1, elev.shape[0] - 1, n), rng.integers(1, elev.shape[1] - 1, n)
    size = rng.uniform(1, 4, n) * rng.choice([-1, 1], n)
    out[r, c] += size
    pair = rng.random(n) < 0.1
    out[r[pair], c[pair] + 1] += size[pair]
    return out


def gaps(
    rng: np.random.Generator, shape: tuple[int, int], cell_m: float, *, share: float
) -> NDArray[np.bool_]:
    """Holes in coverage: ragged blobs, and single lost cells."""
    blob = gaussian_filter(rng.standard_normal(shape), 12 / cell_m, mode="wrap")
    hole = blob > np.quantile(blob, 1 - share)
    return np.asarray(hole | (rng.random(shape) < 0.002))
