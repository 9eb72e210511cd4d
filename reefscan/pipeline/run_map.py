"""The map of a run: the sheet with the most sites, drawn with its sites and features."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reefscan.base.datum import datum_of
from reefscan.base.model import NODATA_MM, GridSource
from reefscan.base.overview import MapGround, Thinning, overview
from reefscan.base.recipe import Recipe
from reefscan.pipeline.sheet_names import sheet_name
from reefscan.score.listing import Listing
from reefscan.surroundings.known import Surroundings, closed_words

if TYPE_CHECKING:
    import geopandas


def draw_run_map(
    sources: Sequence[GridSource],
    recipe: Recipe,
    listing: Listing,
    features: dict[str, geopandas.GeoDataFrame],
    info: Mapping[str, Any],
    unit: str,
    pictures: Sequence[tuple[NDArray[np.int32], Thinning] | None],
    known: Surroundings | None,
) -> bytes:
    """Draw the map; ``pictures`` are what the tiles of each sheet handed over, None where it is read anew.

    ``info`` is what ``run.json`` says, ``known`` what lies around.
    """
    import pandas as pd

    from reefscan.render.map import MapWords, draw_map
    from reefscan.render.shade import trimmed

    count = {sheet_name(source.sheet): 0 for source in sources}
    for site in listing.sites:
        count[str(site["sheet"])] = count.get(str(site["sheet"]), 0) + 1
    source, picture = max(
        zip(sources, pictures, strict=True),
        key=lambda s: (count[sheet_name(s[0].sheet)], s[0].extent.height * s[0].extent.width),
    )
    elev_mm, thinning = picture or overview(source)
    elev = np.where(elev_mm == NODATA_MM, np.nan, elev_mm / 1000.0)
    sites = (
        pd.DataFrame(listing.sites)
        if listing.sites
        else pd.DataFrame({name: [] for name in ("lon", "lat", "kind", "score", "rank")})
    )
    west, _, _, north = source.sheet.bounds(thinning.window)
    ground = MapGround(elev, west, north, source.sheet.cell_m * thinning.step, source.sheet.crs)
    return draw_map(
        trimmed(ground),
        candidates=sites,
        features=features,
        depth_band_m=recipe.depth_band,
        words=MapWords(source.name, "".join(info["limits"][:1]), closed_words(info), datum_of(info), unit),
        closed=() if known is None else known.of("closed").shapes,
    )
