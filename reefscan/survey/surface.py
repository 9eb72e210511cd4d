"""The surface through the blocks, cut by cut; nothing beyond the reach of data.

Triangles between neighbouring tracks carry the surface: flat ones (``linear``) or smooth ones
(``cubic``, Clough-Tocher). Each cut is computed with a margin of several reaches, so that cuts meet.
"""

from __future__ import annotations

import warnings

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CloughTocher2DInterpolator, LinearNDInterpolator, NearestNDInterpolator
from scipy.ndimage import distance_transform_edt
from scipy.spatial import ConvexHull, Delaunay, QhullError
from threadpoolctl import threadpool_limits

from reefscan.base.model import Sheet, Window
from reefscan.survey.blocks import Blocks

Floats = NDArray[np.float64]
METHODS = ("linear", "cubic")
EDGE_CELLS = 1.5
"""Outside the outermost soundings the surface goes on for this many cells, no farther."""


def one_thread() -> threadpool_limits:
    """Keep the linear algebra library to one thread.

    Triangulation solves a 2 x 2 system a triangle; with threads, starting them costs up to four
    hundred times what the solving does (measured on two busy cores: 10.7 s against 0.025 s).
    """
    return threadpool_limits(limits=1, user_api="blas")


def predict(blocks: Blocks, x: Floats, y: Floats, *, method: str, give_m: float = 0.5) -> Floats:
    """Elevation at points, NaN outside the hull of the blocks.

    Parameters
    ----------
    blocks : Blocks
    x, y : ndarray of float
        Where (m).
    method : {"linear", "cubic"}
    give_m : float
        The smooth surface may leave the flat triangles by no more than this (m): nearly touching
        points that disagree would otherwise fling it.

    Notes
    -----
    Fewer than three blocks, or blocks all on one line, have no triangles: NaN everywhere.
    """
    out = np.full(np.shape(x), np.nan)
    if blocks.x.size < 3:
        return out
    x0, y0 = float(blocks.x.mean()), float(blocks.y.mean())
    places = np.c_[blocks.x - x0, blocks.y - y0]
    with one_thread():
        return _through_triangles(
            blocks, places, np.c_[np.ravel(x) - x0, np.ravel(y) - y0], out, method, give_m
        )


def _through_triangles(
    blocks: Blocks, places: Floats, at: Floats, out: Floats, method: str, give_m: float
) -> Floats:
    try:
        triangles = Delaunay(places)
    except (QhullError, ValueError):
        return out
    # A point outside the hull costs a walk through every triangle: sort those out by the hull itself.
    hull = ConvexHull(places).equations
    inside = np.ones(at.shape[0], bool)
    for a, b, c in hull:
        inside &= at[:, 0] * a + at[:, 1] * b + c <= 0.0
    at = at[inside]
    values = LinearNDInterpolator(triangles, blocks.elev)(at)
    if method == "cubic":
        with warnings.catch_warnings():
            # Rough ground needs more rounds than it gains by; what remains is under the noise.
            warnings.filterwarnings("ignore", message="Gradient estimation did not converge")
            smooth = CloughTocher2DInterpolator(triangles, blocks.elev, tol=1e-3, maxiter=50)(at)
        values = np.clip(smooth, values - give_m, values + give_m)
    flat = np.ravel(out)
    flat[inside] = values
    return np.asarray(flat.reshape(out.shape))


def distance_to_data(mask: NDArray[np.bool_], cell_m: float) -> Floats:
    """Distance (m) from each cell to the nearest cell with data; infinite if there is none."""
    if not mask.any():
        return np.full(mask.shape, np.inf)
    return np.asarray(distance_transform_edt(~mask)) * cell_m


def within(blocks: Blocks, bounds: tuple[float, float, float, float]) -> Blocks:
    """Blocks inside west, south, east, north."""
    west, south, east, north = bounds
    return blocks.take((blocks.x >= west) & (blocks.x < east) & (blocks.y >= south) & (blocks.y < north))


def surface_cut(
    blocks: Blocks, soundings_mask: NDArray[np.bool_], sheet: Sheet, core: Window, *,
    method: str, reach_m: float, margin: int, give_m: float = 0.5,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Elevation and distance to data for one window.

    Parameters
    ----------
    blocks : Blocks
        All blocks, or those near the window.
    soundings_mask : ndarray of bool
        Cells with soundings, over ``core`` grown by ``margin`` cells.
    sheet, core
        The lattice, and the window wanted.
    method, reach_m, margin
        See `predict`; cells farther than ``reach_m`` from a cell with soundings are unknown.

    Returns
    -------
    elev, distance : ndarray of float, core shape
        Metres; elev is NaN where unknown.
    """
    wide = core.grow(margin)
    distance = distance_to_data(soundings_mask, sheet.cell_m)[core.slices_in(wide)]
    elev = np.full((core.height, core.width), np.nan)
    want = distance <= reach_m
    near = within(blocks, sheet.bounds(wide))
    if not want.any() or near.x.size == 0:
        return elev, distance
    row, col = np.nonzero(want)
    x = np.asarray(sheet.x_of(col.astype(np.float64) + core.col))
    y = np.asarray(sheet.y_of(row.astype(np.float64) + core.row))
    z = predict(near, x, y, method=method, give_m=give_m)
    lost = np.isnan(z) & (distance[row, col] <= EDGE_CELLS * sheet.cell_m)
    if lost.any():
        nearest = NearestNDInterpolator(np.c_[near.x, near.y], near.elev)
        z[lost] = nearest(np.c_[x[lost], y[lost]])
    elev[row, col] = z
    return elev, distance
