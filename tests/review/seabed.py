"""An invented seabed with sites on it, for pictures and pages: nothing here is measured anywhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import Transformer
from scipy.ndimage import gaussian_filter

from reefscan.base.model import GridBlock, Sheet, Window, to_mm
from reefscan.base.recipe import Recipe

SHEET = Sheet("EPSG:32630", 4.0)
HOSTILE = "</script><img src=x onerror=\"document.title='pwned'\">&\u2028=1+1"


class ArraySource:
    """A grid held in memory."""

    has_uncertainty = False

    def __init__(self, elev: NDArray[np.float64], *, sheet: Sheet = SHEET, name: str = "invented") -> None:
        self.sheet, self.name = sheet, name
        self.extent = Window(-1_400_000, 125_000, *elev.shape)
        self._mm = to_mm(elev)

    def read(self, window: Window) -> GridBlock:
        from reefscan.base.model import NODATA_MM

        out = np.full((window.height, window.width), NODATA_MM, dtype=np.int32)
        shared = window.intersect(self.extent)
        if not shared.empty:
            out[shared.slices_in(window)] = self._mm[shared.slices_in(self.extent)]
        return GridBlock(window, out)

    def fingerprint(self) -> dict[str, object]:
        return {}

    def depth_range(self, window: Window) -> tuple[float, float] | None:
        return (-np.inf, np.inf)


def seabed(rows: int = 400, cols: int = 600, *, seed: int = 1) -> NDArray[np.float64]:
    """Land in the west, falling east, rough, with a slot and a step and a gap in the data."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[0:rows, 0:cols] * 4.0
    elev = 4 - 0.012 * x + 3 * np.sin(y / 600)
    rough = np.zeros((rows, cols))
    for sigma, height in ((60, 3), (25, 1.5), (8, 0.5), (3, 0.15)):
        g = gaussian_filter(rng.normal(size=(rows, cols)), sigma)
        rough += height * g / g.std()
    elev += rough * np.clip((x - 300) / 800, 0.2, 1)
    elev -= 2.5 * np.exp(-(((x - 1000 - 0.3 * y) / 25) ** 2))
    elev = np.where(x > 1500 + 150 * np.sin(y / 300), elev - 2.2, elev)
    elev[300:330, 450:500] = np.nan
    return elev


def sites(source: ArraySource, number: int, *, seed: int = 2) -> pd.DataFrame:
    """Candidates at random wet cells with random measures, some unknown, one with a hostile name."""
    rng = np.random.default_rng(seed)
    elev = source.read(source.extent).elev_mm / 1000.0
    rows, cols = np.nonzero((elev < -1.5) & (elev > -30))
    pick = rng.choice(len(rows), number, replace=number > len(rows))
    rows, cols = rows[pick], cols[pick]
    x = np.asarray(source.sheet.x_of(cols + source.extent.col))
    y = np.asarray(source.sheet.y_of(rows + source.extent.row))
    lon, lat = Transformer.from_crs(source.sheet.crs, "EPSG:4326", always_xy=True).transform(x, y)
    kind = rng.choice(["trough", "ledge", "rise", "man-made"], number, p=[0.4, 0.35, 0.2, 0.05])

    def some(values: NDArray[np.float64], share: float = 0.1) -> NDArray[np.float64]:
        return np.where(rng.random(number) < share, np.nan, values)

    table = pd.DataFrame(
        {
            "id": [f"{k[0]}{r}-{c}-{i}" for i, (k, r, c) in enumerate(zip(kind, rows, cols, strict=True))],
            "kind": kind,
            "feature_id": [f"f{v}" for v in rng.integers(0, max(1, number // 3), number)],
            "lon": np.round(lon, 7),
            "lat": np.round(lat, 7),
            "depth_m": np.round(-elev[rows, cols], 2),
            "height_m": np.round(rng.gamma(4, 0.6, number) + 0.8, 2),
            "relief_m": np.round(rng.uniform(1, 5, number), 2),
            "width_m": np.where(kind == "trough", np.round(rng.uniform(3, 90, number), 1), np.nan),
            "off_m": np.round(rng.uniform(3, 15, number), 1),
            "axis_deg": np.round(rng.uniform(0, 179, number)),
            "cross_deg": np.round(some(rng.uniform(0, 179, number))),
            "facing_deg": np.round(rng.uniform(0, 359, number)),
            "slope_deg": np.round(some(rng.uniform(0, 18, number)), 1),
            "vrm": np.round(some(rng.gamma(2, 0.004, number)), 5),
            "uncertainty_m": np.round(some(rng.uniform(0.1, 0.4, number), 0.5), 2),
            "height_sigma_m": np.round(some(rng.uniform(0.1, 0.6, number), 0.6), 2),
            "position_m": np.round(rng.uniform(2, 8, number), 1),
            "drop_m": np.round(rng.gamma(4, 0.6, number) + 0.8, 2),
            "run_m": np.round(rng.uniform(4, 40, number), 1),
            "steep_deg": np.round(some(rng.uniform(3, 40, number)), 1),
            "contrast": np.round(some(rng.random(number)), 2),
            "scatter": np.round(some(rng.beta(1, 9, number)), 2),
            "ruled_like": np.round(rng.beta(1, 4, number), 2),
            "interpolated": np.round(rng.beta(1, 6, number), 2),
            "source": "invented",
            "cell_m": 4.0,
            "flags": [["depths interpolated here"] if i % 9 == 0 else [] for i in range(number)],
            "why": [f"Invented site number {i}: stands beside a {k}." for i, k in enumerate(kind)],
        }
    )
    if number:
        table.loc[0, ["id", "why", "source"]] = [HOSTILE, HOSTILE, HOSTILE]
    return table


def write_grid(path: Path, source: ArraySource) -> Path:
    """The invented seabed as a GeoTIFF, elevations positive up."""
    import rasterio
    from rasterio.transform import Affine

    elev = source.read(source.extent).elev_mm.astype(np.float64) / 1000.0
    elev[elev < -1e6] = -9999.0
    a, b, c, d, e, f = source.sheet.transform(source.extent)
    profile = {"driver": "GTiff", "height": elev.shape[0], "width": elev.shape[1], "count": 1, "dtype": "float32",
               "crs": source.sheet.crs, "transform": Affine(a, b, c, d, e, f), "nodata": -9999.0}  # fmt: skip
    with rasterio.open(path, "w", **profile) as out:
        out.write(elev.astype(np.float32), 1)
        out.set_band_description(1, "elevation")
    return path


def write_run(
    folder: Path, grid: Path, table: pd.DataFrame, *, recipe: Recipe | None = None, **facts: object
) -> Path:
    """A finished run folder with these candidates, as a scan leaves it."""
    from reefscan.io.grids.rasters import open_grids
    from reefscan.io.out import tables
    from reefscan.io.out.runfolder import RunFolder
    from reefscan.score.listing import list_sites

    recipe = recipe or Recipe.default()
    table = tables.rounded(table.drop(columns=["flags", "why"], errors="ignore"))
    listing = list_sites(table, recipe)
    with RunFolder.create(folder) as run:
        run.write_candidates(table)
        run.write_recipe(recipe)
        run.write_listed(listing.sites)
        sources = open_grids([str(grid)], positive="up")
        prints = [
            {**s.fingerprint(), "name": s.name, "cell_m": s.sheet.cell_m, "uncertainty_m": None}
            for s in sources
        ]
        run.finish("done", grids=[str(grid)], sheets=prints, positive="up", depth_unit="m",
                   limits=["4 m cells: the smallest trough that shows is 16 m across."], **facts)  # fmt: skip
    return folder
