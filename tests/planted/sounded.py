"""Planted seabeds as parallel tracks of soundings show them, 12 to 40 m apart: what lies between is filled in.

Three ways take turns (``facts["how"]``): 0 by ``reefscan grid`` itself, with its uncertainty band; 1 by straight planes and 2 by smooth patches
between soundings, as public grids are, with no band.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CloughTocher2DInterpolator, LinearNDInterpolator
from scipy.ndimage import map_coordinates

from planted.truth import CRS, ORIGIN, Seabed

Grid = NDArray[np.float64]
STEP_M = 1.5
"""Metres from one sounding to the next."""


def tracks(rng: np.random.Generator, side_m: float, apart_m: float) -> tuple[Grid, Grid]:
    """Positions along wandering parallel tracks of any bearing over a square from (0, 0) to (side, -side), and across it."""
    b = rng.uniform(0, np.pi)
    across, along = np.arange(-side_m, side_m, apart_m), np.arange(-side_m, side_m, STEP_M)
    swing = 0.1 * apart_m * np.sin(along / rng.uniform(40, 90) + rng.uniform(0, 6, (len(across), 1)))
    u, v = across[:, None] + swing, along + rng.uniform(0, STEP_M, (len(across), 1))
    x, y = side_m / 2 + u * np.cos(b) + v * np.sin(b), -side_m / 2 - u * np.sin(b) + v * np.cos(b)
    inside = (x > 1) & (x < side_m - 1) & (y < -1) & (y > 1 - side_m)
    return x[inside], y[inside]


def as_sounded(bed: Seabed, *, how: int, apart_m: float) -> Seabed:
    """The seabed as a boat's soundings on tracks so far apart show it."""
    rng = np.random.default_rng([5, bed.seed])
    side = bed.elev.shape[0]
    x, y = tracks(rng, side * bed.cell_m, apart_m)
    z = map_coordinates(bed.true_elev, bed.rowcol_of(np.stack([x, y], -1)), order=1, mode="nearest")
    z = z + rng.normal(0, rng.choice([0.03, 0.06, 0.12]), z.shape)
    sigma = None
    if how == 0:
        elev, sigma = drawn_by_grid(x, y, z, bed.cell_m, side)
    else:
        at = bed.xy_of(*np.mgrid[:side, :side])
        way = LinearNDInterpolator if how == 1 else CloughTocher2DInterpolator
        elev = way(np.stack([x, y], -1), z)(at[..., 0], at[..., 1])
    return replace(
        bed, name="sounded", elev=elev.astype(np.float32), sigma=sigma, sigma_true=np.full(elev.shape, np.nan),
        coarse=np.ones(elev.shape, bool), facts=bed.facts | {"how": float(how), "apart_m": apart_m},
    )  # fmt: skip


def drawn_by_grid(x: Grid, y: Grid, z: Grid, cell_m: float, cells: int) -> tuple[Grid, NDArray[np.float32]]:
    """Elevation and its stated doubt as ``reefscan grid`` draws them over a square of so many cells south-east of (0, 0)."""
    from reefscan.base.model import Sheet
    from reefscan.survey.build import make_surface, prepare
    from reefscan.survey.settings import SurveySettings
    from reefscan.survey.table import Soundings

    n, settings = x.size, SurveySettings()
    run = np.r_[0, np.cumsum(np.hypot(np.diff(x), np.diff(y)))]
    log = Soundings(
        ORIGIN[0] + x, ORIGIN[1] + y, -z, 1.7e9 + run / 2.5, np.full(n, np.nan, np.float32), np.zeros(n, np.int16),
        np.zeros(n, np.uint8), np.zeros(n, bool), ("boat.csv",), ("surface",),
    )  # fmt: skip
    surface = make_surface(prepare(log, settings), Sheet(CRS, cell_m), settings)
    elev, sigma = np.full((cells, cells), np.nan), np.full((cells, cells), np.nan)
    row0, col0 = -round(ORIGIN[1] / cell_m), round(ORIGIN[0] / cell_m)
    for cut in surface.cuts():
        r, c = cut.window.row - row0, cut.window.col - col0
        top, left = max(0, r), max(0, c)
        low, right = min(cells, r + cut.window.height), min(cells, c + cut.window.width)
        part = (slice(top - r, low - r), slice(left - c, right - c))
        elev[top:low, left:right], sigma[top:low, left:right] = cut.elev[part], cut.sigma[part]
    return elev, sigma.astype(np.float32)
