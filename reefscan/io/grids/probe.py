"""A look at the numbers themselves: sentinels nobody declared, clipped limits, the sign.

The same few windows of a file are read whatever is later asked of it, so that what is found out
does not depend on the area, on the neighbours or on the order of files.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rasterio.windows import Window as RasterWindow

WHOLE_CELLS = 600_000
"""Files up to this size are looked at whole: 7 ms of decoding."""

WINDOW = 256
"""Side of the windows looked at in larger files (nine, spread evenly)."""

SENTINELS = (
    9999.0,
    -9999.0,
    99999.0,
    -99999.0,
    999999.0,
    -999999.0,
    1e6,
    -1e6,
    32767.0,
    -32767.0,
    -32768.0,
    2147483647.0,
    -2147483648.0,
    -2147483647.0,
)
"""Numbers that files use for "unknown" without saying so. Anything beyond 12 km is unknown anyway."""

REPEATED = 10
"""So many cells with one number, far from all others, were not measured (a guess)."""

BELIEVABLE_M = 12_000.0
"""Nothing on Earth is higher or deeper."""


@dataclass(frozen=True)
class Sample:
    """Stored numbers of a band in some windows.

    Parameters
    ----------
    windows : list of ndarray
        As stored, one per window; ``known`` tells which cells count.
    known : list of ndarray of bool
        False for declared nodata, NaN, infinite and masked cells.
    edges : tuple of 4 lists of ndarray of float64
        Strips along the north, west, south and east edge, each turned so that axis 0 runs inward; NaN where unknown.
    whole : bool
        True if ``windows`` is the whole band.
    numbers : callable
        Any part of the band by row, column, height and width; NaN where unknown. Only while the file is open.
    """

    windows: list[NDArray[Any]]
    known: list[NDArray[np.bool_]]
    edges: tuple[list[NDArray[np.float64]], ...]
    whole: bool
    numbers: Callable[[int, int, int, int], NDArray[np.float64]]

    def values(self) -> NDArray[np.float64]:
        """All known numbers, one-dimensional."""
        return np.concatenate(
            [w[k].astype(np.float64) for w, k in zip(self.windows, self.known, strict=True)]
            or [np.empty(0, dtype=np.float64)]
        )


def windows_over(
    width: int,
    height: int,
    focus: tuple[int, int, int, int] | None,
    block: tuple[int, int] = (WINDOW, WINDOW),
) -> list[RasterWindow]:
    """Windows to look at: all of a small raster, else nine of `WINDOW` cells; those in ``focus`` only.

    ``focus`` (row, column, end row, end column) is for rasters over a network, of which only a part
    may be fetched.
    """
    if focus is not None:
        # the one stored block in its middle
        row, col, row_end, col_end = focus
        top = (row + row_end) // 2 // block[0] * block[0]
        left = (col + col_end) // 2 // block[1] * block[1]
        top, left = max(top, row), max(left, col)
        return [
            RasterWindow(left, top, min(block[1], col_end - left, 1024), min(block[0], row_end - top, 1024))
        ]
    if width * height <= WHOLE_CELLS:
        return [RasterWindow(0, 0, width, height)]
    high, wide = min(WINDOW, height), min(WINDOW, width)
    out = []
    for y in (0.1, 0.5, 0.9):
        for x in (0.1, 0.5, 0.9):
            out.append(RasterWindow(int(x * (width - wide)), int(y * (height - high)), wide, high))
    return out


def take(
    dataset: Any,
    band: int,
    focus: tuple[int, int, int, int] | None,
    declared: tuple[float, ...],
    masked: bool,
) -> Sample:
    """Read the sample of a band."""
    windows, known = [], []
    for window in windows_over(dataset.width, dataset.height, focus, dataset.block_shapes[band - 1]):
        raw, good = _read(dataset, band, window, declared, masked)
        windows.append(raw)
        known.append(good)
    whole = focus is None and len(windows) == 1

    def numbers(row: int, col: int, height: int, width: int) -> NDArray[np.float64]:
        if whole:
            part = slice(row, row + height), slice(col, col + width)
            return _with_nan(windows[0][part], known[0][part])
        return _with_nan(*_read(dataset, band, RasterWindow(col, row, width, height), declared, masked))

    edges = _edges(numbers, dataset.width, dataset.height, whole) if focus is None else ([], [], [], [])
    return Sample(windows, known, edges, whole, numbers)


def _read(
    dataset: Any, band: int, window: RasterWindow, declared: tuple[float, ...], masked: bool
) -> tuple[NDArray[Any], NDArray[np.bool_]]:
    raw = dataset.read(band, window=window)
    good = _known(raw, declared)
    if masked:
        good &= dataset.read_masks(band, window=window) != 0
    return raw, good


def _with_nan(raw: NDArray[Any], known: NDArray[np.bool_]) -> NDArray[np.float64]:
    return np.where(known, raw.astype(np.float64), np.nan)


def _known(raw: NDArray[Any], declared: tuple[float, ...]) -> NDArray[np.bool_]:
    good: NDArray[np.bool_] = np.isfinite(raw) if raw.dtype.kind == "f" else np.ones(raw.shape, dtype=bool)
    for value in declared:
        if raw.dtype.kind == "f":
            with np.errstate(over="ignore"):
                value = float(raw.dtype.type(value))
        good &= raw != value
    return good


EDGE = 48
"""Depth in cells of the strips along the edges in which repeated rows are looked for."""


def _edges(
    numbers: Callable[[int, int, int, int], NDArray[np.float64]], width: int, height: int, whole: bool
) -> tuple[list[NDArray[np.float64]], ...]:
    deep_r, deep_c = min(EDGE, height), min(EDGE, width)
    long_r, long_c = (height, width) if whole else (min(WINDOW, height), min(WINDOW, width))
    out: tuple[list[NDArray[np.float64]], ...] = ([], [], [], [])
    for part in (0.0,) if whole else (0.2, 0.5, 0.8):
        col, row = int(part * (width - long_c)), int(part * (height - long_r))
        out[0].append(numbers(0, col, deep_r, long_c))
        out[1].append(numbers(row, 0, long_r, deep_c).T)
        out[2].append(numbers(height - deep_r, col, deep_r, long_c)[::-1])
        out[3].append(numbers(row, width - deep_c, long_r, deep_c)[:, ::-1].T)
    return out


def undeclared_sentinels(
    values: NDArray[np.float64], metres_per_unit: float, dtype: str = "float64"
) -> list[float]:
    """Numbers that stand for "unknown" though the file does not say so.

    A listed number counts if it is the least or greatest value and stands apart from all others by
    more than they spread (and by 100 m), or if it would be deeper or higher than anything on Earth. The end of
    a whole-number type's range (65535, 255) counts if it stands apart, and so does any number but 0 that `REPEATED` cells
    share to the last digit, if they are the fewer and the others are not all alike: ground that far from all other is not level.
    """
    kind = np.dtype(dtype)
    ends = (float(np.iinfo(kind).min), float(np.iinfo(kind).max)) if kind.kind in "iu" else ()
    found: list[float] = []
    while values.size:
        low, high = float(values.min()), float(values.max())
        for value, rest in ((low, values[values > low]), (high, values[values < high])):
            if not rest.size:
                return found
            least, most = float(rest.min()), float(rest.max())
            gap, spread, cells = (
                min(abs(least - value), abs(most - value)),
                most - least,
                values.size - rest.size,
            )
            apart = gap > spread and gap * metres_per_unit > 100.0
            last = value in ends and value != 0.0 and gap > spread and gap * metres_per_unit > 1.0
            shared = cells >= REPEATED and 2 * cells < values.size and spread > 0 and value != 0.0
            wild = abs(value) * metres_per_unit > BELIEVABLE_M
            if ((value in SENTINELS or shared) and apart) or last or (_is_extreme(value) and wild):
                found.append(value)
                values = rest
                break
        else:
            break
    return found


def _is_extreme(value: float) -> bool:
    return value in SENTINELS or abs(value) >= 1e9


def rounding_step(values: NDArray[np.float64]) -> float:
    """Step of which all values are whole multiples apart, in the file's own units; 0 if there is none.

    Known from 400 values and 5 levels on, each held by four values or more in the mean: few levels in many cells.
    """
    levels = np.unique(values)
    if values.size < 400 or levels.size < 5 or levels.size * 4 > values.size:
        return 0.0
    least, span = float(np.diff(levels).min()), float(levels[-1] - levels[0])
    if least <= 0.0 or span / least > 1e5:
        return 0.0
    step = span / round(span / least)
    part = (levels - levels[0]) / step
    return step if float(np.abs(part - np.rint(part)).max()) <= 0.01 else 0.0


@dataclass(frozen=True)
class Clip:
    """A limit at which values were cut off flat."""

    value: float
    share: float


def clipped_limits(sample: Sample, values: NDArray[np.float64]) -> list[Clip]:
    """Least or greatest values at which the data were cut off flat.

    True ground hardly ever repeats a number exactly; a cut-off does so over a wide area. A limit counts
    if 1 to 60 % of the known cells are exactly at it, that is 10 times as many as at any other single
    value, most of them in patches (all four neighbours the same), and the slope runs into it
    instead of easing off: the first cell beyond the patch differs from it, in the median, by
    at least a quarter of what the second differs from the first. A flat floor that levels out is none.
    """
    out: list[Clip] = []
    if values.size < 400:
        return out
    for value in (float(values.min()), float(values.max())):
        at = values == value
        share = float(at.mean())
        if not 0.01 <= share <= 0.6:
            continue
        others = values[~at]
        # Another value that repeats so often means made or coarsely rounded numbers, not a cut-off;
        # a second cut-off on the other side of zero is none of that.
        levels, counts = np.unique(others, return_counts=True)
        opposite = levels[-1] if value == levels.min(initial=value) else levels[0]
        rival = counts[(levels != opposite) | (levels * value >= 0)]
        if rival.size and rival.max() * 10 > at.sum():
            continue
        inner, flat, steps = 0, 0, []
        for raw, known in zip(sample.windows, sample.known, strict=True):
            if min(raw.shape) < 5:
                continue
            z = raw.astype(np.float64)
            hit = (z == value) & known
            mid = hit[1:-1, 1:-1]
            inner += int((mid & hit[:-2, 1:-1] & hit[2:, 1:-1] & hit[1:-1, :-2] & hit[1:-1, 2:]).sum())
            flat += int(mid.sum())
            for axis in (0, 1):
                for zz, hh, kk in _both_ways(z, hit, known, axis):
                    edge = hh[:-2] & ~hh[1:-1] & kk[1:-1] & kk[2:]
                    first = np.abs(zz[1:-1] - value)[edge]
                    second = np.abs(zz[2:] - zz[1:-1])[edge]
                    steps.append(first / np.maximum(second, 1e-9))
        if flat == 0 or inner < 0.5 * flat or not steps:
            continue
        ratio = np.concatenate(steps)
        if ratio.size >= 10 and 0.25 <= float(np.median(ratio)) <= 4.0:
            out.append(Clip(value, share))
    return out


def _both_ways(
    z: NDArray[Any], hit: NDArray[Any], known: NDArray[Any], axis: int
) -> list[tuple[NDArray[Any], NDArray[Any], NDArray[Any]]]:
    turned = [a if axis == 0 else a.T for a in (z, hit, known)]
    return [
        (turned[0], turned[1], turned[2]),
        (turned[0][::-1], turned[1][::-1], turned[2][::-1]),
    ]


@dataclass(frozen=True)
class Shore:
    """What the two sides of zero look like."""

    low: float
    high: float
    rough_above: float
    rough_below: float

    def reading(self) -> str:
        """``up`` or ``down`` if one side is clearly land, else empty.

        Land is rougher than the seabed beside it (2 to 30 times in the coastal grids looked at) and rises;
        so the side that is at least twice as rough and runs 10 m or more from zero is land.
        Drying flats, rough or not, stay undecided.
        """
        if self.high >= 10.0 and self.rough_above >= 2.0 * self.rough_below:
            return "up"
        if self.low <= -10.0 and self.rough_below >= 2.0 * self.rough_above:
            return "down"
        return ""


def shore(sample: Sample, metres_per_unit: float, offset_m: float) -> Shore | None:
    """Compare the two sides of zero; None if only one is present (under 0.5 % on the other)."""
    above, below = [], []
    low, high, n_up, n_down, n = math.inf, -math.inf, 0, 0, 0
    for raw, known in zip(sample.windows, sample.known, strict=True):
        z = np.where(known, raw.astype(np.float64) * metres_per_unit + offset_m, np.nan)
        z[np.abs(z) > BELIEVABLE_M] = np.nan
        good = np.isfinite(z)
        if not good.any():
            continue
        low, high = min(low, float(np.nanmin(z))), max(high, float(np.nanmax(z)))
        n += int(good.sum())
        n_up += int((z > 0).sum())
        n_down += int((z < 0).sum())
        if min(z.shape) < 3:
            continue
        mid = z[1:-1, 1:-1]
        bend = np.abs(z[1:-1, :-2] + z[1:-1, 2:] + z[:-2, 1:-1] + z[2:, 1:-1] - 4.0 * mid)
        bend[bend == 0] = np.nan  # clipped and filled areas say nothing of roughness
        above.append(bend[(mid > 0.5) & np.isfinite(bend)])
        below.append(bend[(mid < -0.5) & np.isfinite(bend)])
    if n == 0 or min(n_up, n_down) < 0.005 * n:
        return None
    up = np.concatenate(above) if above else np.empty(0)
    down = np.concatenate(below) if below else np.empty(0)
    if min(up.size, down.size) < 30:
        return Shore(low, high, 0.0, 0.0)
    return Shore(low, high, float(np.median(up)), float(np.median(down)))


def typical_gradient(sample: Sample, metres_per_unit: float, cell: tuple[float, float]) -> float:
    """Median steepness (rise over run) between neighbouring known cells; NaN if there are too few."""
    steps = []
    for raw, known in zip(sample.windows, sample.known, strict=True):
        z = np.where(known, raw.astype(np.float64) * metres_per_unit, np.nan)
        z[np.abs(z) > 100.0 * BELIEVABLE_M] = np.nan
        if min(z.shape) < 2:
            continue
        gx = (z[:-1, 1:] - z[:-1, :-1]) / cell[0]
        gy = (z[1:, :-1] - z[:-1, :-1]) / cell[1]
        g = np.hypot(gx, gy)
        steps.append(g[np.isfinite(g)])
    joined = np.concatenate(steps) if steps else np.empty(0)
    return float(np.median(joined)) if joined.size >= 100 else math.nan
