"""One seabed in many forms: in other files, units and frames, on other cells, turned, with its noise drawn anew.

Each form gives a list in the local metres of the first one, so that lists can be laid beside each other.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates

from unseen.found import CRS, ORIGIN, Finder, Found, scan_file

Grid = NDArray[np.float64]
CELL_M = 2.0
SAME_M = 8.0
FT = 0.3048


@dataclass(frozen=True)
class Fine:
    """Ground on 1 m cells, of which every form is made; ``holes`` are unknown in all of them."""

    z: Grid
    holes: NDArray[np.bool_]
    seed: int

    def on(self, cell_m: float, draw: int) -> Grid:
        """A survey on cells of a size: means over the cell, 5 cm of noise of a draw."""
        n = int(self.z.shape[0] / cell_m)
        z = _means(_means(self.z, cell_m, n).T, cell_m, n).T
        lost = _means(_means(self.holes.astype(float), cell_m, n).T, cell_m, n).T > 0.5
        rng = np.random.default_rng([51, self.seed, draw, int(10 * cell_m)])
        return np.where(lost, np.nan, z + 0.05 * rng.standard_normal(z.shape))


def _means(z: Grid, cell: float, n: int) -> Grid:
    """Exact means along the first axis over ``n`` cells of ``cell`` fine ones each, which need not be whole."""
    total = np.concatenate([np.zeros((1, z.shape[1])), np.cumsum(z, axis=0)])
    edges = np.arange(n + 1) * cell
    i = np.minimum(edges.astype(int), len(z) - 1)
    at = total[i] + (edges - i)[:, None] * z[i]
    return np.asarray(np.diff(at, axis=0) / cell)


def shared(first: list[Found], other: list[Found], *, top: int = 20, among: int = 40) -> tuple[int, int]:
    """How many of the first ``top`` have one of the other's first ``among`` within 8 m; and how many there are."""
    there = np.array([s.xy for s in other[:among]]).reshape(-1, 2)
    here = first[:top]
    if not len(there):
        return 0, len(here)
    return sum(bool((np.hypot(*(there - s.xy).T) <= SAME_M).any()) for s in here), len(here)


def turned(elev: Grid, cell_m: float, degrees: float) -> tuple[Grid, Callable[[Found], Found]]:
    """The same heights on a grid turned about the middle, large enough for all of it; and the way back for its sites."""
    n, m = elev.shape
    a = np.radians(degrees)
    side = int(np.ceil(max(n, m) * (abs(np.cos(a)) + abs(np.sin(a))))) + 2
    mid_x, mid_y, half = m * cell_m / 2, -n * cell_m / 2, side * cell_m / 2

    def back(x: Any, y: Any) -> tuple[Any, Any]:
        u, v = x - half, y + half
        return mid_x + u * np.cos(a) - v * np.sin(a), mid_y + u * np.sin(a) + v * np.cos(a)

    gx, gy = np.meshgrid((np.arange(side) + 0.5) * cell_m, -(np.arange(side) + 0.5) * cell_m)
    x, y = back(gx, gy)
    out = map_coordinates(elev, [-y / cell_m - 0.5, x / cell_m - 0.5], order=1, mode="constant", cval=np.nan)

    def home(site: Found) -> Found:
        hx, hy = back(site.x, site.y)
        return replace(site, x=float(hx), y=float(hy))

    return out, home


def write(
    path: Path,
    values: Grid,
    *,
    transform: Any,
    crs: str = CRS,
    dtype: str = "float32",
    nodata: float = -9999.0,
) -> Path:
    """A GeoTIFF of heights or depths."""
    import rasterio

    data = np.where(np.isfinite(values), values, nodata).astype(dtype)
    with rasterio.open(
        path, "w", driver="GTiff", height=data.shape[0], width=data.shape[1], count=1, dtype=dtype, crs=crs,
        transform=transform, nodata=nodata, compress="deflate",
    ) as file:  # fmt: skip
        file.write(data, 1)
    return path


def in_degrees(elev: Grid, cell_m: float) -> tuple[Grid, Any]:
    """The grid warped (bilinear) to square cells in degrees, as tall as the metres' cells; and its transform."""
    from rasterio.enums import Resampling
    from rasterio.transform import from_origin
    from rasterio.warp import reproject, transform_bounds

    n, m = elev.shape
    e, north = ORIGIN
    west, south, east, top = transform_bounds(CRS, "EPSG:4326", e, north - n * cell_m, e + m * cell_m, north)
    step = cell_m / 111_150
    shape = (int((top - south) / step) + 1, int((east - west) / step) + 1)
    transform = from_origin(west, top, step, step)
    out = np.full(shape, np.nan)
    reproject(
        elev, out, src_transform=from_origin(e, north, cell_m, cell_m), src_crs=CRS, dst_transform=transform,
        dst_crs="EPSG:4326", src_nodata=np.nan, dst_nodata=np.nan, resampling=Resampling.bilinear,
    )  # fmt: skip
    return out, transform


def in_files(elev: Grid, cell_m: float) -> dict[str, list[Found]]:
    """The package's lists for the same grid in files of several kinds."""
    from affine import Affine
    from rasterio.transform import from_origin

    up = from_origin(*ORIGIN, cell_m, cell_m)
    south_up = Affine(cell_m, 0, ORIGIN[0], 0, cell_m, ORIGIN[1] - elev.shape[0] * cell_m)
    with tempfile.TemporaryDirectory() as folder:
        at = Path(folder)
        degrees, placed = in_degrees(elev, cell_m)
        return {
            "up": scan_file(write(at / "up.tif", elev, transform=up), positive="up"),
            "positive down": scan_file(write(at / "down.tif", -elev, transform=up), positive="down"),
            "south-up": scan_file(write(at / "south.tif", elev[::-1], transform=south_up), positive="up"),
            "decimetres": scan_file(
                write(at / "dm.tif", elev * 10, transform=up), positive="up", value_unit="dm"
            ),
            "feet": scan_file(
                write(at / "feet.tif", elev / FT, transform=up), positive="up", value_unit="ft"
            ),
            "degrees": scan_file(
                write(at / "deg.tif", degrees, transform=placed, crs="EPSG:4326"), positive="up"
            ),
        }


def lists_of(finder: Finder, fine: Fine) -> tuple[list[Found], dict[str, list[Found]]]:
    """The first list (2 m cells) and those of all other forms, by name."""
    base = fine.on(CELL_M, 0)
    out: dict[str, list[Found]] = {}
    grid, home = turned(base, CELL_M, 30.0)
    out["turned by 30 degrees"] = [home(s) for s in finder(grid, CELL_M)]
    for cell in (1.5, 2.5):
        out[f"cells of {cell} m"] = finder(fine.on(cell, 0), cell)
    out["noise drawn anew"] = finder(fine.on(CELL_M, 1), CELL_M)
    first = finder(base, CELL_M)
    if getattr(finder, "reads_files", False):
        out |= in_files(base, CELL_M)
    return first, out
