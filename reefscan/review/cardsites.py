"""From ranked sites and grids to what the cards draw."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from reefscan.base.model import GridSource
from reefscan.render.card import CardSite
from reefscan.review.ground import patch
from reefscan.review.section import Section, sections


def card_sites(table: pd.DataFrame, sources: Sequence[GridSource], *, patch_half_m: float) -> list[CardSite]:
    """Profile and surroundings of every row, from the finest grid that knows the place."""
    rows = sections(table, sources, most=len(table))
    out: list[CardSite] = []
    finest = sorted(sources, key=lambda s: s.sheet.cell_m)
    for site, found in zip(table.to_dict("records"), rows, strict=True):
        section = found or Section(0.0, patch_half_m, None)
        ground = None
        for source in finest:
            ground = patch(source, lon=float(site["lon"]), lat=float(site["lat"]), half_m=patch_half_m)
            if ground is not None:
                break
        out.append(
            CardSite(
                site={str(k): v for k, v in site.items()},
                depths_m=section.depths_m,
                half_m=section.half_m,
                heading_deg=section.bearing_deg,
                marks=section.marks,
                patch=None if ground is None else ground.elev,
                cell_m=1.0 if ground is None else ground.cell_m,
            )
        )
    return out
