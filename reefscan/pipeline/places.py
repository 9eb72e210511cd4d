"""Sites and candidates as points on the Earth, and a list of sites as a person sees it at a prompt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import geopandas
    import pandas as pd

FIRST = ("rank", "kind", "depth_m", "height_m", "score", "confidence", "why", "flags", "lat", "lon")
"""Columns of a site that come first: what a person asks."""

SHOWN = 5
"""Sites in a printed run."""


def candidate_points(table: pd.DataFrame) -> geopandas.GeoDataFrame:
    """Give a candidate table its drop points, in WGS 84."""
    import geopandas

    points = geopandas.points_from_xy(table["lon"], table["lat"])
    return geopandas.GeoDataFrame(table, geometry=points, crs="EPSG:4326")


def site_points(sites: Sequence[Mapping[str, Any]], table: pd.DataFrame) -> geopandas.GeoDataFrame:
    """Make the ranked list a table of drop points, in WGS 84; `FIRST` columns first.

    Parameters
    ----------
    sites : sequence of mappings
        As `reefscan.score.listing.Listing` has them.
    table : DataFrame
        The candidates, whose columns stand even where no site is listed.
    """
    import pandas as pd

    names = dict.fromkeys((*FIRST, *table.columns, "terms", "lands_within_m", "second_to"))
    return candidate_points(pd.DataFrame([dict(site) for site in sites], columns=list(names)))


def summary(sites: Sequence[Mapping[str, Any]], head: str, tail: Sequence[str]) -> str:
    """A list of sites in a few lines: ``head``, the best `SHOWN`, and ``tail``."""
    from reefscan.score.reasons import sure_words

    lines = [head]
    for site in sites[:SHOWN]:
        lines.append(
            f"  {site['rank']:>3}  {site['kind']:<8} {site['depth_m']:5.1f} m deep  {_metres(site['height_m'])} m high  "
            f"score {site['score']:5.1f}  sure {sure_words(site['confidence']):>5}  {site['lat']:9.5f} {site['lon']:10.5f}"
        )
    if len(sites) > SHOWN:
        lines.append(f"  ... and {len(sites) - SHOWN} more in .sites")
    return "\n".join([*lines, *(f"  {line}" for line in tail)])


def summary_html(sites: Sequence[Mapping[str, Any]], head: str, tail: Sequence[str]) -> str:
    """`summary` for a notebook, with the sentence of each site."""
    from html import escape

    from reefscan.score.reasons import sure_words

    names = ("#", "kind", "depth (m)", "height (m)", "score", "sure", "lat", "lon", "why")
    rows = [
        (
            site["rank"], site["kind"], f"{site['depth_m']:.1f}", _metres(site["height_m"]).strip(),
            f"{site['score']:.1f}", sure_words(site["confidence"]), f"{site['lat']:.5f}", f"{site['lon']:.5f}",
            site["why"],
        )
        for site in sites[: 2 * SHOWN]
    ]  # fmt: skip
    cells = "".join(
        "<tr>" + "".join(f'<td style="text-align:left">{escape(str(value))}</td>' for value in row) + "</tr>"
        for row in rows
    )
    table = f"<table><thead><tr>{''.join(f'<th>{name}</th>' for name in names)}</tr></thead><tbody>{cells}</tbody></table>"
    more = [f"... and {len(sites) - len(rows)} more in .sites"] if len(sites) > len(rows) else []
    said = "<br>".join(escape(line) for line in [*more, *tail])
    return f"<p><b>{escape(head)}</b></p>{table if rows else ''}<p>{said}</p>"


def _metres(value: Any) -> str:
    return f"{value:4.1f}" if value is not None and value == value else "   ?"
