"""What must be the same of two runs, byte for byte; and rough ground to run on."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray

from tests.surfaces import fractal

TABLES = ("candidates.geojson", "candidates.parquet", "features.gpkg")


def contents(run: Path) -> dict[str, bytes]:
    """Tables as bytes, score rasters as pixels and where they lie."""
    found = {name: (run / name).read_bytes() for name in TABLES}
    rasters = sorted(run.glob("score*.tif"))
    assert rasters, "the run wrote no score raster"
    for path in rasters:
        with rasterio.open(path) as src:
            found[path.name] = src.read().tobytes()
            found[f"{path.name} place"] = repr((src.transform, src.crs, src.nodata)).encode()
    return found


def sites(run: Path) -> int:
    """How many sites are listed: a comparison of empty runs proves nothing."""
    return len(json.loads((run / "candidates.geojson").read_text())["features"])


def differences(one: dict[str, bytes], two: dict[str, bytes]) -> list[str]:
    """Names whose bytes differ."""
    return sorted(name for name in one.keys() | two.keys() if one.get(name) != two.get(name))


def rough(rows: int, cols: int, *, seed: int, holes: float = 0.02, power: float = 1.9) -> NDArray[np.float32]:
    """Fractal ground of troughs, ledges and rises, with unsurveyed patches; NaN unknown."""
    rng = np.random.default_rng(seed)
    # all of it under water: for a grid on both sides of zero one would have to say which side is water
    elev = np.minimum(-13.0 + 5.0 * fractal(rng, rows, cols, power=power), -0.5).astype(np.float32)
    for _ in range(int(holes * rows * cols / 900)):
        row, col = rng.integers(rows), rng.integers(cols)
        elev[row : row + rng.integers(5, 60), col : col + rng.integers(5, 60)] = np.nan
    return elev


def write_native(path: Path, elev: NDArray[np.float32], *, row: int, col: int, cell_m: float = 2.0) -> Path:
    """Write a metric grid whose north-west cell is the given cell of the lattice."""
    return _write(path, elev, "EPSG:32633", Affine(cell_m, 0.0, col * cell_m, 0.0, -cell_m, -row * cell_m))


def write_geographic(path: Path, elev: NDArray[np.float32], *, lon: float, lat: float) -> Path:
    """Write a grid in degrees, its cells about 2 m, which a run must warp."""
    step = 2.0 / 111_320.0
    return _write(path, elev, "EPSG:4326", Affine(step / np.cos(np.deg2rad(lat)), 0.0, lon, 0.0, -step, lat))


def _write(path: Path, elev: NDArray[np.float32], crs: str, transform: object) -> Path:
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=elev.shape[1],
        height=elev.shape[0],
        count=1,
        dtype="float32",
        crs=crs,
        transform=transform,
        nodata=-9999.0,
        tiled=True,
        blockxsize=256,
        blockysize=256,
        compress="deflate",
    ) as out:
        out.write(np.where(np.isnan(elev), np.float32(-9999.0), elev), 1)
    return path
