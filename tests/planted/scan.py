"""The library's public scan run on a planted seabed, its answer in the seabed's local metres."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from planted.judge import Site
from planted.truth import CRS, ORIGIN, Seabed

MEASURES = {
    name: name
    for name in (
        *("score", "confidence", "depth_m", "height_m", "width_m", "off_m"),
        *("axis_deg", "facing_deg", "ruled_like"),
    )
} | {"sigma_m": "uncertainty_m"}
"""Field of a `Site` and the column it is read from."""


def find(bed: Seabed) -> tuple[list[Site], dict[str, list[NDArray[Any]]]]:
    """Run the library's public scan on a seabed; sites and feature lines in its local metres."""
    from pyproj import Transformer
    from surfaces import scan_cells

    import reefscan

    recipe = reefscan.Recipe.default()
    recipe = recipe.model_copy(update={"rank": recipe.rank.model_copy(update={"top": 500})})
    run = scan_cells(bed.elev, cell_m=bed.cell_m, sigma=bed.sigma, recipe=recipe, crs=CRS, origin=ORIGIN)
    to_xy = Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    sites = []
    for row in run.candidates.to_dict("records"):
        if not np.isfinite(row.get("rank") or np.nan):
            continue
        x, y = to_xy.transform(row["lon"], row["lat"])
        number = {
            key: float(row[name]) if row.get(name) is not None else float("nan")
            for key, name in MEASURES.items()
        }  # fmt: skip
        place = (x - ORIGIN[0], y - ORIGIN[1])
        sites.append(Site(place, str(row["kind"]), int(row["rank"]), **number, why=str(row.get("why", ""))))
    lines: dict[str, list[NDArray[Any]]] = {"trough": [], "ledge": []}
    for kind in lines:
        layer = run.features.get(kind + "s")
        if layer is None or not len(layer):
            continue
        if layer.crs is not None and layer.crs.is_geographic:
            layer = layer.to_crs(CRS)
        for shape in layer.geometry:
            parts = getattr(shape, "geoms", [shape])
            for part in parts:
                if part.geom_type == "LineString":
                    lines[kind].append(np.asarray(part.coords)[:, :2] - np.array(ORIGIN))
    return sites, lines
