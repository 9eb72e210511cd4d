"""Synthetic seabeds of any size for the benches: rough fractal ground, repeated without a seam.

The ground is invented: a random surface whose power falls with the cube of the wave number. It is periodic,
so a mosaic of any size is a small VRT over one small GeoTIFF and costs no disk.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import NDArray

CRS = "EPSG:32633"
WEST, NORTH = 400_000.0, 6_000_000.0


def fractal(side: int, *, seed: int = 1, mean_m: float = -12.0, spread_m: float = 5.0) -> NDArray[np.float32]:
    """Periodic rough ground, elevation in metres."""
    rng = np.random.default_rng(seed)
    wave = np.hypot(np.fft.fftfreq(side)[:, None], np.fft.rfftfreq(side)[None, :])
    wave[0, 0] = np.inf
    spectrum = np.fft.rfft2(rng.standard_normal((side, side))) * wave**-2.1
    ground = np.fft.irfft2(spectrum, s=(side, side))
    # under water: a grid on both sides of zero would have to be told which side is water
    return np.minimum(mean_m + ground * (spread_m / ground.std()), -0.5).astype(np.float32)


def write_grid(path: Path, elev: NDArray[np.float32], *, cell_m: float = 2.0) -> Path:
    """Write a tiled, compressed GeoTIFF."""
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=elev.shape[1],
        height=elev.shape[0],
        count=1,
        dtype="float32",
        crs=CRS,
        transform=Affine(cell_m, 0.0, WEST, 0.0, -cell_m, NORTH),
        nodata=-9999.0,
        tiled=True,
        blockxsize=256,
        blockysize=256,
        compress="deflate",
        predictor=3,
    ) as out:
        out.write(elev, 1)
    return path


def write_mosaic(path: Path, base: Path, side: int, *, absent: int = 0) -> Path:
    """Write a VRT of ``side`` x ``side`` cells that repeats ``base``.

    Parameters
    ----------
    absent : int
        Leave out every so-manieth piece (0: none), as a coast has land and unsurveyed ground.
    """
    with rasterio.open(base) as src:
        size, crs, cell = src.width, src.crs.to_wkt(), src.res[0]
    pieces = []
    for number, (row, col) in enumerate((r, c) for r in range(0, side, size) for c in range(0, side, size)):
        if absent and number % absent == absent - 1:
            continue
        high, wide = min(size, side - row), min(size, side - col)
        pieces.append(
            f'<ComplexSource><SourceFilename relativeToVRT="1">{base.name}</SourceFilename>'
            f'<SourceBand>1</SourceBand><SrcRect xOff="0" yOff="0" xSize="{wide}" ySize="{high}"/>'
            f'<DstRect xOff="{col}" yOff="{row}" xSize="{wide}" ySize="{high}"/>'
            "<NODATA>-9999</NODATA></ComplexSource>"
        )
    path.write_text(
        f'<VRTDataset rasterXSize="{side}" rasterYSize="{side}"><SRS>{crs.replace("<", "&lt;")}</SRS>'
        f"<GeoTransform>{WEST}, {cell}, 0, {NORTH}, 0, {-cell}</GeoTransform>"
        f'<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue>{"".join(pieces)}'
        "</VRTRasterBand></VRTDataset>"
    )
    return path
