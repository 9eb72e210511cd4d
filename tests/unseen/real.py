"""Public grids that are not in the repository: the structures an eye sees on them, and where there is nothing.

The folder is named by ``REEFSCAN_REALDATA``; a grid that is absent is skipped with a reason. Places are rows and columns of the file.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from unseen.found import Found, listing

Grid = NDArray[np.float64]


def folder() -> Path:
    """Where the grids lie."""
    return Path(os.environ.get("REEFSCAN_REALDATA", "no folder of public grids is named"))


@dataclass(frozen=True)
class Real:
    """A grid in local metres (cells made square), with lines of rows and columns where structure is seen, and boxes where what
    looks like it is an artefact (row, row, column, column)."""

    elev: Grid
    cell_m: float
    seen: dict[str, NDArray[np.float64]]
    false: dict[str, tuple[float, float, float, float]]
    stretch: tuple[float, float] = (1.0, 1.0)
    """Rows and columns of the square grid to one of the file's."""

    def places(self, name: str) -> Grid:
        """x and y along a seen structure, every cell or so."""
        line = self.seen[name]
        n = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
        s = np.arange(0, max(n[-1], 0.5), 0.5)
        row, col = (np.interp(s, n, line[:, k]) * self.stretch[k] for k in (0, 1))
        return np.stack([(col + 0.5) * self.cell_m, -(row + 0.5) * self.cell_m], 1)

    def in_false(self, x: float, y: float) -> str | None:
        """Name of the artefact a place lies at."""
        row, col = (-y / self.cell_m - 0.5) / self.stretch[0], (x / self.cell_m - 0.5) / self.stretch[1]
        for name, (r0, r1, c0, c1) in self.false.items():
            if r0 <= row <= r1 and c0 <= col <= c1:
                return name
        return None


def listed_from_file(
    name: str, grid: Real, *, depth: tuple[float, float] | None = None, **reading: str
) -> list[Found]:
    """The package's list for the file itself, in the square grid's local metres."""
    import rasterio

    import reefscan

    with rasterio.open(folder() / name) as file:
        back = ~file.transform
    recipe = listing(500) if depth is None else listing(500).with_depth(*depth)
    run = reefscan.scan(str(folder() / name), recipe, workers=1, **reading)
    out = []
    for site in run.listing.sites:
        lon = site["lon"] + (360 if site["lon"] < 0 and (back * (site["lon"], site["lat"]))[0] < 0 else 0)
        col, row = back * (lon, site["lat"])
        x, y = col * grid.stretch[1] * grid.cell_m, -row * grid.stretch[0] * grid.cell_m
        out.append(Found(int(site["rank"]), str(site["kind"]), x, y, score=float(site["score"])))
    return out


def _read(name: str, *, high: float, wide: float) -> tuple[Grid, tuple[float, float], float]:
    """A file's heights on square cells of its smaller side, the stretch, and the cell."""
    import rasterio
    from scipy.ndimage import zoom

    with rasterio.open(folder() / name) as file:
        z = file.read(1, masked=True).astype(float).filled(np.nan)
    cell = min(high, wide)
    if abs(high - wide) < 1e-6:
        return z, (1.0, 1.0), cell
    known = np.isfinite(z)
    out = zoom(np.where(known, z, 0), (high / cell, wide / cell), order=1, mode="nearest", grid_mode=True)
    return out, (out.shape[0] / z.shape[0], out.shape[1] / z.shape[1]), cell


def _line(*points: tuple[float, float]) -> NDArray[np.float64]:
    return np.array(points, float)


def _box(top: float, bottom: float, left: float, right: float) -> NDArray[np.float64]:
    """A line that goes to and fro over a box, three rows apart."""
    out = []
    for i, row in enumerate(np.arange(top, bottom + 1, 3)):
        out += [(row, left), (row, right)] if i % 2 == 0 else [(row, right), (row, left)]
    return np.array(out, float)


WIDE = {"breakwater, west": 50.0, "breakwater, east": 50.0}
"""How far (m) a mound's foot lies from its crest, along which it is traced."""

OUTER = ("outer reef front", "outer ledge", "trough behind it")
"""Structures of the harbour grid whose feet lie below 15 m: only a wider band can list them."""


def hilo() -> Real:
    """A harbour on 10 m cells: breakwater, reef edges, blobs and pockets, a dredged corner; clipped flat at 30 m."""
    z, stretch, cell = _read("hilo_harbour_10m.tif", high=10.25, wide=9.7)
    seen = {
        "breakwater, west": _line((335, 260), (333, 290), (331, 308), (328, 366)),
        "breakwater, east": _line(
            (328, 366), (338, 399), (354, 420), (374, 440), (397, 462), (416, 480), (443, 493)
        ),
        "reef flat's edge": _line((425, 385), (435, 480)),
        "blobs and pockets": _box(365, 425, 330, 430),
        "basin's corner": _box(440, 482, 455, 510),
        "outer reef front": _box(250, 282, 285, 395),
        "outer ledge": _box(200, 236, 255, 375),
        "trough behind it": _box(238, 252, 260, 395),
    }
    return Real(z, cell, seen, {}, stretch)


def islet() -> Real:
    """An islet on 4 m cells, heavily smoothed; a pasted rectangle and a margin of copies."""
    z, stretch, cell = _read("okushiri_islet_4m.tif", high=3.9, wide=4.1)
    side = 5.0
    false = {
        "pasted, top": (88 - side, 88 + side, 155, 200), "pasted, bottom": (168 - side, 168 + side, 155, 200),
        "pasted, left": (88, 168, 155 - side, 155 + side), "pasted, right": (88, 168, 200 - side, 200 + side),
        "margin, top": (-1, 12, -1, 999), "margin, bottom": (z.shape[0] / stretch[0] - 12, 999, -1, 999),
        "margin, left": (-1, 999, -1, 12), "margin, right": (-1, 999, z.shape[1] / stretch[1] - 12, 999),
    }  # fmt: skip
    return Real(z, cell, {}, false, stretch)


def merged() -> Real:
    """The coast around it on 20 by 27 m cells, full of seams."""
    z, stretch, cell = _read("okushiri_merged_24m.tif", high=27.4, wide=20.4)
    false = {
        "seam, 8 m": (165, 170, -1, 999), "seam, 1.3 m": (210, 215, -1, 999), "margin, top": (-1, 11, -1, 999),
        "margin, bottom": (265, 999, -1, 999), "margin, left": (-1, 999, -1, 11), "margin, right": (-1, 999, 79, 999),
    }  # fmt: skip
    return Real(z, cell, {}, false, stretch)


def dunes() -> Real:
    """Sand waves on 1 m cells, raised to 4 to 14 m of depth so that they lie in the band; nothing to find."""
    import h5py

    with h5py.File(folder() / "sand_dunes_1m.mat") as file:
        z = np.array(file["z"], float).T
    return Real(z - np.nanmax(z) - 4.5, 1.0, {}, {})


def bering() -> Real:
    """A flat gravel shelf with swath seams, raised to 9 m of depth; nothing to find."""
    z, stretch, cell = _read("bering_shelf_2m.tif", high=2, wide=2)
    z[np.abs(z) > 1e5] = np.nan
    return Real(z - np.nanmedian(z) - 9, cell, {}, {}, stretch)


def flats() -> Real:
    """Tidal flats on 10 m cells, mostly facets of interpolation, lowered by 6 m; positive is depth in the file."""
    z, stretch, cell = _read("tidal_flats_10m.asc", high=10, wide=10)
    z[z <= -9000] = np.nan
    return Real(-z - 6, cell, {}, {}, stretch)


GRIDS: dict[str, tuple[str, Callable[[], Real]]] = {
    "harbour 10 m": ("hilo_harbour_10m.tif", hilo),
    "islet 4 m": ("okushiri_islet_4m.tif", islet),
    "merged coast 20 m": ("okushiri_merged_24m.tif", merged),
    "sand dunes 1 m": ("sand_dunes_1m.mat", dunes),
    "shelf 2 m": ("bering_shelf_2m.tif", bering),
    "tidal flats 10 m": ("tidal_flats_10m.asc", flats),
}
