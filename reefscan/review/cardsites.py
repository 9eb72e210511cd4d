"""From ranked sites and grids to what the cards draw."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pandas as pd

from reefscan.model import GridSource
from reefscan.render.card import CardSite
from reefscan.review.ground import patch
from reefscan.review.pagedata import PROFILE_HALF_M, heading_of, profiles


def card_sites(table: pd.DataFrame, sources: Sequence[GridSource], *, patch_half_m: float) -> list[CardSite]:
    """Profile and surroundings of every row, from the finest grid that knows the place."""
    rows = profiles(table, sources, most=len(table))
    out: list[CardSite] = []
    finest = sorted(sources, key=lambda s: s.sheet.cell_m)
    import numpy as np

    for site, depths in zip(table.to_dict("records"), rows, strict=True):
        ground = None
        for source in finest:
            ground = patch(source, lon=float(site["lon"]), lat=float(site["lat"]), half_m=patch_half_m)
            if ground is not None:
                break
        out.append(
            CardSite(
                site={str(k): v for k, v in site.items()},
                depths_m=None if depths is None else np.array([math.nan if d is None else d for d in depths]),
                half_m=PROFILE_HALF_M,
                heading_deg=heading_of(site),
                patch=None if ground is None else ground.elev,
                cell_m=1.0 if ground is None else ground.cell_m,
            )
        )
    return out
