"""GeoPackages: equal tables give equal bytes, and what was written is read back before it counts."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from reefscan.io.vectors import layer_table, ready
from reefscan.io.whole import replacing, unwritten

if TYPE_CHECKING:
    import geopandas

_FIXED_DATE = "2000-01-01T00:00:00.000Z"
"""A GeoPackage is stamped with this, so that equal runs are equal bytes."""


def write_geopackage(
    path: Path, layers: Mapping[str, geopandas.GeoDataFrame], kinds: Mapping[str, str], *, meaning: str
) -> Path:
    """Write tables as the layers of one file, whole or not at all.

    Parameters
    ----------
    path : Path
    layers : mapping of str to GeoDataFrame
        Each with a CRS; an empty one is written too.
    kinds : mapping of str to str
        Geometry type of each layer.
    meaning : str
        What every layer is said to hold; ``{}`` stands for its name.

    Raises
    ------
    RunFolderError
        If it cannot be written; `DiskFullError` if it does not read back as it was written.
    """
    pyogrio = ready()
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": _FIXED_DATE})
    try:
        with replacing(path) as part:
            for i, (name, frame) in enumerate(layers.items()):
                pyogrio.write_dataframe(
                    frame, part, layer=name, driver="GPKG", append=i > 0, geometry_type=kinds[name],
                    layer_options={"DESCRIPTION": meaning.format(name)},
                )  # fmt: skip
            if not all(_same(frame, layer_table(part, name)) for name, frame in layers.items()):
                raise unwritten(path)
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": before})
    return path


def _same(wrote: geopandas.GeoDataFrame, back: Any) -> bool:
    return len(wrote) == len(back) and np.array_equal(wrote.geometry.to_wkb(), back.geometry.to_wkb())
