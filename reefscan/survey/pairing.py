"""Depths without a position find theirs by time, between the two fixes around them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def interpolate_fixes(
    when: Floats, fix_time: Floats, fix_lon: Floats, fix_lat: Floats, *, gap_s: float
) -> tuple[Floats, Floats]:
    """Position at given times, by linear interpolation between fixes.

    Parameters
    ----------
    when : ndarray of float, shape (n,)
        Times wanted (s).
    fix_time, fix_lon, fix_lat : ndarray of float, shape (m,)
        Fixes; any order; equal times keep the first.
    gap_s : float
        Fixes farther apart than this are not bridged: the position is then NaN. A time within a
        hundredth of a second of a fix takes that fix. Nothing is extrapolated.

    Returns
    -------
    lon, lat : ndarray of float, shape (n,)
        Longitude in [-180, 180); the antimeridian is crossed the short way.
    """
    good = np.isfinite(fix_time) & np.isfinite(fix_lon) & np.isfinite(fix_lat)
    times, first = np.unique(fix_time[good], return_index=True)
    lon, lat = np.full(when.shape, np.nan), np.full(when.shape, np.nan)
    if times.size == 0 or when.size == 0:
        return lon, lat
    flons = np.unwrap(fix_lon[good][first], period=360.0)
    flats = fix_lat[good][first]
    after = np.clip(np.searchsorted(times, when), 1, max(times.size - 1, 1))
    if times.size == 1:
        near = np.abs(when - times[0]) <= 0.01
        lon[near], lat[near] = flons[0], flats[0]
    else:
        t0, t1 = times[after - 1], times[after]
        with np.errstate(invalid="ignore"):
            inside = (when >= t0 - 0.01) & (when <= t1 + 0.01)
            bridged = inside & (t1 - t0 <= gap_s)
            exact = inside & ~bridged & (np.minimum(np.abs(when - t0), np.abs(when - t1)) <= 0.01)
        use = bridged | exact
        share = np.clip((when[use] - t0[use]) / (t1[use] - t0[use]), 0.0, 1.0)
        index = after[use]
        lon[use] = flons[index - 1] + share * (flons[index] - flons[index - 1])
        lat[use] = flats[index - 1] + share * (flats[index] - flats[index - 1])
    return (lon + 180.0) % 360.0 - 180.0, lat
