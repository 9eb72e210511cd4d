"""Seabeds with closed-form answers: what every kernel is measured against.

Each function takes arrays ``x`` (easting) and ``y`` (northing) in metres and returns elevation in metres, positive up,
with ``base_m`` as the level of the sand (default -10). The form stands at the origin. Bearings are degrees clockwise from
north (+y): an *axis* is the heading along a line, ``facing_deg`` the heading downhill. `sample` puts a form on
a grid, rows north to south, with the origin exactly at a cell's centre when the side is odd.

Where a docstring states an answer, it is the closed form of the quantity as the project defines it (trough: the climb on the
lower flank in the best direction; ledge: the step less the run times the steeper ground; rise: the drop in the worst
direction), for rays that reach the crests unless a radius is named. The worked numbers come from the published list of check values
(naive rays in numpy, 1 m cells, 8 axes); sampling costs at most 0.45 x flank slope x cell, downward.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Grid = NDArray[np.float64]
Surface = Callable[[Grid, Grid], Grid]


def coordinates(rows: int, cols: int, cell_m: float) -> tuple[Grid, Grid]:
    """Return (x, y) of cell centres, north at row 0, the origin at cell (rows // 2, cols // 2)."""
    x = (np.arange(cols) - cols // 2) * cell_m
    y = (rows // 2 - np.arange(rows)) * cell_m
    return np.broadcast_to(x, (rows, cols)).copy(), np.broadcast_to(y[:, None], (rows, cols)).copy()


def sample(surface: Surface, rows: int = 81, cols: int = 81, cell_m: float = 1.0) -> Grid:
    """Put a surface on a grid of cells (north-up); use ``functools.partial`` or a lambda for its options."""
    x, y = coordinates(rows, cols, cell_m)
    return np.asarray(surface(x, y), dtype=np.float64)


def fractal(rng: np.random.Generator, rows: int, cols: int, *, power: float) -> Grid:
    """Ground that is rough at every scale: mean 0, standard deviation 1, its spectrum falling with the ``power`` of the wave number."""
    wave = np.hypot(np.fft.fftfreq(rows)[:, None], np.fft.rfftfreq(cols)[None, :])
    wave[0, 0] = np.inf
    ground = np.fft.irfft2(np.fft.rfft2(rng.standard_normal((rows, cols))) * wave**-power, s=(rows, cols))
    return np.asarray(ground / ground.std())


def along_across(x: Grid, y: Grid, axis_deg: float) -> tuple[Grid, Grid]:
    """Distance along a heading, and across it (positive to the right of the heading)."""
    a = np.deg2rad(axis_deg)
    return x * np.sin(a) + y * np.cos(a), x * np.cos(a) - y * np.sin(a)


def plane(x: Grid, y: Grid, *, gradient: float, facing_deg: float = 0.0, base_m: float = -10.0) -> Grid:
    """An even slope of rise/run ``gradient`` that falls towards ``facing_deg``.

    slope = atan(gradient), aspect = facing_deg; vrm, BPI, trough, ledge and rise are 0;
    Jenness' ratio is sqrt(1 + gradient^2), Riley's TRI gradient x cell x sqrt 6.
    """
    along, _ = along_across(x, y, facing_deg)
    return base_m - gradient * along


def v_trough(
    x: Grid,
    y: Grid,
    *,
    axis_deg: float = 0.0,
    right: tuple[float, float] = (0.30, 3.0),
    left: tuple[float, float] = (0.25, 2.0),
    fall: float = 0.0,
    base_m: float = -10.0,
) -> Grid:
    """A V between two crests: (flank slope, crest height) to the right and left of the axis; beyond a crest it falls again.

    The bottom line passes through the origin at ``base_m`` and falls at ``fall`` along the axis. With ``fall`` 0: trough_m on the
    bottom = the lower crest (2.0 by default); at height z above the bottom, between the crests, max(0, lower crest - z):
    1 m and 4 m out to the right 1.7 and 0.8, to the left 1.75 and 1.0; outside 0. Width crest to crest = sum of
    crest / slope = 18 m. A radius R short of both crests gives min(slope) x R on the bottom (R 5: 1.25).
    With equal crests and fall > 0 it is still the crest's height; with unequal crests a skew
    axis levels them and the answer is larger. axis_deg is the axis, cross_deg = axis + 90 (narrowest among the tied).
    Upside down it is a ridge: rise 0.
    """
    along, across = along_across(x, y, axis_deg)
    slope = np.where(across >= 0, right[0], left[0])
    crest = np.where(across >= 0, right[1], left[1])
    up = slope * np.abs(across)
    return base_m + np.where(up <= crest, up, 2 * crest - up) - fall * along


def valley(
    x: Grid, y: Grid, *, steep: float = 0.3, curve: float = 0.05, axis_deg: float = 0.0, base_m: float = -10.0
) -> Grid:
    """A parabolic valley ``curve * across^2`` whose floor falls at ``steep`` along the axis.

    trough_m on its bottom with radius R = curve R^2 (R 10, curve .05: 5.0), wherever the floor leads. A slope-only test misses it.
    """
    along, across = along_across(x, y, axis_deg)
    return base_m + curve * across**2 - steep * along


def flat_trough(
    x: Grid,
    y: Grid,
    *,
    floor_m: float = 12.0,
    flank_m: float = 4.0,
    depth_m: float = 2.0,
    axis_deg: float = 0.0,
    base_m: float = -10.0,
) -> Grid:
    """A flat-bottomed trough cut in a flat: trough_m = depth_m on the floor, width floor + 2 flank (to the lips)."""
    _, across = along_across(x, y, axis_deg)
    fill = np.clip((np.abs(across) - floor_m / 2) / flank_m, 0, 1)
    return base_m - depth_m * (1 - fill)


def pit(x: Grid, y: Grid, *, depth_m: float = 2.0, radius_m: float = 5.0, base_m: float = -10.0) -> Grid:
    """A conical pit in a flat: trough_m at the bottom = its depth, though it has no axis; upside down, a cone."""
    return base_m - np.clip(depth_m * (1 - np.hypot(x, y) / radius_m), 0, None)


def cone(
    x: Grid,
    y: Grid,
    *,
    height_m: float = 2.0,
    radius_m: float = 5.0,
    gradient: float = 0.0,
    facing_deg: float = 0.0,
    base_m: float = -10.0,
) -> Grid:
    """A cone on a flat, or on a plane of ``gradient``.

    rise_m at the apex: min(height, height / radius x R); on a plane of slope g: height - radius x g (2.0 -> 1.75 at g .05, 1.5 at g
    .1). At r from the axis with R >= r + radius: height - (height / radius) r. trough_m 0 at the apex.
    """
    return plane(x, y, gradient=gradient, facing_deg=facing_deg, base_m=base_m) + np.clip(
        height_m * (1 - np.hypot(x, y) / radius_m), 0, None
    )


def step(
    x: Grid,
    y: Grid,
    *,
    height_m: float = 2.0,
    facing_deg: float = 90.0,
    gradient: float = 0.0,
    ground_facing_deg: float = 0.0,
    base_m: float = -10.0,
) -> Grid:
    """A sheer step that drops ``height_m`` towards ``facing_deg``, on a plane of any slope and direction.

    The line itself belongs to the low ground. ledge_m = height within 2 m of the step, whatever the plane's gradient and direction (bilinear rays);
    0 beyond run / 2 + run + 1.5 m when both grounds are taken over one run. On a flat with cell h, Horn slope
    is atan(height / (2 h)) on both sides, TPI +- 3/8 height, Riley sqrt 3 height.
    """
    along, _ = along_across(x, y, facing_deg)
    ground = plane(x, y, gradient=gradient, facing_deg=ground_facing_deg, base_m=base_m)
    return ground + np.where(along < -1e-9, height_m, 0.0)


def ramp(
    x: Grid,
    y: Grid,
    *,
    height_m: float = 2.0,
    run_m: float = 6.0,
    facing_deg: float = 90.0,
    base_m: float = -10.0,
) -> Grid:
    """A step spread evenly over ``run_m`` between two flats: ledge_m = height while run_m fits in the ledge's run."""
    along, _ = along_across(x, y, facing_deg)
    return base_m + height_m * (1 - np.clip(along / run_m + 0.5, 0, 1))


def slope_break(
    x: Grid,
    y: Grid,
    *,
    above: float = 0.1,
    below: float = 0.3,
    facing_deg: float = 90.0,
    base_m: float = -10.0,
) -> Grid:
    """Two planes that meet in a line, no step: ledge_m 0 everywhere (the mean of the two slopes would read run / 2 x .2)."""
    along, _ = along_across(x, y, facing_deg)
    return base_m - np.where(along < 0, above, below) * along


def ridge(
    x: Grid,
    y: Grid,
    *,
    height_m: float = 2.0,
    flank: float = 0.4,
    axis_deg: float = 0.0,
    base_m: float = -10.0,
) -> Grid:
    """An endless ridge with even flanks: rise_m 0 (no drop along it), trough_m 0 on it."""
    _, across = along_across(x, y, axis_deg)
    return base_m + np.clip(height_m - flank * np.abs(across), 0, None)


def boulder(x: Grid, y: Grid, *, height_m: float = 1.5, radius_m: float = 3.0, base_m: float = -10.0) -> Grid:
    """A half ellipsoid on a flat: rise_m at its top = its height once R exceeds the radius; radius below a cell: one raised cell."""
    r = np.hypot(x, y) / radius_m
    return base_m + height_m * np.sqrt(np.clip(1 - r**2, 0, None))


def sand_waves(
    x: Grid,
    y: Grid,
    *,
    height_m: float = 1.0,
    length_m: float = 40.0,
    axis_deg: float = 0.0,
    base_m: float = -10.0,
) -> Grid:
    """Even waves, crest to trough ``height_m``: trough_m in each hollow = height and width = length, yet nothing to fish.

    At a crest with cell h and k = 2 pi / length: TPI = 0.75 (height / 2) (1 - cos kh).
    """
    _, across = along_across(x, y, axis_deg)
    return base_m + 0.5 * height_m * np.cos(2 * np.pi * across / length_m)


def paraboloid(x: Grid, y: Grid, *, a: float = 0.01, base_m: float = -10.0) -> Grid:
    """``a (x^2 + y^2)``: TPI -1.5 a h^2, Riley sqrt 20 a h^2, BPI = -a h^2 mean(d^2) (1/3 cells: 34/7; 4/6: 25.2352941176)."""
    return base_m + a * (x**2 + y**2)


def bank(x: Grid, y: Grid, *, height_m: float = 4.0, radius_m: float = 120.0, base_m: float = -10.0) -> Grid:
    """A smooth Gaussian bank, far wider than any window: steepest slope .86 height / radius; no ledge, no trough."""
    return base_m + height_m * np.exp(-(x**2 + y**2) / radius_m**2)


def scan_cells(elev: Grid, *, recipe: Any = None, tile: int | None = None, **cells: Any) -> Any:
    """Scan elevations in memory as they are, through no file: ``cells`` go to `ArraySource.from_metres`."""
    from reefscan.base.arraysource import ArraySource
    from reefscan.base.recipe import Recipe
    from reefscan.pipeline.engineoptions import EngineOptions
    from reefscan.pipeline.scan import scan_sources

    source = ArraySource.from_metres(elev, **cells)
    return scan_sources([source], recipe or Recipe.default(), options=EngineOptions(workers=1, tile=tile))
