"""Sheets of different cells over the same ground: do they agree?"""

from __future__ import annotations

import math

import numpy as np

from reefscan.base.model import NODATA_MM, Window
from reefscan.base.spread import robust_sd
from reefscan.io.georef import transformer
from reefscan.io.grids.overlaps import Overlap, allowed_difference
from reefscan.io.grids.source import SheetSource

SIDE = 64
"""Side, in coarse cells, of the window that is compared."""

MOST_CELLS = 6_000_000
"""Fine cells read for one comparison at the most."""

PLACES = 5
"""Places along the diagonal of the common ground that are tried, until one is known in both."""


def between(sheet: SheetSource, better: SheetSource) -> Overlap | None:
    """Compare a sheet with one that goes before it, in a window of their common ground; None if there is none.

    The fine cell nearest to each coarse cell's centre is compared. Ground that is rough between coarse cells
    scatters the differences and leaves their median.
    """
    common = _common(sheet, better)
    ratio = sheet.sheet.cell_m / better.sheet.cell_m
    side = max(4, min(SIDE, int(math.sqrt(MOST_CELLS) / max(ratio, 1.0))))
    for part in (0.5, 0.25, 0.75, 0.1, 0.9)[:PLACES]:
        high, wide = min(side, common.height), min(side, common.width)
        if high < 1 or wide < 1:
            return None
        window = Window(
            common.row + int(part * (common.height - high)),
            common.col + int(part * (common.width - wide)),
            high,
            wide,
        )
        found = _compare(sheet, better, window)
        if found is not None:
            return found
    return None


def _common(sheet: SheetSource, better: SheetSource) -> Window:
    west, south, east, north = better.sheet.bounds(better.extent)
    x, y = np.meshgrid(np.linspace(west, east, 9), np.linspace(south, north, 9))
    there = transformer(better.sheet.crs, sheet.sheet.crs).transform(x.ravel(), y.ravel())
    return sheet.sheet.window_over(*there).intersect(sheet.extent)


def _compare(sheet: SheetSource, better: SheetSource, window: Window) -> Overlap | None:
    mine = sheet.read(window).elev_mm
    r, c = np.nonzero(mine != NODATA_MM)
    if r.size < 20:
        return None
    x = np.asarray(sheet.sheet.x_of((c + window.col).astype(np.float64)))
    y = np.asarray(sheet.sheet.y_of((r + window.row).astype(np.float64)))
    x, y = transformer(sheet.sheet.crs, better.sheet.crs).transform(x, y)
    rows = np.rint(np.asarray(better.sheet.row_of(np.asarray(y)))).astype(np.int64)
    cols = np.rint(np.asarray(better.sheet.col_of(np.asarray(x)))).astype(np.int64)
    e = better.extent
    inside = (rows >= e.row) & (rows < e.row_end) & (cols >= e.col) & (cols < e.col_end)
    if inside.sum() < 20:
        return None
    r, c, rows, cols = r[inside], c[inside], rows[inside], cols[inside]
    area = Window(
        int(rows.min()), int(cols.min()), int(rows.max() - rows.min()) + 1, int(cols.max() - cols.min()) + 1
    )
    if area.height * area.width > 2 * MOST_CELLS:
        return None
    theirs = better.read(area).elev_mm[rows - area.row, cols - area.col]
    known = theirs != NODATA_MM
    if known.sum() < 20:
        return None
    r, c = r[known], c[known]
    difference = (mine[r, c].astype(np.float64) - theirs[known]) / 1000.0
    offset = float(np.median(difference))
    spread = robust_sd(difference - offset)
    middle = int(np.argmin(np.hypot(r - r.mean(), c - c.mean())))
    row, col = np.array([r[middle] + window.row]), np.array([c[middle] + window.col])
    lon, lat = sheet.lonlat(row, col)
    names = better.source_at(rows[known][[middle]], cols[known][[middle]])[0], sheet.source_at(row, col)[0]
    sigma = [_sigma(better, names[0]), _sigma(sheet, names[1])]
    allowed = allowed_difference(-float(np.median(theirs[known])) / 1000.0, sigma[0], sigma[1])
    return Overlap(
        names[0], names[1], int(known.sum()), offset, min(spread, allowed), allowed,
        float(lon[0]), float(lat[0]), window, names,
    )  # fmt: skip


def _sigma(sheet: SheetSource, name: str) -> float:
    return next((layer.sigma_m for layer in sheet.layers if layer.name == name), math.nan)
