"""Order and spacing: which of the scored sites are listed, and as what number.

A second site near the best one of its feature counts a share of its score; then sites too near a better one
step back; then the list is cut. The order is total (score in millionths, confidence, id), so equal
input gives the equal list on any machine.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from reefscan.base.recipe import Rank
from reefscan.score.scoring import Scored

Floats = NDArray[np.float64]

_A_M = 6378137.0
_E2 = (1 / 298.257223563) * (2 - 1 / 298.257223563)
"""WGS 84 semi-major axis (m) and first eccentricity squared (EPSG:7030)."""


def best_first(scored: Scored, table: pd.DataFrame) -> NDArray[np.intp]:
    """Rows from best to worst: points, then confidence, height and length (unknown last), then id.

    Points end at 100 and a recipe's terms end where they are full, so equal points are common; of two such sites the
    taller structure comes first, then the longer one.

    Parameters
    ----------
    scored : Scored
        Row for row with the table.
    table : DataFrame
        Needs ``id``; ``height_m`` and ``length_m`` where it has them.
    """
    _, order_of_id = np.unique(np.asarray(table["id"], dtype=str), return_inverse=True)
    sizes = [table[name].to_numpy(dtype=np.float64) for name in ("height_m", "length_m") if name in table]
    keys = [np.where(np.isnan(size), -1.0, size) for size in (scored.confidence, *sizes)]
    return np.lexsort((order_of_id, *(-key for key in reversed(keys)), -scored.points))


def rank_sites(table: pd.DataFrame, scored: Scored, rank: Rank) -> NDArray[np.intp]:
    """Choose and order the sites that are listed.

    Parameters
    ----------
    table : DataFrame
        Needs ``id``, ``feature_id``, ``lon``, ``lat``; see `best_first`.
    scored : Scored
        Row for row with the table.
    rank : Rank
        The ``[rank]`` part of the recipe.

    Returns
    -------
    ndarray of int
        Rows of the table in rank order: element 0 is rank 1. Sites with a required term at nothing, or whose
        penalties leave too little, are left out.
    """
    if not len(table):
        return np.zeros(0, dtype=np.intp)
    order = best_first(scored, table)
    order = order[scored.listed[order] & (scored.points[order] > 0)]
    if rank.second_share < 1.0:
        feature = table["feature_id"].astype("string").to_numpy(dtype=object, na_value="")[order]
        xyz = on_ellipsoid(*(table[name].to_numpy(dtype=np.float64)[order] for name in ("lon", "lat")))
        first = _firsts(np.asarray(feature, dtype=object), xyz, rank.feature_m)
        worth = scored.points[order] * np.where(first, 1.0, rank.second_share)
        order = order[np.argsort(-worth, kind="stable")]
    if rank.spacing_m > 0:
        lon = table["lon"].to_numpy(dtype=np.float64)[order]
        lat = table["lat"].to_numpy(dtype=np.float64)[order]
        order = order[spaced(lon, lat, spacing_m=rank.spacing_m, top=rank.top)]
    return order[: rank.top]


def _firsts(feature: NDArray[np.object_], xyz: Floats, apart_m: float) -> NDArray[np.bool_]:
    """Which sites, best first, have no better site of their feature within ``apart_m`` that is a first itself; a site of none is one."""
    first = np.ones(len(feature), dtype=bool)
    codes, names = pd.factorize(feature)
    rows = np.argsort(codes, kind="stable")
    for of in np.split(rows, np.flatnonzero(np.diff(codes[rows])) + 1):
        if len(of) < 2 or not names[codes[of[0]]]:
            continue
        taken = [of[0]]
        for i in of[1:]:
            gap = np.sqrt(((xyz[taken] - xyz[i]) ** 2).sum(axis=1)).min()
            first[i] = gap >= apart_m
            if first[i]:
                taken.append(i)
    return first


def second_to(table: pd.DataFrame, rows: NDArray[np.intp], rank: Rank) -> list[int | None]:
    """Rank of the site that each listed one is a second site of; None for the best of a place.

    A site is a second one if a better listed site that is itself the best of its place lies nearer than ``rank.place_m``,
    or on the same feature and nearer than ``rank.feature_m``.

    Parameters
    ----------
    table : DataFrame
        Needs ``feature_id``, ``lon``, ``lat``.
    rows : ndarray of int
        Rows of the listed sites, in rank order.
    rank : Rank
    """
    xyz = on_ellipsoid(*(table[name].to_numpy(dtype=np.float64)[rows] for name in ("lon", "lat")))
    feature = table["feature_id"].astype("string").to_numpy(dtype=object, na_value="")[rows]
    best: list[int] = []
    out: list[int | None] = []
    for i in range(len(rows)):
        far = np.sqrt(((xyz[best] - xyz[i]) ** 2).sum(axis=1))
        same = np.array([bool(feature[i]) and feature[k] == feature[i] for k in best], dtype=bool)
        near = np.flatnonzero((far < rank.place_m) | (same & (far < rank.feature_m)))
        out.append(best[near[0]] + 1 if near.size else None)
        if not near.size:
            best.append(i)
    return out


def spaced(lon: Floats, lat: Floats, *, spacing_m: float, top: int | None = None) -> NDArray[np.intp]:
    """Take points in the given order, leaving out each that is nearer than ``spacing_m`` to one taken.

    Distances are chords between points on the WGS 84 ellipsoid, right across sheets, zones and the
    180th meridian. A chord is never longer than the line on the ground (at 1 km by a part in 10^9
    shorter), so the stated spacing is kept on the ground too.

    Parameters
    ----------
    lon, lat : ndarray
        Degrees, best first.
    spacing_m : float
        A point at exactly this distance is far enough.
    top : int, optional
        Stop when so many are taken.

    Returns
    -------
    ndarray of int
        Indices of the taken points, in order.
    """
    places = [(float(x), float(y), float(z)) for x, y, z in on_ellipsoid(lon, lat)]
    # the taken points by cubes as wide as the spacing: all that are too near lie in the cube of a point or beside it
    cubes: dict[tuple[int, ...], list[int]] = {}
    taken: list[int] = []
    for i, place in enumerate(places):
        if top is not None and len(taken) >= top:
            break
        cube = tuple(math.floor(part / spacing_m) for part in place)
        around = itertools.product(*((part - 1, part, part + 1) for part in cube))
        if all(math.dist(place, places[k]) >= spacing_m for near in around for k in cubes.get(near, ())):
            taken.append(i)
            cubes.setdefault(cube, []).append(i)
    return np.asarray(taken, dtype=np.intp)


def on_ellipsoid(lon: Floats, lat: Floats) -> Floats:
    """Earth-centred coordinates (m) of points (degrees) on the WGS 84 ellipsoid, a row each: no seam at the antimeridian, none at a pole."""
    lam, phi = np.radians(lon), np.radians(lat)
    n = _A_M / np.sqrt(1 - _E2 * np.sin(phi) ** 2)
    return np.column_stack(
        (n * np.cos(phi) * np.cos(lam), n * np.cos(phi) * np.sin(lam), n * (1 - _E2) * np.sin(phi))
    )
