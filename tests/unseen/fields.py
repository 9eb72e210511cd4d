"""Random fields: each of unit spread unless said, from a generator that the caller seeds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

Grid = NDArray[np.float64]
Rng = np.random.Generator


def soft(rng: Rng, shape: tuple[int, int], cells: float) -> Grid:
    """Gaussian-filtered white noise of a scale in cells."""
    raw = gaussian_filter(rng.standard_normal(shape), cells, mode="reflect")
    return np.asarray((raw - raw.mean()) / raw.std())


def fractal(rng: Rng, shape: tuple[int, int], *, power: float, outer_cells: float) -> Grid:
    """A surface whose spectral density falls as wavenumber^-power below an outer scale."""
    ky, kx = np.fft.fftfreq(shape[0])[:, None], np.fft.rfftfreq(shape[1])[None]
    k = np.hypot(kx, ky)
    amplitude = np.where(k > 0, np.maximum(k, 1 / outer_cells), 1) ** (-power / 2) * np.minimum(
        1, (k * outer_cells) ** 2
    )
    phase = np.fft.rfft2(rng.standard_normal(shape))
    raw = np.fft.irfft2(phase * amplitude, s=shape)
    return np.asarray((raw - raw.mean()) / raw.std())


def patches(rng: Rng, shape: tuple[int, int], cells: float, share: float, edge: float = 0.25) -> Grid:
    """0..1, about ``share`` of the area at 1, soft-edged blobs of a scale in cells."""
    field = soft(rng, shape, cells)
    cut = np.quantile(field, 1 - share)
    return np.asarray(np.clip((field - cut) / edge + 0.5, 0, 1))


def smoothstep(t: Grid) -> Grid:
    """Half a cosine from 0 to 1 over 0..1."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * np.clip(t, 0, 1)))
