"""A picture that knows where it lies: PNG with a world file (.pgw) and its CRS (.aux.xml) beside it."""

from __future__ import annotations

import tempfile
import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from reefscan.base.errors import RunFolderError
from reefscan.io.outs import write_out
from reefscan.io.whole import write_whole


def write_placed_png(
    path: Path, picture: NDArray[np.uint8], *, west_m: float, north_m: float, cell_m: float, crs: str
) -> list[Path]:
    """Write RGBA bands as PNG with the two small files that GIS programs look for.

    Returns
    -------
    list of Path
        What was written.
    """
    from rasterio.errors import NotGeoreferencedWarning
    from rasterio.transform import Affine
    from rasterio.windows import Window as RasterWindow

    from reefscan.io.newraster import new_raster

    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        part = Path(folder) / "picture.png"
        profile = {
            "driver": "PNG",
            "WRITE_METADATA_AS_TEXT": "YES",
            "count": 4,
            "height": picture.shape[1],
            "width": picture.shape[2],
            "dtype": "uint8",
        }
        profile.update(crs=crs, transform=Affine(cell_m, 0.0, west_m, 0.0, -cell_m, north_m))
        whole = RasterWindow(0, 0, picture.shape[2], picture.shape[1])
        with new_raster(path, part, profile) as out:
            out.dataset.update_tags(Software="reefscan")
            for band, values in enumerate(picture, start=1):
                out.write(values, band, whole)
        beside = path.with_suffix(".pgw"), path.with_name(path.name + ".aux.xml")
        if not path.exists() and any(p.exists() for p in beside):  # some other picture's
            raise RunFolderError(
                f"{path}: {beside[0].name} or {beside[1].name} exists already; choose another --out."
            )
        half = cell_m / 2
        lines = (cell_m, 0.0, 0.0, -cell_m, west_m + half, north_m - half)
        written = [write_out(path, part.read_bytes())]
        written.append(write_whole(beside[0], "".join(f"{v:.6f}\n" for v in lines)))
        aux = part.with_name(part.name + ".aux.xml")
        if aux.exists():
            written.append(write_whole(beside[1], aux.read_bytes()))
        return written
