"""Seabed to picture: depth tint and hillshade as an RGB array.

The tint is for reading depth at a glance, the shade for seeing shape; both are lightness, so the
shade is kept weak enough that a tint is never mistaken for the next one. The ramp falls
steadily in lightness from shoal to deep, so it reads the same in grey print and with any
colour-blindness; land is the only warm ground colour.

Misleads when: cells are coarse (a step is smeared over its cell), or the vertical stretch
is large on flat ground (noise looks like relief). The stretch chosen is returned for the legend.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.overview import MapGround, block_means

Floats = NDArray[np.float64]

WATER = (
    (0.00, (236, 246, 240)),
    (0.22, (184, 220, 222)),
    (0.45, (124, 182, 204)),
    (0.68, (72, 134, 178)),
    (0.86, (42, 88, 140)),
    (1.00, (22, 44, 92)),
)
"""Ramp stops from shoal to deep: share of the ramp, RGB. Lightness falls all the way."""

LAND = ((0.0, (226, 214, 184)), (0.5, (208, 192, 156)), (1.0, (176, 158, 124)))
UNKNOWN = (240, 240, 238)
UNKNOWN_STRIPE = (222, 222, 219)

SHADES = np.linspace(0.0, 1.0, 1024)
STRIP = 64

LAND_SHADE = 0.4
"""Hills are many times steeper than the seabed the stretch is chosen for; full shade would blacken them."""

LIGHTS = ((315.0, 45.0, 0.5), (270.0, 50.0, 0.25), (0.0, 50.0, 0.25))
"""Azimuth, altitude, share of each light: one light alone hides every ridge that points at it."""


def hillshade(elev: Floats, cell_m: float, *, stretch: float) -> Floats:
    """Brightness of lit ground, 0 to 1, from the usual cosine law with three lights.

    Parameters
    ----------
    elev : ndarray, shape (rows, cols)
        Metres, positive up, rows north to south, NaN unknown.
    cell_m : float
        Cell side, metres.
    stretch : float
        Vertical exaggeration.

    Returns
    -------
    ndarray
        Brightness; flat ground gives the same value everywhere, NaN where unknown.
        Central differences: the halo is one cell; at an edge or a gap the one-sided value is used.
    """
    east, south = _gradient(elev, cell_m)
    dx, dy = east * stretch, -south * stretch  # dy: rise per metre northward
    norm = np.sqrt(1.0 + dx * dx + dy * dy)
    light = np.zeros_like(elev)
    for azimuth, altitude, share in LIGHTS:
        a, h = math.radians(azimuth), math.radians(altitude)
        cosine = (-dx * (math.sin(a) * math.cos(h)) - dy * (math.cos(a) * math.cos(h)) + math.sin(h)) / norm
        light += share * np.clip(cosine, 0.0, 1.0)
    light[np.isnan(elev)] = np.nan
    return light


def _gradient(elev: Floats, cell_m: float) -> tuple[Floats, Floats]:
    """Rise per metre eastward and southward; one-sided beside a gap, 0 where both sides are unknown."""

    def along(axis: int) -> Floats:
        if elev.shape[axis] < 2:
            return np.zeros_like(elev)
        step = np.diff(elev, axis=axis) / cell_m
        pad = np.full_like(np.take(elev, [0], axis=axis), np.nan)
        before = np.concatenate([pad, step], axis=axis)
        after = np.concatenate([step, pad], axis=axis)
        both = (before + after) / 2.0
        one = np.where(np.isnan(before), after, before)
        return np.nan_to_num(np.where(np.isnan(both), one, both))

    return along(1), along(0)


def choose_stretch(elev: Floats, cell_m: float) -> float:
    """Vertical exaggeration that gives the steeper tenth of the seabed a slope of about 25 degrees.

    Between 1 and 12, on a 1-2-3-5 series, so that neighbouring maps agree and flat noise stays flat.
    """
    rows = len(elev)
    # of a large picture every fourth strip: as good for one of six numbers, and a quarter of the time
    parts = [elev] if rows < 8 * STRIP else [elev[i : i + STRIP] for i in range(0, rows, 4 * STRIP)]
    slope = np.concatenate(
        [np.hypot(*_gradient(part, cell_m))[np.isfinite(part) & (part < 0)] for part in parts]
    )
    if slope.size == 0:
        return 1.0
    typical = float(np.quantile(slope, 0.9))
    wanted = 12.0 if typical <= 0 else 0.47 / typical
    series = np.array([1.0, 2.0, 3.0, 5.0, 8.0, 12.0])
    return float(series[np.argmin(np.abs(np.log(series / np.clip(wanted, 1.0, 12.0))))])


def ramp(share: Floats, stops: tuple[tuple[float, tuple[int, int, int]], ...]) -> Floats:
    """RGB (0 to 255) of each share (0 to 1) along the stops, linear between them."""
    at = [s for s, _ in stops]
    return np.stack([np.interp(share, at, [rgb[i] for _, rgb in stops]) for i in range(3)], axis=-1)


def depth_share(depth: Floats, *, band_max_m: float, deepest_m: float) -> Floats:
    """Place a depth on the ramp: the searched depths take two thirds of it, deeper water the rest."""
    if deepest_m <= band_max_m * 1.05:
        return np.clip(depth / max(deepest_m, 0.1), 0.0, 1.0)
    return np.interp(depth, [0.0, band_max_m, deepest_m], [0.0, 0.66, 1.0])


def shaded_relief(
    elev: Floats, cell_m: float, *, band_max_m: float, deepest_m: float, stretch: float, strength: float = 1.0
) -> NDArray[np.uint8]:
    """Depth tint times hillshade, as RGB.

    Parameters
    ----------
    elev : ndarray, shape (rows, cols)
        Metres, positive up, NaN unknown.
    cell_m : float
    band_max_m, deepest_m : float
        Deep end of the searched band and of the map, metres, positive down (see `depth_share`).
    stretch : float
        Vertical exaggeration (see `choose_stretch`).
    strength : float
        0 = tint alone, 1 = full shade.

    Returns
    -------
    ndarray of uint8, shape (rows, cols, 3)
        Unknown cells are pale with a diagonal stripe, so that they never pass for shoal water.
    """
    tint = np.concatenate([ramp(SHADES, WATER), ramp(SHADES, LAND)]).astype(np.float32)
    low = np.float32(sum(share * np.sin(np.radians(alt)) for _, alt, share in LIGHTS))
    rgb = np.empty((*elev.shape, 3), dtype=np.float32)
    for first in range(0, elev.shape[0], STRIP):  # strips stay in the cache: twice as fast as the whole
        last = min(first + STRIP, elev.shape[0])
        halo = elev[max(0, first - 1) : last + 1]
        inner = slice(first - max(0, first - 1), first - max(0, first - 1) + last - first)
        ground = halo[inner]
        dry = ground >= 0.0
        share = np.where(dry, ground / 30.0, depth_share(-ground, band_max_m=band_max_m, deepest_m=deepest_m))
        place = (np.nan_to_num(np.clip(share, 0.0, 1.0)) * (SHADES.size - 1) + 0.5).astype(np.intp)
        colour = tint[place + np.where(dry, SHADES.size, 0)]
        light = hillshade(halo, cell_m, stretch=stretch)[inner].astype(np.float32)
        change = np.clip((light - low) / low, -1.0, 0.35) * np.where(dry, 0.85 * LAND_SHADE, 0.85) * strength
        change = np.nan_to_num(change).astype(np.float32)[..., None]
        rgb[first:last] = np.where(change < 0, colour * (1 + change), colour + (255 - colour) * change)
    rgb = striped(rgb, ~np.isfinite(elev))
    out: NDArray[np.uint8] = np.rint(np.clip(rgb, 0.0, 255.0)).astype(np.uint8)
    return out


def striped(rgb: NDArray[Any], unknown: NDArray[np.bool_]) -> NDArray[Any]:
    """Paint unknown cells pale with a thin diagonal stripe; changes ``rgb`` in place and returns it."""
    rows, cols = np.ogrid[: unknown.shape[0], : unknown.shape[1]]
    rgb[unknown] = UNKNOWN
    rgb[unknown & (((rows + cols) // 3) % 3 == 0)] = UNKNOWN_STRIPE
    return rgb


def enlarged(rgb: NDArray[np.uint8], unknown: NDArray[np.bool_], *, least: int) -> NDArray[np.uint8]:
    """Repeat the cells of a small picture, so that its stripes stay thin and its cells stay square and sharp."""
    times = max(1, least // max(unknown.shape))
    if times == 1:
        return rgb
    big = rgb.repeat(times, axis=0).repeat(times, axis=1)
    mask = unknown.repeat(times, axis=0).repeat(times, axis=1)
    striped(big, mask)
    return big


def thin(elev: Floats, *, most: int) -> tuple[Floats, int]:
    """Block means of the grid with at most ``most`` cells a side, and the whole-cell factor used."""
    factor = max(1, -(-max(elev.shape) // most))
    if factor == 1:
        return np.array(elev, dtype=np.float64), 1
    rows, cols = (-(-n // factor) for n in elev.shape)
    padded = np.full((rows * factor, cols * factor), np.nan)
    padded[: elev.shape[0], : elev.shape[1]] = elev
    return block_means(padded, factor), factor


def smoothed(elev: Floats) -> Floats:
    """Mean over 3 x 3 known cells: contours of a noisy survey as a cartographer would draw them."""
    known = np.isfinite(elev)
    total = np.pad(np.where(known, elev, 0.0), 1)
    count = np.pad(known.astype(float), 1)
    rows, cols = elev.shape
    shifts = [(slice(r, r + rows), slice(c, c + cols)) for r in range(3) for c in range(3)]
    number = sum(count[s] for s in shifts)
    mean = sum(total[s] for s in shifts) / np.maximum(number, 1)
    return np.where(known, mean, np.nan)


def trimmed(ground: MapGround) -> MapGround:
    """Cut to the known cells with a little margin; the whole where nothing is known."""
    known = np.isfinite(ground.elev)
    if not known.any():
        return ground
    rows, cols = np.flatnonzero(known.any(axis=1)), np.flatnonzero(known.any(axis=0))
    margin = max(1, int(0.03 * max(rows[-1] - rows[0], cols[-1] - cols[0])))
    top, left = max(0, int(rows[0]) - margin), max(0, int(cols[0]) - margin)
    return ground.cut(slice(top, int(rows[-1]) + 1 + margin), slice(left, int(cols[-1]) + 1 + margin))


def deepest_tint_m(elev: Floats, band_max_m: float) -> float:
    """Depth (m) at which the tint ends: all but the deepest two hundredth of the water, the searched band if there is none."""
    wet = -elev[np.isfinite(elev) & (elev < 0)]
    return max(float(np.quantile(wet, 0.995)) if wet.size else band_max_m, 0.5)
