"""Where files of one sheet meet: do they agree, and is there a step where one takes over?"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reefscan.base.model import NODATA_MM, Window
from reefscan.base.s44 import ASSUMED, Z95, tvu
from reefscan.base.spread import robust_sd
from reefscan.io.grids.piece import Piece
from reefscan.io.grids.source import SheetSource

SAMPLE = 256
"""Side of the window that is compared in each overlap."""

PAIRS = 400
"""Pairs of files compared; with more, evenly chosen ones are, and the report says so."""


@dataclass(frozen=True)
class Overlap:
    """Two files over the same ground.

    Parameters
    ----------
    first, second : str
        Names; the first goes before the second.
    cells : int
        Compared cells.
    offset_m : float
        Median of first minus second, metres of depth (positive: the first is deeper).
    spread_m : float
        Standard deviation about it, by the median magnitude (`robust_sd`).
    allowed_m : float
        Difference that their uncertainties explain at 95 %.
    lon, lat : float
        Middle of what was compared.
    window : Window
        Overlap on the sheet.
    files : pair of str
        The files themselves.
    ratio : float
        Median of second over first; NaN where only a border was compared.
    """

    first: str
    second: str
    cells: int
    offset_m: float
    spread_m: float
    allowed_m: float
    lon: float
    lat: float
    window: Window
    files: tuple[str, str]
    ratio: float = math.nan

    @property
    def agrees(self) -> bool:
        """True if the difference is no more than the uncertainties explain."""
        return abs(self.offset_m) <= self.allowed_m and self.spread_m <= self.allowed_m

    def sentence(self) -> str:
        """One line for people."""
        deeper = self.first if self.offset_m > 0 else self.second
        return (
            f"{self.first} and {self.second} meet around {self.lat:.5f}, {self.lon:.5f} and disagree: {deeper} is "
            f"{abs(self.offset_m):.2f} m deeper in the median (scatter {self.spread_m:.2f} m, {self.cells} cells; "
            f"{self.allowed_m:.2f} m would be within their uncertainty); {self.first} is used{self._suspicion()}"
        )

    def _suspicion(self) -> str:
        """What a plain ratio between the two gives away."""
        for unit, metres in (("feet", 0.3048), ("fathoms", 1.8288), ("decimetres", 0.1)):
            for file, ratio in (
                (self.second, self.ratio),
                (self.first, 1.0 / self.ratio if self.ratio else math.nan),
            ):
                if abs(ratio * metres - 1.0) < 0.02:
                    return f"; {file} looks like {unit} where the other has metres: if so, run it alone with --value-unit"
        if abs(self.ratio + 1.0) < 0.02:
            return "; one is the other upside down: run them apart, with --positive for each"
        return ""


def allowed_difference(depth_m: float, sigma_a: float, sigma_b: float) -> float:
    """Difference of two depths that their uncertainties explain at 95 %, metres.

    A file that states none is taken at S-44 order `ASSUMED`.
    """
    assumed = float(tvu(ASSUMED, abs(depth_m))) / Z95
    a = sigma_a if math.isfinite(sigma_a) and sigma_a > 0 else assumed
    b = sigma_b if math.isfinite(sigma_b) and sigma_b > 0 else assumed
    return Z95 * math.hypot(a, b)


def pairs(source: SheetSource) -> Iterator[tuple[Piece, Piece, Window]]:
    """Pairs of files whose outlines meet inside the sheet's extent, the better one first, and where."""
    singles = [p for p in source.singles if not p.extent.intersect(source.extent).empty]
    box = np.array(
        [(p.extent.row, p.extent.col, p.extent.row_end, p.extent.col_end) for p in singles],
        dtype=np.int64,
    ).reshape(-1, 4)
    for i, piece in enumerate(singles[:-1]):
        later = box[i + 1 :]
        hit = (later[:, 0] <= box[i, 2]) & (later[:, 2] >= box[i, 0])
        hit &= (later[:, 1] <= box[i, 3]) & (later[:, 3] >= box[i, 1])
        for j in np.flatnonzero(hit):
            other = singles[i + 1 + int(j)]
            # one cell more, so that files that only touch have their border in it
            window = piece.extent.grow(1).intersect(other.extent.grow(1)).intersect(source.extent)
            if not window.empty:
                yield piece, other, window


def overlaps(source: SheetSource) -> list[Overlap]:
    """Compare the files of a sheet where they cover the same ground, or touch.

    Up to `PAIRS` pairs, one window each: enough to see a wrong datum, sign or unit, at little cost. If
    any of those disagree, all pairs are compared.
    """
    found = list(pairs(source))
    step = max(1, math.ceil(len(found) / PAIRS))
    out = _compare_all(source, found[::step])
    if step > 1 and not all(o.agrees for o in out):
        out += _compare_all(source, [p for i, p in enumerate(found) if i % step])
    return out


def _compare_all(source: SheetSource, found: list[tuple[Piece, Piece, Window]]) -> list[Overlap]:
    results = [_compare(source, *pair) or _step_between(source, *pair) for pair in found]
    return [r for r in results if r is not None]


SEEN_STEP_M = 0.3
"""A step smaller than this at a border is no ledge anyone would look at."""


def is_survey_seam(overlap: Overlap) -> bool:
    """True if the border between two files must not be read as structure."""
    return abs(overlap.offset_m) > min(overlap.allowed_m, SEEN_STEP_M) or not overlap.agrees


def _step_between(source: SheetSource, first: Piece, second: Piece, window: Window) -> Overlap | None:
    """Step where two files that only touch meet, beyond what the ground on both sides goes on to.

    A step counts if its median over the border is four times its standard error: a real ledge does
    not follow a file's edge from end to end.
    """
    high, wide = min(SAMPLE, window.height), min(SAMPLE, window.width)
    part = Window(
        window.row + (window.height - high) // 2, window.col + (window.width - wide) // 2, high, wide
    ).grow(2)
    a, b = first.read(part)[0], second.read(part)[0]
    jumps = []
    for turn in range(4):
        aa, bb = np.rot90(a, turn), np.rot90(b, turn)
        a1, a0, b0, b1 = aa[:, :-3], aa[:, 1:-2], bb[:, 2:-1], bb[:, 3:]
        border = (aa[:, 2:-1] == NODATA_MM) & (bb[:, 1:-2] == NODATA_MM)
        for side in (a1, a0, b0, b1):
            border &= side != NODATA_MM
        values = [side[border].astype(np.float64) for side in (a1, a0, b0, b1)]
        jumps.append(values[2] - values[1] - 0.5 * ((values[1] - values[0]) + (values[3] - values[2])))
    jump = np.concatenate(jumps) / 1000.0
    if jump.size < 20:
        return None
    offset = float(np.median(jump))
    spread = robust_sd(jump - offset)
    if abs(offset) < 4.0 * 1.2533 * spread / math.sqrt(jump.size):
        offset = 0.0
    known = a[a != NODATA_MM]
    la, lb = first.grid.layers[0], second.grid.layers[0]
    allowed = allowed_difference(-float(np.median(known)) / 1000.0, la.sigma_m, lb.sigma_m)
    lon, lat = source.lonlat(np.array([part.row + part.height / 2]), np.array([part.col + part.width / 2]))
    # roughness across a border is no disagreement: only the step counts here
    return Overlap(
        la.name,
        lb.name,
        int(jump.size),
        offset,
        min(spread, allowed),
        allowed,
        float(lon[0]),
        float(lat[0]),
        window,
        (la.file, lb.file),
    )


def _compare(source: SheetSource, first: Piece, second: Piece, window: Window) -> Overlap | None:
    high, wide = min(SAMPLE, window.height), min(SAMPLE, window.width)
    part = Window(
        window.row + (window.height - high) // 2, window.col + (window.width - wide) // 2, high, wide
    )
    a, _ = first.read(part)
    b, _ = second.read(part)
    both = (a != NODATA_MM) & (b != NODATA_MM)
    if both.sum() < 20:
        return None
    difference: NDArray[np.float64] = (b[both].astype(np.float64) - a[both]) / 1000.0
    offset = float(np.median(difference))
    spread = robust_sd(difference - offset)
    depth = -float(np.median(a[both])) / 1000.0
    la, lb = first.grid.layers[0], second.grid.layers[0]
    rows, cols = np.nonzero(both)
    lon, lat = source.lonlat(
        np.array([part.row + float(rows.mean())]), np.array([part.col + float(cols.mean())])
    )
    return Overlap(
        la.name,
        lb.name,
        int(both.sum()),
        offset,
        spread,
        allowed_difference(depth, la.sigma_m, lb.sigma_m),
        float(lon[0]),
        float(lat[0]),
        window,
        (la.file, lb.file),
        float(np.median(b[both] / np.where(a[both] == 0, np.nan, a[both]))),
    )
