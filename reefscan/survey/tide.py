"""Height of the tide at any moment, from a table of high and low water or from a series.

Between a high and a low water the tide follows half a cosine, the construction behind printed
height tables (NOAA tide tables, table 3): good to a few hundredths of the range on a regular tide,
worse where shallow water or a strong daily inequality bends the curve. A series is interpolated by
cubic spline. Outside the table, or across a gap in it, there is no height: NaN, never a guess.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from reefscan.base.errors import InputError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class TideTable:
    """Times and heights, as read.

    Parameters
    ----------
    time : ndarray of float
        Seconds since 1970 UTC, rising.
    height : ndarray of float
        Metres above the datum.
    turning : bool
        True for high and low waters, False for a time series.
    gap_s : float
        Longest step that is bridged.
    zoned : bool
        Whether the file itself says in which zone its times are.
    """

    time: Floats
    height: Floats
    turning: bool
    gap_s: float
    zoned: bool = True

    def at(self, when: Floats) -> Floats:
        """Height (m) at given times (s); NaN outside the table and in its gaps."""
        out = np.full(np.shape(when), np.nan)
        cuts = np.flatnonzero(np.diff(self.time) > self.gap_s) + 1
        for piece in np.split(np.arange(self.time.size), cuts):
            t, h = self.time[piece], self.height[piece]
            with np.errstate(invalid="ignore"):
                inside = (when >= t[0]) & (when <= t[-1])
            if not inside.any():
                continue
            if t.size == 1:
                out[inside] = h[0]
            elif self.turning:
                out[inside] = cosine(t, h, when[inside])
            elif t.size < 4:
                out[inside] = np.interp(when[inside], t, h)
            else:
                out[inside] = CubicSpline(t, h)(when[inside])
        return out


def cosine(time: Floats, height: Floats, when: Floats) -> Floats:
    """Half-cosine between successive turning points: h1 + (h2-h1)(1-cos(pi (t-t1)/(t2-t1)))/2.

    Parameters
    ----------
    time, height : ndarray of float, shape (m,)
        Turning points, times rising.
    when : ndarray of float
        Times inside the table.
    """
    k = np.clip(np.searchsorted(time, when, side="right"), 1, time.size - 1)
    share = (when - time[k - 1]) / (time[k] - time[k - 1])
    return np.asarray(height[k - 1] + (height[k] - height[k - 1]) * (1.0 - np.cos(np.pi * share)) / 2.0)


def is_high_low(height: Floats) -> bool:
    """True if every inner row is a turning point (higher or lower than both neighbours)."""
    if height.size < 3:
        return height.size == 2
    step = np.diff(height)
    return bool(np.all(step[1:] * step[:-1] < 0))


def make_table(
    time: Floats, height: Floats, *, kind: str = "auto", gap_h: float = 2.5, leg_h: float = 14.0
) -> TideTable:
    """Build a tide table, deciding between turning points and a series where ``kind`` is ``auto``.

    Parameters
    ----------
    time, height : ndarray of float
        As read; sorted here; equal times with equal heights are merged.
    kind : {"auto", "high-low", "series"}
    gap_h, leg_h : float
        Longest step bridged in a series, and between a high and a low water (hours).

    Raises
    ------
    InputError
        Fewer than two rows, two heights for one time, or steps that make no tide.
    """
    good = np.isfinite(time) & np.isfinite(height)
    order = np.argsort(time[good], kind="stable")
    time, height = time[good][order], height[good][order]
    if time.size < 2:
        raise InputError(f"tide table: {time.size} usable row(s); at least two are needed")
    same = np.diff(time) == 0
    if np.any(same & (np.abs(np.diff(height)) > 1e-6)):
        raise InputError(
            "tide table: two heights for one time; is a change of clock inside it? Give it in UTC"
        )
    keep = np.r_[True, ~same]
    time, height = time[keep], height[keep]
    if np.ptp(height) > 20.0:
        raise InputError(
            f"tide table: heights span {np.ptp(height):.1f} m, more than any tide; "
            "is the unit right? Say --tide-unit"
        )
    turning = is_high_low(height) if kind == "auto" else kind == "high-low"
    if kind == "auto" and turning and np.median(np.diff(time)) < 2 * 3600:
        turning = False  # a jagged series of a few rows, not high and low waters
    return TideTable(time, height, turning, 3600.0 * (leg_h if turning else max(gap_h, 0.0)))
