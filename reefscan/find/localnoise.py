"""The survey's noise at each station, and the uncertainty of a height that it leaves.

From `reefscan.kernels.evidence.noise`: how large the noise of one cell is, how far it goes together, and so how
much of it the mean of parallel lines keeps. Everything is read off the grid itself, so a grid without an
uncertainty band has its noise known too, and a band that is wrong does not mislead by as much.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import Window
from reefscan.base.ramp import ramp
from reefscan.kernels.evidence import between, interval, noise, rounding
from reefscan.kernels.measure.profiles import spread_of_lines

Floats = NDArray[np.float64]

UNKNOWN_M = 0.05
"""Noise where too few cells are known to tell it (a guess: a good multibeam survey's)."""

REACH_M = 32.0
"""Longest lag looked at: beyond it the bends of the bottom itself would be taken for noise."""

LEVELS_OFF = (1.2, 1.5)
"""Growth of the second difference from one lag to twice it: up to the first it has levelled off and is noise,
from the second on it is the ground's own. Ground that looks alike at every scale grows by 2^H each time, by 1.5 for a Hurst
exponent of 0.6; noise stops growing at the lag over which it goes together (planted seabeds)."""

FILLED = (0.25, 0.75)
"""Share of a square's cells that do not answer to their neighbours up to which it was surveyed, and from which on it was filled in (a guess)."""

DRAWN = ((0.65, 0.57), (0.5, 0.44))
"""Least over greatest bend of all headings, and how often the bend changes its sign along that of the least, down to which ground was
surveyed, and from which on it was drawn between tracks: both must say so. Tracks 12 to 40 m apart drawn by straight planes or cubics gave
.20 to .67 and .01 to .50, strata and low ridges that were surveyed .29 to .86 and .37 to .69 (nineteen squares of twenty, tuning seeds)."""

ALIKE = 0.3
"""A square whose share of interpolated cells differs by more is other ground and says nothing of this one's noise."""


@dataclass(frozen=True)
class LocalNoise:
    """Noise at each of n stations.

    Attributes
    ----------
    cell_m : ndarray, shape (n,)
        Standard deviation of one cell, metres: what goes together over some cells included.
    together : ndarray, shape (n, len(LAGS) + 1)
        Correlation of the noise of two cells at lags 0 and `noise.LAGS` cells, 1 to 0.
    interpolated : ndarray, shape (n,)
        0 surveyed at the cell's own size, 1 interpolated from farther apart.
    step_m : ndarray, shape (n,)
        Step in which depths come, metres: rounded to it, or terraced from contours; 0 if they do not.
    interval_m : ndarray, shape (n,)
        Width of the cells of a coarser grid that the cells only repeat, metres; 0 where they are the ground's own.
    """

    cell_m: Floats
    together: Floats
    interpolated: Floats
    step_m: Floats
    interval_m: Floats

    @classmethod
    def none(cls, n: int) -> LocalNoise:
        """Of n stations on ground that was seen without any."""
        still = np.zeros(n)
        return cls(still, np.tile(np.eye(1, len(noise.LAGS) + 1), (n, 1)), still, still, still)

    def of(self, which: NDArray[np.bool_]) -> LocalNoise:
        """Some of the stations."""
        return LocalNoise(
            self.cell_m[which],
            self.together[which],
            self.interpolated[which],
            self.step_m[which],
            self.interval_m[which],
        )

    def at_lag(self, cells: float) -> Floats:
        """Correlation of two cells this far apart, linear between the lags, nil at twice the longest."""
        lags = np.array([0.0, *noise.LAGS, 2.0 * noise.LAGS[-1]])
        rho = np.column_stack([self.together, np.zeros(len(self.together))])
        k = int(np.clip(np.searchsorted(lags, cells, side="right") - 1, 0, len(lags) - 2))
        part = min(1.0, (cells - lags[k]) / (lags[k + 1] - lags[k]))
        return np.asarray(rho[:, k] + part * (rho[:, k + 1] - rho[:, k]))

    def share_of_lines(self, cell_m: float) -> Floats:
        """Share of a cell's noise left in the mean of a profile's parallel lines, each a bilinear sample.

        The variance of a mean of n readings is their mean covariance. A bilinear sample of white noise, its
        place within the cell at random, keeps (2/3)^2 of the variance (`_shared`); noise that goes together over cells keeps all of it.
        """
        lines, gap = spread_of_lines(cell_m)
        white = 1.0 - self.at_lag(1.0)
        total = lines * (1.0 - white * 5.0 / 9.0)
        for apart in range(1, lines):
            far = apart * gap
            here = self.at_lag(max(1.0, far)) + white * _shared(0.0) * _shared(far)
            total = total + 2.0 * (lines - apart) * here
        return np.asarray(np.sqrt(total) / lines)


def _shared(cells: float) -> float:
    """Covariance of two linear samples of white noise so far apart on one line, their place within a cell at random, by the variance
    of a cell: the cubic B-spline."""
    return 2.0 / 3.0 - cells**2 + 0.5 * cells**3 if cells < 1.0 else max(0.0, 2.0 - cells) ** 3 / 6.0


class GridNoise:
    """Noise of one block of cells, asked for at stations.

    The third lowest of the squares that were surveyed like the station's own is taken, lag by lag, out of
    the nine around: broken rock and structure read as noise, their quieter surroundings tell what the survey itself adds.

    Parameters
    ----------
    elev_mm : ndarray of int32, shape of ``window``
    window : Window
        Place of the array on the absolute lattice; reaches at least `noise.HALO` cells around the stations.
    cell_m : float
    places : sequence of (rows, cols), optional
        Where it will be asked for, positions in the array; nothing is known elsewhere. Everywhere if not given.
    """

    def __init__(
        self,
        elev_mm: NDArray[np.int32],
        window: Window,
        cell_m: float,
        places: Iterable[tuple[NDArray[np.int64], NDArray[np.int64]]] | None = None,
    ) -> None:
        first_row, first_col = window.row // noise.SIDE, window.col // noise.SIDE
        asked: NDArray[np.bool_] | None = None
        if places is not None:
            rows, cols = elev_mm.shape
            last_row, last_col = (window.row + rows - 1) // noise.SIDE, (window.col + cols - 1) // noise.SIDE
            asked = np.zeros((last_row - first_row + 1, last_col - first_col + 1), np.bool_)
            held = asked.copy()
            for r, c in places:
                own_row = (r + window.row) // noise.SIDE - first_row
                own_col = (c + window.col) // noise.SIDE - first_col
                held[own_row, own_col] = True
                for i in (-1, 0, 1):
                    for j in (-1, 0, 1):
                        at_row = np.clip(own_row + i, 0, asked.shape[0] - 1)
                        asked[at_row, np.clip(own_col + j, 0, asked.shape[1] - 1)] = True
        fine, by_lag, smooth = noise.noise_squares(elev_mm, window.row, window.col, asked)
        layers = np.dstack([fine, by_lag.reshape(*fine.shape, -1)])
        self._layers = np.pad(layers, ((1, 1), (1, 1), (0, 0)), constant_values=np.nan)
        self._smooth = np.pad(smooth, 1, constant_values=np.nan)
        every = np.ones(smooth.shape, np.bool_) if asked is None else asked
        self._step = rounding.rounding_squares(elev_mm, window.row, window.col, every)
        # a station's own square alone: half a grid may be coarse, and rounding repeats cells too
        own = (every if places is None else held) & (self._step == 0)
        self._interval = interval.interval_squares(elev_mm, window.row, window.col, own)
        self._between = between.between_squares(elev_mm, window.row, window.col, own)
        self._window, self._cell_m = window, cell_m

    def at(self, rows: NDArray[np.int64], cols: NDArray[np.int64]) -> LocalNoise:
        """Noise at stations (n,), positions in the array."""
        window = self._window
        r = (rows + window.row) // noise.SIDE - window.row // noise.SIDE
        c = (cols + window.col) // noise.SIDE - window.col // noise.SIDE
        around = np.stack([self._layers[r + i, c + j] for i in range(3) for j in range(3)])
        smooth = np.stack([self._smooth[r + i, c + j] for i in range(3) for j in range(3)])
        own = smooth[4]
        around[np.abs(smooth - own) > ALIKE] = np.nan
        interval_m = self._interval[r, c] * self._cell_m
        interpolated = ramp(np.nan_to_num(own, nan=0.0), FILLED)
        interpolated[interval_m > 0] = 1.0
        seen = np.nan_to_num(self._between[r, c], nan=1.0)
        drawn = np.minimum(*(ramp(seen[:, k], ends) for k, ends in enumerate(DRAWN)))
        interpolated = np.maximum(interpolated, drawn)
        return _described(_third(around), interpolated, self._step[r, c], interval_m, self._cell_m)


def _third(around: Floats) -> Floats:
    """Third lowest along the first axis, or the highest of fewer; NaN where none is known."""
    known = np.sort(around, axis=0)  # NaN last
    count = np.isfinite(around).sum(axis=0)
    at = np.clip(np.minimum(2, count - 1), 0, None)
    return np.asarray(np.take_along_axis(known, at[None], axis=0)[0])


def _described(
    quiet: Floats, interpolated: Floats, step_m: Floats, interval_m: Floats, cell_m: float
) -> LocalNoise:
    """Total and correlation from the noise by lag (lag 1 by the operator, then `noise.LAGS`).

    With s2 the variance and q(k) the mean square second difference at lag k over 6 s2, rho(k) solves
    q = (6 - 8 rho + 2 rho(2k)) / 6. ``rho(2k) = rho(k)^3`` closes it: it lies between an exponential
    fall (the square) and a Gaussian one (the fourth power).
    """
    headed = quiet[:, 1:].reshape(len(quiet), len(noise.LAGS), len(noise.WAYS))
    headed[:, [lag > 1 and lag * cell_m > REACH_M for lag in noise.LAGS]] = np.nan
    level = np.fmin.reduce(headed, axis=2)
    level[:, 0] = np.fmin(level[:, 0], quiet[:, 0])
    total = level[:, 0]
    for k in range(1, len(noise.LAGS)):
        # as far as it has stopped growing on every heading it is noise: ground goes on growing, ridges along themselves
        shorter, longer = level[:, k - 1], level[:, k]
        growth = np.fmax.reduce(headed[:, k] / np.maximum(headed[:, k - 1], 1e-6), axis=1)
        believed = ramp(growth, LEVELS_OFF[::-1])
        total = np.fmax(total, believed * np.fmax(shorter, longer) + (1.0 - believed) * total)
    total = np.where(np.isnan(total), UNKNOWN_M, total)
    level = np.where(np.isnan(level), total[:, None], level)
    q = (np.fmax.accumulate(level, axis=1) / np.maximum(total, 1e-6)[:, None]) ** 2
    rho = np.column_stack([np.ones(len(total)), _correlation(np.where(total[:, None] > 0, q, 1.0))])
    return LocalNoise(total, rho, interpolated, step_m, interval_m)


_RHO = np.linspace(0.0, 1.0, 1001)
_Q = 1.0 - (4.0 * _RHO - _RHO**3) / 3.0


def _correlation(q: Floats) -> Floats:
    """Correlation at a lag from the second difference's share of its greatest variance, by table."""
    return np.asarray(np.interp(np.clip(q, 0.0, 1.0), _Q[::-1], _RHO[::-1]))


MISFIT_M = {"trough": 0.03, "ledge": 0.02, "rise": 0.03}
"""Error of a height without any noise, by kind: crests and feet are not sharp (planted seabeds, tuning seeds)."""

TWO_DEPTHS = {"trough": 0.9, "ledge": 1.2, "rise": 1.2}
"""Variance of a height in those of its two depths, by kind: 2 if they were independent; they share some of a noise that
goes together, heights along a line are smoothed along it, and both crests of a trough have to stand as high
(planted seabeds, 140 tuning seeds: the likeliest of what was read against what was planted)."""


FILLED_SHARE = 0.2
"""Uncertainty of a height on ground that was filled in between soundings, as a share of it (planted seabeds interpolated
from cells four times as wide, tuning seeds: .1 to .25)."""


def height_sigma(kind: str, noise_m: Floats, share: Floats) -> Floats:
    """Standard deviation (m) of a measured height by what the grid itself shows.

    Crest and floor each carry what the mean of the lines leaves of the noise, and the form itself is not known
    better than `MISFIT_M`.
    """
    return np.asarray(np.sqrt(TWO_DEPTHS[kind] * (noise_m * share) ** 2 + MISFIT_M[kind] ** 2))


def filled_in(own_m: Floats, height_m: Floats, interpolated: Floats) -> Floats:
    """Standard deviation (m) of a height, with what filling in adds: tops are cut off and feet raised between soundings.

    Parameters
    ----------
    own_m : ndarray
        From `height_sigma`.
    height_m : ndarray
    interpolated : ndarray
        Share of the ground that was filled in, 0 to 1.
    """
    return np.asarray(np.hypot(own_m, FILLED_SHARE * np.maximum(0.0, height_m) * interpolated))


def more_than_rounding(height_m: Floats, step_m: Floats) -> NDArray[np.bool_]:
    """True where a height is more than the rounding of the depths makes by itself."""
    return np.asarray(height_m >= rounding.STEPS * step_m)


def rounded(own_m: Floats, step_m: Floats) -> Floats:
    """Standard deviation (m) of a height, with what the rounding of its two depths adds: each is even over one step."""
    return np.asarray(np.hypot(own_m, step_m / np.sqrt(6.0)))
