"""Do edges lie on the lattice of a coarser grid? Then they are that grid's, and how wide its cells are is known.

Where a coarse grid ends some cells off the land and something else was put in between, the joint runs in steps round the
coarse cells: right-angled ledges that fall towards the land, with a pit in each corner. Filled in since, the cells repeat nothing
(`reefscan.kernels.interval`), and each flight is too short to be told from an edge of the ground (`reefscan.seams`). But all flights
keep to one lattice: the places of edges that face one way coincide modulo its period, down and across. Those of
natural edges coincide modulo nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree
from scipy.special import i0e

from reefscan.candidates import position_m
from reefscan.features import shared, turned

Floats = NDArray[np.float64]

SQUARE_CELLS = 256
"""Side of the fixed squares of the absolute lattice whose edges are compared, with those of the eight around: several steps of
cells that are many times wider than the grid's own must be among them."""

PERIODS = np.exp(np.arange(np.log(4.0), np.log(25.0), 0.01))
"""Widths (cells) that are tried: stations are three cells apart at the least, and of wider cells few fit into the squares."""

FACING_DEG = 22.5
"""An edge is one along a row or column if it faces within this of the other."""

TOGETHER = 0.7
"""Least length of the mean of the unit vectors at phase 2 pi x / period, in both directions: three in four within a
sixth of a period of their mean, say."""

SHARP = 0.99
"""Longer than this is told from nothing: a place is known to a few hundredths of a period."""

CHANCE = 12.0
"""Least evidence of both directions together (`_evidence`): places drawn at random reach it at a given period with exp(-12); some sixty
periods in the squares are independent, and a dozen pairs of directions and ratios are tried: in one square of a few hundred."""

LINES = 4
"""Least number of lines of the lattice on which edges of one direction lie."""

ALIKE = 0.04
"""Periods alike differ by no more than this share."""

AS_GOOD = 0.8
"""The longest period whose evidence is no less than this share of the most: what coincides modulo a period does so modulo half of it."""

IN_PHASE = 0.15
"""Part of a period off the lattice up to which an edge lies on it."""

REACH = 2.0
"""Periods around a station within which edges on the lattice tell that the ground is that grid's."""

WITNESSES = 2
"""Least number of lines of the lattice on which they lie: an edge of the ground's own falls on one of them as well, three times in ten."""


class Edges(NamedTuple):
    """Edges along one direction of the lattice: their rows in the table, and places across (cells)."""

    rows: NDArray[np.intp]
    across: Floats


def tell_coarse_cells(table: pd.DataFrame, cell_m: float) -> None:
    """Say of stations among edges on a coarser lattice how wide its cells are, and of those edges that they look like joints.

    Parameters
    ----------
    table : DataFrame
        Stations, changed in place: ``kind``, ``feature_id``, ``x``, ``y`` (m), ``facing`` (degrees from grid north), ``turn`` (true azimuth
        of grid north), ``lat`` (degrees), ``interpolated``, ``interval_m``, ``position_m``, ``seam_like``.
    cell_m : float
    """
    wide, lying = coarse_cells(table, cell_m)
    if not wide.any():
        return
    features = list(table.groupby("feature_id", sort=False).indices.values())
    wide = shared(wide, features)
    interval = np.maximum(table["interval_m"].to_numpy(), wide)
    table["interval_m"] = interval
    table["position_m"] = np.where(
        wide > 0, position_m(cell_m, 1.0, interval), table["position_m"].to_numpy()
    )
    joint = shared(np.where(lying & (wide > 0), 1.0, 0.0), features)
    table["seam_like"] = np.maximum(table["seam_like"].to_numpy(), joint)


def coarse_cells(table: pd.DataFrame, cell_m: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Width (m) of the coarser cells on whose lattice the edges beside each station lie, and which stations are such edges.

    Only ground that was filled in is looked at: what was sounded cell by cell is no coarser grid's.

    Returns
    -------
    wide : ndarray, shape (n,)
        0 where no such cells are told.
    lying : ndarray of bool, shape (n,)
    """
    out, on_lattice = np.zeros(len(table)), np.zeros(len(table), dtype=bool)
    filled = np.flatnonzero(table["interpolated"].to_numpy() > 0.5)
    x, y = table["x"].to_numpy() / cell_m, table["y"].to_numpy() / cell_m
    is_edge = table["kind"].to_numpy() == "ledge"
    facing, turn = table["facing"].to_numpy(), table["turn"].to_numpy()
    squares = pd.DataFrame(
        {"i": np.floor(x[filled] / SQUARE_CELLS), "j": np.floor(y[filled] / SQUARE_CELLS)}
    ).astype(np.int64)
    held = {key: filled[part] for key, part in squares.groupby(["i", "j"], sort=True).indices.items()}
    for (i, j), own in held.items():
        near = [held[i + a, j + b] for a in (-1, 0, 1) for b in (-1, 0, 1) if (i + a, j + b) in held]
        on = np.concatenate(near)
        on = on[is_edge[on]]
        if len(on) < 2 * LINES:
            continue
        dx, dy = x[on] - SQUARE_CELLS * (i + 0.5), y[on] - SQUARE_CELLS * (j + 0.5)
        # grid north first, then true north, which bears -turn on the grid; cells of a file in degrees may be square there
        narrow = float(np.cos(np.radians(table["lat"].to_numpy()[on].mean())))
        for north, ratios in ((0.0, (1.0,)), (-float(turn[on].mean()), (1.0, narrow))):
            period, lines = _lattice(dx, dy, facing[on] - north, north, ratios)
            witnesses = np.zeros(len(own), dtype=np.int64)
            for edges in lines:
                on_lattice[np.intersect1d(on[edges], own)] = True
                tree = cKDTree(np.column_stack([x[on[edges]], y[on[edges]]]))
                witnesses += tree.query(np.column_stack([x[own], y[own]]))[0] <= REACH * period
            beside = own[witnesses >= WITNESSES]
            out[beside] = np.maximum(out[beside], period * cell_m)
    return out, on_lattice


def _lattice(
    x: Floats, y: Floats, facing: Floats, north: float, ratios: tuple[float, ...]
) -> tuple[float, list[NDArray[np.intp]]]:
    """Period (cells) of the lattice on which edges lie, down and across, and those that do, by line; 0 if there is none.

    ``ratios`` are those of the period across to the one down that may be; the longer is returned.
    """
    along, across = turned(x, y, np.radians(north))
    rows = [_edges(along, facing, towards) for towards in (0.0, 180.0)]
    columns = [_edges(across, facing, towards) for towards in (90.0, 270.0)]
    down = [_coincidence(edges) for edges in rows]
    strongest, best = CHANCE, 0.0
    lines: list[NDArray[np.intp]] = []
    for upright in columns:
        sideways = _coincidence(upright)
        alike = [_best_alike(sideways, ratio) for ratio in ratios]
        for level, evidence in zip(rows, down, strict=True):
            for ratio, beside in zip(ratios, alike, strict=True):
                both = np.where((evidence > 0) & (beside > 0), evidence + beside, 0.0)
                most = float(both.max())
                if most > strongest:
                    at = int(np.flatnonzero(both >= AS_GOOD * most)[-1])
                    strongest, best = most, float(PERIODS[at]) * max(1.0, ratio)
                    near = np.where(_alike(PERIODS[at] * ratio), sideways, 0.0)
                    lines = [
                        *_on(level, float(PERIODS[at])),
                        *_on(upright, float(PERIODS[int(np.argmax(near))])),
                    ]
    return best, lines


def _edges(across: Floats, facing: Floats, towards: float) -> Edges:
    """Those that face one way."""
    off = np.abs((facing - towards + 180.0) % 360.0 - 180.0)
    rows = np.flatnonzero(off <= FACING_DEG)
    return Edges(rows, across[rows])


def _vectors(edges: Edges, period: float | Floats) -> NDArray[np.complex128]:
    return np.asarray(np.exp(2j * np.pi * edges.across[:, None] / np.atleast_1d(period)))


def _coincidence(edges: Edges) -> Floats:
    """Evidence that places of edges coincide at each of the periods; 0 where they keep to no lattice.

    Edges side by side on one line are no independent witnesses, so that each line counts once.
    """
    out = np.zeros(len(PERIODS))
    if len(edges.rows) < LINES:
        return out
    vectors = _vectors(edges, PERIODS)
    mean = vectors.mean(axis=0)
    for k in np.flatnonzero(np.abs(mean) >= TOGETHER):
        line = np.rint(edges.across / PERIODS[k] - np.angle(mean[k]) / (2.0 * np.pi)).astype(np.int64)
        _, at, many = np.unique(line, return_inverse=True, return_counts=True)
        if len(many) < LINES:
            continue
        of_lines = np.bincount(at, vectors[:, k].real) + 1j * np.bincount(at, vectors[:, k].imag)
        together = float(np.abs((of_lines / many).mean()))
        if together >= TOGETHER:
            out[k] = _evidence(len(many), together)
    return out


def _evidence(lines: int, together: float) -> float:
    """Minus the logarithm of the chance that directions drawn at random have a mean vector so long.

    Of n of them, exp(-n (k R - log I0(k))) with I1(k) / I0(k) = R (Cramer's bound); one is used up by the phase, which is free.
    k is Fisher's approximation (1993, Statistical Analysis of Circular Data, section 4.5.5).
    """
    r = min(SHARP, together)
    k = -0.4 + 1.39 * r + 0.43 / (1.0 - r) if r < 0.85 else 1.0 / (r**3 - 4.0 * r**2 + 3.0 * r)
    return (lines - 1) * (k * r - k - float(np.log(i0e(k))))


def _alike(period: float | Floats) -> NDArray[np.bool_]:
    """Which of the periods are alike, shape (..., len(PERIODS))."""
    return np.asarray(np.abs(PERIODS / np.asarray(period)[..., None] - 1.0) <= ALIKE)


def _best_alike(evidence: Floats, ratio: float) -> Floats:
    """At each period the best of those that are alike to it, times ``ratio``."""
    return np.asarray(np.where(_alike(PERIODS * ratio), evidence, 0.0).max(axis=1))


def _on(edges: Edges, period: float) -> list[NDArray[np.intp]]:
    """Those that lie on the lattice, by line."""
    cycles = edges.across / period - np.angle(_vectors(edges, period).mean()) / (2.0 * np.pi)
    line = np.rint(cycles)
    lying = np.abs(cycles - line) <= IN_PHASE
    return [edges.rows[lying & (line == number)] for number in np.unique(line[lying])]
